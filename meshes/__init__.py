"""Parametric meshes of the joint."""
