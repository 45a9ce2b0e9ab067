"""What the commands share: files, folders, progress, options."""
