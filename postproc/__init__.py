"""Findings, verdicts, tables, pictures and files."""
