"""Designs of one bore cell side by side: their requirements without full fields, and beside them on a coarser mesh."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from headjoint.cases.condensed.cell_condensation import cell_model
from headjoint.cases.condensed.reduced_joint import Equilibrium
from headjoint.cases.condensed.stiffness_key import fitted
from headjoint.cases.condensed.store import CondensedStore
from headjoint.cases.condensed.stud_rows import BendingRows
from headjoint.cases.condensed.watched_cell import watched_cell
from headjoint.cases.load_cases.bore_cell_batch import Design, Guide, guide, renewed, run_many
from headjoint.cases.load_cases.load_history import History, run
from headjoint.cases.models.condensed import BoreCell, chain_of, condensed_cell
from headjoint.cases.models.from_mesh import COARSE, NO_COARSER, mesh_of, or_why_not, why_failed
from headjoint.cases.service.tightened import tightened
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import JointError
from headjoint.model.cell import Cell
from headjoint.model.formulas.tightened import Tightened
from headjoint.postproc.cell.assessment import judged_level
from headjoint.postproc.cell.findings import (
    CellStateFindings,
    beside_rest,
    found_state,
)
from headjoint.postproc.cell.stuck_nuts import StudBending, stud_bending
from headjoint.postproc.designs.cell_trials import alone, like_guide, limits_of, near_limits, without_gas
from headjoint.postproc.designs.near_limit import Limit
from headjoint.postproc.designs.outcome import (
    JudgedDesign,
    OnMesh,
    Outcome,
    begun_outcome,
    design_outcome,
    heat_refused,
)
from headjoint.postproc.verdict.model_seen import cell_seen
from headjoint.postproc.verdict.requirement import LEVELS

Level = tuple[float, ...]


@dataclass(frozen=True)
class CellBase:
    """What designs of one stiffness share. found, chain : what one of their tightenings gives, and on its chain.

    corners : (2, 8 or 6, f) mm, places of the nodes of the gasket's faces. coarse : the same on the coarser mesh, None
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


def cell_base(
    cell: Cell, store: CondensedStore | None = None, stage: Callable[[str], None] = lambda name: None
) -> CellBase:
    """Return the base of a cell: condensed, one history solved as guide, rows of bending made.

    stage : hears the name of every stage as it begins.
    """
    if cell.joint.by_heat:
        raise heat_refused("studies and the live page of cells")
    fine = _base_on(cell, 1.0, store, stage)
    if cell.mesh.file is not None:
        return fine
    coarse, unbounded = or_why_not(lambda: _base_on(cell, COARSE, store, lambda name: stage(f"{name}, coarse mesh")))
    return dataclasses.replace(fine, coarse=coarse, unbounded=unbounded)


def _base_on(cell: Cell, refinement: float, store: CondensedStore | None, stage: Callable[[str], None]) -> CellBase:
    stage("mesh")
    assembled = cell_model(cell, mesh_of(cell, refinement, store))
    stage("condensing")
    condensed = watched_cell(assembled, store)
    model = condensed_cell(assembled, condensed.reduced)
    stage("first states")
    own = like_base(model, cell)
    found = tightened(own)
    corners = assembled.mesh.points[:2, model.points.gasket_faces]
    return CellBase(
        model, guide(Design(own, found)), condensed.bending, found, tightened(chain_of(cell.joint)), corners
    )


def like_base(model: BoreCell, cell: Cell) -> BoreCell:
    """Return a cell of the same stiffness with its own laws and series compliance."""
    return dataclasses.replace(model, cell=cell, reduced=fitted(model.reduced, cell))


def histories_of(
    base: CellBase, designs: Sequence[tuple[Cell, Tightened]], near: Sequence[History[BoreCell]] = ()
) -> list[History[BoreCell] | JointError]:
    """Return the history of every cell; side by side where each could be.

    near : histories of a like cell at its tightenings, to start from.
    """
    columns = [Design(like_base(base.model, cell), found) for cell, found in designs]
    together = [n for n, one in enumerate(columns) if not alone(one) and like_guide(base.by, one.model.cell)]
    found: list[History[BoreCell] | JointError] = [JointError("not run")] * len(columns)
    for number, states in zip(together, run_many([columns[n] for n in together], base.by, near), strict=True):
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


def judge_cells(base: CellBase, cells: Sequence[Cell]) -> list[Outcome]:
    """Return the outcome of every cell at least, nominal and greatest tightening."""
    return [one.outcome for one in judged_cells(base, cells)]


def judged_cells(base: CellBase, cells: Sequence[Cell]) -> list[JudgedDesign]:
    """Return every cell judged at least, nominal and greatest tightening."""
    fine = _on_mesh(base, cells)
    coarse = [None] * len(cells) if base.coarse is None else _on_mesh(base.coarse, cells)
    return [_judged_cell(base, *one) for one in zip(cells, fine, coarse, strict=True)]


def begun_cell(base: CellBase, cell: Cell, near: JudgedDesign | None = None) -> JudgedDesign:
    """Return one cell solved on its own mesh at its three tightenings, what needs other gas or another mesh left out.

    near : a like cell of the same base, begun or judged, to start from.
    """
    try:
        levels = tightened(like_base(base.model, cell)).over(cell.joint.tightening)
    except JointError as error:
        return JudgedDesign(cell, Outcome(problem=str(error)), OnMesh(str(error)), None)
    start = None if near is None else _start(base, cell, near.fine)
    histories = histories_of(base, [(cell, one) for one in levels.values()], _histories(start))
    done = OnMesh(problem=next((str(one) for one in histories if isinstance(one, JointError)), ""))
    if done.problem:
        return JudgedDesign(cell, Outcome(problem=done.problem), done, None)
    for level, history in zip(LEVELS, histories, strict=True):
        assert isinstance(history, History)
        states = [found_state(history, state) for state in history.states]
        straight = [np.zeros(len(state.forces)) for state in states]
        done.levels[level] = judged_level(level, history, states, straight, [None] * len(states), separated=False)
        done.histories[level], done.states[level] = history, states
    return JudgedDesign(cell, begun_outcome(cell.joint, cell_seen(cell), done.levels), done, None, False)


def judged_cell(
    base: CellBase,
    cell: Cell,
    before: JudgedDesign | None = None,
    begun: JudgedDesign | None = None,
    between: Callable[[], None] = lambda: None,
    beside: Callable[[], OnMesh | None] | None = None,
) -> JudgedDesign:
    """Return one cell judged at least, nominal and greatest tightening.

    before : a like cell of the same base, judged; whatever is near is found from there in fewer steps. begun : this
    one, as `begun_cell` has it. between : called between stages, and may raise to end it. Both meshes are solved at
    once: most of the time goes into products that leave the interpreter alone. beside : gives this cell on coarser
    elements where it is solved elsewhere meanwhile, None where that failed.
    """
    start = (None, None) if before is None else (before.fine, before.coarse)
    if beside is not None and base.coarse is not None:
        (fine,) = _on_mesh(base, [cell], start[0], None if begun is None else begun.fine, between)
        found = beside()
        return _judged_cell(
            base, cell, fine, on_one_mesh(base.coarse, cell, start[1], between) if found is None else found
        )
    with ThreadPoolExecutor(1) as pool:
        asked = None
        if base.coarse is not None:
            asked = pool.submit(_on_mesh, base.coarse, [cell], start[1], between=between)
        (fine,) = _on_mesh(base, [cell], start[0], None if begun is None else begun.fine, between)
        coarse = None if asked is None else asked.result()[0]
    between()
    return _judged_cell(base, cell, fine, coarse)


def on_one_mesh(base: CellBase, cell: Cell, before: OnMesh | None, between: Callable[[], None]) -> OnMesh:
    """Return one cell solved on the mesh of a base at its three tightenings. before, between : as of `judged_cell`."""
    return _on_mesh(base, [cell], before, between=between)[0]


def base_near(base: CellBase, found: JudgedDesign, between: Callable[[], None]) -> CellBase:
    """Return a base whose guides have the tangents of a design that was judged by it: its like are solved sooner.

    between : called between tangents, and may raise to end it.
    """
    coarse = base.coarse
    if coarse is not None and found.coarse is not None:
        coarse = renewed_near(coarse, found.coarse, between)
    return dataclasses.replace(renewed_near(base, found.fine, between), coarse=coarse)


def renewed_near(base: CellBase, found: OnMesh, between: Callable[[], None]) -> CellBase:
    """Return a base whose own guide has the tangents of a design that was solved by it, as `base_near` has both."""
    nominal = found.histories.get("nominal")
    if nominal is None or alone(nominal) or not like_guide(base.by, nominal.model.cell):
        return base
    return dataclasses.replace(base, by=renewed(base.by, nominal, between))


def _start(base: CellBase, cell: Cell, near: OnMesh | None) -> OnMesh | None:
    """Return what is near where its states are like those of a cell."""
    if near is None or not near.histories:
        return None
    alike = all(like_guide(base.by, one) for one in (cell, near.histories["least"].model.cell))
    return near if alike else None


def _histories(near: OnMesh | None) -> list[History[BoreCell]]:
    return [] if near is None else [near.histories[level] for level in LEVELS]


def _judged_cell(base: CellBase, cell: Cell, fine: OnMesh, coarse: OnMesh | None) -> JudgedDesign:
    """Return the outcome of a cell that was solved on its own mesh and on the coarser one."""
    if fine.problem:
        return JudgedDesign(cell, Outcome(problem=fine.problem), fine, coarse)
    unbounded = base.unbounded
    if coarse is not None and coarse.problem:
        unbounded = why_failed(coarse.problem)
    levels = None if unbounded or coarse is None else coarse.levels
    outcome = design_outcome(cell.joint, cell_seen(cell), fine.levels, levels, unbounded)
    return JudgedDesign(cell, outcome, fine, coarse)


def _on_mesh(
    base: CellBase,
    cells: Sequence[Cell],
    before: OnMesh | None = None,
    begun: OnMesh | None = None,
    between: Callable[[], None] = lambda: None,
) -> list[OnMesh]:
    """Return cells solved on the mesh of a base at their three tightenings.

    before : a like cell solved on it; whatever is near is found from there in fewer steps. begun : one cell's own
    histories. between : called between stages.
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
    near = _start(base, cells[0], before) if asked else None
    if begun is not None and begun.histories:
        histories: Sequence[History[BoreCell] | JointError] = _histories(begun)
    else:
        histories = histories_of(base, asked, _histories(near))
    between()
    found = _solved(base, histories, near, between, {} if begun is None else begun.states)
    for number in sorted(problems):
        found.insert(number, OnMesh(problems[number]))
    return found


def _solved(
    base: CellBase,
    histories: Sequence[History[BoreCell] | JointError],
    near: OnMesh | None,
    between: Callable[[], None],
    begun: Mapping[str, Sequence[CellStateFindings]] = MappingProxyType({}),
) -> list[OnMesh]:
    """Return cells solved, each by its histories at the three tightenings in turn.

    near : a like cell to start from where one is asked for. between : called between stages. begun : what is found of
    one cell's states alone.
    """
    good = [one for one in histories if isinstance(one, History)]
    near = near if len(good) == len(histories) else None
    without = without_gas(base.by, good, near)
    between()
    lows = [h for h in histories[0::3] if isinstance(h, History)]
    limits = {} if near is None else near_limits(base.by, lows[0], without, near)
    between()
    limits |= limits_of(base.by, lows, without, limits)
    return [_told(base, histories[n : n + 3], without, limits, begun) for n in range(0, len(histories), 3)]


def _told(
    base: CellBase,
    own: Sequence[History[BoreCell] | JointError],
    without: dict[int, Equilibrium],
    limits: dict[int, Limit | None],
    begun: Mapping[str, Sequence[CellStateFindings]],
) -> OnMesh:
    """Return what is judged of one cell's histories at the three tightenings.

    without, limits : states without gas and at the gas that just seals, by their ids. begun : what is found of states
    alone, by tightening, where it is known.
    """
    problem = next((str(one) for one in own if isinstance(one, JointError)), "") or unsolved(own, without)
    if problem:
        return OnMesh(problem)
    done = OnMesh()
    bent = {
        level: bending_of(base, one, without if level == "nominal" else {})
        for level, one in zip(LEVELS, own, strict=True)
    }
    amplitudes = [one.amplitude for one in bent["nominal"]]
    for level, history in zip(LEVELS, own, strict=True):
        assert isinstance(history, History)
        states: list[CellStateFindings] = []
        for number, state in enumerate(history.states):
            limit, rest = limits.get(id(state)), without.get(id(state))
            factor = None if limit is None else limit.factor
            if level in begun:
                states.append(beside_rest(history, state, begun[level][number], rest, factor))
            else:
                states.append(found_state(history, state, rest, factor))
        bending = [one.stress for one in bent[level]]
        done.levels[level] = judged_level(level, history, states, bending, amplitudes, separated=level == "least")
        done.histories[level], done.states[level] = history, states
        done.rests[level] = [without.get(id(state)) for state in history.states]
    done.limits.extend(limits.get(id(state)) for state in done.histories["least"].states)
    return done


def unsolved(own: Sequence[History[BoreCell] | JointError], without: dict[int, Equilibrium]) -> str:
    """Say which load case has no equilibrium without its gas, "" where all have: how far it opens is unknown then."""
    states = (state for one in own if isinstance(one, History) for state in one.states)
    lost = (state.name for state in states if state.case.gas_pressure > 0.0 and id(state) not in without)
    name = next(lost, "")
    return f"load case '{name}': no equilibrium was found without its gas" if name else ""


def bending_of(
    base: CellBase, history: History[BoreCell] | JointError, without: dict[int, Equilibrium]
) -> tuple[StudBending, ...]:
    """Return the bending of studs state by state; its amplitude where the state `without` gas is known by its id."""
    assert isinstance(history, History)
    return stud_bending(base.bending, history, [without.get(id(state)) for state in history.states])
