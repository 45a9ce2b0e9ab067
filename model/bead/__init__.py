"""A bead of spring steel sheet: its profile, its steel, how it is pressed; mechanics without a mesh."""
