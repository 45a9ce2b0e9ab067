"""Histories of many designs of one condensed cell, state after state in step: what studies of a bore cell run on."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from headjoint.cases.condensed.load_vectors import checked_balance
from headjoint.cases.condensed.reduced_batch import Nearby, nearby_of, solve_many
from headjoint.cases.condensed.reduced_joint import (
    RESIDUAL_LIMIT,
    Demand,
    Equilibrium,
    ReducedJoint,
    regularised,
    solve,
)
from headjoint.cases.load_cases.load_history import History, State, cases_of, demand_of, reached
from headjoint.cases.load_cases.near import all_asked, shares_of
from headjoint.cases.models.condensed import BoreCell
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import SolveError
from headjoint.model.formulas.tightened import Tightened
from headjoint.model.load_case import LoadCase

DRIFTED = 0.1  # of the interface points, whose slopes are no longer the guide's: from here on a new tangent soon pays


@dataclass(frozen=True)
class Design:
    """One column: a cell that shares the stiffness, fitted to it, and what its tightening gives, within yield."""

    model: BoreCell = field(repr=False)
    tightened: Tightened

    @property
    def reduced(self) -> ReducedJoint:
        """The condensed joint."""
        return self.model.reduced


@dataclass(frozen=True)
class Guide:
    """The states of one design solved beforehand, which all others start from, and what is near the tangent at each.

    at_rest : for states with gas, its unknowns and what is near its tangent once the gas has gone; None for the others.
    """

    states: tuple[State, ...]
    nearby: tuple[Nearby, ...] = field(repr=False)
    at_rest: tuple[tuple[FloatArray, Nearby] | None, ...] = field(repr=False)

    def by_gas(self, index: int, more: float) -> FloatArray | float:
        """Return what so much `more` gas (MPa) does to the unknowns (n,) of one state, roughly: as it does here."""
        rest, state = self.at_rest[index], self.states[index]
        return 0.0 if rest is None else (state.equilibrium.q - rest[0]) * (more / state.case.gas_pressure)


def guide(design: Design) -> Guide:
    """Return the guide of one design; raises SolveError where a state does not converge or balance."""
    states: list[State] = []
    nearby: list[Nearby] = []
    at_rest: list[tuple[FloatArray, Nearby] | None] = []
    for case in cases_of(design.model.joint):
        demand, before, start = _demand(design, case, states), _set(design, states), None
        if states:
            start = states[-1].equilibrium.q
        equilibrium = solve(design.reduced, demand, before, start)
        states.append(_finished(design, case, demand, before, equilibrium))
        nearby.append(nearby_of(design.reduced, demand, equilibrium))
        at_rest.append(None)
        if case.gas_pressure > 0.0:
            demand = _gas_demand(design, states[-1], 0.0)
            rest = solve(design.reduced, demand, states[-1].permanent_set, equilibrium.q)
            at_rest[-1] = (rest.q, nearby_of(design.reduced, demand, rest))
    return Guide(tuple(states), tuple(nearby), tuple(at_rest))


def renewed(by: Guide, history: History[BoreCell], between: Callable[[], None]) -> Guide:
    """Return a guide that has the tangents of a like cell's fired states, wherever its own are far from them.

    between : called before every tangent, which takes tens of milliseconds, and may raise to end it.
    """
    design, nearby = Design(history.model, history.tightened), list(by.nearby)
    weight = history.reduced.weight
    for index, state in enumerate(history.states):
        weighted = (weight * regularised(state.equilibrium.slope)).astype(np.float32)
        if state.case.gas_pressure == 0.0 or np.mean(weighted != nearby[index].weighted) < DRIFTED:
            continue
        between()
        nearby[index] = nearby_of(
            design.reduced, _demand(design, state.case, history.states[:index]), state.equilibrium
        )
    return dataclasses.replace(by, nearby=tuple(nearby))


def run_many(
    designs: Sequence[Design], by: Guide, near: Sequence[History[BoreCell]] = ()
) -> list[list[State] | SolveError]:
    """Return the states of every design, or why it has none; all have the load cases of the guide.

    near : a design that is nearer to each than the guide, at several tightenings, to start from. Nuts are tightened all
    at once: a cell with passes is not run here.
    """
    found: list[list[State] | SolveError] = [[] for _ in designs]
    likes = [_Like.of(one, near) for one in designs] if near else []
    for index in range(len(by.states)):
        running = [number for number, states in enumerate(found) if not isinstance(states, SolveError)]
        asked, before, starts = [], [], []
        for number in running:
            states = found[number]
            assert not isinstance(states, SolveError)
            case = cases_of(designs[number].model.joint)[index]
            asked.append(_demand(designs[number], case, states))
            before.append(_set(designs[number], states))
            starts.append(_start(designs[number], states, by, likes[number] if near else None))
        if not running:
            break
        # designs that differ in a later state only share this one
        keys = [all_asked(designs[n].reduced, d, s) for n, d, s in zip(running, asked, before, strict=True)]
        first = [keys.index(key) for key in keys]
        known = [one.states[index] for one in near]
        once: dict[int, Equilibrium | SolveError] = {
            p: state.equilibrium for p in set(first) for state in known if state.asked == keys[p]
        }
        own = sorted(set(first) - set(once))
        if own:
            solved_now = solve_many(
                [designs[running[p]].reduced for p in own],
                [asked[p] for p in own],
                [before[p] for p in own],
                [starts[p] for p in own],
                by.nearby[index],
            )
            once |= dict(zip(own, solved_now, strict=True))
        for position, number in enumerate(running):
            solved, states = once[first[position]], found[number]
            assert not isinstance(states, SolveError)
            case = cases_of(designs[number].model.joint)[index]
            try:
                if isinstance(solved, SolveError):
                    raise SolveError(f"load case '{case.name}': {solved}")
                states.append(_finished(designs[number], case, asked[position], before[position], solved))
            except SolveError as error:
                found[number] = error
    return found


def _start(design: Design, states: Sequence[State], by: Guide, like: _Like | None) -> FloatArray:
    """Return the unknowns (n,) to begin a design's next state with: as far from what it is like as the state before."""
    cases, index = cases_of(design.model.joint), len(states)

    def near(at: int) -> FloatArray:
        q, gas = (by.states[at].equilibrium.q, by.states[at].case.gas_pressure) if like is None else like.at(at)
        found: FloatArray = q + by.by_gas(at, cases[at].gas_pressure - gas)
        return found

    return states[-1].equilibrium.q + (near(index) - near(index - 1)) if states else near(0)


@dataclass(frozen=True)
class _Like:
    """Where a design starts from: a near one's states at several tightenings. share : of each."""

    histories: Sequence[History[BoreCell]]
    share: FloatArray

    @staticmethod
    def of(design: Design, near: Sequence[History[BoreCell]]) -> _Like:
        """Return it for a design."""
        return _Like(near, shares_of(design.tightened, [one.tightened for one in near]))

    def at(self, index: int) -> tuple[FloatArray, float]:
        """Return the unknowns (n,) of one state, and its gas (MPa)."""
        states = [one.states[index] for one in self.histories]
        return self.share @ np.stack([one.equilibrium.q for one in states]), states[0].case.gas_pressure


def with_gas(
    designs: Sequence[Design],
    states: Sequence[State],
    factors: Sequence[float],
    starts: Sequence[FloatArray],
    by: Nearby,
) -> list[Equilibrium | SolveError]:
    """Solve one state of every design again with its gas pressure scaled; trials, the gasket's set stays as it was."""
    demands = [_gas_demand(*asked) for asked in zip(designs, states, factors, strict=True)]
    joints = [one.reduced for one in designs]
    return solve_many(joints, demands, [state.permanent_set for state in states], starts, by, RESIDUAL_LIMIT)


def _gas_demand(design: Design, state: State, factor: float) -> Demand:
    return demand_of(design.model, state.case, overlap=state.overlap, gas_factor=factor)


def _demand(design: Design, case: LoadCase, states: Sequence[State]) -> Demand:
    model = design.model
    if not states:
        return demand_of(model, case, force=design.tightened.forces)
    return demand_of(model, case, overlap=states[0].overlap - model.joint.tightening.embedding)


def _set(design: Design, states: Sequence[State]) -> FloatArray:
    return states[-1].permanent_set if states else np.zeros(design.reduced.points)


def _finished(design: Design, case: LoadCase, demand: Demand, before: FloatArray, equilibrium: Equilibrium) -> State:
    """Return the state; SolveError where the head is not in balance."""
    model = design.model
    error = checked_balance(model.reduced, demand, equilibrium, model.lift(case), f"load case '{case.name}': ")
    return reached(model, case, demand, before, equilibrium, error)
