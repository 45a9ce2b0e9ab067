"""Bore cells in three dimensions: plan, layers, symmetry, elements."""
