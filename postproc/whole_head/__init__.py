"""What a whole head says: forces of all studs, every bore's sealing line beside its need, pictures, JSON."""
