"""One step of a service: equilibrium under a load case, and what the joint remembers of it."""

from __future__ import annotations

import dataclasses
import math

import numpy as np

from headjoint.cases.condensed.condensation import GAS
from headjoint.cases.condensed.gasket_creep import CreepStep, creep_growth
from headjoint.cases.condensed.load_vectors import demand_under, load_under, solve_balanced
from headjoint.cases.condensed.reduced_joint import Equilibrium, grown_set
from headjoint.cases.service.fastener_law import Twist, at_rest, flow_stress
from headjoint.cases.service.memory import Memory
from headjoint.cases.service.model import ServiceModel
from headjoint.model.base.arrays import FloatArray
from headjoint.model.formulas.strength import bearing_faces
from headjoint.model.load_case import LoadCase

LARGEST_DROP = 0.004  # share of clamp that may go in one substep: its stress is held while the substep creeps
SHORTEST_SUBSTEP, SHORTEST_SHARE = 1.0, 0.1  # s, and of the hold so far
ONSET = 60.0  # s, before which little of embedding and bearing set follows


@dataclasses.dataclass(frozen=True)
class Reached:
    """A converged state, what the joint remembers after it, and its free-body error over the clamp."""

    memory: Memory
    equilibrium: Equilibrium = dataclasses.field(repr=False)
    balance: float = 0.0

    @property
    def force(self) -> FloatArray:
        """Fastener forces (f,), N."""
        return self.equilibrium.force


class FractureError(Exception):
    """A fastener was pulled past its uniform elongation; its number, and the state in which that was found."""

    def __init__(self, number: int, memory: Memory, equilibrium: Equilibrium) -> None:
        super().__init__(f"fastener {number + 1} breaks")
        self.number, self.memory, self.equilibrium = number, memory, equilibrium


def settle(
    model: ServiceModel,
    memory: Memory,
    case: LoadCase,
    *,
    force: FloatArray | None = None,
    arm: float = 0.0,
    gas: bool = True,
    duration: float = 0.0,
    heat: FloatArray | None = None,
    name: str = "",
) -> Reached:
    """Return the equilibrium under a load case, locked at the nuts' travel or turned to `force` (f,) N.

    force : nan where locked. arm : mm, torsion over force of those that are turned, all of them where no force is
    given. gas : False leaves the case's gas out. duration : s over which the gasket creeps meanwhile. heat : (n,)
    condensed load of a temperature field in place of the case's uniform temperatures. Gasket and fasteners remember.

    Raises SolveError naming the step where it does not converge or balance, FractureError where a fastener breaks.
    """
    if heat is None:
        model = model.under(case)
    turns = np.full(model.fasteners, arm > 0.0) if force is None else np.isfinite(force) & (arm > 0.0)
    twist = Twist(np.where(turns, 0.0, memory.torsion), np.where(turns, arm, 0.0))
    temperature = case.temperatures["fastener"]
    equilibrium, balance = _solve(
        model, memory, case, twist, force=force, gas=gas, name=name, duration=duration, heat=heat
    )
    strains = model.law.yielded(equilibrium.force, memory.strains, twist, temperature)
    growth = _gasket_growth(model, memory, equilibrium, case, duration)
    sets = memory.permanent_set + growth
    after = dataclasses.replace(
        memory.with_strains(strains),
        permanent_set=grown_set(model.reduced, equilibrium, sets, case.temperatures["gasket"]),
        crept=memory.crept + growth,
        q=equilibrium.q,
    )
    if force is not None:
        length, _ = model.law.elongation(equilibrium.force, strains, twist, temperature)
        reached = equilibrium.q[model.reduced.overlaps] + length + after.lost
        after = dataclasses.replace(after, travel=np.where(np.isfinite(force), reached, memory.travel))
    after = dataclasses.replace(after, torsion=twist.at(equilibrium.force))
    _refuse_broken(model, after, equilibrium, twist, temperature)
    return Reached(after, equilibrium, balance)


def _refuse_broken(
    model: ServiceModel, after: Memory, equilibrium: Equilibrium, twist: Twist, temperature: float
) -> None:
    """Raise FractureError where a fastener was pulled past its uniform elongation, at the force it bore at most."""
    law = model.law
    broken = after.plastic.max(axis=1) > law.flow.uniform_elongation
    if broken.any():
        _, reduced = law.stress(equilibrium.force, twist)
        most = law.flow.hot(temperature) * float(flow_stress(law.flow, np.array(law.flow.uniform_elongation)))
        bore = np.where(broken, equilibrium.force * np.minimum(1.0, most / reduced.max(axis=1)), equilibrium.force)
        raise FractureError(int(broken.argmax()), after, dataclasses.replace(equilibrium, force=bore))


def _solve(
    model: ServiceModel,
    memory: Memory,
    case: LoadCase,
    twist: Twist,
    *,
    force: FloatArray | None = None,
    gas: bool,
    name: str,
    duration: float = 0.0,
    heat: FloatArray | None = None,
) -> tuple[Equilibrium, float]:
    without = dataclasses.replace(case, gas_pressure=0.0, gas_force=0.0)
    acting = case if gas else without
    overlap = memory.travel - memory.lost
    if force is not None:
        overlap = np.where(np.isfinite(force), np.nan, overlap)
    demand = demand_under(model.joint, model.reduced, acting, model.factors(acting), force, overlap)
    spring = model.law.series(memory.strains, twist, case.temperatures["fastener"])
    if heat is not None:
        gas_only = {name: factor for name, factor in model.factors(acting).items() if name.startswith(GAS)}
        demand = dataclasses.replace(demand, load=heat + load_under(model.reduced.loads, gas_only))
    creep = CreepStep(memory.crept, duration) if duration > 0.0 else None
    demand = dataclasses.replace(demand, series=spring, creep=creep)
    where = f"step '{name}': " if name else ""
    lift = model.lift(acting)
    equilibrium, balance = solve_balanced(model.reduced, demand, memory.permanent_set, memory.q, lift, where)
    # a loose fastener bears nothing, not the rounding of nothing
    return dataclasses.replace(equilibrium, force=np.maximum(equilibrium.force, 0.0)), balance


Trace = list[tuple[float, float]]  # time since the first tightening (s), mean fastener force (N)


def hold(
    model: ServiceModel, reached: Reached, case: LoadCase, duration: float, trace: Trace, *, name: str = ""
) -> Reached:
    """Return the state after `duration` (s) under a load case without gas, which `reached` is in equilibrium with.

    Substeps are as long as their creep changes the clamp by no more than `LARGEST_DROP`; `trace` is told of each.
    """
    left = duration
    while left > 0.0:
        step = left
        shortest = max(SHORTEST_SUBSTEP, SHORTEST_SHARE * (duration - left))
        aged, drop = age(model, reached, case, step)
        while drop > LARGEST_DROP and step > shortest:
            # losses follow the logarithm of time: a step that is half as bad is many times shorter
            step = max(shortest, step / 4.0)
            aged, drop = age(model, reached, case, step)
        reached = settle(model, aged, case, gas=False, duration=step, name=name)
        trace.append((float(reached.memory.time[0]), float(reached.force.mean())))
        left = 0.0 if step >= left else left - step
    return reached


def cold_force(model: ServiceModel, memory: Memory, name: str = "") -> FloatArray:
    """Return the fastener forces (f,) N that a memory would show at assembly temperature without gas."""
    case = model.joint.load_cases[0]
    return _solve(model, memory, case, at_rest(memory.torsion), gas=False, name=name)[0].force


def _gasket_growth(
    model: ServiceModel, memory: Memory, equilibrium: Equilibrium, case: LoadCase, duration: float
) -> FloatArray:
    """Return the growth of the creep set (g,) mm over `duration` (s) at the pressures of an equilibrium."""
    total = np.zeros(model.reduced.points)
    if duration > 0.0:
        for group in model.reduced.groups:
            at = group.points
            total[at], _ = creep_growth(
                group, equilibrium.pressure[at], memory.crept[at], case.temperatures["gasket"], duration
            )
    return total


def age(model: ServiceModel, reached: Reached, case: LoadCase, duration: float) -> tuple[Memory, float]:
    """Return the memory after `duration` (s) at constant stress, and the share of clamp that goes with it.

    The gasket's own creep, which may be large, is left to the equilibrium that follows.
    """
    memory, equilibrium, law = reached.memory, reached.equilibrium, model.law
    temperature = case.temperatures
    growth = _gasket_growth(model, memory, equilibrium, case, duration)
    load = model.reduced.weight * equilibrium.pressure * (growth > 0.0)
    sinks = float(load @ growth) / max(float(load.sum()), 1e-9)
    strains = law.relaxed(
        equilibrium.force,
        memory.strains,
        memory.creep_before,
        memory.creep_base,
        temperature["fastener"],
        duration,
    )
    clock = memory.clock + duration
    share = embedding_share(model, memory, float(clock[0]))
    embedded = memory.embedded_before + share * memory.embedding_due
    sunk = bearing_set(model, equilibrium.force, memory.bearing_set, temperature["head"], duration)
    after = dataclasses.replace(
        memory.with_strains(strains),
        embedded=embedded,
        embedding_share=share,
        bearing_set=sunk,
        clock=clock,
        time=memory.time + duration,
    )
    # what is stretched and closed in all: as it would be cold, or by the present force where heat adds to it
    cold = memory.travel - memory.lost - law.permanent(memory.strains)
    elastic = np.maximum(np.maximum(cold, equilibrium.force * float(law.lengths.elastic.sum())), 1e-6)
    shorter = law.permanent(strains) - law.permanent(memory.strains) + after.lost - memory.lost
    return after, float(np.max((shorter + sinks) / elastic))


def embedding_share(model: ServiceModel, memory: Memory, clock: float) -> FloatArray:
    """Return the share of the embedding that has come `clock` (s) after tightening; it never goes back."""
    ageing = model.joint.ageing
    grown = math.log1p(clock / ONSET) / math.log1p(ageing.embedding_time / ONSET)
    share = ageing.embedding_first + (1.0 - ageing.embedding_first) * min(1.0, grown)
    return np.maximum(memory.embedding_share, share)


def embedded_by_heat(memory: Memory) -> Memory:
    """Return the memory with all embedding done, as the first heat or run leaves it."""
    return dataclasses.replace(
        memory, embedding_share=np.ones(1), embedded=memory.embedded_before + memory.embedding_due
    )


def bearing_set(
    model: ServiceModel, force: FloatArray, sunk: FloatArray, temperature: float, duration: float
) -> FloatArray:
    """Return how far (f,) mm the face on the head has sunk in after `duration` (s), by strain hardening.

    s = a ln(1 + t/ONSET), a in proportion to pressure over its limit (typical form, from memory, low confidence).
    """
    joint = model.joint
    stated, table = joint.ageing.bearing_set, joint.head.material.bearing_set
    # a material's rate is tabulated over temperature at the limit of 20 degC; a stated one is that at the limit it has
    face = bearing_faces(joint, 20.0 if stated is None else temperature)[-1]
    per_decade = stated if stated is not None else (0.0 if table is None else table.at(temperature))
    if per_decade == 0.0 or face.limit is None:
        return sunk
    amplitude = np.maximum(per_decade / math.log(10.0) * np.maximum(force, 0.0) / face.area / face.limit, 1e-30)
    with np.errstate(under="ignore"):
        return sunk + amplitude * np.log1p(duration / ONSET * np.exp(-sunk / amplitude))
