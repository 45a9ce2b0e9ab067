"""Rigid dies that stamp a bead: the sheet's middle line moved out by half its thickness on either side.

A die is a curve y(x), touched without friction, as lubricated tools nearly are. Pressure goes with the overlap straight
up; its force stands square on the curve, for it is the slope of what the overlap stores.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from headjoint.cases.bead.decks import NOTHING_TRIED, Rub, Touch, Tried, sprung
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import SolveError
from headjoint.model.bead.profile import Profile


@dataclass(frozen=True)
class Die:
    """One die. side : 1 where it lies below the sheet, -1 above. nodes, weight (mm) : of the sheet's face.

    stiffness : MPa/mm. rows : (4, n) x, y (mm), dy/dx and d2y/dx2 (1/mm) of its curve, rising x, flat beyond.
    """

    side: int
    nodes: IntArray = field(repr=False)
    weight: FloatArray = field(repr=False)
    stiffness: float
    rows: FloatArray = field(repr=False)

    def touched(
        self, height: float, places: FloatArray, moved: FloatArray, anchor: FloatArray, tried: Tried = NOTHING_TRIED
    ) -> Touch:
        """Return what the die, moved up by `height` (mm), does to nodes at `places` (k, 2); `tried` as of decks."""
        x, side, w = places[:, 0], self.side, self.weight
        y, lean, bend = (np.interp(x, self.rows[0], row) for row in self.rows[1:])
        pressure, slope = sprung(side * (height + y - places[:, 1]), self.stiffness, tried.bore)
        # o = side (y(x) - y): force = -p grad o, stiffness = p' grad o grad o + p grad grad o
        force = np.column_stack([-side * lean * pressure * w, side * pressure * w])
        across = -slope * lean * w
        by_x = (slope * lean**2 + side * pressure * bend) * w
        smooth = Rub(*(np.zeros_like(w) for _ in range(4)))
        return Touch(pressure, smooth, force, slope * w, by_x, across, across)


def die_rows(profile: Profile, offset: float, lifted: float = 0.0) -> FloatArray:
    """Return the rows of a die that lies `offset` (mm) above the middle line, square to it; flat at both ends.

    lifted : mm that the middle line lies higher than its profile.

    Raises SolveError where a radius of the middle line is too small for it.
    """
    x, y = profile.rows
    slope = profile.slopes
    square = np.sqrt(1.0 + slope**2)
    x, y = x - offset * slope / square, y + lifted + offset / square
    if np.any(np.diff(x) <= 0.0):
        raise SolveError("dies that stamp this bead would fold: give it larger radii, or a thinner sheet")
    ends = 1e-6  # mm, over which the curve becomes flat
    x = np.concatenate([[x[0] - ends], x, [x[-1] + ends]])
    y = np.concatenate([[lifted + offset], y, [y[-1]]])
    slope = np.concatenate([[0.0], slope, [0.0]])
    bend = np.gradient(slope, x)
    bend[[0, -1]] = 0.0
    return np.array([x, y, slope, bend])
