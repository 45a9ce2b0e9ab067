"""Findings of one fastener."""
