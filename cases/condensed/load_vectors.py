"""From a load case to what the reduced joint is asked for."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from headjoint.cases.condensed.reduced_joint import Demand, Equilibrium, ReducedJoint, solve
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import SolveError
from headjoint.model.joint import Joint
from headjoint.model.load_case import LoadCase

BALANCE_TOLERANCE = 1e-8  # of the clamp: bolts = gasket + gas


def load_under(loads: Mapping[str, FloatArray], factors: Mapping[str, float]) -> FloatArray:
    """Return the sum of unit `loads` (n,) times their factors; a factor of no load counts nothing."""
    total = np.zeros_like(next(iter(loads.values())))
    for name, factor in factors.items():
        if name in loads:
            total += factor * loads[name]
    return total


def gasket_growth(joint: Joint, case: LoadCase) -> float:
    """Return the closure (mm) that the gasket's free expansion adds in a load case."""
    rise = case.temperatures["gasket"] - joint.assembly_temperature
    return joint.gasket.expansion * joint.gasket.thickness * rise


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
    growth = np.zeros(reduced.points)
    growth[reduced.gasket_points()] = gasket_growth(joint, case)
    return Demand(
        load=load_under(reduced.loads, factors),
        growth=growth,
        gasket_temperature=case.temperatures["gasket"],
        reference_force=joint.reference_force * float(reduced.share.sum()),
        force=force,
        overlap=overlap,
    )


def solve_balanced(
    reduced: ReducedJoint,
    demand: Demand,
    permanent_set: FloatArray,
    start: FloatArray | None,
    lift: float,
    where: str,
) -> tuple[Equilibrium, float]:
    """Return the equilibrium of a demand and its free-body error; `lift` is the force (N) of gas on the head.

    The error is |bolts - gasket - gas| over the largest of them and the demand's reference force, which stands in where
    a cold head has let go and no clamp is left to measure by.

    Raises SolveError, with `where` before it, when it does not converge or does not balance.
    """
    try:
        equilibrium = solve(reduced, demand, permanent_set, start)
    except SolveError as error:
        raise SolveError(f"{where}{error}") from None
    return equilibrium, checked_balance(reduced, demand, equilibrium, lift, where)


def checked_balance(reduced: ReducedJoint, demand: Demand, equilibrium: Equilibrium, lift: float, where: str) -> float:
    """Return the free-body error of an equilibrium as `solve_balanced` measures it; SolveError beyond its tolerance."""
    at = reduced.gasket_points()
    gasket = float(np.sum(reduced.weight[at] * equilibrium.pressure[at]))
    bolts = float(np.sum(equilibrium.force * reduced.share))
    error = abs(bolts - gasket - lift) / max(abs(bolts), gasket, lift, demand.reference_force)
    if error > BALANCE_TOLERANCE:
        raise SolveError(
            f"{where}bolts, gasket and gas do not balance, {error:.1e} of the clamp (allowed {BALANCE_TOLERANCE:.0e})"
        )
    return error
