"""The base of every table that a file may hold."""

from __future__ import annotations

from typing import Any, dataclass_transform

from msgspec import Struct, field


@dataclass_transform(kw_only_default=True, frozen_default=True, field_specifiers=(field,))
class Table(Struct, forbid_unknown_fields=True, frozen=True, kw_only=True):
    """No unknown keys."""


def bare(number: float) -> Any:
    """Return the default of a quantity as it is, in the internal unit: schemas write it out, and nothing reads it."""
    return number
