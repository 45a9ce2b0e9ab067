"""The requirements and the verdict."""
