"""A cell condensed with all that answers tell of it besides its interfaces: bending of studs, what its faces do."""

from __future__ import annotations

from dataclasses import dataclass, field

import scipy.sparse as sp

from headjoint.cases.condensed.cell_condensation import MOST_DENSE, CellModel, condensed_with
from headjoint.cases.condensed.face_rows import FaceWatch, face_watch
from headjoint.cases.condensed.reduced_joint import ReducedJoint
from headjoint.cases.condensed.store import CondensedStore
from headjoint.cases.condensed.stud_rows import BendingRows, bending_rows, stud_watch
from headjoint.cases.condensed.watched import Rows
from headjoint.cases.elements.linear_solver import InnerFactors


@dataclass(frozen=True)
class WatchedCell:
    """A condensed cell.

    watch, faces : what is watched of its faces, and the rows of that, None where they would be too many.
    factors : of its inner block, where they are there.
    """

    reduced: ReducedJoint = field(repr=False)
    bending: BendingRows = field(repr=False)
    watch: FaceWatch = field(repr=False)
    faces: Rows | None = field(repr=False)
    factors: InnerFactors | None = field(repr=False)


def watched_cell(
    model: CellModel, store: CondensedStore | None = None, *, keeps: bool = False, drawn: bool = True
) -> WatchedCell:
    """Return a cell condensed; with a `store`, one that was condensed before is taken from there.

    keeps : whether factors that are left over are wanted, for full displacements. drawn : whether those are asked for
    by pictures; if not, only where faces are recovered by them, for to keep factors costs a tenth of the factorisation.
    """
    studs, faces = stud_watch(model), face_watch(model)
    count = studs.on_all.shape[0]
    few = len(model.kept) + faces.on_all.shape[0] <= MOST_DENSE
    watch = sp.vstack([studs.on_all, faces.on_all]).tocsr() if few else studs.on_all
    reduced, found, factors = condensed_with(model, watch, count, store, keeps=keeps and (drawn or not few))
    on_faces = found.rows.part(slice(count, None)) if few else None
    return WatchedCell(reduced, bending_rows(model, studs, found), faces, on_faces, factors)
