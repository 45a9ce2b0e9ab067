"""Findings of a service."""
