"""Designs of one joint or cell evaluated in numbers: changes, outcomes, shared stiffness, workers, what is kept."""
