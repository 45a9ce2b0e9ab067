"""Values of pictures in the reader's units: turned here, from the internal units in which everything is solved."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import overload

import numpy as np

from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.figure import Figure, shown
from headjoint.model.base.units import DIMENSIONS


@cache
def _internal(unit: str) -> float:
    """Return how much of its internal unit one table unit is; differences and what has no unit are written as they are.

    The internal unit of a compliance is mm/N, that of an angle rad.
    """
    return next((table[unit] for _, _, table in DIMENSIONS.values() if unit in table), 1.0)


@dataclass(frozen=True)
class Scale:
    """How one quantity is shown. table_unit : that of SI readers. units : "si" or "workshop".

    Values come in internal units: N, mm, MPa, N.mm, rad, s, degC, K.
    """

    table_unit: str
    units: str = "si"

    @property
    def unit(self) -> str:
        """The unit that is shown."""
        return shown(0.0, self.table_unit, self.units)[1]

    @overload
    def __call__(self, values: float) -> float: ...

    @overload
    def __call__(self, values: FloatArray | Sequence[float]) -> FloatArray: ...

    def __call__(self, values: float | FloatArray | Sequence[float]) -> float | FloatArray:
        """Return values in the unit that is shown."""
        return self.of_table(np.asarray(values, dtype=float) / _internal(self.table_unit))

    @overload
    def of_table(self, values: float) -> float: ...

    @overload
    def of_table(self, values: FloatArray | Sequence[float]) -> FloatArray: ...

    def of_table(self, values: float | FloatArray | Sequence[float]) -> float | FloatArray:
        """Return values, given in the table unit, in the unit that is shown."""
        zero, one = (shown(at, self.table_unit, self.units)[0] for at in (0.0, 1.0))
        found: FloatArray = np.asarray(values, dtype=float) * (one - zero) + zero
        return float(found) if found.ndim == 0 else found

    def axis(self, quantity: str) -> str:
        """Return what an axis says: quantity and unit."""
        return f"{quantity}, {self.unit}" if self.unit else quantity

    def text(self, value: float, digits: str = ".1f") -> str:
        """Write a value with its unit; digits : a format for SI readers, others get as many significant ones."""
        return self.text_of_table(value / _internal(self.table_unit), digits)

    def text_of_table(self, value: float, digits: str = ".1f") -> str:
        """Write a value, given in the table unit, as `text` does."""
        return Figure(value, self.table_unit, digits).written(self.units)

    def number(self, value: float, digits: str = ".1f") -> str:
        """Write a value without its unit, where an axis or a heading says it."""
        return self.text(value, digits).removesuffix(self.unit).rstrip()


@dataclass(frozen=True)
class Scales:
    """All scales of a picture for readers of one system of units."""

    units: str = "si"

    def of(self, unit: str) -> Scale:
        """Return the scale of what tables show in a unit; lengths there are readings of a gauge."""
        return self.fine if unit == "mm" else Scale(unit, self.units)

    @property
    def force(self) -> Scale:
        """Forces."""
        return Scale("kN", self.units)

    @property
    def pressure(self) -> Scale:
        """Pressures on faces, and stresses."""
        return Scale("MPa", self.units)

    @property
    def length(self) -> Scale:
        """Lengths of parts."""
        return Scale("mm", self.units)

    @property
    def small(self) -> Scale:
        """Stretch, closure and other lengths of hundredths of a millimetre."""
        return Scale("um", self.units)

    @property
    def fine(self) -> Scale:
        """Closures of a gasket and readings of a gauge; SI readers are used to millimetres there."""
        return Scale("mm" if self.units == "si" else "um", self.units)

    @property
    def stiffness(self) -> Scale:
        """Stiffness of a gasket per area."""
        return Scale("MPa/mm", self.units)

    @property
    def torque(self) -> Scale:
        """Torques of a wrench."""
        return Scale("N.m", self.units)

    @property
    def temperature(self) -> Scale:
        """Temperatures."""
        return Scale("degC", self.units)

    @property
    def time(self) -> Scale:
        """Times of a warm-up."""
        return Scale("min", self.units)

    @property
    def angle(self) -> Scale:
        """Angles of a wrench."""
        return Scale("deg", self.units)
