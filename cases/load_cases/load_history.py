"""The load history: tighten, settle, then every load case in order, the gasket remembering its set."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from headjoint.cases.condensed.condensation import GAS
from headjoint.cases.condensed.load_vectors import demand_under, solve_balanced
from headjoint.cases.condensed.reduced_joint import (
    Demand,
    Equilibrium,
    ReducedJoint,
    grown_set,
    overlap_compliance,
    unloading_slope,
)
from headjoint.model.base.arrays import FloatArray
from headjoint.model.joint import Joint
from headjoint.model.load_case import LoadCase


@dataclass(frozen=True)
class State:
    """One converged state of the history.

    name, kind : of the load case; after embedding an extra state of kind "settled" is inserted.
    case : its load case. equilibrium : unknowns, interface pressures and fastener force.
    permanent_set : (g,) mm of every interface point after this state.
    balance : |bolts - gasket - gas| / bolts, the free-body check of the head.
    """

    name: str
    kind: str
    case: LoadCase
    demand: Demand = field(repr=False)
    equilibrium: Equilibrium
    permanent_set: FloatArray = field(repr=False)
    set_before: FloatArray = field(repr=False)
    balance: float

    @property
    def force(self) -> float:
        """Fastener force F_S, N."""
        return float(self.equilibrium.force[0])

    @property
    def overlap(self) -> float:
        """Total overlap of the pretension cut, mm."""
        return float(self.equilibrium.overlap[0])


@dataclass(frozen=True)
class History:
    """All states of one tightening, in order.

    preload : fastener force at assembly, N. cut_compliance : d overlap / d force (mm/N) of tightening a little
    more at assembly, gasket on its loading curve. relief_compliance : the same for a little less, gasket
    springing back.
    """

    joint: Joint
    reduced: ReducedJoint
    states: tuple[State, ...]
    preload: float
    cut_compliance: float
    relief_compliance: float

    def state(self, name: str) -> State:
        """Return the state called `name`."""
        return next(state for state in self.states if state.name == name)


def free_strains(joint: Joint, case: LoadCase) -> dict[str, float]:
    """Return the free thermal strain of each part relative to assembly, dimensionless."""
    reference = joint.assembly_temperature
    strains = {}
    for part, temperature in case.temperatures.items():
        if part == "gasket" or (part == "washer" and joint.washer is None):
            continue
        strains[part] = joint.part_material(part).free_strain(temperature, reference)
    return strains


def load_factors(joint: Joint, case: LoadCase, gas_factor: float = 1.0) -> dict[str, float]:
    """Return the factor of every unit load in a load case; `gas_factor` scales combustion only."""
    return {**free_strains(joint, case), GAS: case.gas_force * gas_factor}


def demand_of(
    joint: Joint,
    reduced: ReducedJoint,
    case: LoadCase,
    *,
    force: float | None = None,
    overlap: float | None = None,
    gas_factor: float = 1.0,
) -> Demand:
    """Return what `reduced.solve` needs for a load case, tightening to `force` or locked at `overlap`."""
    factors = load_factors(joint, case, gas_factor)
    forces = None if force is None else np.array([force])
    overlaps = None if overlap is None else np.array([overlap])
    return demand_under(joint, reduced, case, factors, forces, overlaps)


def run(joint: Joint, reduced: ReducedJoint, preload: float | None = None) -> History:
    """Return the history of `joint` tightened to `preload` (N; the nominal one by default).

    Raises SolveError naming the state that does not come to equilibrium or does not balance.
    """
    preload = joint.tightening.preload if preload is None else preload
    states = tuple(_states(joint, reduced, preload))
    tight = states[0]
    loading = overlap_compliance(reduced, tight.equilibrium.slope)
    back = unloading_slope(reduced, tight.equilibrium, tight.permanent_set, tight.demand.gasket_temperature)
    relief = overlap_compliance(reduced, back)
    return History(joint, reduced, states, preload, float(loading[0, 0]), float(relief[0, 0]))


def _states(joint: Joint, reduced: ReducedJoint, preload: float) -> Iterator[State]:
    assembly = joint.load_cases[0]
    state = _advance(joint, reduced, assembly, assembly.kind, demand_of(joint, reduced, assembly, force=preload), None)
    yield state
    overlap = state.overlap - joint.tightening.embedding
    if joint.tightening.embedding > 0.0:
        settled = LoadCase("settled", "settled", assembly.temperatures, 0.0, 0.0)
        state = _advance(joint, reduced, settled, "settled", demand_of(joint, reduced, settled, overlap=overlap), state)
        yield state
    for case in joint.load_cases[1:]:
        demand = demand_of(joint, reduced, case, overlap=overlap)
        state = _advance(joint, reduced, case, case.kind, demand, state)
        yield state


def _advance(
    joint: Joint, reduced: ReducedJoint, case: LoadCase, kind: str, demand: Demand, before: State | None
) -> State:
    set_before = np.zeros(reduced.points) if before is None else before.permanent_set
    start = None if before is None else before.equilibrium.q
    where = f"load case '{case.name}': "
    equilibrium, balance = solve_balanced(reduced, demand, set_before, start, case.gas_force, where)
    after = grown_set(reduced, equilibrium, set_before, demand.gasket_temperature)
    return State(case.name, kind, case, demand, equilibrium, after, set_before, balance)
