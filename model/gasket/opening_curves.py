"""The form whose zone opens along curves: steep at first and then ever softer, as a bead of sheet does.

Each opening is stated from where nothing is borne up to where it begins, on the coldest loading curve. A zone that was
first closed to c opens along a curve between its neighbours: its springback to a share of its pressure goes in a
straight line with c from opening to opening, and beyond the last in proportion to c. Below the first opening it keeps
that opening's share of what loading would bring back: nobody said where yielding begins, and a zone that is taken for
elastic too long keeps pressure that it has not.

**Grid.** All that is turned into rows of closures at common levels of pressure (`opening_grid`): a row for every
pressure that a loading row or an opening states, straight between levels. C_k(p) is the closure at which row k bears p.
A zone between two rows has a share w of the way from the one to the other,

    C(p) = (1 - w) C_k(p) + w C_(k+1)(p)        up to the pressure of row k,

and from there a straight line, parallel to row k + 1, up to the loading curve. Beyond the last row all are parallel.

**One scalar of memory is enough** because the rows do not cross: where what is stated would open less than a zone that
was pressed less, the row is put beyond that zone's (`SPACING`), or upon it where loading is elastic. So a zone of
elastic loading comes back along its loading curve. Then the closure at no pressure, the set, tells the curve; pressure
rises with closure and falls as the set grows, and no loop gives energy back (`loop_energy`).

**Temperature** changes loading, not the curves, as in `stiffness_by_pressure`. **Creep** moves the set; its amplitude
is rate times the springback from the present pressure, which is made to rise with pressure.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Annotated, Any, ClassVar

import numpy as np
from msgspec import Meta

from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import InputError
from headjoint.model.base.units import ZeroOrLength, ZeroOrPressure
from headjoint.model.gasket.law import GasketLaw
from headjoint.model.gasket.loading import curve_at, pieces_at
from headjoint.model.gasket.opening_grid import Grid, grid_of

Openings = tuple[tuple[tuple[float, float], ...], ...]

STATED = (
    "in place of unloading_stiffness: openings, each rows of closure and pressure from where nothing is borne up to "
    "the loading curve of the lowest temperature"
)
ON_CURVE = 1e-6  # by which an opening may begin off the loading curve, as a share of its pressure
MOVED = 0.05  # of its springback, by which the set of an opening may be put beyond another that it would cross
FALLS = 1e-7  # mm, by which a set may fall from rounding
TRIED = 200  # closures at which sets of other temperatures are looked at


@dataclass(frozen=True)
class OpeningCurvesLaw(GasketLaw):
    """A law that opens along curves, openings : rows of closure (mm) and pressure (MPa), both rising, each."""

    openings: Openings

    KEYS: ClassVar[Mapping[str, Any]] = {
        "openings": Annotated[
            Annotated[
                tuple[Annotated[tuple[tuple[ZeroOrLength, ZeroOrPressure], ...], Meta(min_length=2)], ...],
                Meta(min_length=1),
            ]
            | None,
            Meta(description=STATED),
        ]
    }

    @property
    def _grid(self) -> Grid:
        return grid_of(self.curves[0], self.openings)

    def pressure(self, closure: float, permanent_set: float, temperature: float) -> float:
        """Return the contact pressure (MPa) at `closure` (mm) for a zone whose set is `permanent_set`."""
        first = self.loading(closure, temperature)
        opening = self._grid.opening(permanent_set)
        if closure >= opening[-1][0]:
            return first
        for (c0, p0), (c1, p1) in pairwise(opening):
            if c0 <= closure < c1:
                return min(first, p0 + (p1 - p0) * (closure - c0) / (c1 - c0))
        return 0.0

    def set_after(self, closure: float, permanent_set: float, temperature: float) -> float:
        """Return the permanent set (mm) once `closure` has been reached from `permanent_set`."""
        if closure <= 0.0:
            return permanent_set
        return max(permanent_set, self._grid.set_through(closure, self.loading(closure, temperature)))

    @property
    def opening_sets(self) -> tuple[float, ...]:
        """Closures (mm) at which openings bear nothing."""
        return tuple(rows[0][0] for rows in self.openings)

    def corners(self, permanent_set: float, temperature: float) -> list[float]:
        """Return rows of the loading curve and of the zone's opening, and where both meet."""
        curve, opening = curve_at(self.curves, temperature), self._grid.opening(permanent_set)
        x, p = np.array(opening).T
        places = sorted({*curve.closure, *x})
        crossings = []
        for a, b in pairwise(place for place in places if x[0] <= place <= x[-1]):
            over = [float(np.interp(place, x, p)) - curve.at(place) for place in (a, b)]
            if over[0] * over[1] < 0.0:
                crossings.append(a + (b - a) * over[0] / (over[0] - over[1]))
        return sorted({*places, *crossings})

    def pressures(
        self, closure: FloatArray, permanent_set: FloatArray, temperature: float
    ) -> tuple[FloatArray, FloatArray]:
        """Return pressure (MPa) and slope (MPa/mm) at closures (mm) of points of given sets (mm)."""
        first, slope = pieces_at(self.curves, temperature).at(closure)
        back, stiffness, reached = self._grid.borne(closure, permanent_set)
        below = back < np.minimum(first, reached)
        return np.where(below, back, first), np.where(below, stiffness, slope)

    def sets_after(self, closure: FloatArray, permanent_set: FloatArray, temperature: float) -> FloatArray:
        """Return the permanent sets (mm) once the closures have been reached."""
        first, _ = pieces_at(self.curves, temperature).at(closure)
        grown = self._grid.sets_through(closure, first)
        return np.maximum(permanent_set, np.where(closure > 0.0, grown, permanent_set))

    def stiffness_at(self, pressure: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return p/b(p) with b the springback (mm) from p, made to rise with it, and its slope."""
        back, by_pressure = self._grid.mean_springback(pressure)
        some = pressure > 0.0
        stiffness = np.divide(pressure, back, out=1.0 / by_pressure, where=some)
        slope = np.divide(back - pressure * by_pressure, back**2, out=np.zeros_like(back), where=some)
        return stiffness, slope

    def springback(self, pressure: FloatArray, permanent_set: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return how far a zone opens from `pressure` along its curve, beyond its end from the coldest curve."""
        return self._grid.springback(pressure, permanent_set)

    def bound(self, closure: FloatArray, permanent_set: FloatArray) -> FloatArray:
        """Return the greatest pressure (MPa) on any curve."""
        return np.max([pieces_at((curve,), curve.temperature).at(closure)[0] for curve in self.curves], axis=0)

    @property
    def unloading_rows(self) -> tuple[tuple[float, float], ...]:
        """Pressure that each opening begins at (MPa) and its stiffness there (MPa/mm)."""
        return tuple((p1, (p1 - p0) / (c1 - c0)) for *_, (c0, p0), (c1, p1) in self.openings)

    @property
    def stiffest(self) -> float:
        """Greatest stiffness (MPa/mm) of any piece."""
        return self._grid.stiffest

    @property
    def softest(self) -> float:
        """Least mean stiffness (MPa/mm) of any whole opening, stated or between: that of the greatest set by creep."""
        return self._grid.softest

    def scaled(self, factor: float) -> OpeningCurvesLaw:
        """Return a law that presses `factor` times as hard at every closure, loading and unloading."""
        openings = tuple(tuple((closure, factor * pressure) for closure, pressure in rows) for rows in self.openings)
        return dataclasses.replace(self, curves=tuple(one.scaled(factor) for one in self.curves), openings=openings)

    def check(self, field: str) -> None:
        """Raise InputError where openings do not rise, begin off the loading curve or cross, or heat undoes a set."""
        field = f"{field}.openings"
        for number, rows in enumerate(self.openings):
            self._check_rows(rows, f"{field}[{number}]")
        for number, (before, after) in enumerate(pairwise(self.openings), start=1):
            if after[-1][1] <= before[-1][1]:
                raise InputError("must begin at a greater pressure than the one before", field=f"{field}[{number}]")
        for number, rows in enumerate(self.openings):
            grown, (closure, _) = self.set_after(rows[-1][0], 0.0, self.curves[0].temperature), rows[-1]
            if grown - rows[0][0] > MOVED * (closure - rows[0][0]):
                raise InputError(
                    f"would cross the opening of a zone pressed less: it ends at {rows[0][0]:.6g} mm, where no other "
                    f"lets it end before {grown:.6g} mm",
                    field=f"{field}[{number}]",
                )
        self._check_hardest(field)
        self._check_sets(field)

    def _check_rows(self, rows: tuple[tuple[float, float], ...], field: str) -> None:
        if rows[0][1] != 0.0:
            raise InputError("the first row must bear nothing", field=f"{field}[0][1]", value=rows[0][1])
        for number, ((c0, p0), (c1, p1)) in enumerate(pairwise(rows), start=1):
            if c1 <= c0 or p1 <= p0:
                raise InputError("closure and pressure must rise from row to row", field=f"{field}[{number}]")
        closure, pressure = rows[-1]
        loaded = self.curves[0].at(closure)
        if abs(loaded - pressure) > ON_CURVE * (1.0 + pressure):
            raise InputError(
                f"the last row must lie on the loading curve of the lowest temperature, {loaded:.7g} MPa there",
                field=f"{field}[{len(rows) - 1}][1]",
                value=pressure,
            )

    def _check_hardest(self, field: str) -> None:
        """Refuse a loading curve above the coldest, up to where openings go."""
        coldest, last = self.curves[0], float(self._grid.top[-1])
        for curve in self.curves[1:]:
            rows = [place for place in (*coldest.closure, *curve.closure) if place <= last]
            if any(curve.at(place) > coldest.at(place) * (1.0 + 1e-9) for place in rows):
                raise InputError(
                    "needs the curve of the lowest temperature to be the hardest; that at "
                    f"{curve.temperature:g} degC is not",
                    field=field,
                )

    def _check_sets(self, field: str) -> None:
        """Refuse loading curves of other temperatures that are so steep that a zone that opens would set further."""
        # what falls between these is some nanometres, and the zone then opens along the set it had
        closures = np.linspace(0.0, 1.2 * max(curve.closure[-1] for curve in self.curves), TRIED)
        middles = [(a.temperature + b.temperature) / 2.0 for a, b in pairwise(self.curves)]
        for temperature in sorted({*middles, *(curve.temperature for curve in self.curves[1:])}):
            loaded, _ = pieces_at(self.curves, temperature).at(closures)
            sets = self._grid.sets_through(closures, loaded)
            if np.any(np.diff(sets[np.isfinite(sets)]) < -FALLS):
                raise InputError(
                    f"open more softly than the zone is loaded at {temperature:g} degC: it would set by opening",
                    field=field,
                )
