"""Many designs: compare, sweep, size, scatter."""
