"""What a rig log says, as words, pictures and files."""
