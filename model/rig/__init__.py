"""A test rig, its file and its logs."""
