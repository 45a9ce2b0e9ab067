"""A joint or engine as its file states it: drawn to scale, what was assumed, where its data come from."""
