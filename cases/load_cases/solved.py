"""The main job: mesh, condense and run a joint or a bore cell at its least, nominal and greatest preload."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Generic, TypeVar

from headjoint.cases.condensed.cell_condensation import CellModel, cell_model, condense_cell
from headjoint.cases.condensed.condensation import FullModel, condense, full_model
from headjoint.cases.condensed.store import CondensedStore
from headjoint.cases.load_cases.coarse_cell import COARSE
from headjoint.cases.load_cases.load_history import History, M, run
from headjoint.cases.models.condensed import BoreCell, OneFastener, condensed_cell
from headjoint.cases.models.from_mesh import mesh_of, one_fastener
from headjoint.cases.models.stages import Stages
from headjoint.cases.service.tightened import tightened
from headjoint.cases.warm_up.heat_of_cases import CaseFields, case_fields
from headjoint.meshes.one_fastener import single_stud
from headjoint.meshes.solid.bore_cell import build_cell
from headjoint.model.base.errors import MeshError, SolveError
from headjoint.model.cell import Cell
from headjoint.model.joint import Joint

COMPARISON = "coarse mesh for comparison"
NO_COARSER = "no coarser mesh to compare"

S = TypeVar("S")


@dataclass(frozen=True)
class Solved(Generic[M]):
    """Histories at F_Mmin, F_M and F_Mmax of the tightening scatter.

    seconds : stage -> wall-clock time. unbounded : why there is no coarser mesh to tell the mesh error, "" where there
    is one.
    """

    least: History[M]
    nominal: History[M]
    greatest: History[M]
    seconds: dict[str, float]
    unbounded: str

    @property
    def joint(self) -> Joint:
        """The joint, or one stud's share of a cell."""
        return self.nominal.joint

    @property
    def histories(self) -> dict[str, History[M]]:
        """Tightening ("least", "nominal", "greatest") -> history."""
        return {"least": self.least, "nominal": self.nominal, "greatest": self.greatest}


@dataclass(frozen=True)
class SolvedJoint(Solved[OneFastener]):
    """All that the finite-element side knows of one fastener's joint. coarse : the same on doubled elements."""

    assembled: FullModel = field(repr=False)
    coarse: SolvedJoint | None = field(default=None, repr=False)


@dataclass(frozen=True)
class SolvedCell(Solved[BoreCell]):
    """All that the finite-element side knows of a cell. coarse : the same on doubled elements, None for an own mesh."""

    assembled: CellModel = field(repr=False)
    coarse: SolvedCell | None = field(default=None, repr=False)

    @property
    def cell(self) -> Cell:
        """The cell."""
        return self.assembled.cell


def solve_joint(joint: Joint, stage: Callable[[str], None] = lambda name: None) -> SolvedJoint:
    """Mesh, condense and run `joint`; `stage` is told the name of each stage as it begins.

    Raises SolveError when a state does not converge or does not balance, MeshError for an unusable mesh.
    """
    stages = Stages(stage)
    fields = stages.run("heat of load cases", lambda: _fields(joint, stage))
    joint = fields.told(joint) if fields is not None else joint
    mesh = stages.run("mesh", lambda: single_stud.build(joint))
    assembled = stages.run("assemble", lambda: full_model(joint, mesh))
    model = stages.run("condense", lambda: OneFastener(joint, condense(joint, assembled)))
    model = fields.heating(model) if fields is not None else model
    nominal, least, greatest = _over_scatter(model, stages)

    def on_coarse_mesh() -> SolvedJoint:
        return joint_on_mesh(joint, COARSE, None if fields is None else case_fields(joint, stage, COARSE))

    coarse, why = stages.run(COMPARISON, lambda: _or_why_not(on_coarse_mesh))
    assembled = assembled if fields is None else fields.within(assembled)
    return SolvedJoint(least, nominal, greatest, stages.seconds, why, assembled, coarse)


def joint_on_mesh(joint: Joint, refinement: float, fields: CaseFields | None = None) -> SolvedJoint:
    """Return `joint` solved on one mesh alone, `refinement` times as fine as usual; raises as `solve_joint`.

    fields : temperatures of load cases by heat, on a mesh as fine.
    """
    assembled, model = one_fastener(joint, refinement)
    model = model if fields is None else fields.heating(model)
    nominal, least, greatest = _over_scatter(model, Stages(lambda name: None))
    assembled = assembled if fields is None else fields.within(assembled)
    return SolvedJoint(least, nominal, greatest, {}, NO_COARSER, assembled)


def solve_cell(
    cell: Cell, stage: Callable[[str], None] = lambda name: None, store: CondensedStore | None = None
) -> SolvedCell:
    """Mesh, condense and run `cell`; `stage` is told the name of each stage as it begins.

    store : where condensed stiffness is looked for and kept.

    Raises SolveError when a state does not converge or does not balance, and what `mesh_of` raises.
    """
    stages = Stages(stage)
    fields = stages.run("heat of load cases", lambda: _fields(cell, stage))
    cell = fields.told(cell) if fields is not None else cell
    mesh = stages.run("mesh", lambda: mesh_of(cell))
    assembled = stages.run("assemble", lambda: cell_model(cell, mesh))
    reduced = stages.run(f"condense {assembled.unknowns} unknowns", lambda: condense_cell(assembled, store))
    model = condensed_cell(assembled, reduced)
    model = model if fields is None else fields.heating(model)
    nominal, least, greatest = _over_scatter(model, stages)
    assembled = assembled if fields is None else fields.within(assembled)
    if cell.mesh.file is not None:
        return SolvedCell(least, nominal, greatest, stages.seconds, NO_COARSER, assembled)

    def on_coarse_mesh() -> SolvedCell:
        return cell_on_mesh(cell, COARSE, store, None if fields is None else case_fields(cell, stage, COARSE))

    coarse, why = stages.run(COMPARISON, lambda: _or_why_not(on_coarse_mesh))
    return SolvedCell(least, nominal, greatest, stages.seconds, why, assembled, coarse)


def cell_on_mesh(
    cell: Cell, refinement: float, store: CondensedStore | None = None, fields: CaseFields | None = None
) -> SolvedCell:
    """Return `cell` solved on one mesh alone, `refinement` times as fine as usual; raises as `solve_cell`.

    fields : temperatures of load cases by heat, on a mesh as fine.
    """
    assembled = cell_model(cell, build_cell(cell, refinement))
    model = condensed_cell(assembled, condense_cell(assembled, store))
    model = model if fields is None else fields.heating(model)
    nominal, least, greatest = _over_scatter(model, Stages(lambda name: None))
    assembled = assembled if fields is None else fields.within(assembled)
    return SolvedCell(least, nominal, greatest, {}, NO_COARSER, assembled)


def _or_why_not(solve: Callable[[], S]) -> tuple[S | None, str]:
    """Return what a coarse mesh gives, or why it gives nothing: a finished solve is not thrown away for it."""
    try:
        return solve(), ""
    except (MeshError, SolveError) as error:
        return None, f"the coarser mesh failed: {error}"


def _fields(stated: Joint | Cell, stage: Callable[[str], None]) -> CaseFields | None:
    """Return the temperature fields of load cases by heat, None where no load case is."""
    joint = stated.joint if isinstance(stated, Cell) else stated
    return case_fields(stated, stage) if joint.by_heat else None


def _over_scatter(model: M, stages: Stages) -> tuple[History[M], History[M], History[M]]:
    """Return the histories at nominal, least and greatest preload."""
    levels = stages.run("tighten", lambda: tightened(model)).over(model.joint.tightening)
    nominal = stages.run("nominal preload", lambda: run(model, levels["nominal"]))
    least = stages.run("least preload", lambda: run(model, levels["least"]))
    greatest = stages.run("greatest preload", lambda: run(model, levels["greatest"]))
    return nominal, least, greatest
