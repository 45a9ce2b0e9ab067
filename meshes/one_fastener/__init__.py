"""The axisymmetric grid of one fastener and its joint."""
