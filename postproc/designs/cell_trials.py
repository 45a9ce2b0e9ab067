"""Trials of a cell's states with other gas, side by side: without any, and at the gas that is just sealed."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Protocol

from headjoint.cases.condensed.reduced_joint import Equilibrium
from headjoint.cases.load_cases.bore_cell_batch import Design, Guide, with_gas
from headjoint.cases.load_cases.head_room import lacking_at, sealed_at
from headjoint.cases.load_cases.load_history import History, State, gas_trial
from headjoint.cases.models.condensed import BoreCell
from headjoint.cases.models.gas_that_seals import Search, search
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import SolveError
from headjoint.model.cell import Cell
from headjoint.postproc.designs.near_limit import Limit, limit_at, limit_near
from headjoint.postproc.verdict.requirement import LEVELS


class Started(Protocol):
    """What a like cell may start from: its histories by tightening, every state of them without its gas, its limits.

    limits : of the states of the least tightening.
    """

    @property
    def histories(self) -> dict[str, History[BoreCell]]: ...  # noqa: D102
    @property
    def rests(self) -> dict[str, list[Equilibrium | None]]: ...  # noqa: D102
    @property
    def limits(self) -> list[Limit | None]: ...  # noqa: D102


def alone(one: Design | History[BoreCell]) -> bool:
    """Say whether a design cannot go side by side with others: nut after nut, pulled by a tensioner, or past yield."""
    pulled = one.model.joint.tightening.step.pull is not None
    return bool(one.model.passes) or pulled or one.tightened.past_yield


def like_guide(by: Guide, cell: Cell) -> bool:
    """Say whether a cell goes through the kinds of states that the guide does."""
    kinds = [state.kind for state in by.states]
    own = [case.kind for case in cell.joint.load_cases]
    if cell.joint.tightening.embedding > 0.0:
        own.insert(1, "settled")
    return own == kinds


def without_gas(
    by: Guide, histories: Sequence[History[BoreCell]], near: Started | None = None
) -> dict[int, Equilibrium]:
    """Return, by id of the state, its equilibrium without gas, for every state that has some.

    near : a like cell, where one alone is asked for at its three tightenings.
    """
    asked = []
    for number, history in enumerate(histories):
        for index, state in enumerate(history.states):
            if state.case.gas_pressure > 0.0:
                gas, start = state.case.gas_pressure, state.equilibrium.q
                own = None if near is None else near.rests[LEVELS[number]][index]
                if near is not None and own is not None:  # as far from what is near as the last state without gas
                    before = max(n for n, one in enumerate(history.states[:index]) if one.case.gas_pressure == 0.0)
                    like = near.histories[LEVELS[number]].states[before]
                    start = own.q + history.states[before].equilibrium.q - like.equilibrium.q
                elif like_guide(by, history.model.cell):
                    start = start + by.by_gas(index, -gas)
                asked.append((history, state, 0.0, start))
    found = _trials(by, asked)
    for history, state, factor, _ in asked:
        if id(state) not in found:  # no solution side by side: alone
            with suppress(SolveError):
                found[id(state)] = gas_trial(history.model, state, factor)
    return found


def _trials(by: Guide, asked: Sequence[tuple[History[BoreCell], State, float, FloatArray]]) -> dict[int, Equilibrium]:
    """Return trials with gas pressure scaled, by id of the state; a state without solution is left out."""
    found: dict[int, Equilibrium] = {}
    places = {(state.name, state.kind): index for index, state in enumerate(by.states)}
    for place in {(state.name, state.kind) for _, state, _, _ in asked}:
        own = [one for one in asked if (one[1].name, one[1].kind) == place]
        if place not in places or any(alone(history) for history, _, _, _ in own):
            for history, state, factor, q in own:
                with suppress(SolveError):
                    found[id(state)] = gas_trial(history.model, state, factor, q)
            continue
        designs = [Design(history.model, history.tightened) for history, _, _, _ in own]
        index = places[place]
        rest, factors = by.at_rest[index], by.nearby[index]
        if rest is not None and all(factor == 0.0 for _, _, factor, _ in own):
            factors = rest[1]
        solved = with_gas(
            designs,
            [state for _, state, _, _ in own],
            [factor for _, _, factor, _ in own],
            [q for _, _, _, q in own],
            factors,
        )
        for (_, state, _, _), one in zip(own, solved, strict=True):
            if isinstance(one, Equilibrium):
                found[id(state)] = one
    return found


def near_limits(
    by: Guide, history: History[BoreCell], without: dict[int, Equilibrium], near: Started
) -> dict[int, Limit | None]:
    """Return, by id of the state, what `limits_of` does, where it is found near that of the cell before."""
    found: dict[int, Limit | None] = {}
    design = Design(history.model, history.tightened)
    for index, (state, before) in enumerate(zip(history.states, near.limits, strict=True)):
        if before is None or id(state) not in without or alone(history):
            continue

        def pair(
            factors: Sequence[float], starts: Sequence[FloatArray], own: State = state, at: int = index
        ) -> list[Equilibrium | SolveError]:
            return with_gas([design] * 2, [own] * 2, factors, starts, by.nearby[at])

        limit = limit_near(history.model, state, without[id(state)], before, pair)
        if limit is not None:
            found[id(state)] = limit
    return found


def limits_of(
    by: Guide,
    histories: Sequence[History[BoreCell]],
    without: dict[int, Equilibrium],
    known: dict[int, Limit | None],
) -> dict[int, Limit | None]:
    """Return the gas at which a sealing line falls short, by id of the state, None for none: all search in step.

    known : states that need no search.
    """
    found: dict[int, Limit | None] = {}
    searches: dict[int, _Searching] = {}
    for history in histories:
        for state in history.states:
            if id(state) not in without or id(state) in known:
                continue
            rest, model = without[id(state)], history.model
            ends = lacking_at(model, rest, 0.0), lacking_at(model, state.equilibrium, state.case.gas_pressure)
            trials = search(*ends)
            tried = ((0.0, rest.q), (1.0, state.equilibrium.q))
            try:
                searches[id(state)] = _Searching(history, state, rest, trials, next(trials), tried)
            except StopIteration as done:
                found[id(state)] = _limit(done.value, history, state, rest, 0.0, rest.q)
    while searches:
        solved = _trials(by, [(one.history, one.state, one.factor, one.start()) for one in searches.values()])
        for number, one in list(searches.items()):
            if number not in solved:  # no solution side by side: alone, and by its own factors
                factor, last, q = sealed_at(one.history.model, one.state, without[number])
                found[number] = _limit(factor, one.history, one.state, one.rest, last, q)
                del searches[number]
                continue
            trial = solved[number]
            known_now = (one.known[1], (one.factor, trial.q))
            try:
                lacks = lacking_at(one.history.model, trial, one.factor * one.state.case.gas_pressure)
                factor = one.trials.send(lacks)
                searches[number] = dataclasses.replace(one, factor=factor, known=known_now)
            except StopIteration as done:
                found[number] = _limit(done.value, one.history, one.state, one.rest, one.factor, trial.q)
                del searches[number]
    return found


def _limit(
    factor: float | None,
    history: History[BoreCell],
    state: State,
    rest: Equilibrium,
    tried: float,
    q: FloatArray,
) -> Limit | None:
    return None if factor is None else limit_at(history.model, state, rest, factor, tried, q)


@dataclass(frozen=True)
class _Searching:
    """A state whose factor on gas is being searched; known : the last two factors solved with their unknowns."""

    history: History[BoreCell]
    state: State
    rest: Equilibrium
    trials: Search
    factor: float
    known: tuple[tuple[float, FloatArray], tuple[float, FloatArray]]

    def start(self) -> FloatArray:
        """Return the unknowns (n,) to begin with, on the line through what is known."""
        (f_0, q_0), (f_1, q_1) = self.known
        return q_1 + (self.factor - f_1) / (f_1 - f_0) * (q_1 - q_0)
