"""Closed formulas of the guideline: resilience, load factor, strength, estimate."""
