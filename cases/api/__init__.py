"""The bolted joint that holds a cylinder head to its block: clamp, gasket pressure, separation, stress range."""
