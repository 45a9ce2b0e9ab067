"""A quantity given at times, linear between."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from headjoint.model.base.errors import InputError
from headjoint.model.base.property_table import between


@dataclass(frozen=True)
class TimeTable:
    """A quantity at ascending times (s), linear between and held before the first and after the last.

    A step is a steep ramp: two rows a short time apart. Raises InputError for times that do not ascend.
    """

    times: tuple[float, ...]
    values: tuple[float, ...]

    def __post_init__(self) -> None:
        if not self.times or len(self.times) != len(self.values):
            raise InputError(
                "a time table needs at least one row, and a value for every time",
                value=(len(self.times), len(self.values)),
            )
        for number in (*self.times, *self.values):
            if not math.isfinite(number):
                raise InputError("a time table takes finite numbers only", value=number)
        for before, after in zip(self.times, self.times[1:], strict=False):
            if after <= before:
                raise InputError(
                    f"times of a table must ascend, but {after:g} s follows {before:g} s; for a step give a steep ramp",
                    value=after,
                )

    def times_factor(self, factor: float) -> TimeTable:
        """Return the table with every value times a factor."""
        return TimeTable(self.times, tuple(factor * value for value in self.values))

    @classmethod
    def from_rows(cls, rows: Sequence[Sequence[float]]) -> TimeTable:
        """Build a table from [time, value] rows."""
        return cls(tuple(float(row[0]) for row in rows), tuple(float(row[1]) for row in rows))

    def __call__(self, time: float) -> float:
        """Return the quantity at a time (s)."""
        return between(time, self.times, self.values)
