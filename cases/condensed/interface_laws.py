"""Pressure at all interface points at once: the gasket laws of `headjoint.model.gasket.laws`, vectorised.

The scalar laws are the reference (a test holds both against each other); here many Gauss points share one
law and are evaluated together with their slopes, as the Newton solve needs them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.gasket.laws import GasketLaw, LoadingCurve

# Frictionless metal faces: a penalty so stiff that 300 MPa press in by 3e-6 mm, nothing beside a stud's
# stretch of some tenths.
BEARING_STIFFNESS = 1e8  # MPa/mm
BEARING = GasketLaw(
    name="metal on metal",
    curves=(LoadingCurve(20.0, (0.0, 1.0), (0.0, BEARING_STIFFNESS)),),
    unloading_stiffness=None,
)


@dataclass(frozen=True)
class PointGroup:
    """The points (indices) of one interface and their law; step (mm) is lost before the zone touches."""

    name: str
    kind: str
    points: IntArray
    law: GasketLaw
    step: float = 0.0


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
def loading_at(law: GasketLaw, temperature: float) -> Pieces:
    """Return the loading curve of `law` at `temperature` (degC), exact on the rows of both its neighbours."""
    rows = sorted({closure for curve in law.curves for closure in curve.closure})
    p = np.array([law.loading(closure, temperature) for closure in rows])
    c = np.array(rows)
    slope = np.diff(p) / np.diff(c)
    # beyond the shorter of two curves the longer one still has rows, and each goes on with its last slope
    beyond = law.loading(rows[-1] + 1.0, temperature) - p[-1]
    return Pieces(c, p, np.append(slope, beyond))


def pressure(
    law: GasketLaw, closure: FloatArray, permanent_set: FloatArray, temperature: float
) -> tuple[FloatArray, FloatArray]:
    """Return pressure (MPa) and its slope (MPa/mm) at closures (mm) of zones with `permanent_set` (mm)."""
    first, slope = loading_at(law, temperature).at(closure)
    if law.unloading_stiffness is None:
        return first, slope
    back = law.unloading_stiffness * (closure - permanent_set)
    below = back < first
    p, slope = np.where(below, back, first), np.where(below, law.unloading_stiffness, slope)
    open_ = p <= 0.0
    return np.where(open_, 0.0, p), np.where(open_ & below, 0.0, slope)


def set_after(law: GasketLaw, closure: FloatArray, permanent_set: FloatArray, temperature: float) -> FloatArray:
    """Return the permanent set (mm) once the closures have been reached."""
    if law.unloading_stiffness is None:
        return permanent_set
    first, _ = loading_at(law, temperature).at(closure)
    grown = np.where(closure > 0.0, closure - first / law.unloading_stiffness, permanent_set)
    return np.maximum(permanent_set, grown)
