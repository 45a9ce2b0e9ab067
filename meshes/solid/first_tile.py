"""The plan of a cell's first tile, at both sides of y = 0 where they are unlike, and how large it will be."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from headjoint.meshes.solid.cell_lines import edges_of, rings_of
from headjoint.meshes.solid.element_size import element_size
from headjoint.meshes.solid.kept_plan import PlanStore, kept_plan
from headjoint.meshes.solid.plan import Rectangle, Sector, middle_of, tile_plan
from headjoint.meshes.solid.plan_mesh import PlanMesh
from headjoint.model.cell import Bank, Cell

COUNTED = 60  # places each way at which the plan's element size is looked at


def tile_of(cell: Cell) -> Rectangle | Sector:
    """Return the outline of the first tile."""
    layout = cell.layout
    if isinstance(layout, Bank):
        return Rectangle(layout.pitch / 2.0, layout.half_width)
    return Sector(layout.outer_diameter / 2.0, math.pi / layout.number)


def first_tile_plans(
    cell: Cell, refinement: float, store: PlanStore | None = None, *, followed: bool
) -> tuple[PlanMesh, PlanMesh]:
    """Return the plans of the first tile at both sides of y = 0, that at negative y mirrored; one where they are alike.

    followed : whether edges are. store : where plans are kept. Raises MeshError where they do not meet at y = 0.
    """
    first, other = cell.sides
    plan = first_tile_plan(first, refinement, store, followed=followed)
    if other is first:
        return plan, plan
    return plan, first_tile_plan(other, refinement, store, followed=followed, middle=middle_of(plan))


def first_tile_plan(
    cell: Cell,
    refinement: float,
    store: PlanStore | None = None,
    *,
    followed: bool,
    middle: tuple[float, ...] | None = None,
) -> PlanMesh:
    """Return the plan of the first tile at positive y, whose edges are `followed` or not.

    store : where plans are kept. middle : x (mm) of the nodes that it must have at y = 0.
    """
    rings = rings_of(cell)
    edges = edges_of(cell, rings) if followed else []
    stated = (tile_of(cell), rings, element_size(cell, refinement), edges, middle)
    return kept_plan(store, stated, lambda: tile_plan("bore cell", *stated))


def expected(tile: Rectangle | Sector, size: Callable[[float, float], float]) -> float:
    """Return how many quadrilaterals of `size` a tile's plan has room for, before anything is meshed."""
    share = (np.arange(COUNTED) + 0.5) / COUNTED
    if isinstance(tile, Rectangle):
        area = tile.width * tile.depth / COUNTED**2
        return sum(area / size(x, y) ** 2 for x in tile.width * share for y in tile.depth * share)
    counts = 0.0
    for r in tile.radius * share:
        area = r * tile.angle * tile.radius / COUNTED**2
        counts += sum(area / size(r * math.cos(phi), r * math.sin(phi)) ** 2 for phi in tile.angle * share)
    return counts
