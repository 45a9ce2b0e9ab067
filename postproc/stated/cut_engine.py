"""An engine cut by an upright plane: what stands over each place of its plan, as rectangles."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from headjoint.meshes.solid.bore_cell import Levels, levels
from headjoint.meshes.solid.coolant_space import beside_jacket, between_decks, from_stud
from headjoint.model.base.arrays import FloatArray
from headjoint.model.cell import Bank, Cell
from headjoint.postproc.stated.cut import Block, Piece

SAMPLES = 2000  # along a cut


def fastener_top(cell: Cell, z: Levels) -> float:
    """Return how high (mm) the fastener's end stands above the block's deck."""
    return z.top + cell.joint.fastener.protrusion


def cut_of(cell: Cell, start: tuple[float, float], end: tuple[float, float]) -> list[Block]:
    """Return what an upright plane through two places (mm) of the first tile cuts, from the first to the second."""
    length = math.dist(start, end)
    along = (np.arange(SAMPLES) + 0.5) / SAMPLES
    x, y = (a + along * (b - a) for a, b in zip(start, end, strict=True))
    columns = _columns(cell, x, y)
    blocks: list[Block] = []
    first = 0
    for number in range(1, SAMPLES + 1):
        if number == SAMPLES or columns[number] != columns[first]:
            blocks += [
                Block(part, first / SAMPLES * length, number / SAMPLES * length, bottom, top)
                for part, bottom, top in columns[first]
            ]
            first = number
    return blocks


def _columns(cell: Cell, x: FloatArray, y: FloatArray) -> list[tuple[Piece, ...]]:
    z, studs = levels(cell), from_stud(cell, x, y)
    radii, below = np.hypot(x, y), beside_jacket(cell, x, y, studs)
    walls, sealed = between_decks(cell, x, y, studs), _under_gasket(cell, x, y) & (below | (z.jacket_top < 0.0))
    places = zip(*(one.tolist() for one in (radii, studs, walls, below, sealed)), strict=True)
    return [
        (
            *_head(cell, z, wall, stud),
            *_below(cell, z, radius, stud, solid),
            *_fastener(cell, z, stud),
            *([("gasket", 0.0, z.head_bottom)] if bears else []),
        )
        for radius, stud, wall, solid, bears in places
    ]


def _under_gasket(cell: Cell, x: FloatArray, y: FloatArray) -> NDArray[np.bool_]:
    """Return whether places of the first tile lie under the gasket's sheet, clear of its bores and holes."""
    bore, hole_radius = cell.zones[0].inner_diameter / 2.0, cell.head.hole_diameter / 2.0
    sheet = (np.hypot(x, y) > bore) & (from_stud(cell, x, y) > hole_radius)
    for hole in cell.holes:
        sheet &= np.hypot(x - hole.x, y - hole.y) > hole.diameter / 2.0
    return sheet


def _head(cell: Cell, z: Levels, wall: bool, stud: float) -> list[Piece]:
    if stud < cell.head.hole_diameter / 2.0:
        return []
    if wall:
        return [("head", z.head_bottom, z.head_top)]
    return [("head", z.head_bottom, z.fire_deck), ("head", z.upper_deck, z.head_top)]


def _below(cell: Cell, z: Levels, radius: float, stud: float, solid: bool) -> list[Piece]:
    """Return block and liner; solid : whether the block is at the height of its jacket."""
    liner = cell.liner
    if radius < cell.layout.bore / 2.0:
        return []
    if liner is not None and radius < liner.outer_diameter / 2.0:
        pieces: list[Piece] = [("liner", z.liner_bottom, liner.protrusion)]
        return pieces + ([("block", z.foot, z.liner_bottom)] if z.liner_bottom > z.foot else [])
    top = z.thread_top if stud < cell.head.hole_diameter / 2.0 else 0.0
    if solid:
        return [("block", z.foot, top)]
    closed: list[Piece] = [("block", z.jacket_top, top)] if z.jacket_top < 0.0 else []
    return [("block", z.foot, z.jacket_bottom), *closed]


def _fastener(cell: Cell, z: Levels, stud: float) -> list[Piece]:
    joint, pieces = cell.joint, list[Piece]()
    washer = joint.washer
    if washer is not None and washer.inner_diameter / 2.0 < stud < washer.outer_diameter / 2.0:
        pieces.append(("washer", z.head_top, z.bearing))
    if stud < cell.shank_diameter / 2.0:
        top = fastener_top(cell, z) if joint.fastener.kind == "stud" else z.top
        return [*pieces, ("fastener", z.thread_bottom, top)]
    if stud < joint.seat.outer_diameter / 2.0:
        pieces.append(("nut", z.bearing, z.top))
    return pieces


def cuts(cell: Cell) -> tuple[list[Block], list[Block], float]:
    """Return a cut from the bore's axis outwards, clear of the studs, one through a stud, and how long (mm) they are.

    Of a bank both go across the row, of a ring outwards from the axis.
    """
    layout = cell.layout
    if isinstance(layout, Bank):
        x = max(layout.studs, key=lambda stud: stud[1])[0]
        length = layout.half_width
        return cut_of(cell, (0.0, 0.0), (0.0, length)), cut_of(cell, (x, 0.0), (x, length)), length
    length, angle = layout.outer_diameter / 2.0, 0.55 * math.pi / layout.number
    aside = (length * math.cos(angle), length * math.sin(angle))
    return cut_of(cell, (0.0, 0.0), aside), cut_of(cell, (0.0, 0.0), (length, 0.0)), length
