"""Findings of a bore cell."""
