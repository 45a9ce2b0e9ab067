"""The base of every table that a file may hold."""

from __future__ import annotations

from msgspec import Struct


# Defaults are bare numbers in internal units: the schema writes them out, and they are not read again.
class Table(Struct, forbid_unknown_fields=True, frozen=True, kw_only=True):
    """No unknown keys."""
