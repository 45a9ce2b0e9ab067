"""Figures of tables in the units of whoever reads."""

from __future__ import annotations

from headjoint.model.base.figure import shown, unit_in

__all__ = ["figure_text", "force_text", "shown", "unit_in", "value_text"]


def figure_text(value: float | None, factor: float = 1.0) -> str:
    """Write a table figure with the digits that matter; nothing for None."""
    if value is None:
        return ""
    value *= factor
    return f"{value:z.{figure_places(value)}f}"


def figure_places(value: float) -> int:
    """Return with how many decimal places a table figure is written; what rounds to nothing is 0.00."""
    size = abs(value)
    if 5e-5 <= size < 0.1:
        return 4
    return 0 if size >= 1000 else 1 if size >= 100 else 2


def value_text(value: float | None, unit: str, units: str) -> str:
    """Write a value of a table unit, with the unit that `units` shows; nothing for None."""
    if value is None:
        return ""
    number, name = shown(value, unit, units)
    return f"{figure_text(number)} {name}".rstrip()


def force_text(force: float, units: str) -> str:
    """Write a force (N) with its unit."""
    return value_text(force / 1e3, "kN", units)
