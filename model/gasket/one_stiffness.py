"""The form with one unloading stiffness: below its loading curve the zone springs back along a straight line,

    p = max(0, min(L(c, T), k_u (c - s)))        with k_u the unloading stiffness (MPa/mm),

and its set grows only while it is on that curve: s = c - L(c, T)/k_u. Because k_u is at least the steepest slope of L,
the set never shrinks and a closed loop never gives energy back. A law without unloading stiffness is nonlinear elastic:
it comes back along its loading curve and keeps no set.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar

import numpy as np
from msgspec import Meta

from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import InputError
from headjoint.model.base.units import PositiveStiffnessPerArea
from headjoint.model.gasket.law import GasketLaw
from headjoint.model.gasket.loading import curve_at, pieces_at, steepest, with_line

STATED = "at least the steepest loading slope; left out: comes back along its loading curve"


@dataclass(frozen=True)
class OneStiffnessLaw(GasketLaw):
    """A law that springs back with one stiffness, unloading_stiffness : k_u in MPa/mm, None for no set."""

    unloading_stiffness: float | None = None

    KEYS: ClassVar[Mapping[str, Any]] = {
        "unloading_stiffness": Annotated[PositiveStiffnessPerArea | None, Meta(description=STATED)]
    }

    def pressure(self, closure: float, permanent_set: float, temperature: float) -> float:
        """Return the contact pressure (MPa) at `closure` (mm) for a zone whose set is `permanent_set`."""
        first = self.loading(closure, temperature)
        if self.unloading_stiffness is None:
            return first
        return max(0.0, min(first, self.unloading_stiffness * (closure - permanent_set)))

    def set_after(self, closure: float, permanent_set: float, temperature: float) -> float:
        """Return the permanent set (mm) once `closure` has been reached from `permanent_set`."""
        if self.unloading_stiffness is None or closure <= 0.0:
            return permanent_set
        return max(permanent_set, closure - self.loading(closure, temperature) / self.unloading_stiffness)

    def corners(self, permanent_set: float, temperature: float) -> list[float]:
        """Return the rows of the loading curve, where the zone lifts off, and where its line meets the curve."""
        curve = curve_at(self.curves, temperature)
        if self.unloading_stiffness is None:
            return list(curve.closure)
        return with_line(curve, permanent_set, self.unloading_stiffness)

    def pressures(
        self, closure: FloatArray, permanent_set: FloatArray, temperature: float
    ) -> tuple[FloatArray, FloatArray]:
        """Return pressure (MPa) and slope (MPa/mm) at closures (mm) of points of given sets (mm)."""
        first, slope = pieces_at(self.curves, temperature).at(closure)
        if self.unloading_stiffness is None:
            return first, slope
        back = self.unloading_stiffness * (closure - permanent_set)
        below = back < first
        p, slope = np.where(below, back, first), np.where(below, self.unloading_stiffness, slope)
        open_ = p <= 0.0
        return np.where(open_, 0.0, p), np.where(open_ & below, 0.0, slope)

    def sets_after(self, closure: FloatArray, permanent_set: FloatArray, temperature: float) -> FloatArray:
        """Return the permanent sets (mm) once the closures have been reached."""
        if self.unloading_stiffness is None:
            return permanent_set
        first, _ = pieces_at(self.curves, temperature).at(closure)
        grown = np.where(closure > 0.0, closure - first / self.unloading_stiffness, permanent_set)
        return np.maximum(permanent_set, grown)

    def stiffness_at(self, pressure: FloatArray) -> tuple[float, float]:
        """Return k_u, the same at every pressure."""
        return self._stiffness, 0.0

    def springback(self, pressure: FloatArray, permanent_set: FloatArray) -> tuple[FloatArray, float, float]:
        """Return p/k_u and its slopes."""
        return pressure / self._stiffness, 1.0 / self._stiffness, 0.0

    def bound(self, closure: FloatArray, permanent_set: FloatArray) -> FloatArray:
        """Return the pressure (MPa) on the line at `closure`."""
        return np.maximum(self._stiffness * (closure - permanent_set), 0.0)

    @property
    def _stiffness(self) -> float:
        assert self.unloading_stiffness is not None
        return self.unloading_stiffness

    @property
    def unloading_rows(self) -> tuple[tuple[float, float], ...]:
        """One row, or none."""
        return () if self.unloading_stiffness is None else ((0.0, self.unloading_stiffness),)

    def scaled(self, factor: float) -> OneStiffnessLaw:
        """Return a law that presses `factor` times as hard at every closure, loading and unloading."""
        curves = tuple(curve.scaled(factor) for curve in self.curves)
        back = None if self.unloading_stiffness is None else factor * self.unloading_stiffness
        return dataclasses.replace(self, curves=curves, unloading_stiffness=back)

    def check(self, field: str) -> None:
        """Raise InputError where a loading slope exceeds the unloading stiffness: a loop would give energy back."""
        slope = steepest(self.curves)
        if self.unloading_stiffness is not None and slope > self.unloading_stiffness * (1.0 + 1e-9):
            raise InputError(
                f"the unloading stiffness must be at least the steepest loading slope, {slope:.6g} MPa/mm "
                "(else a closed loop would give energy back); leave it out for a law that keeps no set",
                field=f"{field}.unloading_stiffness",
                value=self.unloading_stiffness,
            )
