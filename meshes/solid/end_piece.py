"""Meshes of a bank's tile and of what closes its row beyond the tile's face, node for node alike on that face."""

from __future__ import annotations

from headjoint.meshes.solid.bore_cell import (
    FilledPlan,
    filled_plan,
    first_tile_plan,
    following_edges,
    layer_heights,
    layered,
)
from headjoint.meshes.solid.cell_lines import edges_of, rings_of
from headjoint.meshes.solid.element_size import element_size
from headjoint.meshes.solid.end_plan import NAME, end_plan
from headjoint.meshes.solid.kept_plan import PlanStore, kept_plan
from headjoint.meshes.solid.solid_mesh import SolidMesh
from headjoint.model.cell import Cell


def build_tile_and_end(
    cell: Cell, refinement: float = 1.0, store: PlanStore | None = None
) -> tuple[SolidMesh, SolidMesh]:
    """Return the meshes of a cell of one tile and of its end; raises MeshError as `build_cell`.

    store : where plans are kept.
    """
    return following_edges(lambda followed: _built(cell, refinement, store, followed=followed))


def _built(cell: Cell, refinement: float, store: PlanStore | None, *, followed: bool) -> tuple[SolidMesh, SolidMesh]:
    heights = layer_heights(cell, refinement)
    tile, end = filled_tile_and_end(cell, refinement, store, followed=followed)
    return layered(cell, tile, heights), layered(cell, end, heights, bores=False)


def filled_tile_and_end(
    cell: Cell, refinement: float, store: PlanStore | None = None, *, followed: bool
) -> tuple[FilledPlan, FilledPlan]:
    """Return the plans of both, whose edges are `followed` or not, with the parts over them."""
    heights, rings = layer_heights(cell, refinement), rings_of(cell)
    plan, size = first_tile_plan(cell, refinement, store, followed=followed), element_size(cell, refinement)
    edges = edges_of(cell, rings) if followed else []
    stated = (NAME, cell.layout, rings, size, edges, cell.head.side_wall, cell.mesh.stud_size)
    end = kept_plan(store, stated, lambda: end_plan(cell, plan, size))
    return filled_plan(cell, plan, heights), filled_plan(cell, end, heights)
