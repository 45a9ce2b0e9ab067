"""A user's own volume mesh."""
