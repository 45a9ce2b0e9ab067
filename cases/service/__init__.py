"""A joint that remembers: steps of a service and the memory between them."""
