"""How far a gasket zone opens that was closed to a place before, between or beyond the openings that are stated."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from headjoint.model.base.arrays import FloatArray, IntArray

BELOW_TOP = 1e-6  # share of the pressure reached, at which slopes stand for what is nothing over nothing at the top

Rows = tuple[tuple[float, float], ...]  # closure, mm, and pressure, MPa, of an opening from its set up


class Loaded(NamedTuple):
    """The coldest loading curve by pressure: levels (MPa), column of each row, closures (mm) of the rows."""

    level: FloatArray
    column: IntArray
    top: FloatArray

    def closure_at(self, pressure: FloatArray) -> FloatArray:
        """Return the closure (mm) that bears pressures, the greatest where the curve is flat."""
        last = self.column.searchsorted(np.arange(len(self.level)), side="right") - 1
        return np.interp(pressure, self.level, self.top[last])


def springback(
    place: float,
    pressure: FloatArray,
    begun: FloatArray,
    openings: tuple[Rows, ...],
    elastic: FloatArray,
    loaded: Loaded,
) -> FloatArray:
    """Return how far (mm) a zone closed to `place` opens to pressures (MPa), the last of them what it bears there,
    between openings `begun` there.

    Places are from first touch. Below the first opening, its springback over what loading goes back stays, a share of
    `elastic`; beyond the last it grows in proportion. A share that goes to one takes what yields at first touch, as
    soft metal does, for elastic: kinder than the truth.
    """
    share = pressure / pressure[-1]
    after = int(begun.searchsorted(place))
    if after == len(begun):
        return place / begun[-1] * _opened(openings[-1], share)
    if after == 0:
        share = np.minimum(share, 1.0 - BELOW_TOP)
        closure, reached = openings[0][-1]
        loading = closure - loaded.closure_at(share * reached)
        return elastic * np.minimum(_opened(openings[0], share) / loading, 1.0)
    way = (place - begun[after - 1]) / (begun[after] - begun[after - 1])
    return _between(openings[after - 1], openings[after], way, pressure)


def _between(shallower: Rows, deeper: Rows, way: float, pressure: FloatArray) -> FloatArray:
    """Return how far (mm) a zone `way` from one opening to the next opens to pressures (MPa), the last its own.

    In a straight line from the one to the other at a share of their pressures, but no further than the farther of two
    that a knee moves between: down from its own pressure as the deeper one does, and up from its own set as the
    shallower one. Of two branches that openings have in common, each shifted along, that is where they meet; the
    straight line alone smears a knee that moves, and bears more than the bead.
    """
    share = pressure / pressure[-1]
    straight = (1.0 - way) * _opened(shallower, share) + way * _opened(deeper, share)
    reached = deeper[-1][1]
    down = _opened(deeper, np.maximum(reached - pressure[-1] + pressure, 0.0) / reached)
    (c0, p0), (c1, p1) = shallower[-2:]
    whole = shallower[-1][0] - shallower[0][0]
    up = straight[0] - whole + _opened(shallower, pressure / p1)
    up -= np.maximum(pressure - p1, 0.0) * (c1 - c0) / (p1 - p0)
    return np.minimum(straight, np.maximum(down, up))


def _opened(rows: Rows, share: FloatArray) -> FloatArray:
    """Return how far (mm) an opening has come at shares of the pressure that it began at."""
    closure, pressure = np.array(rows).T
    return closure[-1] - np.interp(share, pressure / pressure[-1], closure)
