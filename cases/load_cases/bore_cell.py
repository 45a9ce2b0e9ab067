"""The bore cell solved: mesh, condense, tighten all at once or stud after stud, then every load case in order."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Generic, TypeVar

import numpy as np

from headjoint.cases.condensed.cell_condensation import CellModel, CondensedCell, cell_model, condense_cell, gas_name
from headjoint.cases.condensed.load_vectors import demand_under, solve_balanced
from headjoint.cases.condensed.reduced_joint import Demand, Equilibrium, ReducedJoint, grown_set, solve
from headjoint.cases.condensed.store import CondensedStore
from headjoint.cases.load_cases.stages import Stages
from headjoint.meshes.own.own_mesh import read_own_mesh
from headjoint.meshes.solid.bore_cell import build_cell
from headjoint.meshes.solid.solid_mesh import SolidMesh
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import SolveError
from headjoint.model.cell import Cell
from headjoint.model.load_case import LoadCase

Assembled = TypeVar("Assembled", CellModel, CondensedCell)

COARSE = 0.5  # refinement of the companion mesh that shows the mesh error


@dataclass(frozen=True)
class CellState:
    """One converged state. force, overlap : (fasteners,) N of whole fasteners, mm. balance : free-body error."""

    name: str
    kind: str
    case: LoadCase
    equilibrium: Equilibrium = field(repr=False)
    permanent_set: FloatArray = field(repr=False)
    set_before: FloatArray = field(repr=False)
    balance: float

    @property
    def force(self) -> FloatArray:
        """Force of every fastener, N."""
        return self.equilibrium.force


@dataclass(frozen=True)
class TighteningStep:
    """One nut turned: pass and fastener numbers from 0, forces (fasteners,) in N afterwards."""

    number: int
    fastener: int
    force: FloatArray


@dataclass(frozen=True)
class CellHistory(Generic[Assembled]):
    """All states of one tightening of a cell. steps : nut after nut, empty when all were tightened at once.

    model : the whole cell, from which full fields follow, or what is left of it where they are not asked for.
    """

    cell: Cell
    model: Assembled = field(repr=False)
    reduced: ReducedJoint = field(repr=False)
    states: tuple[CellState, ...]
    steps: tuple[TighteningStep, ...]
    preload: float

    def state(self, name: str) -> CellState:
        """Return the state called `name`."""
        return next(state for state in self.states if state.name == name)


@dataclass(frozen=True)
class SolvedCell:
    """All that the finite-element side knows of a cell.

    coarse : the nominal history on a mesh of doubled size, None for an own mesh.
    """

    cell: Cell
    model: CellModel = field(repr=False)
    least: CellHistory[CellModel]
    nominal: CellHistory[CellModel]
    greatest: CellHistory[CellModel]
    coarse: CellHistory[CellModel] | None
    seconds: dict[str, float]


def mesh_of(cell: Cell) -> SolidMesh:
    """Return the cell's own mesh where it names one, else the parametric one.

    Raises MeshError for a parametric mesh that cannot be built, InputError for an own one that cannot be used.
    """
    return build_cell(cell) if cell.mesh.file is None else read_own_mesh(cell)


def solve_cell(
    cell: Cell, stage: Callable[[str], None] = lambda name: None, store: CondensedStore | None = None
) -> SolvedCell:
    """Mesh, condense and run `cell`; `stage` is told the name of each stage as it begins.

    store : where condensed stiffness is looked for and kept.

    Raises SolveError when a state does not converge or does not balance, and what `mesh_of` raises.
    """
    stages = Stages(stage)
    mesh = stages.run("mesh", lambda: mesh_of(cell))
    model = stages.run("assemble", lambda: cell_model(cell, mesh))
    reduced = stages.run(f"condense {model.unknowns} unknowns", lambda: condense_cell(model, store))
    tight = cell.joint.tightening
    nominal = stages.run("nominal preload", lambda: run_cell(model, reduced))
    least = stages.run("least preload", lambda: run_cell(model, reduced, tight.preload * (1.0 - tight.scatter)))
    greatest = stages.run("greatest preload", lambda: run_cell(model, reduced, tight.preload * (1.0 + tight.scatter)))

    def on_coarse_mesh() -> CellHistory[CellModel]:
        other = cell_model(cell, build_cell(cell, COARSE))
        return run_cell(other, condense_cell(other, store))

    companion = None if cell.mesh.file is not None else stages.run("coarse mesh for comparison", on_coarse_mesh)
    return SolvedCell(cell, model, least, nominal, greatest, companion, stages.seconds)


def cell_load_factors(cell: Cell, case: LoadCase, gas_factor: float = 1.0) -> dict[str, float]:
    """Return the factor of every unit load: free strain of each part, and MPa in each fired bore."""
    joint = cell.joint
    factors = {}
    temperatures = case.temperatures | {"liner": case.temperatures["block"]}
    parts = ["fastener", "nut", "head", "block"]
    parts += ["washer"] if joint.washer is not None else []
    parts += ["liner"] if cell.liner is not None else []
    for part in parts:
        factors[part] = cell.part_material(part).free_strain(temperatures[part], joint.assembly_temperature)
    for bore in cell.fired:
        factors[gas_name(bore)] = case.gas_pressure * gas_factor
    return factors


def cell_demand(
    cell: Cell,
    reduced: ReducedJoint,
    case: LoadCase,
    *,
    force: FloatArray | None = None,
    overlap: FloatArray | None = None,
    gas_factor: float = 1.0,
) -> Demand:
    """Return what `reduced.solve` needs for a load case; nan in `force` or `overlap` leaves it to the other."""
    return demand_under(cell.joint, reduced, case, cell_load_factors(cell, case, gas_factor), force, overlap)


def run_cell(model: Assembled, reduced: ReducedJoint, preload: float | None = None) -> CellHistory[Assembled]:
    """Return the history of the cell tightened to `preload` (N each; the nominal one by default).

    Raises SolveError naming the state that does not come to equilibrium or does not balance.
    """
    cell = model.cell
    preload = cell.joint.tightening.preload if preload is None else preload
    steps: list[TighteningStep] = []
    states = tuple(_states(model, reduced, preload, steps))
    return CellHistory(cell, model, reduced, states, tuple(steps), preload)


def _states(
    model: CellModel | CondensedCell, reduced: ReducedJoint, preload: float, steps: list[TighteningStep]
) -> Iterator[CellState]:
    cell = model.cell
    cases, tight = cell.joint.load_cases, cell.joint.tightening
    state, turned = _tighten(model, reduced, preload, steps)
    yield state
    overlap = turned - tight.embedding
    if tight.embedding > 0.0:
        settled = LoadCase("settled", "settled", cases[0].temperatures, 0.0, 0.0)
        state = _advance(model, reduced, settled, cell_demand(cell, reduced, settled, overlap=overlap), state)
        yield state
    for case in cases[1:]:
        state = _advance(model, reduced, case, cell_demand(cell, reduced, case, overlap=overlap), state)
        yield state


def _tighten(
    model: CellModel | CondensedCell, reduced: ReducedJoint, preload: float, steps: list[TighteningStep]
) -> tuple[CellState, FloatArray]:
    """Return the assembled state and the overlaps (mm) turned to: all at their preload, or nut after nut in passes."""
    cell = model.cell
    case = cell.joint.load_cases[0]
    first = np.full(len(reduced.overlaps), (cell.snug if cell.order else 1.0) * preload)
    state = _advance(model, reduced, case, cell_demand(cell, reduced, case, force=first), None)
    turned = state.equilibrium.overlap.copy()
    for number, (share, order) in enumerate(cell.order):
        for fastener in order:
            state = _turn(model, reduced, state, turned, fastener, share * preload)
            turned[fastener] = state.equilibrium.overlap[fastener]
            steps.append(TighteningStep(number, fastener, state.force.copy()))
    return state, turned


def _turn(
    model: CellModel | CondensedCell,
    reduced: ReducedJoint,
    state: CellState,
    turned: FloatArray,
    fastener: int,
    force: float,
) -> CellState:
    """Return the state after one nut was turned to `force`; the others keep their overlap or come loose.

    turned : (fasteners,) mm, overlap that each nut was last turned to. A nut whose stud would have to push is loose:
    it carries nothing while the joint leaves it more room than that.
    """
    cell, case = model.cell, model.cell.joint.load_cases[0]
    loose = np.zeros(len(turned), dtype=bool)
    for _ in range(len(turned) + 2):
        wanted, locked = np.where(loose, 0.0, np.nan), np.where(loose, np.nan, turned)
        wanted[fastener], locked[fastener] = force, np.nan
        after = _advance(model, reduced, case, cell_demand(cell, reduced, case, force=wanted, overlap=locked), state)
        room = after.equilibrium.overlap > turned
        now_loose = np.where(loose, room, after.force < 0.0)
        if (now_loose == loose).all():
            return after
        loose = now_loose
    raise SolveError("tightening in turn: loose nuts do not settle; give more passes or a greater snug share")


def _advance(
    model: CellModel | CondensedCell, reduced: ReducedJoint, case: LoadCase, demand: Demand, before: CellState | None
) -> CellState:
    set_before = np.zeros(reduced.points) if before is None else before.permanent_set
    start = None if before is None else before.equilibrium.q
    where = f"load case '{case.name}': "
    equilibrium, balance = solve_balanced(reduced, demand, set_before, start, model.lift(case.gas_pressure), where)
    after = grown_set(reduced, equilibrium, set_before, demand.gasket_temperature)
    return CellState(case.name, case.kind, case, equilibrium, after, set_before, balance)


def gas_trial(
    history: CellHistory, state: CellState, gas_factor: float, start: FloatArray | None = None
) -> Equilibrium:
    """Solve a state again with its gas pressure scaled; a trial, the gasket's set stays as it was after it."""
    demand = cell_demand(
        history.cell, history.reduced, state.case, overlap=state.equilibrium.overlap, gas_factor=gas_factor
    )
    return solve(history.reduced, demand, state.permanent_set, state.equilibrium.q if start is None else start)
