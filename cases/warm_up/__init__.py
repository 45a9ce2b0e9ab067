"""Heat and clamp together in time."""
