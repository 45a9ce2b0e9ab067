"""What a bead shows: curves, set, stress and life, the law that follows from them."""
