"""The coolant space of a head in plan: what of it is solid, and how much of each quadrilateral that takes."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from headjoint.meshes.solid.hexahedra import face_functions
from headjoint.meshes.solid.plan import Arc, Line, PlanMesh, Rings
from headjoint.model.base.arrays import FloatArray
from headjoint.model.cell import Bank, Cell, Ring

SAMPLES = 40  # along a quadrilateral that an edge of a wall cuts
NOTHING = 0.002  # share of a quadrilateral below which it is air, and above one less which it is solid


def is_solid(cell: Cell, x: FloatArray, y: FloatArray) -> NDArray[np.bool_]:
    """Return whether places of the first tile lie in a wall, a web or a column between the decks."""
    layout, head = cell.layout, cell.head
    stud = np.min([np.hypot(x - sx, y - sy) for sx, sy in layout.tile_studs], axis=0)
    radius = np.hypot(x, y)
    if isinstance(layout, Bank):
        to_side, to_bridge = layout.half_width - y, layout.pitch / 2.0 - x
    else:
        half = math.pi / layout.number
        to_side, to_bridge = layout.outer_diameter / 2.0 - radius, x * math.sin(half) - y * math.cos(half)
    column = (stud < head.column_diameter / 2.0) | (radius < head.centre_column_diameter / 2.0)
    return column | (to_side < head.side_wall) | (to_bridge < head.bridge_wall / 2.0)


def solid_share(cell: Cell, plan: PlanMesh) -> FloatArray:
    """Return the share (m,) of each quadrilateral of the tile that is solid between the decks, 0 to 1.

    Where no line of the plan follows an edge, the quadrilaterals that it cuts are as stiff, heavy and conductive as
    the solid share of them: areas are kept whatever the mesh, and nothing jumps when a wall is made thicker.
    """
    middle = (np.arange(SAMPLES) + 0.5) / SAMPLES * 2.0 - 1.0
    at = np.stack(np.meshgrid(middle, middle, indexing="ij"), axis=-1).reshape(-1, 2)
    values, gradients = face_functions(at, 8)
    nodes = plan.points[:, plan.quads]
    x, y = np.einsum("dkf,qk->dfq", nodes, values, optimize=True)
    along, across = np.einsum("dkf,qka->adfq", nodes, gradients, optimize=True)
    weight = along[0] * across[1] - along[1] * across[0]
    share = (weight * is_solid(cell, x, y)).sum(axis=1) / weight.sum(axis=1)
    return np.where(share < NOTHING, 0.0, np.where(share > 1.0 - NOTHING, 1.0, share))


def side_wall_edge(cell: Cell, circles: Sequence[Rings], slack: float) -> list[Line | Arc]:
    """Return the inner edge of the side wall as lines that the plan can follow.

    slack : mm of room that elements need. An edge ends where it comes so near to a column, and is none at all where it
    nearly touches another circle: what is left counts by `solid_share`.
    """
    layout, head = cell.layout, cell.head
    if head.side_wall <= 0.0:
        return []
    column = head.column_diameter / 2.0 + slack
    if isinstance(layout, Ring):
        radius, half = layout.outer_diameter / 2.0 - head.side_wall, math.pi / layout.number
        if any(abs(radius - other) < slack for ring in circles if ring.x == ring.y == 0.0 for other in ring.radii):
            return []
        # the stud stands on the x axis: where a place of the arc is as far from its axis as the column needs
        stud = layout.stud_circle / 2.0
        cosine = (radius**2 + stud**2 - column**2) / (2.0 * radius * stud)
        start = 0.0 if cosine >= 1.0 else math.acos(max(cosine, -1.0))
        return [Arc(radius, start, half)] if (half - start) * radius > column / 2.0 else []
    depth, width = layout.half_width - head.side_wall, layout.pitch / 2.0
    touched = [abs(abs(depth - ring.y) - radius) < slack for ring in circles for radius in ring.radii if not ring.y]
    spans = [(0.0, width)] if not any(touched) else []
    for x, y in layout.tile_studs:
        reach = math.sqrt(max(column**2 - (depth - y) ** 2, 0.0))
        spans = [part for a, b in spans for part in ((a, min(b, x - reach)), (max(a, x + reach), b))]
    return [((a, depth), (b, depth)) for a, b in spans if b - a > column / 2.0]
