"""First loading of a gasket zone: piecewise linear curves of pressure over closure, at one or several temperatures."""

from __future__ import annotations

import bisect
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import InputError


@dataclass(frozen=True)
class LoadingCurve:
    """First-loading pressure (MPa) at rising closures (mm), piecewise linear, at one temperature (degC).

    Zero before the first point; beyond the last point the last slope goes on.
    """

    temperature: float
    closure: tuple[float, ...]
    pressure: tuple[float, ...]

    def at(self, closure: float) -> float:
        """Return the first-loading pressure (MPa) at `closure` (mm)."""
        if closure <= self.closure[0]:
            return 0.0
        upper = min(bisect.bisect_left(self.closure, closure), len(self.closure) - 1)
        c0, c1 = self.closure[upper - 1], self.closure[upper]
        p0, p1 = self.pressure[upper - 1], self.pressure[upper]
        return p0 + (p1 - p0) * (closure - c0) / (c1 - c0)

    def slopes(self) -> list[float]:
        """Return the slope (MPa/mm) of each straight piece."""
        return [
            (p1 - p0) / (c1 - c0)
            for c0, c1, p0, p1 in zip(self.closure, self.closure[1:], self.pressure, self.pressure[1:], strict=False)
        ]

    def scaled(self, factor: float) -> LoadingCurve:
        """Return the curve with every pressure times `factor`."""
        return LoadingCurve(self.temperature, self.closure, tuple(factor * p for p in self.pressure))


def loading_at(curves: Sequence[LoadingCurve], closure: float, temperature: float) -> float:
    """Return L(c, T) in MPa: linear in temperature between curves at ascending temperatures, held outside."""
    temperatures = [curve.temperature for curve in curves]
    upper = bisect.bisect_left(temperatures, temperature)
    if upper == 0:
        return curves[0].at(closure)
    if upper == len(curves):
        return curves[-1].at(closure)
    below, above = curves[upper - 1], curves[upper]
    share = (temperature - below.temperature) / (above.temperature - below.temperature)
    return (1.0 - share) * below.at(closure) + share * above.at(closure)


def curve_at(curves: Sequence[LoadingCurve], temperature: float) -> LoadingCurve:
    """Return the loading curve at `temperature` (degC), exact at the rows of both its neighbours."""
    temperatures = [curve.temperature for curve in curves]
    upper = min(bisect.bisect_left(temperatures, temperature), len(temperatures) - 1)
    near = curves[upper]
    if near.temperature <= temperature or upper == 0:
        return LoadingCurve(temperature, near.closure, near.pressure)
    rows = tuple(sorted({*curves[upper - 1].closure, *near.closure}))
    return LoadingCurve(temperature, rows, tuple(loading_at(curves, closure, temperature) for closure in rows))


def with_line(curve: LoadingCurve, foot: float, stiffness: float) -> list[float]:
    """Return the rows of `curve`, the foot (mm) of a line of `stiffness` (MPa/mm), and where line and curve meet."""
    places = sorted({*curve.closure, foot})
    last = places[-1]
    above = {place: stiffness * (place - foot) - curve.at(place) for place in (*places, last + 1.0)}
    crossings = []
    for a, b in pairwise(above):
        slope = (above[b] - above[a]) / (b - a)
        # beyond its last row the curve goes on for good
        if above[a] * above[b] < 0.0 or (a == last and above[a] * slope < 0.0):
            crossings.append(a - above[a] / slope)
    return sorted({*places, *crossings})


def steepest(curves: Sequence[LoadingCurve]) -> float:
    """Return the greatest slope (MPa/mm) of any curve."""
    return max(slope for curve in curves for slope in curve.slopes())


@dataclass(frozen=True)
class Pieces:
    """A piecewise linear loading curve at one temperature, as arrays: closure mm, pressure MPa, slope MPa/mm."""

    closure: FloatArray
    pressure: FloatArray
    slope: FloatArray

    def at(self, closure: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return first-loading pressure (MPa) and slope (MPa/mm) at many closures (mm)."""
        piece = self.closure.searchsorted(closure, side="right") - 1
        touching = piece >= 0
        piece = np.minimum(np.maximum(piece, 0), len(self.slope) - 1)
        slope = self.slope[piece] * touching
        return self.pressure[piece] * touching + slope * (closure - self.closure[piece]), slope


@lru_cache(maxsize=256)
def pieces_at(curves: tuple[LoadingCurve, ...], temperature: float) -> Pieces:
    """Return the loading curve at `temperature` (degC) as arrays, exact on the rows of both its neighbours."""
    rows = sorted({closure for curve in curves for closure in curve.closure})
    p = np.array([loading_at(curves, closure, temperature) for closure in rows])
    c = np.array(rows)
    slope = np.diff(p) / np.diff(c)
    # beyond the shorter of two curves the longer one still has rows, and each goes on with its last slope
    beyond = loading_at(curves, rows[-1] + 1.0, temperature) - p[-1]
    return Pieces(c, p, np.append(slope, beyond))


def check_curve(curve: LoadingCurve, where: str) -> None:
    """Raise InputError unless closures rise strictly from first touch and pressures never fall from zero."""
    if len(curve.closure) != len(curve.pressure):
        raise InputError(
            f"closure has {len(curve.closure)} values and pressure {len(curve.pressure)}; give as many",
            field=where,
        )
    if len(curve.closure) < 2:
        raise InputError("a pressure-closure table needs at least two rows", field=f"{where}.closure")
    for name, values, strictly in (("closure", curve.closure, True), ("pressure", curve.pressure, False)):
        for row, (before, after) in enumerate(zip(values, values[1:], strict=False), start=1):
            if after < before or (strictly and after == before):
                need = "rise from row to row" if strictly else "not fall from row to row"
                raise InputError(
                    f"the gasket law is not monotonic: {name} must {need}, "
                    f"but row {row + 1} has {after:g} after {before:g}",
                    field=f"{where}.{name}[{row}]",
                )
    if curve.closure[0] < 0.0:
        raise InputError("closure starts at first touch, so no row may be negative", field=f"{where}.closure[0]")
    if curve.pressure[0] != 0.0:
        raise InputError(
            "the first row must have zero pressure (the zone just touches)",
            field=f"{where}.pressure[0]",
            value=curve.pressure[0],
        )
