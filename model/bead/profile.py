"""The middle line of a beaded sheet: height over place, as stated by height, width and radii, or by points.

A full bead rises and falls again: its middle (the crown) is at x = 0. A half bead is a step: it rises from x = -w/2 to
w/2. Outside its width the sheet is flat. The height is that of the middle line, which is what a height gauge shows less
the thickness of the sheet.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import InputError

Kind = Literal["full", "half"]


@dataclass(frozen=True)
class Profile:
    """Middle line of a bead, a graph y(x), as rows close enough that straight pieces between them serve.

    kind : full or half. height, width : mm. rows : (2, n) x and y in mm, rising x, of the whole bead.
    slopes : (n,) dy/dx at the rows.
    """

    kind: Kind
    height: float
    width: float
    rows: FloatArray
    slopes: FloatArray

    def at(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return height (mm) and slope of the middle line at places x (mm)."""
        return np.interp(x, *self.rows), np.interp(x, self.rows[0], self.slopes)

    def along(self, x: FloatArray) -> FloatArray:
        """Return the length (mm) along the middle line from the first row to places x (mm), flat beyond the rows."""
        length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(self.rows, axis=1)))])
        inside = np.interp(x, self.rows[0], length)
        return inside + np.minimum(x - self.rows[0, 0], 0.0) + np.maximum(x - self.rows[0, -1], 0.0)

    def higher(self, change: float) -> Profile:
        """Return the profile stretched upwards by `change` (mm)."""
        share = 1.0 + change / self.height
        rows = self.rows * np.array([[1.0], [share]])
        return Profile(self.kind, self.height + change, self.width, rows, share * self.slopes)


def cosine(kind: Kind, height: float, width: float, count: int = 2001) -> Profile:
    """Return a bead of cosine shape: y = h/2 (1 + cos 2 pi x/w), as a half bead y = h/2 (1 + sin pi x/w)."""
    x = np.linspace(-width / 2.0, width / 2.0, count)
    if kind == "full":
        a = 2.0 * math.pi / width
        return Profile(kind, height, width, np.array([x, height / 2.0 * (1.0 + np.cos(a * x))]),
                       -height / 2.0 * a * np.sin(a * x))  # fmt: skip
    a = math.pi / width
    return Profile(kind, height, width, np.array([x, height / 2.0 * (1.0 + np.sin(a * x))]),
                   height / 2.0 * a * np.cos(a * x))  # fmt: skip


def arcs(kind: Kind, height: float, width: float, foot: float, crown: float, count: int = 2001) -> Profile:
    """Return a bead of two arcs a side, with a straight flank between them where there is room.

    foot, crown : radii of the middle line at its lower and upper end, mm. With R = foot + crown, a the width of one
    side, the flank is L = sqrt(a^2 + h^2 - 2 R h) long and leans by atan(a/(R - h)) - atan(L/R).

    Raises InputError where the arcs do not fit into height and width.
    """
    side, both = (width / 2.0 if kind == "full" else width), foot + crown
    rest = side**2 + height**2 - 2.0 * both * height
    if rest < 0.0:
        most = (side**2 + height**2) / (2.0 * height)
        raise InputError(
            f"foot and crown radius of the middle line are {both:.4g} mm together, and a side {side:.4g} mm wide and "
            f"{height:.4g} mm high has room for {most:.4g} mm",
            field="bead.crown_radius",
        )
    angle = math.atan2(side, both - height) - math.atan2(math.sqrt(rest), both)
    x = np.linspace(0.0, side, count)  # from the foot up
    y, slope = np.empty(count), np.empty(count)
    low, high = x <= foot * math.sin(angle), x >= side - crown * math.sin(angle)
    flank = ~low & ~high
    y[low] = foot - np.sqrt(foot**2 - x[low] ** 2) if foot > 0.0 else 0.0
    over = side - x[high]
    y[high] = height - (crown - np.sqrt(crown**2 - over**2) if crown > 0.0 else 0.0)
    start = foot * (1.0 - math.cos(angle))
    y[flank] = start + (x[flank] - foot * math.sin(angle)) * math.tan(angle)
    slope[low] = x[low] / np.sqrt(np.maximum(foot**2 - x[low] ** 2, 1e-30))
    slope[high] = over / np.sqrt(np.maximum(crown**2 - over**2, 1e-30))
    slope[flank] = math.tan(angle)
    if kind == "half":
        return Profile(kind, height, width, np.array([x - side / 2.0, y]), slope)
    x = x - side
    rows = np.array([np.concatenate([x, -x[-2::-1]]), np.concatenate([y, y[-2::-1]])])
    return Profile(kind, height, width, rows, np.concatenate([slope, -slope[-2::-1]]))


def through(kind: Kind, x: FloatArray, y: FloatArray) -> Profile:
    """Return the bead whose middle line goes through measured points (mm), smoothly, flat outside them.

    A full bead is put with its highest point at x = 0 and made symmetric, from the means of both sides.

    Raises InputError where points do not rise in x or no bead is to be seen.
    """
    from scipy.interpolate import PchipInterpolator

    if len(x) < 5 or np.any(np.diff(x) <= 0.0):
        raise InputError("needs at least five points with rising places across the bead", field="bead.points")
    y = y - min(y[0], y[-1])
    height = float(y.max())
    if height <= 0.0:
        raise InputError("shows no bead: no point is higher than its first and last", field="bead.points")
    curve = PchipInterpolator(x, y)
    if kind == "half":
        if y[0] > 0.02 * height:
            raise InputError("a half bead rises from its first point to its last", field="bead.points")
        width = float(x[-1] - x[0])
        places = np.linspace(x[0], x[-1], 2001)
        rows = np.array([places - x[0] - width / 2.0, curve(places)])
    else:
        middle = float(x[np.argmax(y)])
        half = float(min(middle - x[0], x[-1] - middle))
        places = np.linspace(-half, half, 2001)
        even = (curve(middle + places) + curve(middle - places)) / 2.0
        width, rows = 2.0 * half, np.array([places, even - even[0]])
        height = float(rows[1].max())
    return Profile(kind, height, width, rows, np.gradient(rows[1], rows[0]))
