"""What is solid in plan, of a cell's head between its decks, its block round the jacket, and what bears on the head."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from headjoint.meshes.solid.hexahedra import face_functions
from headjoint.meshes.solid.plan_mesh import PlanMesh
from headjoint.model.base.arrays import FloatArray
from headjoint.model.cell import Bank, Cell

SAMPLES = 40  # along a quadrilateral that an edge cuts
CHUNK = 100  # quadrilaterals sampled together, whose samples then stay in a processor's own memory
NOTHING = 0.002  # share of a quadrilateral below which it is air, and above one less which it is solid


def from_stud(cell: Cell, x: FloatArray, y: FloatArray) -> FloatArray:
    """Return the distance (mm) of places of the first tile from the nearest stud's axis."""
    return np.min([np.hypot(x - sx, y - sy) for sx, sy in cell.layout.tile_studs], axis=0)


def between_decks(cell: Cell, x: FloatArray, y: FloatArray, stud: FloatArray) -> NDArray[np.bool_]:
    """Return whether places of the first tile or of an end beyond it, `stud` mm from the nearest stud's axis, lie in a
    wall, a web or a column between the decks.
    """
    layout, head = cell.layout, cell.head
    radius = np.hypot(x, y)
    if isinstance(layout, Bank):
        to_side, to_bridge = layout.half_width - y, np.abs(layout.pitch / 2.0 - x)
    else:
        half = math.pi / layout.number
        to_side, to_bridge = layout.outer_diameter / 2.0 - radius, x * math.sin(half) - y * math.cos(half)
    column = (stud < head.column_diameter / 2.0) | (radius < head.centre_column_diameter / 2.0)
    wall = (to_side < head.side_wall) | (to_bridge < head.bridge_wall / 2.0)
    if isinstance(layout, Bank) and layout.end is not None:
        wall |= layout.pitch / 2.0 + layout.end.length - x < layout.end.wall
    return column | wall


def beside_jacket(cell: Cell, x: FloatArray, y: FloatArray, stud: FloatArray) -> NDArray[np.bool_]:
    """Return whether places of the first tile, `stud` mm from the nearest stud's axis, are block at the height of the
    jacket: bosses stand in it.
    """
    block, radius = cell.block, np.hypot(x, y)
    inside = cell.layout.bore / 2.0 + block.wall
    return (stud < block.boss_diameter / 2.0) | (radius < inside) | (radius > inside + block.jacket_width)


def solid_shares(cell: Cell, plan: PlanMesh) -> dict[str, FloatArray]:
    """Return the share (m,) of each quadrilateral of the tile that is solid, 0 to 1: "head" between the decks, "block"
    beside the jacket, "washer" and "nut" round their stud, its hole not taken off.

    Where no line of the plan follows an edge, the quadrilaterals that it cuts are as stiff, heavy and conductive as
    the solid share of them: areas are kept whatever the mesh, and nothing jumps when a wall is made thicker.
    """
    chunks = [slice(start, start + CHUNK) for start in range(0, plan.quads.shape[1], CHUNK)]
    shares = [_sampled(cell, plan.points[:, plan.quads[:, chunk]]) for chunk in chunks]
    found = {}
    for name in shares[0]:
        share = np.concatenate([one[name] for one in shares])
        found[name] = np.where(share < NOTHING, 0.0, np.where(share > 1.0 - NOTHING, 1.0, share))
    return found


def _sampled(cell: Cell, nodes: FloatArray) -> dict[str, FloatArray]:
    """Return the shares (f,) of quadrilaterals (2, 8, f) that are solid, as samples tell them."""
    joint = cell.joint
    washer = joint.washer.outer_diameter / 2.0 if joint.washer is not None else 0.0
    middle = (np.arange(SAMPLES) + 0.5) / SAMPLES * 2.0 - 1.0
    at = np.stack(np.meshgrid(middle, middle, indexing="ij"), axis=-1).reshape(-1, 2)
    values, gradients = face_functions(at, 8)
    x, y = np.einsum("dkf,qk->dfq", nodes, values, optimize=True)
    along, across = np.einsum("dkf,qka->adfq", nodes, gradients, optimize=True)
    weight = along[0] * across[1] - along[1] * across[0]
    weight /= weight.sum(axis=1, keepdims=True)
    stud = from_stud(cell, x, y)
    inside = {
        "head": between_decks(cell, x, y, stud),
        "block": beside_jacket(cell, x, y, stud),
        "washer": stud < washer,
        "nut": stud < joint.seat.outer_diameter / 2.0,
    }
    return {name: (weight * solid).sum(axis=1) for name, solid in inside.items()}
