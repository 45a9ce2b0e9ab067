"""Elasticity on the elements, and the sparse solvers."""
