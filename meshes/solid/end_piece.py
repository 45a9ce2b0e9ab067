"""Meshes of a bank's tile and of what closes its row beyond the tile's face, node for node alike on that face."""

from __future__ import annotations

from headjoint.meshes.solid.bore_cell import (
    FilledPlan,
    filled_plan,
    first_tile_plan,
    layer_heights,
    layered,
    plan_size,
)
from headjoint.meshes.solid.end_plan import end_plan
from headjoint.meshes.solid.solid_mesh import SolidMesh
from headjoint.model.base.errors import MeshError
from headjoint.model.cell import Cell


def build_tile_and_end(cell: Cell, refinement: float = 1.0) -> tuple[SolidMesh, SolidMesh]:
    """Return the meshes of a cell of one tile and of its end; raises MeshError as `build_cell`."""
    try:
        return _built(cell, refinement, followed=True)
    except MeshError:
        return _built(cell, refinement, followed=False)


def _built(cell: Cell, refinement: float, *, followed: bool) -> tuple[SolidMesh, SolidMesh]:
    heights = layer_heights(cell, refinement)
    tile, end = filled_tile_and_end(cell, refinement, followed=followed)
    return layered(cell, tile, heights), layered(cell, end, heights, bores=False)


def filled_tile_and_end(cell: Cell, refinement: float, *, followed: bool) -> tuple[FilledPlan, FilledPlan]:
    """Return the plans of both, whose edges are `followed` or not, with the parts over them."""
    heights = layer_heights(cell, refinement)
    plan = first_tile_plan(cell, refinement, followed)
    end = end_plan(cell, plan, plan_size(cell, refinement))
    return filled_plan(cell, plan, heights), filled_plan(cell, end, heights)
