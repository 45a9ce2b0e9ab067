"""A gasket law as table and picture."""
