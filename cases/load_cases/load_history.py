"""The load history: tighten, settle, then every load case in order, the gasket remembering its set.

One for every `Model`: a single fastener's joint, a bore cell with nuts turned all at once or one after the other, the
closed-form chain. What the tightening gives is found once per model by the service's own tightening; fasteners are
elastic from there on, unless they are past yield: then they go on yielding as in a service, without time.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from headjoint.cases.condensed.load_vectors import demand_under, solve_balanced
from headjoint.cases.condensed.reduced_joint import (
    Demand,
    Equilibrium,
    ReducedJoint,
    grown_set,
    overlap_compliance,
    solve,
    unloading_slope,
)
from headjoint.cases.load_cases.near import all_asked, places_of
from headjoint.cases.models.condensed import Model
from headjoint.cases.service.fastener_law import at_rest
from headjoint.cases.service.model import ServiceModel, service_of
from headjoint.cases.service.steps import FractureError, Reached, embedded_by_heat, settle
from headjoint.cases.service.tightened import assembled, broken_fastener, strengthened, tightened
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import InputError, SolveError
from headjoint.model.formulas.tightened import Tightened
from headjoint.model.joint import Joint
from headjoint.model.load_case import LoadCase

M = TypeVar("M", bound=Model)
LEFT_OVER = 1e-9  # of the greatest force: less is a solver's rounding
CLEAR = 1.0  # mm that a slack nut stands off the head: more than any head lifts


@dataclass(frozen=True)
class State:
    """One converged state of the history.

    name, kind : of the load case; after embedding an extra state of kind "settled" is inserted.
    case : its load case. equilibrium : unknowns, interface pressures and fastener forces.
    permanent_set, set_before : (g,) mm of every interface point after and before this state.
    balance : |bolts - gasket - gas| over the largest of them, the free-body check of the head.
    series : what is in series with fasteners past yield, as in `Demand`, and strain : plastic, of the weakest length;
    None where fasteners are elastic. asked : all that it follows from, by `near.all_asked`; nothing in a service.
    """

    name: str
    kind: str
    case: LoadCase
    equilibrium: Equilibrium = field(repr=False)
    permanent_set: FloatArray = field(repr=False)
    set_before: FloatArray = field(repr=False)
    balance: float
    series: Callable[[FloatArray], tuple[FloatArray, FloatArray]] | None = field(default=None, repr=False)
    strain: float | None = None
    asked: tuple[object, ...] = field(default=(), repr=False)

    @property
    def force(self) -> FloatArray:
        """Force F_S of every fastener (f,), N; of whole fasteners."""
        return self.equilibrium.force

    @property
    def overlap(self) -> FloatArray:
        """Total overlap of every fastener's pretension cut (f,), mm."""
        return self.equilibrium.overlap


@dataclass(frozen=True)
class TighteningStep:
    """One nut turned: pass and fastener numbers from 0, the state afterwards; no pass where it is turned once more."""

    number: int | None
    fastener: int
    state: State = field(repr=False)

    @property
    def nth_pass(self) -> int | None:
        """Number of the pass from 1, None where the nut is turned once more, after all passes."""
        return None if self.number is None else self.number + 1

    @property
    def force(self) -> FloatArray:
        """Forces (f,) afterwards, N."""
        return self.state.force


@dataclass(frozen=True)
class History(Generic[M]):
    """All states of one tightening, in order.

    steps : nut after nut, empty when all were tightened at once. tightened : what they go on from.
    """

    model: M = field(repr=False)
    states: tuple[State, ...]
    steps: tuple[TighteningStep, ...]
    tightened: Tightened

    @property
    def preload(self) -> float:
        """Mean fastener force at assembly, N."""
        return self.tightened.preload

    @property
    def joint(self) -> Joint:
        """The joint, or one stud's share of a cell."""
        return self.model.joint

    @property
    def reduced(self) -> ReducedJoint:
        """The condensed joint."""
        return self.model.reduced

    def state(self, name: str) -> State:
        """Return the state called `name`."""
        return next(state for state in self.states if state.name == name)

    @cached_property
    def cut_compliance(self) -> float:
        """d overlap / d force (mm/N) of tightening the first fastener a little more, gasket on its loading curve."""
        return float(overlap_compliance(self.reduced, self.states[0].equilibrium.slope)[0, 0])

    @cached_property
    def relief_compliance(self) -> float:
        """The same for a little less, gasket springing back."""
        tight = self.states[0]
        at = tight.case.temperatures["gasket"]
        back = unloading_slope(self.reduced, tight.equilibrium, tight.permanent_set, at)
        return float(overlap_compliance(self.reduced, back)[0, 0])


def demand_of(
    model: Model,
    case: LoadCase,
    *,
    force: FloatArray | None = None,
    overlap: FloatArray | None = None,
    gas_factor: float = 1.0,
) -> Demand:
    """Return what `solve` needs for a load case, tightened to `force` (f,) N or locked at `overlap` (f,) mm.

    nan in one of them leaves a fastener to the other.
    """
    model = model.under(case)
    return demand_under(model.joint, model.reduced, case, model.factors(case, gas_factor), force, overlap)


def slackened(
    model: Model, slack: NDArray[np.bool_], *, force: FloatArray | None = None, overlap: FloatArray | None = None
) -> tuple[FloatArray, FloatArray]:
    """Return forces (f,) N and overlaps (f,) mm to ask for, so that those that are `slack` carry nothing.

    Where a nut may lift it stands clear of the head, which holds it better than no force at all would.
    """
    nothing = np.full(len(slack), np.nan)
    force, overlap = nothing if force is None else force, nothing if overlap is None else overlap
    lifts = any(group.kind == "bearing" for group in model.reduced.groups)
    return np.where(slack, np.nan if lifts else 0.0, force), np.where(slack, -CLEAR if lifts else np.nan, overlap)


def run(model: M, found: Tightened | None = None, near: Sequence[History[M]] = ()) -> History[M]:
    """Return the history of a model from what its tightening gives, by default what `tightened` finds.

    near : of a like model of the same stiffness, at several tightenings, to start from; what was asked for the same is
    taken over. They change the time, never the answer.

    Raises SolveError naming the state that does not come to equilibrium or does not balance; BrokenFastenerError and
    InputError as `tightened` does, and InputError where fasteners would be turned past yield one after the other.
    """
    found = tightened(model) if found is None else found
    steps: list[TighteningStep] = []
    served = found.past_yield or any(_rest_of(model, case) is not None for case in model.joint.load_cases)
    states = tuple(_served_states(model, found) if served else _states(model, found, steps, near))
    return History(model, states, tuple(steps), found)


def cases_of(joint: Joint) -> list[LoadCase]:
    """Return the load case of every state, a settled one after assembly where anything embeds."""
    cases = list(joint.load_cases)
    if joint.tightening.embedding > 0.0:
        cases.insert(1, LoadCase("settled", "settled", cases[0].temperatures, 0.0, 0.0))
    return cases


def _rest_of(model: Model, case: LoadCase) -> Callable[[Tightened], Reached] | None:
    """Return what leads to an instant of a duty that a load case has its temperatures from."""
    field = model.field_of(case)
    return None if field is None else field.rest


def _served_states(model: Model, found: Tightened) -> Iterator[State]:
    """Yield the states of fasteners past yield, or with instants of a duty, as a service without time runs them.

    An instant of the duty has what the duty did to a new joint by then, creep included. After it the gasket has the
    deepest sets of all so far.
    """
    if model.passes:
        why = "fasteners are tightened past yield" if found.past_yield else "load cases are instants of a duty"
        raise InputError(f"are left out where {why}: all are turned at once", field="tightening.passes")
    service = strengthened(service_of(model), found)
    case, *cases = cases_of(model.joint)
    try:
        on, loose = assembled(service, found)
        yield _served_state(service, found, case, on, np.zeros(model.reduced.points))
        memory = embedded_by_heat(loose.memory)
        for case in cases:
            rest, deepest = _rest_of(model, case), memory.permanent_set
            memory = memory if rest is None else rest(found).memory
            reached = settle(service, memory, case, name=case.name)
            yield _served_state(service.under(case), found, case, reached, memory.permanent_set)
            after = reached.memory
            memory = dataclasses.replace(after, permanent_set=np.maximum(after.permanent_set, deepest))
    except FractureError as fracture:
        raise broken_fastener(service, f" in '{case.name}'", fracture) from None


def _served_state(
    service: ServiceModel, found: Tightened, case: LoadCase, at: Reached, set_before: FloatArray
) -> State:
    memory = at.memory
    equilibrium = dataclasses.replace(at.equilibrium, overlap=memory.travel - memory.lost)
    series = service.law.series(memory.strains, at_rest(memory.torsion), case.temperatures["fastener"])
    strain = float(memory.plastic.max()) if found.past_yield else None
    return State(case.name, case.kind, case, equilibrium, memory.permanent_set, set_before, at.balance, series, strain)


def _states(
    model: Model, found: Tightened, steps: list[TighteningStep], near: Sequence[History] = ()
) -> Iterator[State]:
    cases = cases_of(model.joint)
    near = [one for one in near if len(one.states) == len(cases)]
    places = places_of(found, [(one.tightened, [state.equilibrium.q for state in one.states]) for one in near])
    same = next((one.states for one in near if np.array_equal(one.tightened.forces, found.forces)), None)
    state, turned = tighten(model, found, steps, places[0] if places else None, None if same is None else same[0])
    yield state
    overlap = turned - model.joint.tightening.embedding
    for number, case in enumerate(cases[1:], start=1):
        # as far from what is near as the state before was
        start = state.equilibrium.q + (places[number] - places[number - 1]) if places else None
        known = None if same is None else same[number]
        state = advance(model, case, demand_of(model, case, overlap=overlap), state, start, known)
        yield state


def tighten(
    model: Model,
    found: Tightened,
    steps: list[TighteningStep],
    start: FloatArray | None = None,
    known: State | None = None,
) -> tuple[State, FloatArray]:
    """Return the assembled state and the overlaps (mm) turned to: all at their force, or nut after nut in passes.

    A nut that others have left loose was turned to less than the joint now leaves it room for: it is what was turned
    that load cases go on from. Every nut of a pass goes to the end of `steps`. The gasket remembers what a tensioner
    pulls before it lets go. `found` is within yield. start, known : as of `advance`.

    Raises SolveError as `turn`.
    """
    case, forces, pulled = model.joint.load_cases[0], found.forces, None
    if model.joint.tightening.step.pull is not None and not model.passes:
        pulled = advance(model, case, demand_of(model, case, force=np.full(len(forces), found.peak)), None)
    first, slack = (model.snug if model.passes else 1.0) * forces, forces == 0.0
    tight, clear = slackened(model, slack, force=first)
    demand = demand_of(model, case, force=tight, overlap=clear)
    state = advance(model, case, demand, pulled, start, known)
    turned = state.overlap.copy()
    for number, (share, order) in enumerate(model.passes):
        for fastener in order:
            if slack[fastener]:
                continue
            state = turn(model, state, turned, fastener, share * float(forces[fastener]), slack)
            turned[fastener] = state.overlap[fastener]
            steps.append(TighteningStep(number, fastener, state))
    return state, turned


def pulled_in_steps(model: Model, forces: FloatArray, shares: Iterable[float]) -> Iterator[State]:
    """Yield the states of all fasteners pulled together to rising shares of `forces` (f,) N, within yield."""
    case, state = model.joint.load_cases[0], None
    for share in shares:
        state = advance(model, case, demand_of(model, case, force=share * forces), state)
        yield state


def turn(
    model: Model, state: State, turned: FloatArray, fastener: int, force: float, slack: NDArray[np.bool_]
) -> State:
    """Return the state after one nut was turned to `force`; the others keep their overlap or come loose.

    turned : (f,) mm, overlap that each nut was last turned to. slack : (f,) those that carry nothing, come what may. A
    nut whose stud would have to push is loose: it carries nothing while the joint leaves it more room than that.
    """
    case = model.joint.load_cases[0]
    loose = np.zeros(len(turned), dtype=bool)
    for _ in range(len(turned) + 2):
        wanted, locked = np.where(loose, 0.0, np.nan), np.where(loose, np.nan, turned)
        wanted[fastener], locked[fastener] = force, np.nan
        wanted, locked = slackened(model, slack, force=wanted, overlap=locked)
        demand = demand_of(model, case, force=wanted, overlap=locked)
        after = advance(model, case, demand, state)
        room = after.overlap > turned
        now_loose = np.where(loose, room, after.force < 0.0) & ~slack
        if (now_loose == loose).all():
            return after
        loose = now_loose
    raise SolveError("tightening in turn: loose nuts do not settle; give more passes or a greater snug share")


def advance(
    model: Model,
    case: LoadCase,
    demand: Demand,
    before: State | None,
    start: FloatArray | None = None,
    known: State | None = None,
) -> State:
    """Return the state that a demand of a load case leads to, after another state or, where that is None, new.

    start : (n,) unknowns to start from, by default those of the state before. known : of a like model of the same
    stiffness, which is the same state where it was asked for the same.

    Raises SolveError naming the load case where it does not come to equilibrium or does not balance.
    """
    set_before = np.zeros(model.reduced.points) if before is None else before.permanent_set
    if start is None and before is not None:
        start = before.equilibrium.q
    where = f"load case '{case.name}': "
    reduced = model.under(case).reduced
    if known is not None and known.asked == all_asked(reduced, demand, set_before):
        return dataclasses.replace(known, name=case.name, kind=case.kind, case=case)
    equilibrium, balance = solve_balanced(reduced, demand, set_before, start, model.lift(case), where)
    return reached(model, case, demand, set_before, equilibrium, balance)


def reached(
    model: Model, case: LoadCase, demand: Demand, set_before: FloatArray, equilibrium: Equilibrium, balance: float
) -> State:
    """Return the state that an equilibrium leaves: the gasket has taken its set.

    The force of fasteners that are to carry nothing, or whose nuts stand clear, is nothing, not what the solver left
    over.
    """
    force = equilibrium.force
    idle = _idle(demand) | (np.abs(force) < LEFT_OVER * np.abs(force).max())
    if np.any(idle):
        equilibrium = dataclasses.replace(equilibrium, force=np.where(idle, 0.0, force))
    reduced = model.under(case).reduced
    after = grown_set(reduced, equilibrium, set_before, demand.gasket_temperature)
    asked = all_asked(reduced, demand, set_before)
    return State(case.name, case.kind, case, equilibrium, after, set_before, balance, asked=asked)


def _idle(demand: Demand) -> NDArray[np.bool_]:
    """Return which fasteners (f,), or whether all, a demand leaves without force: loose, or clear of the head."""
    loose = False if demand.force is None else demand.force == 0.0
    clear = False if demand.overlap is None else demand.overlap == -CLEAR
    return np.logical_or(loose, clear)


def gas_trial(model: Model, state: State, gas_factor: float, start: FloatArray | None = None) -> Equilibrium:
    """Solve a state again with its gas scaled; a trial, the gasket's set stays as it was after it."""
    demand = demand_of(model, state.case, overlap=state.overlap, gas_factor=gas_factor)
    demand = dataclasses.replace(demand, series=state.series)
    reduced = model.under(state.case).reduced
    return solve(reduced, demand, state.permanent_set, state.equilibrium.q if start is None else start)


def without_gas(history: History) -> list[Equilibrium | None]:
    """Return the equilibrium of every state without its gas, None where it has none."""
    return each_without_gas(history.states, lambda number: history.model)


def each_without_gas(states: Sequence[State], model_of: Callable[[int], Model]) -> list[Equilibrium | None]:
    """Return the equilibrium of every state in order without its gas, None where it has none.

    model_of : gives the model of a state, by its number.
    """
    found: list[Equilibrium | None] = []
    cold: State | None = None  # the last state without gas
    for number, state in enumerate(states):
        if state.case.gas_pressure == 0.0:
            found.append(None)
            cold = state
            continue
        alike = cold is not None and cold.case.temperatures == state.case.temperatures
        start = cold.equilibrium.q if cold is not None and alike else None
        found.append(gas_trial(model_of(number), state, 0.0, start))
    return found
