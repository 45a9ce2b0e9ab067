"""A whole in-line head put together from mirrored copies of one condensed tile."""
