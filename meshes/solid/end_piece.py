"""Meshes of a bank's tile and of what closes its row beyond the tile's face, node for node alike on that face."""

from __future__ import annotations

import numpy as np

from headjoint.meshes.solid.bore_cell import (
    FilledPlan,
    filled_sides,
    following_edges,
    joined,
    layer_heights,
    layered,
)
from headjoint.meshes.solid.cell_lines import edges_of, rings_of
from headjoint.meshes.solid.element_size import element_size
from headjoint.meshes.solid.end_plan import NAME, end_plan
from headjoint.meshes.solid.first_tile import first_tile_plans
from headjoint.meshes.solid.kept_plan import PlanStore, kept_plan
from headjoint.meshes.solid.plan import middle_of, same_places
from headjoint.meshes.solid.plan_mesh import PlanMesh
from headjoint.meshes.solid.solid_mesh import SolidMesh
from headjoint.model.base.errors import MeshError
from headjoint.model.cell import Cell

Sides = tuple[FilledPlan, FilledPlan]  # at positive y, and at negative y before it is mirrored


def build_tile_and_end(
    cell: Cell, refinement: float = 1.0, store: PlanStore | None = None
) -> tuple[SolidMesh, SolidMesh]:
    """Return the meshes of a cell of one tile and of its end; raises MeshError as `build_cell`.

    store : where plans are kept.
    """
    return following_edges(lambda followed: _built(cell, refinement, store, followed=followed))


def _built(cell: Cell, refinement: float, store: PlanStore | None, *, followed: bool) -> tuple[SolidMesh, SolidMesh]:
    heights = layer_heights(cell, refinement)
    tile, end = (
        _as_modelled(cell, sides) for sides in filled_tiles_and_ends(cell, refinement, store, followed=followed)
    )
    return layered(cell, tile, heights), layered(cell, end, heights, bores=False)


def _as_modelled(cell: Cell, sides: Sides) -> FilledPlan:
    first, other = sides
    return first if cell.layout.extent == "quarter" else joined([first, other.moved(np.diag([1.0, -1.0]), (0.0, 0.0))])


def filled_tiles_and_ends(
    cell: Cell, refinement: float, store: PlanStore | None = None, *, followed: bool
) -> tuple[Sides, Sides]:
    """Return the plans of both, whose edges are `followed` or not, with the parts over them, at both sides.

    Raises MeshError where the ends of both sides do not meet at y = 0.
    """
    tiles = first_tile_plans(cell, refinement, store, followed=followed)
    ends = [_end(own, tile, refinement, store, followed) for own, tile in zip(cell.sides, tiles, strict=True)]
    if not same_places(*map(middle_of, ends)):
        raise MeshError(f"{NAME}: the plans of its two sides do not meet; change [layout] end_length")
    heights = layer_heights(cell, refinement)
    return filled_sides(cell, tiles, heights), filled_sides(cell, (ends[0], ends[1]), heights)


def _end(cell: Cell, tile: PlanMesh, refinement: float, store: PlanStore | None, followed: bool) -> PlanMesh:
    rings, size = rings_of(cell), element_size(cell, refinement)
    edges = edges_of(cell, rings) if followed else []
    followed_plan = (tile.points.tobytes(), tile.quads.tobytes())
    stated = (NAME, cell.layout, rings, size, edges, cell.head.side_wall, cell.mesh.stud_size, followed_plan)
    return kept_plan(store, stated, lambda: end_plan(cell, tile, size))
