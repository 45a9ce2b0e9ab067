"""From a load case to what the reduced joint is asked for."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from headjoint.cases.reduced import Demand, ReducedJoint
from headjoint.model.joint import Joint, LoadCase

FloatArray = NDArray[np.float64]


def demand_under(
    joint: Joint,
    reduced: ReducedJoint,
    case: LoadCase,
    factors: Mapping[str, float],
    force: FloatArray | None,
    overlap: FloatArray | None,
) -> Demand:
    """Return the demand of a load case whose unit loads have `factors`, tightened to `force` or locked at `overlap`.

    force, overlap : (fasteners,) N and mm, nan where the other one holds.
    """
    load = np.zeros(len(reduced.K))
    for name, factor in factors.items():
        if name in reduced.loads:
            load += factor * reduced.loads[name]
    gasket = case.temperatures["gasket"]
    growth = np.zeros(reduced.points)
    growth[reduced.gasket_points()] = (
        joint.gasket.expansion * joint.gasket.thickness * (gasket - joint.assembly_temperature)
    )
    reference = joint.tightening.preload * float(reduced.share.sum())
    return Demand(load, growth, gasket, reference, force=force, overlap=overlap)
