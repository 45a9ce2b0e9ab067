"""A quantity by rows, linear between and held beyond the ends: a property over temperature."""

from __future__ import annotations

import bisect
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from headjoint.model.base.arrays import FloatArray


def between(x: float, places: Sequence[float], values: Sequence[float]) -> float:
    """Return the value at `x` of rows at ascending places: linear between, held beyond the ends."""
    upper = bisect.bisect_left(places, x)
    if upper == 0:
        return values[0]
    if upper == len(places):
        return values[-1]
    share = (x - places[upper - 1]) / (places[upper] - places[upper - 1])
    return (1.0 - share) * values[upper - 1] + share * values[upper]


@dataclass(frozen=True)
class PropertyTable:
    """A property at ascending temperatures (degC), linear between and held beyond its ends."""

    temperatures: tuple[float, ...]
    values: tuple[float, ...]

    @classmethod
    def from_rows(cls, rows: float | Sequence[Sequence[float]]) -> PropertyTable:
        """Build a table from one number or from [temperature, value] rows."""
        if isinstance(rows, (int, float)):
            return cls((20.0,), (float(rows),))
        return cls(tuple(float(row[0]) for row in rows), tuple(float(row[1]) for row in rows))

    def at(self, temperature: float) -> float:
        """Return the property at a temperature (degC)."""
        return between(temperature, self.temperatures, self.values)

    def times(self, factor: float) -> PropertyTable:
        """Return the table with every value times a factor."""
        return PropertyTable(self.temperatures, tuple(factor * value for value in self.values))


def looked_up(table: PropertyTable, temperature: FloatArray) -> FloatArray | float:
    """Return a table's values; segment by segment, several times faster than numpy.interp for tables of a few rows."""
    at, value = table.temperatures, table.values
    if len(value) == 1:
        return value[0]
    total = np.full_like(temperature, value[0])
    for t_0, t_1, v_0, v_1 in zip(at, at[1:], value, value[1:], strict=False):
        total += (v_1 - v_0) / (t_1 - t_0) * (np.clip(temperature, t_0, t_1) - t_0)
    return total
