"""The main job: mesh, condense and run a joint or a bore cell at its least, nominal and greatest preload."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Generic

import numpy as np

from headjoint.cases.condensed.cell_condensation import CellModel, cell_model
from headjoint.cases.condensed.condensation import FullModel, condense, full_model
from headjoint.cases.condensed.stiffness_key import stiffness_key
from headjoint.cases.condensed.store import CondensedStore, fingerprint
from headjoint.cases.condensed.watched_cell import WatchedCell, watched_cell
from headjoint.cases.load_cases.load_history import History, M, run
from headjoint.cases.models.condensed import BoreCell, OneFastener, condensed_cell
from headjoint.cases.models.from_mesh import COARSE, NO_COARSER, mesh_of, or_why_not
from headjoint.cases.models.stages import Stages
from headjoint.cases.service.tightened import tightened
from headjoint.cases.warm_up.heat_of_cases import case_fields
from headjoint.meshes.one_fastener import single_stud
from headjoint.model.cell import Cell
from headjoint.model.joint import Joint

COMPARISON = "coarse mesh for comparison"


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
    """All that the finite-element side knows of a cell.

    coarse : the same on a coarser mesh, None for an own mesh. watched : what was condensed along; None where it has
    to be recovered.
    """

    assembled: CellModel = field(repr=False)
    coarse: SolvedCell | None = field(default=None, repr=False)
    watched: WatchedCell | None = field(default=None, repr=False)

    @property
    def cell(self) -> Cell:
        """The cell."""
        return self.assembled.cell


Compared = tuple[SolvedCell | None, str]  # a cell on a coarser mesh, or None and why


def solve_joint(joint: Joint, stage: Callable[[str], None] = lambda name: None) -> SolvedJoint:
    """Mesh, condense and run `joint`; `stage` is told the name of each stage as it begins.

    Raises SolveError when a state does not converge or does not balance, MeshError for an unusable mesh.
    """
    stages = Stages(stage)
    fine = joint_on_mesh(joint, 1.0, stages)
    coarse, why = stages.run(COMPARISON, lambda: or_why_not(lambda: joint_on_mesh(joint, COARSE)))
    return dataclasses.replace(fine, coarse=coarse, unbounded=why)


def joint_on_mesh(joint: Joint, refinement: float, stages: Stages | None = None) -> SolvedJoint:
    """Return `joint` solved on one mesh alone, `refinement` times as fine as usual; raises as `solve_joint`."""
    stages = stages or Stages(lambda name: None)
    if joint.by_heat:
        fields = stages.run("heat of load cases", lambda: case_fields(joint, stages.tell, refinement))
        model, assembled = fields.model(joint), fields.assembled()
        assert isinstance(model, OneFastener)
        assert isinstance(assembled, FullModel)
    else:
        mesh = stages.run("mesh", lambda: single_stud.build(joint, refinement))
        assembled = stages.run("assemble", lambda: full_model(joint, mesh))
        model = stages.run("condense", lambda: OneFastener(joint, condense(joint, assembled)))
    nominal, least, greatest = _over_scatter(model, stages)
    return SolvedJoint(least, nominal, greatest, stages.seconds, NO_COARSER, assembled)


def solve_cell(
    cell: Cell,
    stage: Callable[[str], None] = lambda name: None,
    store: CondensedStore | None = None,
    beside: Callable[[], Compared | None] = lambda: None,
    *,
    drawn: bool = True,
) -> SolvedCell:
    """Mesh, condense and run `cell`; `stage` is told the name of each stage as it begins.

    store : where condensed stiffness is looked for and kept. beside : waits for the `comparison` of somebody else who
    has begun it already; None where there is none. drawn : whether pictures will ask for full displacements.

    Raises SolveError when a state does not converge or does not balance, and what `mesh_of` raises.
    """
    stages = Stages(stage)
    fine = cell_on_mesh(cell, 1.0, store, stages, keeps=True, drawn=drawn)
    if store is not None and not condensed_before(cell, store):
        store.save(_whole_name(cell), np.ones((1, 1)))
    if cell.mesh.file is not None:
        return fine
    coarse, why = stages.run(COMPARISON, lambda: beside() or comparison(cell, store))
    return dataclasses.replace(fine, coarse=coarse, unbounded=why)


def comparison(cell: Cell, store: CondensedStore | None = None, *, but: type[Exception] | tuple[()] = ()) -> Compared:
    """Return a cell solved at twice its stated sizes, or why it has no solution there; raises `but` alone."""
    return or_why_not(lambda: cell_on_mesh(cell, COARSE, store), but=but)


def condensed_before(cell: Cell, store: CondensedStore) -> bool:
    """Return whether a cell as stiff as this one was solved before, so that an answer takes a few seconds.

    Told without a mesh, by a mark that `solve_cell` leaves; what was condensed may have gone from the store since.
    """
    return store.load(_whole_name(cell)) is not None


def _whole_name(cell: Cell) -> str:
    return fingerprint(np.frombuffer(f"whole {stiffness_key(cell)}".encode(), dtype=np.uint8))


def cell_on_mesh(
    cell: Cell,
    refinement: float,
    store: CondensedStore | None = None,
    stages: Stages | None = None,
    *,
    keeps: bool = False,
    drawn: bool = True,
) -> SolvedCell:
    """Return `cell` solved on one mesh alone, `refinement` times as fine as usual; raises as `solve_cell`.

    keeps, drawn : whether factors that are left over are wanted, as `watched_cell` has it.
    """
    stages = stages or Stages(lambda name: None)
    watched = None
    if cell.joint.by_heat:
        fields = stages.run("heat of load cases", lambda: case_fields(cell, stages.tell, refinement))
        model, assembled = fields.model(cell), fields.assembled()
        assert isinstance(model, BoreCell)
        assert isinstance(assembled, CellModel)
    else:
        mesh = stages.run("mesh", lambda: mesh_of(cell, refinement, store))
        assembled = stages.run("assemble", lambda: cell_model(cell, mesh))
        condensing = f"condense {assembled.unknowns} unknowns"
        watched = stages.run(condensing, lambda: watched_cell(assembled, store, keeps=keeps, drawn=drawn))
        model = condensed_cell(assembled, watched.reduced)
    nominal, least, greatest = _over_scatter(model, stages)
    return SolvedCell(least, nominal, greatest, stages.seconds, NO_COARSER, assembled, watched=watched)


def _over_scatter(model: M, stages: Stages) -> tuple[History[M], History[M], History[M]]:
    """Return the histories at nominal, least and greatest preload."""
    levels = stages.run("tighten", lambda: tightened(model)).over(model.joint.tightening)
    nominal = stages.run("nominal preload", lambda: run(model, levels["nominal"]))
    least = stages.run("least preload", lambda: run(model, levels["least"]))
    greatest = stages.run("greatest preload", lambda: run(model, levels["greatest"]))
    return nominal, least, greatest
