"""Standard threads, property classes, materials, and tightening by the guideline."""
