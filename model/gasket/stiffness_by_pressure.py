"""The form whose unloading stiffness depends on the greatest pressure reached, as EN 13555 tabulates E_G over stress.

A table gives k(P), linear between its rows and held beyond. A zone that was first loaded to P at closure c_L(P) of the
coldest curve springs back from there along a straight line to its set,

    p = k(P) (c - s),    s(P) = c_L(P) - P/k(P),

and beyond the end of that line it goes on loading. Beyond the last row of curve and table all lines are parallel.

**One scalar of memory is enough** because s rises with P: the set tells the pressure reached, and with it the line.
Along a piece of slope m of the loading curve, ds/dP = 1/m - 1/k + P k'/k^2, and at a fixed pressure p <= P the closure
s + p/k(P) rises with P by 1/m - 1/k + (P - p) k'/k^2, which lies between 1/m - 1/k and ds/dP. So lines never cross
below the curve where k >= m and s rises, and `check` refuses tables where that does not hold. Then every point below
the curve lies on one line, pressure falls as the set grows, and no loop gives energy back (`loop_energy`).

**Temperature** changes loading, not the lines: a line belongs to its set. A zone that is loaded hot, on a softer curve,
keeps the set of a greater pressure in the cold and springs back like it. So that all that is loaded lies below the
coldest curve, that must be the hardest within its rows and the table's; and no curve may be steeper than the table is
from the pressure there on.

**Creep** moves the set and so the line, too: a zone that creeps springs back like one pressed harder. Its amplitude is
rate p/k(p) with the table at the present pressure p, so that the loss which a creep states holds at fixed closure and
stiffness; where the table rises the zone stiffens as it sets and loses less. p/k must not fall with p.
"""

from __future__ import annotations

import bisect
import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Annotated, Any, ClassVar, NamedTuple

import numpy as np
from msgspec import Meta

from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import InputError
from headjoint.model.base.property_table import between
from headjoint.model.base.roots import rising_root
from headjoint.model.base.units import PositiveStiffnessPerArea, ZeroOrPressure
from headjoint.model.gasket.law import GasketLaw
from headjoint.model.gasket.loading import LoadingCurve, curve_at, pieces_at, with_line

Rows = tuple[tuple[float, float], ...]

STATED = (
    "in place of unloading_stiffness: rows of pressure reached, at the lowest temperature, and unloading stiffness "
    "after it, linear between and held beyond"
)
ROUNDING = 1e-9  # of a stiffness or a pressure, as a share
FINDING = 1e-14  # accuracy with which a pressure is found, as a share of its piece of the curve


@dataclass(frozen=True)
class StiffnessByPressureLaw(GasketLaw):
    """A law that springs back by the pressure reached, unloading : rows of pressure (MPa) and stiffness (MPa/mm)."""

    unloading: Rows

    KEYS: ClassVar[Mapping[str, Any]] = {
        "unloading": Annotated[
            Annotated[tuple[tuple[ZeroOrPressure, PositiveStiffnessPerArea], ...], Meta(min_length=1)] | None,
            Meta(description=STATED),
        ]
    }

    def stiffness_after(self, pressure: float) -> float:
        """Return k(P) in MPa/mm."""
        return between(pressure, *zip(*self.unloading, strict=True))

    def pressure(self, closure: float, permanent_set: float, temperature: float) -> float:
        """Return the contact pressure (MPa) at `closure` (mm) for a zone whose set is `permanent_set`."""
        first = self.loading(closure, temperature)
        stiffness, reached = self._line(permanent_set, 0.0)
        back = stiffness * (closure - permanent_set)
        return max(0.0, back) if back < min(first, reached) else first

    def set_after(self, closure: float, permanent_set: float, temperature: float) -> float:
        """Return the permanent set (mm) once `closure` has been reached from `permanent_set`."""
        if closure <= 0.0:
            return permanent_set
        first = self.loading(closure, temperature)
        stiffness, _ = self._line(closure, first)
        return max(permanent_set, closure - first / stiffness)

    def _line(self, closure: float, pressure: float) -> tuple[float, float]:
        """Return the stiffness (MPa/mm) of the line that bears `pressure` (MPa) at `closure`, and where it ends (MPa).

        The line after P bears p at c_L(P) - (P - p)/k(P), which rises with P. From the last knot on all lines are
        parallel and need no end.
        """
        knots = _knots(self.curves[0], self.unloading)
        places = [knot.closure - (knot.pressure - min(pressure, knot.pressure)) / knot.stiffness for knot in knots]
        at = max(bisect.bisect_right(places, closure) - 1, 0)
        knot = knots[at]
        if at + 1 == len(knots):
            return knot.stiffness, math.inf
        if knot.slope == 0.0:
            return knot.stiffness, knot.pressure
        low, high = max(knot.pressure, pressure), knots[at + 1].pressure

        def too_far(share: float) -> float:
            reached = low + share * (high - low)
            bears = knot.closure + (reached - knot.pressure) / knot.slope
            return bears - (reached - pressure) / self.stiffness_after(reached) - closure

        # where the line lies on the curve rounding may keep it from getting too far at all
        share = rising_root(too_far, 0.0, 1.0, FINDING) if too_far(1.0) > 0.0 else 1.0
        reached = low + share * (high - low)
        return self.stiffness_after(reached), reached

    def corners(self, permanent_set: float, temperature: float) -> list[float]:
        """Return the rows of the loading curve, where the zone lifts off, and where its line meets the curve."""
        stiffness, _ = self._line(permanent_set, 0.0)
        return with_line(curve_at(self.curves, temperature), permanent_set, stiffness)

    def pressures(
        self, closure: FloatArray, permanent_set: FloatArray, temperature: float
    ) -> tuple[FloatArray, FloatArray]:
        """Return pressure (MPa) and slope (MPa/mm) at closures (mm) of points of given sets (mm)."""
        first, slope = pieces_at(self.curves, temperature).at(closure)
        line = self._lines.of_sets(permanent_set)
        back = line.stiffness * (closure - permanent_set)
        below = back < np.minimum(first, line.reached)
        return np.where(below, np.maximum(back, 0.0), first), np.where(below, line.stiffness * (back > 0.0), slope)

    def sets_after(self, closure: FloatArray, permanent_set: FloatArray, temperature: float) -> FloatArray:
        """Return the permanent sets (mm) once the closures have been reached."""
        first, _ = pieces_at(self.curves, temperature).at(closure)
        grown = closure - first / self._lines.through(closure, first).stiffness
        return np.maximum(permanent_set, np.where(closure > 0.0, grown, permanent_set))

    def stiffness_at(self, pressure: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return k(p) of the table and its slope."""
        at, k = np.array(self.unloading).T
        slopes = np.concatenate([[0.0], np.diff(k) / np.diff(at), [0.0]])
        return np.interp(pressure, at, k), slopes[at.searchsorted(pressure, side="right")]

    def springback(self, pressure: FloatArray, permanent_set: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return p/k on the line of a set, beyond its end what is left to the coldest curve, and the slopes."""
        line = self._lines.of_sets(permanent_set)
        closure, softness = self._lines.loaded(pressure)
        on = pressure <= line.reached
        back = np.where(on, pressure / line.stiffness, closure - permanent_set)
        by_set = np.where(on, -pressure / line.stiffness**2 * line.stiffening, -1.0)
        return back, np.where(on, 1.0 / line.stiffness, softness), by_set

    def bound(self, closure: FloatArray, permanent_set: FloatArray) -> FloatArray:
        """Return the greatest pressure (MPa) on any curve."""
        return np.max([pieces_at((curve,), curve.temperature).at(closure)[0] for curve in self.curves], axis=0)

    @property
    def _lines(self) -> _Lines:
        return _lines(self.curves[0], self.unloading)

    @property
    def unloading_rows(self) -> Rows:
        """The table."""
        return self.unloading

    def scaled(self, factor: float) -> StiffnessByPressureLaw:
        """Return a law that presses `factor` times as hard at every closure, loading and unloading."""
        curves = tuple(curve.scaled(factor) for curve in self.curves)
        rows = tuple((factor * pressure, factor * stiffness) for pressure, stiffness in self.unloading)
        return dataclasses.replace(self, curves=curves, unloading=rows)

    def check(self, field: str) -> None:
        """Raise InputError where lines would cross, a loop would give energy back, or creep have no one answer."""
        field = f"{field}.unloading"
        for row, ((before, k), (after, k_after)) in enumerate(pairwise(self.unloading), start=1):
            if after <= before:
                raise InputError("pressures must rise from row to row", field=f"{field}[{row}][0]", value=after)
            # d(p/k)/dp = (k - p k')/k^2, and k - p k' is the same all along a row
            if self.creep is not None and k - before * (k_after - k) / (after - before) < -ROUNDING * k:
                raise InputError(
                    "the stiffness of a law that creeps must not grow faster than in proportion to pressure, "
                    f"{k * after / before:.6g} MPa/mm here",
                    field=f"{field}[{row}][1]",
                    value=k_after,
                )
        self._check_coldest(field)
        self._check_slopes(field)
        self._check_sets(field)

    def _check_coldest(self, field: str) -> None:
        """Refuse a curve above the coldest, up to where lines are parallel."""
        coldest, last = self.curves[0], _knots(self.curves[0], self.unloading)[-1].closure
        for curve in self.curves[1:]:
            for closure in sorted({*curve.closure, *coldest.closure, last}):
                hot, cold = curve.at(closure), coldest.at(closure)
                if closure <= last and hot > cold + ROUNDING * (1.0 + cold):
                    raise InputError(
                        "needs the curve of the lowest temperature to be the hardest: at a closure of "
                        f"{closure:g} mm the zone bears {hot:.6g} MPa at {curve.temperature:g} degC and {cold:.6g} MPa "
                        f"at {coldest.temperature:g} degC",
                        field=field,
                    )

    def _check_slopes(self, field: str) -> None:
        """Refuse a loading slope above the stiffness after the pressure there or any greater one."""
        for curve in self.curves:
            for closure, slope in zip(curve.closure, curve.slopes(), strict=False):
                reached = self.curves[0].at(closure)
                beyond = [stiffness for pressure, stiffness in self.unloading if pressure > reached]
                least = min([self.stiffness_after(reached), *beyond])
                if slope > least * (1.0 + ROUNDING):
                    raise InputError(
                        "the unloading stiffness must be at least the steepest loading slope reached (else a closed "
                        f"loop would give energy back): {slope:.6g} MPa/mm from {reached:.6g} MPa on, at "
                        f"{curve.temperature:g} degC",
                        field=field,
                        value=least,
                    )

    def _check_sets(self, field: str) -> None:
        """Refuse a table that falls so fast that the set would fall as pressure rises."""
        for knot, after in pairwise(_knots(self.curves[0], self.unloading)):
            if after.stiffness < knot.stiffness:
                gain = (after.stiffness - knot.stiffness) / (after.pressure - knot.pressure)
                # m k^2 ds/dP = k^2 - m (k - P k'), and k - P k' is the same all along a piece
                if after.stiffness**2 <= knot.slope * (knot.stiffness - gain * knot.pressure):
                    raise InputError(
                        f"falls so fast between {knot.pressure:.6g} and {after.pressure:.6g} MPa that a zone pressed "
                        "harder would keep less set",
                        field=field,
                    )


class _Knot(NamedTuple):
    """A place on the coldest curve: closure, pressure, stiffness after it, slope of the curve from here on."""

    closure: float
    pressure: float
    stiffness: float
    slope: float


@lru_cache(maxsize=256)
def _knots(curve: LoadingCurve, rows: Rows) -> tuple[_Knot, ...]:
    """Return where the coldest curve or the table of stiffness has a row, from a closure of nothing on."""
    places = dict(zip(curve.closure, curve.pressure, strict=True))
    places.setdefault(0.0, 0.0)
    slopes = curve.slopes()
    ends = [*curve.pressure[1:], math.inf]
    pieces = zip(curve.closure, curve.pressure, ends, [*slopes, slopes[-1]], strict=True)
    for closure, start, end, slope in pieces:
        places |= {closure + (p - start) / slope: p for p, _ in rows if start < p < end and slope > 0.0}
    knots = sorted(places.items())
    stiffness = [between(p, *zip(*rows, strict=True)) for _, p in knots]
    rises = [(after - before) / (b - a) for (a, before), (b, after) in pairwise(knots)] + [slopes[-1]]
    return tuple(_Knot(c, p, k, m) for (c, p), k, m in zip(knots, stiffness, rises, strict=True))


@dataclass(frozen=True)
class _Line:
    """Lines of many points: where they end (MPa), their stiffness, and how that grows with the set (MPa/mm2)."""

    reached: FloatArray
    stiffness: FloatArray
    stiffening: FloatArray


@dataclass(frozen=True)
class _Lines:
    """The knots as arrays, with the gain of stiffness by pressure from each on, and the set that each leaves."""

    closure: FloatArray
    pressure: FloatArray
    stiffness: FloatArray
    slope: FloatArray
    gain: FloatArray
    sets: FloatArray

    def of_sets(self, permanent_set: FloatArray) -> _Line:
        """Return the lines of sets (mm)."""
        return self._at(self.sets.searchsorted(permanent_set, side="right") - 1, permanent_set, 0.0)

    def through(self, closure: FloatArray, pressure: FloatArray) -> _Line:
        """Return the lines on which closures (mm) bear pressures (MPa), on or below the coldest curve."""
        bears = self.sets + np.minimum(pressure[..., None], self.pressure) / self.stiffness
        return self._at((closure[..., None] >= bears).sum(axis=-1) - 1, closure, pressure)

    def loaded(self, pressure: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the least closure (mm) that bears `pressure` (MPa) on the coldest curve, and its slope (mm/MPa)."""
        at = np.maximum(self.pressure.searchsorted(pressure, side="left") - 1, 0)
        softness = np.divide(1.0, self.slope, out=np.zeros_like(self.slope), where=self.slope > 0.0)[at]
        return self.closure[at] + (pressure - self.pressure[at]) * softness, softness

    def _at(self, at: IntArray, closure: FloatArray, pressure: FloatArray | float) -> _Line:
        """Return the lines through points, from the knots before them.

        With x = P - P_i, c - c_i = x/m - (P_i + x - p)/(k_i + q x) is q x^2 + b x = d.
        """
        at = np.maximum(at, 0)
        k, m, q, start = self.stiffness[at], self.slope[at], self.gain[at], self.pressure[at]
        over = closure - self.closure[at]
        b = k - m - m * q * over
        d = np.maximum(m * (k * over - (pressure - start)), 0.0)
        root = np.sqrt(np.maximum(b * b + 4.0 * q * d, 0.0))
        # the root that rises from nothing, in the way that does not cancel
        top, bottom = np.where(b >= 0.0, 2.0 * d, root - b), np.where(b >= 0.0, b + root, 2.0 * q)
        x = np.divide(top, bottom, out=np.zeros_like(top), where=bottom > 0.0)
        x = np.minimum(x, np.append(np.diff(self.pressure), np.inf)[at])
        k, reached = k + q * x, start + x
        # dk/ds = k'/(ds/dP)
        bottom = k * (k - m) + m * q * reached
        stiffening = np.divide(q * m * k * k, bottom, out=np.zeros_like(k), where=bottom > 0.0)
        return _Line(np.where(at + 1 == len(self.sets), np.inf, reached), k, stiffening)


@lru_cache(maxsize=256)
def _lines(curve: LoadingCurve, rows: Rows) -> _Lines:
    c, p, k, m = np.array(_knots(curve, rows)).T
    rise = np.append(np.diff(p), 1.0)
    gain = np.divide(np.append(np.diff(k), 0.0), rise, out=np.zeros_like(k), where=rise > 0.0)
    # rounding may have a set fall where a line lies on the curve
    return _Lines(c, p, k, m, gain, np.maximum.accumulate(c - p / k))
