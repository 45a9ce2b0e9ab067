"""Many designs: compare, sweep, size, scatter."""

# what sizing finds, those first that need no new condensation; here, for the command line names them as it starts
FINDS = ("gas", "torque", "thread", "class", "length")
