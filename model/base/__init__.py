"""What everything stands on: errors, units, roots, tables over time."""
