"""Elements along the profile of a bead."""
