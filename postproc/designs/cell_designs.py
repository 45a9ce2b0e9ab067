"""Designs of one bore cell side by side: their requirements without full fields, and beside them on a coarser mesh."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field

from headjoint.cases.condensed.cell_condensation import CellRecovery, cell_model, condense_cell
from headjoint.cases.condensed.reduced_joint import Equilibrium
from headjoint.cases.condensed.stiffness_key import fitted
from headjoint.cases.condensed.store import CondensedStore
from headjoint.cases.load_cases.bore_cell_batch import Design, Guide, guide, run_many, with_gas
from headjoint.cases.load_cases.head_room import lacking_at, sealed_factor
from headjoint.cases.load_cases.load_history import History, State, gas_trial, run
from headjoint.cases.models.condensed import BoreCell, chain_of, condensed_cell
from headjoint.cases.models.from_mesh import COARSE, NO_COARSER, mesh_of, or_why_not
from headjoint.cases.models.gas_that_seals import Search, search
from headjoint.cases.service.tightened import tightened
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import InputError, JointError, SolveError
from headjoint.model.cell import Cell
from headjoint.model.formulas.tightened import Tightened
from headjoint.postproc.cell.assessment import judged_level
from headjoint.postproc.cell.bending import BendingRows, bending_rows
from headjoint.postproc.cell.findings import (
    CellStateFindings,
    found_state,
)
from headjoint.postproc.cell.stuck_nuts import StudBending, stud_bending
from headjoint.postproc.designs.outcome import Outcome, design_outcome
from headjoint.postproc.verdict.model_seen import cell_seen
from headjoint.postproc.verdict.requirement import LEVELS
from headjoint.postproc.verdict.requirement import Tightened as Judged

Level = tuple[float, ...]


@dataclass(frozen=True)
class CellBase:
    """What designs of one stiffness share. found, chain : what one of their tightenings gives, and on its chain.

    corners : (2, 8 or 6, f) mm, places of the nodes of the gasket's faces. coarse : the same on doubled elements, None
    where `unbounded` says why.
    """

    model: BoreCell = field(repr=False)
    by: Guide = field(repr=False)
    bending: BendingRows = field(repr=False)
    found: Tightened = field(repr=False)
    chain: Tightened = field(repr=False)
    corners: FloatArray = field(repr=False)
    coarse: CellBase | None = field(default=None, repr=False)
    unbounded: str = NO_COARSER


@dataclass(frozen=True)
class OnMesh:
    """A cell solved on one mesh: by tightening what is judged, history and states; empty where there is a problem."""

    problem: str = ""
    levels: dict[str, Judged] = field(default_factory=dict, repr=False)
    histories: dict[str, History[BoreCell]] = field(default_factory=dict, repr=False)
    states: dict[str, list[CellStateFindings]] = field(default_factory=dict, repr=False)


@dataclass(frozen=True)
class JudgedCell:
    """The outcome of a cell, and what it follows from; coarse : on doubled elements, None where there is none."""

    outcome: Outcome
    fine: OnMesh = field(repr=False)
    coarse: OnMesh | None = field(repr=False)

    @property
    def histories(self) -> dict[str, History[BoreCell]]:
        """Return the history of every tightening; empty where there is no solution."""
        return self.fine.histories

    @property
    def states(self) -> dict[str, list[CellStateFindings]]:
        """Return the states of every tightening; empty where there is no solution."""
        return self.fine.states


def cell_base(
    cell: Cell, store: CondensedStore | None = None, stage: Callable[[str], None] = lambda name: None
) -> CellBase:
    """Return the base of a cell: condensed, one history solved as guide, rows of bending made.

    stage : hears the name of every stage as it begins.
    """
    if cell.joint.by_heat:
        raise InputError("of load cases is not for studies of cells; state temperatures", field="load_cases.heat")
    fine = _base_on(cell, 1.0, store, stage)
    if cell.mesh.file is not None:
        return fine
    coarse, unbounded = or_why_not(lambda: _base_on(cell, COARSE, store, lambda name: stage(f"{name}, coarse mesh")))
    return dataclasses.replace(fine, coarse=coarse, unbounded=unbounded)


def _base_on(cell: Cell, refinement: float, store: CondensedStore | None, stage: Callable[[str], None]) -> CellBase:
    stage("mesh")
    assembled = cell_model(cell, mesh_of(cell, refinement))
    stage("condensing")
    model = condensed_cell(assembled, condense_cell(assembled, store))
    stage("first states")
    own = like_base(model, cell)
    found = tightened(own)
    stage("bending of the studs")
    recovery = CellRecovery(assembled)
    rows = bending_rows(assembled, recovery)
    recovery.release()
    corners = assembled.mesh.points[:2, model.points.gasket_faces]
    return CellBase(model, guide(Design(own, found)), rows, found, tightened(chain_of(cell.joint)), corners)


def like_base(model: BoreCell, cell: Cell) -> BoreCell:
    """Return a cell of the same stiffness with its own laws and series compliance."""
    return dataclasses.replace(model, cell=cell, reduced=fitted(model.reduced, cell))


def histories_of(
    base: CellBase, designs: Sequence[tuple[Cell, Tightened]], near: Sequence[History[BoreCell]] = ()
) -> list[History[BoreCell] | JointError]:
    """Return the history of every cell; side by side where each could be.

    near : histories of like designs to start from, one for each.
    """
    columns = [Design(like_base(base.model, cell), found) for cell, found in designs]
    together = [n for n, one in enumerate(columns) if not _alone(one) and _like(base.by, one.model.cell)]
    found: list[History[BoreCell] | JointError] = [JointError("not run")] * len(columns)
    starts = [near[n].states for n in together] if near else []
    for number, states in zip(together, run_many([columns[n] for n in together], base.by, starts), strict=True):
        one = columns[number]
        if isinstance(states, JointError):
            found[number] = states
        else:
            found[number] = History(one.model, tuple(states), (), one.tightened)
    for number in sorted(set(range(len(columns))) - set(together)):
        one = columns[number]
        try:
            found[number] = run(one.model, one.tightened)
        except JointError as error:
            found[number] = error
    return found


def _alone(one: Design | History[BoreCell]) -> bool:
    """Say whether a design cannot go side by side with others: nut after nut, pulled by a tensioner, or past yield."""
    pulled = one.model.joint.tightening.step.pull is not None
    return bool(one.model.passes) or pulled or one.tightened.past_yield


def _like(by: Guide, cell: Cell) -> bool:
    """Say whether a cell goes through the kinds of states that the guide does."""
    kinds = [state.kind for state in by.states]
    own = [case.kind for case in cell.joint.load_cases]
    if cell.joint.tightening.embedding > 0.0:
        own.insert(1, "settled")
    return own == kinds


def judge_cells(base: CellBase, cells: Sequence[Cell]) -> list[Outcome]:
    """Return the outcome of every cell at least, nominal and greatest tightening."""
    return [one.outcome for one in judged_cells(base, cells)]


def judged_cells(base: CellBase, cells: Sequence[Cell]) -> list[JudgedCell]:
    """Return every cell judged at least, nominal and greatest tightening."""
    fine = _on_mesh(base, cells)
    coarse = [None] * len(cells) if base.coarse is None else _on_mesh(base.coarse, cells)
    return [_judged_cell(base, *one) for one in zip(cells, fine, coarse, strict=True)]


def judged_cell(base: CellBase, cell: Cell, before: JudgedCell | None = None) -> JudgedCell:
    """Return one cell judged at least, nominal and greatest tightening.

    before : a like cell of the same base, judged; whatever is near is found from there in fewer steps.
    """
    (fine,) = _on_mesh(base, [cell], None if before is None else before.fine)
    coarse = None
    if base.coarse is not None:
        (coarse,) = _on_mesh(base.coarse, [cell], None if before is None else before.coarse)
    return _judged_cell(base, cell, fine, coarse)


def _judged_cell(base: CellBase, cell: Cell, fine: OnMesh, coarse: OnMesh | None) -> JudgedCell:
    """Return the outcome of a cell that was solved on its own mesh and on doubled elements."""
    if fine.problem:
        return JudgedCell(Outcome(problem=fine.problem), fine, coarse)
    unbounded = base.unbounded
    if coarse is not None and coarse.problem:
        unbounded = f"the coarser mesh failed: {coarse.problem}"
    levels = None if unbounded or coarse is None else coarse.levels
    outcome = design_outcome(cell.joint, cell_seen(cell), fine.levels, levels, unbounded)
    return JudgedCell(outcome, fine, coarse)


def _on_mesh(base: CellBase, cells: Sequence[Cell], before: OnMesh | None = None) -> list[OnMesh]:
    """Return cells solved on the mesh of a base at their three tightenings.

    before : a like cell solved on it; whatever is near is found from there in fewer steps.
    """
    asked: list[tuple[Cell, Tightened]] = []
    problems: dict[int, str] = {}
    for number, cell in enumerate(cells):
        try:
            levels = tightened(like_base(base.model, cell)).over(cell.joint.tightening)
        except JointError as error:
            problems[number] = str(error)
            continue
        asked += [(cell, one) for one in levels.values()]
    near: list[History[BoreCell]] = []
    if before is not None and before.histories and _like(base.by, cells[0]):
        near = [before.histories[level] for level in LEVELS]
        near = near if all(len(one.states) == len(base.by.states) for one in near) else []
    found = _solved(base, asked, near if asked else ())
    for number in sorted(problems):
        found.insert(number, OnMesh(problems[number]))
    return found


def _solved(base: CellBase, asked: Sequence[tuple[Cell, Tightened]], near: Sequence[History[BoreCell]]) -> list[OnMesh]:
    """Return cells solved, each asked for at its three tightenings in turn; `near` as in `histories_of`."""
    histories = histories_of(base, asked, near)
    good = [one for one in histories if isinstance(one, History)]
    without = without_gas(base, good)
    lows = [h for h in histories[0::3] if isinstance(h, History)]
    factors = _sealed_factors(base, lows, without)
    found = []
    for number in range(len(asked) // 3):
        own = histories[3 * number : 3 * number + 3]
        problem = next((str(one) for one in own if isinstance(one, JointError)), "") or _unsolved(own, without)
        if problem:
            found.append(OnMesh(problem))
            continue
        levels: dict[str, Judged] = {}
        solved: dict[str, History[BoreCell]] = {}
        told: dict[str, list[CellStateFindings]] = {}
        bent = {
            level: bending_of(base, one, without if level == "nominal" else {})
            for level, one in zip(LEVELS, own, strict=True)
        }
        amplitudes = [one.amplitude for one in bent["nominal"]]
        for level, history in zip(LEVELS, own, strict=True):
            assert isinstance(history, History)
            states: list[CellStateFindings] = []
            for state in history.states:
                trial = without.get(id(state))
                factor = factors.get(id(state))
                states.append(found_state(history, state, trial, factor))
            bending = [one.stress for one in bent[level]]
            levels[level] = judged_level(level, history, states, bending, amplitudes, separated=level == "least")
            solved[level], told[level] = history, states
        found.append(OnMesh("", levels, solved, told))
    return found


def _unsolved(own: Sequence[History[BoreCell] | JointError], without: dict[int, Equilibrium]) -> str:
    """Say which load case has no equilibrium without its gas, "" where all have: how far it opens is unknown then."""
    states = (state for one in own if isinstance(one, History) for state in one.states)
    lost = (state.name for state in states if state.case.gas_pressure > 0.0 and id(state) not in without)
    name = next(lost, "")
    return f"load case '{name}': no equilibrium was found without its gas" if name else ""


def without_gas(base: CellBase, histories: Sequence[History[BoreCell]]) -> dict[int, Equilibrium]:
    """Return, by id of the state, its equilibrium without gas, for every state that has some."""
    asked = []
    for history in histories:
        for index, state in enumerate(history.states):
            if state.case.gas_pressure > 0.0:
                start, rest = (
                    state.equilibrium.q,
                    base.by.at_rest[index] if _like(base.by, history.model.cell) else None,
                )
                if rest is not None:  # as far from the guide as with gas
                    start = start + rest[0] - base.by.states[index].equilibrium.q
                asked.append((history, state, 0.0, start))
    found = _trials(base, asked)
    for history, state, factor, _ in asked:
        if id(state) not in found:  # no solution side by side: alone
            with suppress(SolveError):
                found[id(state)] = gas_trial(history.model, state, factor)
    return found


def _trials(
    base: CellBase, asked: Sequence[tuple[History[BoreCell], State, float, FloatArray]]
) -> dict[int, Equilibrium]:
    """Return trials with gas pressure scaled, by id of the state; a state without solution is left out."""
    found: dict[int, Equilibrium] = {}
    places = {(state.name, state.kind): index for index, state in enumerate(base.by.states)}
    for place in {(state.name, state.kind) for _, state, _, _ in asked}:
        own = [one for one in asked if (one[1].name, one[1].kind) == place]
        if place not in places or any(_alone(history) for history, _, _, _ in own):
            found |= {id(state): gas_trial(history.model, state, factor, q) for history, state, factor, q in own}
            continue
        designs = [Design(history.model, history.tightened) for history, _, _, _ in own]
        index = places[place]
        rest, factors = base.by.at_rest[index], base.by.nearby[index]
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


def _sealed_factors(
    base: CellBase, histories: Sequence[History[BoreCell]], without: dict[int, Equilibrium]
) -> dict[int, float | None]:
    """Return the factor on gas at which a sealing line falls short, by id of the state: all states search in step."""
    found: dict[int, float | None] = {}
    searches: dict[int, _Searching] = {}
    for history in histories:
        for state in history.states:
            if id(state) not in without:
                continue
            rest, model = without[id(state)], history.model
            trials = search(lacking_at(model, rest, 0.0), lacking_at(model, state.equilibrium, state.case.gas_pressure))
            known = ((0.0, rest.q), (1.0, state.equilibrium.q))
            try:
                searches[id(state)] = _Searching(history, state, trials, next(trials), known)
            except StopIteration as done:
                found[id(state)] = done.value
    while searches:
        solved = _trials(base, [(one.history, one.state, one.factor, one.start()) for one in searches.values()])
        for number, one in list(searches.items()):
            if number not in solved:  # no solution side by side: alone, and by its own factors
                found[number] = sealed_factor(one.history.model, one.state, without[number])
                del searches[number]
                continue
            trial = solved[number]
            try:
                lacks = lacking_at(one.history.model, trial, one.factor * one.state.case.gas_pressure)
                factor = one.trials.send(lacks)
                known = (one.known[1], (one.factor, trial.q))
                searches[number] = dataclasses.replace(one, factor=factor, known=known)
            except StopIteration as done:
                found[number] = done.value
                del searches[number]
    return found


@dataclass(frozen=True)
class _Searching:
    """A state whose factor on gas is being searched; known : the last two factors solved with their unknowns."""

    history: History[BoreCell]
    state: State
    trials: Search
    factor: float
    known: tuple[tuple[float, FloatArray], tuple[float, FloatArray]]

    def start(self) -> FloatArray:
        """Return the unknowns (n,) to begin with, on the line through what is known."""
        (f_0, q_0), (f_1, q_1) = self.known
        return q_1 + (self.factor - f_1) / (f_1 - f_0) * (q_1 - q_0)


def bending_of(
    base: CellBase, history: History[BoreCell] | JointError, without: dict[int, Equilibrium]
) -> tuple[StudBending, ...]:
    """Return the bending of studs state by state; its amplitude where the state `without` gas is known by its id."""
    assert isinstance(history, History)
    return stud_bending(base.bending, history, [without.get(id(state)) for state in history.states])
