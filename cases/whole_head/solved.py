"""The whole head: one tile condensed, nuts tightened at once or one after the other, each bore fired alone."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from headjoint.cases.condensed.reduced_joint import Equilibrium
from headjoint.cases.condensed.store import CondensedStore
from headjoint.cases.elements.memory import check_row_memory
from headjoint.cases.load_cases.load_history import (
    State,
    TighteningStep,
    advance,
    cases_of,
    demand_of,
    slackened,
    tighten,
    turn,
)
from headjoint.cases.load_cases.solved import COMPARISON
from headjoint.cases.models.condensed import LineState
from headjoint.cases.models.from_mesh import COARSE, NO_COARSER, or_why_not, why_failed
from headjoint.cases.models.stages import Stages
from headjoint.cases.service.tightened import tightened
from headjoint.cases.whole_head.as_found import HeadModel
from headjoint.cases.whole_head.free_end import with_end
from headjoint.cases.whole_head.free_tile import free_tile
from headjoint.cases.whole_head.gas_trials import gas_trials, states_without_gas
from headjoint.cases.whole_head.kept_tile import kept_tile
from headjoint.cases.whole_head.left_out import bending_left_out, figure_left_out, force_figure, pressure_figure
from headjoint.cases.whole_head.row import Row, row_of, row_size
from headjoint.meshes.solid.bore_cell import build_cell
from headjoint.meshes.solid.end_piece import build_tile_and_end
from headjoint.meshes.solid.solid_mesh import SolidMesh
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import InputError
from headjoint.model.cell import Asked, Bank, Cell
from headjoint.model.formulas.tightened import Tightened
from headjoint.model.load_case import LoadCase


@dataclass(frozen=True)
class HeadState:
    """One state of the whole head.

    fired : number of the bore that fires, None where none does. without : its equilibrium without that gas, where it
    was looked for. searched : whether it is the one in which gas may grow least; head_room : by what factor, None where
    that lies beyond what is searched.
    """

    name: str
    fired: int | None
    state: State = field(repr=False)
    lines: tuple[LineState, ...] = field(repr=False)
    without: Equilibrium | None = field(default=None, repr=False)
    searched: bool = False
    head_room: float | None = None


@dataclass(frozen=True)
class SolvedHead:
    """All that is known of a whole head.

    cell : with all its bores. levels : states by tightening, "least", "nominal" and "greatest"; those of the least know
    how much more gas they seal. steps : forces after every nut of the nominal tightening, empty where all are tightened
    at once. off_force (N), off_pressure, off_bending (MPa) : by how much what the modes of faces leave out may move the
    stud beside the bore that seals least, its least sealing pressure and that stud's bending stress, in the state at
    nominal preload that has the least. seconds : by stage. coarse : the same from a tile on the coarser mesh; unbounded
    : why there is none, "" where there is.
    """

    cell: Cell
    row: Row = field(repr=False)
    levels: dict[str, tuple[HeadState, ...]] = field(repr=False)
    found: dict[str, Tightened] = field(repr=False)
    steps: tuple[TighteningStep, ...] = field(repr=False)
    off_force: float
    off_pressure: float
    off_bending: float
    seconds: dict[str, float]
    coarse: SolvedHead | None = field(default=None, repr=False)
    unbounded: str = NO_COARSER


def check_head(cell: Cell) -> Bank:
    """Return the layout of a cell that a whole head can be made of; InputError with what stands against it."""
    layout, tightening = cell.layout, cell.joint.tightening
    if not isinstance(layout, Bank):
        raise InputError("the whole head is that of bores in a row; `solve` has the whole ring", field="layout.kind")
    if layout.in_row is None:
        raise InputError("state how many bores the engine has in a row", field="layout.in_row")
    if cell.mesh.file is not None:
        raise InputError("the whole head is meshed by its own tile; leave the own mesh out", field="mesh.file")
    if cell.joint.by_heat:
        raise InputError("the whole head takes a temperature for each part; state `temperatures`", field="load_cases")
    if tightening.preload is None:
        why = "the whole head is tightened to a torque or a preload; `solve` gives the preload of other methods"
        raise InputError(why, field="tightening.method", value=tightening.method)
    if sum(stud.slack for stud in cell.row.studs) == layout.studs_in_row:
        raise InputError("no stud is left that carries anything: nothing clamps the head", field="[row] or slack")
    return layout


def head_row(
    cell: Cell,
    store: CondensedStore | None = None,
    stage: Callable[[str], None] = lambda name: None,
    refinement: float = 1.0,
) -> Row:
    """Mesh and condense one tile of a cell and put the row of its engine together; raises as `solve_cell`."""
    layout = check_head(cell)
    assert layout.in_row is not None
    extent = "quarter" if layout.exhaust is None else "half"
    one = replace(cell, layout=replace(layout, bores=1, extent=extent), fired=(0,), order=(), asked=Asked())
    half = layout.pitch / 2.0
    stage("mesh of one tile")
    beyond: SolidMesh | None = None
    if layout.end is None:
        mesh = build_cell(one, refinement, store)
    else:
        mesh, beyond = build_tile_and_end(one, refinement, store)
    stage("assemble one tile")
    tile = free_tile(one, mesh, half)
    if beyond is not None:
        tile = with_end(tile, one, beyond, half)
    condensed = kept_tile(tile, store, stage=stage)
    check_row_memory(row_size(cell, tile, condensed, layout.in_row))
    return row_of(one, tile, condensed, layout.in_row)


def solve_head(
    cell: Cell,
    order: Callable[[FloatArray], Sequence[int]],
    stage: Callable[[str], None] = lambda name: None,
    store: CondensedStore | None = None,
) -> SolvedHead:
    """Tighten the whole head and run its load cases, every bore fired alone, one after the other; on two meshes.

    order : from the places (2, f) of all studs to the numbers in which they are turned, where the file states passes.
    The least and the greatest tightening then leave the same spread of forces as the nominal one.

    Raises InputError for what no whole head is made of, and as `solve_cell`.
    """
    fine = head_on_mesh(cell, order, 1.0, stage, store)
    stages = Stages(stage)
    coarse, why = stages.run(COMPARISON, lambda: _coarse_or_why_not(cell, order, stage, store))
    return replace(fine, coarse=coarse, unbounded=why, seconds=fine.seconds | stages.seconds)


def _coarse_or_why_not(
    cell: Cell,
    order: Callable[[FloatArray], Sequence[int]],
    stage: Callable[[str], None],
    store: CondensedStore | None,
) -> tuple[SolvedHead | None, str]:
    def told(name: str) -> None:
        stage(f"{COMPARISON}: {name}")

    try:
        return or_why_not(lambda: head_on_mesh(cell, order, COARSE, told, store))
    except InputError as error:  # damage between two points of the coarse mesh
        return None, why_failed(str(error))


def head_on_mesh(
    cell: Cell,
    order: Callable[[FloatArray], Sequence[int]],
    refinement: float,
    stage: Callable[[str], None] = lambda name: None,
    store: CondensedStore | None = None,
) -> SolvedHead:
    """Return the whole head from a tile on one mesh alone, `refinement` times as fine; raises as `solve_head`."""
    check_head(cell)
    stages = Stages(stage)
    row = stages.run("one tile, condensed", lambda: head_row(cell, store, stage, refinement))
    turned = tuple(int(number) for number in order(row.places))
    whole = replace(row.model.cell, order=tuple((share, turned) for share, _ in cell.order))
    row = replace(row, model=replace(row.model, cell=whole))
    found = tightened(row.model).over(cell.joint.tightening)
    levels = {}
    shares = row.model.preload_shares
    found = {name: replace(one, forces=shares * one.forces) for name, one in found.items()}
    first, turned_to, steps = stages.run("tighten", lambda: tightened_head(row.model, found["nominal"]))
    spread, room = first.force / found["nominal"].preload, first.overlap - turned_to
    for name in ("nominal", "least", "greatest"):
        tight = first if name == "nominal" else _at_once(row.model, found[name], spread, near=first)
        # a nut that was left loose has as much room at every level
        levels[name] = stages.run(f"{name} preload", partial(_states, row, tight, tight.overlap - room, name, stage))
    levels["least"] = stages.run("other gas", lambda: _with_trials(row, levels["least"], stage))
    for name in ("nominal", "greatest"):
        levels[name] = stages.run("without gas", partial(_without_gas, row, levels[name], stage))
    off = stages.run("what modes leave out", lambda: _left_out(row, levels["nominal"]))
    return SolvedHead(whole, row, levels, found, steps, *off, stages.seconds)


def tightened_head(
    model: HeadModel, found: Tightened, near: State | None = None
) -> tuple[State, FloatArray, tuple[TighteningStep, ...]]:
    """Return the state after all passes and what is turned once more, the overlaps (f,) mm turned to, and all steps.

    near : the assembled state at another preload, to start from.
    """
    steps: list[TighteningStep] = []
    state, turned = tighten(model, found, steps, None if near is None else _pulled_like(near, found.forces))
    again = [one for one in model.cell.row.studs if one.retorque is not None]
    for one in again:
        assert one.retorque is not None
        state = turn(model, state, turned, one.number, one.retorque * found.preload, model.slack)
        turned[one.number] = state.overlap[one.number]
        steps.append(TighteningStep(None, one.number, state))
    return state, turned, tuple(steps)


def _pulled_like(near: State, forces: FloatArray) -> FloatArray:
    """Return the unknowns of a state as they nearly are where its studs are pulled to `forces` (f,) N together."""
    return near.equilibrium.q * (forces.sum() / near.force.sum())


def _at_once(model: HeadModel, found: Tightened, spread: FloatArray, near: State) -> State:
    """Return the assembled state of all studs tightened to `spread` times the preload that was found.

    near : the same at another preload, to start from.
    """
    case, forces = model.joint.load_cases[0], spread * found.preload
    force, overlap = slackened(model, model.slack, force=forces)
    return advance(model, case, demand_of(model, case, force=force, overlap=overlap), None, _pulled_like(near, forces))


def _states(
    row: Row, tight: State, turned: FloatArray, level: str, stage: Callable[[str], None]
) -> tuple[HeadState, ...]:
    """Return the states of all load cases in order, from the overlaps (f,) mm that nuts were turned to.

    Where there is gas, every bore fires alone, from the first on.
    """
    model = row.model
    states = [HeadState(tight.name, None, tight, model.lines(tight.equilibrium))]
    quiet = tight  # the last state without gas, which any bore that fires alone is nearer to than to another's firing
    overlap = turned - model.joint.tightening.embedding
    for case in cases_of(model.joint)[1:]:
        for bore in range(row.numbers.bores) if case.gas_pressure > 0.0 else (None,):
            name = case.name if bore is None else f"{case.name}, bore {bore + 1}"
            stage(f"{level} preload: {name}")
            fired = model.firing(bore)
            state = advanced(fired, case, overlap, states[-1].state, quiet)
            quiet = state if bore is None else quiet
            states.append(HeadState(name, bore, state, fired.lines(state.equilibrium)))
    return tuple(states)


def _with_trials(row: Row, states: tuple[HeadState, ...], stage: Callable[[str], None]) -> tuple[HeadState, ...]:
    trials = gas_trials(row.model, [one.state for one in states], [one.fired for one in states], stage)
    found = [replace(one, without=rest) for one, rest in zip(states, trials.without, strict=True)]
    if trials.least is not None:
        found[trials.least] = replace(found[trials.least], searched=True, head_room=trials.factor)
    return tuple(found)


def _without_gas(row: Row, states: tuple[HeadState, ...], stage: Callable[[str], None]) -> tuple[HeadState, ...]:
    found = states_without_gas(row.model, [one.state for one in states], [one.fired for one in states], stage)
    return tuple(replace(one, without=rest) for one, rest in zip(states, found, strict=True))


def advanced(model: HeadModel, case: LoadCase, overlap: FloatArray, before: State, near: State | None = None) -> State:
    """Return the state of a load case with studs locked at `overlap` (f,) mm, after another state.

    Those that are slack carry nothing. near : a state to start from, by default that before.
    """
    force, locked = slackened(model, model.slack, overlap=overlap + model.drawn_in(case))
    start = (near or before).equilibrium.q
    return advance(model, case, demand_of(model, case, force=force, overlap=locked), before, start)


def _left_out(row: Row, states: Sequence[HeadState]) -> tuple[float, float, float]:
    """Return by how much modes left out may move figures of the worst state.

    A stud (N), the least sealing pressure (MPa) and the stud's bending stress (MPa).

    Where a line has opened there is no pressure to be off, and the least that is left counts.
    """

    def least(line: LineState) -> float:
        return float(line.pressure[line.pressure > 0.0].min(initial=np.inf))

    worst = min(states[1:] or states, key=lambda one: min(map(least, one.lines)))
    line = min(worst.lines, key=least)
    at = int(np.where(line.pressure > 0.0, line.pressure, np.inf).argmin())
    point = row.model.points.lines[line.bore].at[at]
    seen = replace(row, model=row.model.firing(worst.fired))
    away = np.abs(row.places[0] - row.model.cell.bore_centres[line.bore][0])
    nearest = int(np.argmin(np.where(row.model.slack, np.inf, away)))
    force = figure_left_out(seen, worst.state, force_figure(seen, nearest))
    pressure = figure_left_out(seen, worst.state, pressure_figure(seen, worst.state, int(point)))
    return force, pressure, bending_left_out(seen, states[0].state, worst.state, nearest)
