"""Findings of a warm-up."""
