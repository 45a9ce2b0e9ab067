"""Designs of one bore cell side by side: their requirements without full fields, without a coarser mesh."""

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
from headjoint.cases.models.from_mesh import mesh_of
from headjoint.cases.models.gas_that_seals import Search, search, search_near, secant
from headjoint.cases.service.tightened import BrokenFastenerError, tightened
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
from headjoint.postproc.designs.outcome import JudgedDesign, Outcome, broken_outcome, design_outcome, drawn_outcome
from headjoint.postproc.verdict.fastener import NECKING, YIELD
from headjoint.postproc.verdict.model_seen import cell_seen
from headjoint.postproc.verdict.parts import BEARING, STRIPPING
from headjoint.postproc.verdict.requirement import LEVELS
from headjoint.postproc.verdict.requirement import Tightened as Judged

Level = tuple[float, ...]


@dataclass(frozen=True)
class CellBase:
    """What designs of one stiffness share. found, chain : what one of their tightenings gives, and on its chain.

    corners : (2, 8 or 6, f) mm, places of the nodes of the gasket's faces.
    """

    model: BoreCell = field(repr=False)
    by: Guide = field(repr=False)
    bending: BendingRows = field(repr=False)
    found: Tightened = field(repr=False)
    chain: Tightened = field(repr=False)
    corners: FloatArray = field(repr=False)


@dataclass(frozen=True)
class _Limit:
    """A state at the gas that it just seals. factor : on its gas. bend : of the factor over the secant's; q : there."""

    factor: float
    bend: float
    q: FloatArray = field(repr=False)


@dataclass(frozen=True)
class _Starts:
    """What a like cell may start from: by tightening every state without its gas; limits : of the least tightening."""

    rests: dict[str, list[Equilibrium | None]] = field(repr=False)
    limits: list[_Limit | None] = field(repr=False)


def cell_base(
    cell: Cell, store: CondensedStore | None = None, stage: Callable[[str], None] = lambda name: None
) -> CellBase:
    """Return the base of a cell: condensed, one history solved as guide, rows of bending made.

    stage : hears the name of every stage as it begins.
    """
    if cell.joint.by_heat:
        raise InputError("of load cases is not for studies of cells; state temperatures", field="load_cases.heat")
    stage("mesh")
    assembled = cell_model(cell, mesh_of(cell))
    stage("condensing")
    model = condensed_cell(assembled, condense_cell(assembled, store))
    stage("first states")
    own = _like_base(model, cell)
    found = tightened(own)
    stage("bending of the studs")
    recovery = CellRecovery(assembled)
    rows = bending_rows(assembled, recovery)
    recovery.release()
    corners = assembled.mesh.points[:2, model.points.gasket_faces]
    return CellBase(model, guide(Design(own, found)), rows, found, tightened(chain_of(cell.joint)), corners)


def _like_base(model: BoreCell, cell: Cell) -> BoreCell:
    """Return a cell of the same stiffness with its own laws and series compliance."""
    return dataclasses.replace(model, cell=cell, reduced=fitted(model.reduced, cell))


def _histories(
    base: CellBase, designs: Sequence[tuple[Cell, Tightened]], near: Sequence[History[BoreCell]] = ()
) -> list[History[BoreCell] | JointError]:
    """Return the history of every cell; side by side where each could be.

    near : histories of like designs to start from, one for each.
    """
    columns = [Design(_like_base(base.model, cell), found) for cell, found in designs]
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


def judged_cells(base: CellBase, cells: Sequence[Cell]) -> list[JudgedDesign]:
    """Return every cell judged at least, nominal and greatest tightening."""
    asked: list[tuple[Cell, Tightened]] = []
    problems: dict[int, str] = {}
    for number, cell in enumerate(cells):
        try:
            levels = tightened(_like_base(base.model, cell)).over(cell.joint.tightening)
        except JointError as error:
            problems[number] = str(error)
            continue
        asked += [(cell, one) for one in levels.values()]
    return _with_problems(_judged(base, asked), cells, problems)


def judged_cell(base: CellBase, cell: Cell, before: JudgedDesign | None = None) -> JudgedDesign:
    """Return one cell judged at least, nominal and greatest tightening.

    before : a like cell of the same base, judged; whatever is near is found from there in fewer steps.
    """
    levels = tightened(_like_base(base.model, cell)).over(cell.joint.tightening)
    near = before if before is not None and before.histories and _like(base.by, cell) else None
    if near is not None and not all(_like(base.by, one.model.cell) for one in near.histories.values()):
        near = None
    return _judged(base, [(cell, one) for one in levels.values()], near)[0]


def _with_problems(found: list[JudgedDesign], cells: Sequence[Cell], problems: dict[int, str]) -> list[JudgedDesign]:
    """Return judged cells with designs that cannot be tightened put in at their numbers."""
    for number in sorted(problems):
        found.insert(number, JudgedDesign(cells[number], Outcome(problem=problems[number])))
    return found


def _judged(
    base: CellBase, asked: Sequence[tuple[Cell, Tightened]], near: JudgedDesign | None = None
) -> list[JudgedDesign]:
    """Return cells judged, each asked for at its three tightenings in turn.

    near : a like cell to start from where one is asked for.
    """
    histories = _histories(base, asked, [] if near is None else [near.histories[level] for level in LEVELS])
    good = [one for one in histories if isinstance(one, History)]
    near = near if len(good) == len(histories) else None
    without = _without_gas(base, good, near)
    lows = [h for h in histories[0::3] if isinstance(h, History)]
    limits = {} if near is None else _near_limits(base, lows[0], without, near)
    limits |= _limits(base, lows, without, limits)
    factors = {name: None if one is None else one.factor for name, one in limits.items()}
    found = []
    for number, (cell, _) in enumerate(asked[0::3]):
        own = histories[3 * number : 3 * number + 3]
        problem = next((str(one) for one in own if isinstance(one, JointError)), "") or _unsolved(own, without)
        if problem:
            found.append(JudgedDesign(cell, Outcome(problem=problem)))
            continue
        levels: dict[str, Judged] = {}
        solved: dict[str, History[BoreCell]] = {}
        told: dict[str, list[CellStateFindings]] = {}
        bent = {
            level: _bent(base, one, without if level == "nominal" else {})
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
        outcome = design_outcome(cell.joint, cell_seen(cell), levels)
        rests = {level: [without.get(id(state)) for state in one.states] for level, one in solved.items()}
        at_limit = [limits.get(id(state)) for state in solved["least"].states]
        found.append(JudgedDesign(cell, outcome, solved, told, _Starts(rests, at_limit)))
    return found


def _unsolved(own: Sequence[History[BoreCell] | JointError], without: dict[int, Equilibrium]) -> str:
    """Say which load case has no equilibrium without its gas, "" where all have: how far it opens is unknown then."""
    states = (state for one in own if isinstance(one, History) for state in one.states)
    lost = (state.name for state in states if state.case.gas_pressure > 0.0 and id(state) not in without)
    name = next(lost, "")
    return f"load case '{name}': no equilibrium was found without its gas" if name else ""


def judge_drawn_cells(base: CellBase, cells: Sequence[Cell]) -> list[Outcome]:
    """Return the figures of drawn cells, each at its own preload; fatigue is left out."""
    found = []
    histories = _histories(base, [(cell, _drawn(base, cell)) for cell in cells])
    without = _without_gas(base, [history for history in histories if isinstance(history, History)])
    for cell, history in zip(cells, histories, strict=True):
        if isinstance(history, BrokenFastenerError):
            found.append(broken_outcome(history.used))
            continue
        if isinstance(history, JointError):
            found.append(Outcome(problem=str(history)))
            continue
        states = [found_state(history, state, without.get(id(state))) for state in history.states]
        bending = [one.stress for one in _bent(base, history, {})]
        unknown: list[FloatArray | None] = [None] * len(states)
        # the fastener that is worst for sealing and clamp, and the one that is worst for stress
        kept = judged_level("least", history, states, bending, unknown, separated=False)
        most = judged_level("greatest", history, states, bending, unknown, separated=False)
        low, high = (drawn_outcome(cell.joint, cell_seen(cell), one).figures for one in (kept, most))
        stressed = [one.title for one in (YIELD, NECKING, BEARING, STRIPPING)]
        found.append(Outcome(figures=low | {name: high[name] for name in stressed if name in high}))
    return found


def _drawn(base: CellBase, cell: Cell) -> Tightened:
    """Return what a drawn cell's tightening gives: what the cell's own gave, times what the draw does to its chain."""
    if cell.joint.tightening.preload is not None:
        return tightened(_like_base(base.model, cell))
    chain = tightened(chain_of(cell.joint), base.chain.past_yield)
    found = base.found.at(chain.preload / base.chain.preload)
    return dataclasses.replace(found, strain=chain.strain, strength=chain.strength)


def _without_gas(
    base: CellBase, histories: Sequence[History[BoreCell]], near: JudgedDesign | None = None
) -> dict[int, Equilibrium]:
    """Return, by id of the state, its equilibrium without gas, for every state that has some.

    near : as in `_judged`.
    """
    asked = []
    for number, history in enumerate(histories):
        for index, state in enumerate(history.states):
            if state.case.gas_pressure > 0.0:
                start = state.equilibrium.q
                rest = base.by.at_rest[index] if _like(base.by, history.model.cell) else None
                own = None if near is None else near.starts.rests[LEVELS[number]][index]
                if near is not None and own is not None:  # as far from what is near as with gas
                    start = start + own.q - near.histories[LEVELS[number]].states[index].equilibrium.q
                elif rest is not None:
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


def _near_limits(
    base: CellBase, history: History[BoreCell], without: dict[int, Equilibrium], near: JudgedDesign
) -> dict[int, _Limit | None]:
    """Return, by id of the state, what `_limits` does, of the states where it is found near that of the cell before."""
    found: dict[int, _Limit | None] = {}
    design = Design(history.model, history.tightened)
    for index, (state, before) in enumerate(zip(history.states, near.starts.limits, strict=True)):
        if before is None or id(state) not in without or _alone(history):
            continue
        gas, model = state.case.gas_pressure, history.model
        at_rest, fired = lacking_at(model, without[id(state)], 0.0), lacking_at(model, state.equilibrium, gas)
        if not at_rest < min(fired, 0.0):
            continue
        bend_of = secant(at_rest, fired)
        trials = search_near(before.bend * bend_of)
        shifted = before.q + state.equilibrium.q - near.histories["least"].states[index].equilibrium.q
        starts, q = [shifted, shifted], shifted
        try:
            pair = next(trials)
            while True:
                solved = with_gas([design] * 2, [state] * 2, pair, starts, base.by.nearby[index])
                low, high = solved
                if not isinstance(low, Equilibrium) or not isinstance(high, Equilibrium):
                    break
                tried, q = pair, low.q
                lacks = [lacking_at(model, one, factor * gas) for one, factor in zip((low, high), pair, strict=True)]
                pair = trials.send((lacks[0], lacks[1]))
                along = (high.q - low.q) / (tried[1] - tried[0])
                starts = [low.q + (factor - tried[0]) * along for factor in pair]
        except StopIteration as done:
            if done.value is not None:
                found[id(state)] = _Limit(done.value, done.value / bend_of, q)
    return found


def _limits(
    base: CellBase,
    histories: Sequence[History[BoreCell]],
    without: dict[int, Equilibrium],
    known: dict[int, _Limit | None],
) -> dict[int, _Limit | None]:
    """Return the gas at which a sealing line falls short, by id of the state, None for none: all search in step.

    known : states that need no search.
    """
    found: dict[int, _Limit | None] = {}
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
                searches[id(state)] = _Searching(history, state, trials, next(trials), tried, secant(*ends))
            except StopIteration as done:
                found[id(state)] = _limit(done.value, rest.q, secant(*ends))
    while searches:
        solved = _trials(base, [(one.history, one.state, one.factor, one.start()) for one in searches.values()])
        for number, one in list(searches.items()):
            if number not in solved:  # no solution side by side: alone, and by its own factors
                factor = sealed_factor(one.history.model, one.state, without[number])
                found[number] = _limit(factor, one.known[1][1], one.secant)
                del searches[number]
                continue
            trial = solved[number]
            known_now = (one.known[1], (one.factor, trial.q))
            try:
                lacks = lacking_at(one.history.model, trial, one.factor * one.state.case.gas_pressure)
                factor = one.trials.send(lacks)
                searches[number] = dataclasses.replace(one, factor=factor, known=known_now)
            except StopIteration as done:
                found[number] = _limit(done.value, trial.q, one.secant)
                del searches[number]
    return found


def _limit(factor: float | None, q: FloatArray, by_secant: float) -> _Limit | None:
    return None if factor is None else _Limit(factor, factor / by_secant if by_secant > 0.0 else 1.0, q)


@dataclass(frozen=True)
class _Searching:
    """A state whose factor on gas is being searched; known : the last two factors solved with their unknowns.

    secant : the factor by what is lacking without gas and with it.
    """

    history: History[BoreCell]
    state: State
    trials: Search
    factor: float
    known: tuple[tuple[float, FloatArray], tuple[float, FloatArray]]
    secant: float

    def start(self) -> FloatArray:
        """Return the unknowns (n,) to begin with, on the line through what is known."""
        (f_0, q_0), (f_1, q_1) = self.known
        return q_1 + (self.factor - f_1) / (f_1 - f_0) * (q_1 - q_0)


def _bent(
    base: CellBase, history: History[BoreCell] | JointError, without: dict[int, Equilibrium]
) -> tuple[StudBending, ...]:
    """Return the bending of studs state by state; its amplitude where the state `without` gas is known by its id."""
    assert isinstance(history, History)
    return stud_bending(base.bending, history, [without.get(id(state)) for state in history.states])
