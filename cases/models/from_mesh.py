"""From a joint or a cell to its mesh and its condensed model."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from headjoint.cases.condensed.condensation import FullModel, condense, full_model
from headjoint.cases.models.condensed import OneFastener
from headjoint.meshes.one_fastener import single_stud
from headjoint.meshes.own.own_mesh import read_own_mesh
from headjoint.meshes.solid.bore_cell import build_cell
from headjoint.meshes.solid.kept_plan import PlanStore
from headjoint.meshes.solid.solid_mesh import SolidMesh
from headjoint.model.base.errors import BrokenFastenerError, MeshError, SolveError
from headjoint.model.cell import Cell
from headjoint.model.joint import Joint

COARSE = 0.5  # refinement of the mesh beside every other, from which mesh errors follow: twice the stated sizes
NO_COARSER = "no coarser mesh to compare"
NO_COMPARISON = (MeshError, SolveError, BrokenFastenerError)  # on the coarse mesh, a finished solve stands beside it
S = TypeVar("S")


class TriedAndFailed(str):
    """Why a coarser mesh that was tried gives nothing, unlike one that was never to be had."""


def or_why_not(solve: Callable[[], S], *, but: type[Exception] | tuple[()] = ()) -> tuple[S | None, str]:
    """Return what a coarse mesh gives, or why it gives nothing: a finished solve is not thrown away for it.

    but : an error that is raised all the same.
    """
    try:
        return solve(), ""
    except but:
        raise
    except NO_COMPARISON as error:
        return None, why_failed(str(error))


def why_failed(reason: str) -> TriedAndFailed:
    """Say that the coarse mesh gives nothing, and why."""
    return TriedAndFailed(f"the coarser mesh failed: {reason}")


def mesh_of(cell: Cell, refinement: float = 1.0, store: PlanStore | None = None) -> SolidMesh:
    """Return the cell's own mesh where it names one, else the parametric one, so many times as fine as usual.

    store : where plan meshes are kept.

    Raises MeshError for a parametric mesh that cannot be built, InputError for an own one that cannot be used.
    """
    return build_cell(cell, refinement, store) if cell.mesh.file is None else read_own_mesh(cell)


def one_fastener(joint: Joint, refinement: float = 1.0) -> tuple[FullModel, OneFastener]:
    """Return one fastener's joint assembled, and condensed."""
    assembled = full_model(joint, single_stud.build(joint, refinement))
    return assembled, OneFastener(joint, condense(joint, assembled))
