"""Elasticity, condensation to the interfaces, load history, and the command line."""
