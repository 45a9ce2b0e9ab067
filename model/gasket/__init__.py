"""Pressure-closure laws of gasket zones, however they are stated."""
