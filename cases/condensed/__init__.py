"""The joint condensed to its interfaces, their laws, and Newton on them."""
