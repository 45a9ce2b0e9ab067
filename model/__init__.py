"""What the joint is, and its mechanics without a mesh."""
