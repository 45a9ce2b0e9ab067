"""The points of an interface with the law that acts there, and the law of metal on metal."""

from __future__ import annotations

from dataclasses import dataclass

from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.gasket.law import GasketLaw
from headjoint.model.gasket.loading import LoadingCurve
from headjoint.model.gasket.one_stiffness import OneStiffnessLaw

# Frictionless metal faces: a penalty so stiff that 300 MPa press in by 3e-6 mm, nothing beside a stud's
# stretch of some tenths.
BEARING_STIFFNESS = 1e8  # MPa/mm
BEARING = OneStiffnessLaw(
    name="metal on metal",
    curves=(LoadingCurve(20.0, (0.0, 1.0), (0.0, BEARING_STIFFNESS)),),
    unloading_stiffness=None,
)


@dataclass(frozen=True)
class PointGroup:
    """The points (indices) of one interface and their law.

    step : mm lost before the zone touches, of all or (k,) of each. hotter : K above the gasket's temperature.
    """

    name: str
    kind: str
    points: IntArray
    law: GasketLaw
    step: float | FloatArray = 0.0
    hotter: float = 0.0
