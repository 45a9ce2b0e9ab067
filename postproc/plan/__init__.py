"""The gasket in plan: its field inside the elements, what symmetry makes of it, the picture."""
