"""From what a file says to a joint, cell or service with every default filled in."""
