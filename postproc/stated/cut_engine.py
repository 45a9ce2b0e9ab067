"""An engine cut by an upright plane: what stands over each place of its plan, as rectangles."""

from __future__ import annotations

import math

import numpy as np

from headjoint.meshes.solid.coolant_space import between_decks, from_stud
from headjoint.model.base.arrays import FloatArray
from headjoint.model.cell import Bank, Cell
from headjoint.postproc.stated.cut import Block, Piece

SAMPLES = 2000  # along a cut


def stack_heights(cell: Cell) -> dict[str, float]:
    """Return the heights (mm) of the faces of an engine's stack, the block's deck at 0."""
    joint, head, block = cell.joint, cell.head, cell.block
    bottom = joint.gasket.thickness
    top = bottom + head.height
    bearing = top + (joint.washer.thickness if joint.washer is not None else 0.0)
    return {
        "foot": -block.height,
        "thread bottom": -block.counterbore_depth - joint.fastener.engagement,
        "thread top": -block.counterbore_depth,
        "head bottom": bottom,
        "fire deck": bottom + head.fire_deck,
        "upper deck": top - head.upper_deck,
        "head top": top,
        "bearing": bearing,
        "seat top": bearing + joint.seat.height,
        "fastener top": bearing + joint.seat.height + joint.fastener.protrusion,
    }


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
    studs = from_stud(cell, x, y)
    solid = between_decks(cell, x, y, studs)
    places = zip(solid.tolist(), studs.tolist(), np.hypot(x, y).tolist(), strict=True)
    return [
        (
            *_head(cell, bool(wall), stud),
            *_below(cell, radius, stud),
            *_fastener(cell, stud),
            *_gasket(cell, radius, stud),
        )
        for wall, stud, radius in places
    ]


def _head(cell: Cell, wall: bool, stud: float) -> list[Piece]:
    z = stack_heights(cell)
    if stud < cell.head.hole_diameter / 2.0:
        return []
    if wall:
        return [("head", z["head bottom"], z["head top"])]
    return [("head", z["head bottom"], z["fire deck"]), ("head", z["upper deck"], z["head top"])]


def _below(cell: Cell, radius: float, stud: float) -> list[Piece]:
    z, block, bore = stack_heights(cell), cell.block, cell.layout.bore / 2.0
    liner = cell.liner
    if radius < bore:
        return []
    top = z["thread top"] if stud < cell.head.hole_diameter / 2.0 else 0.0
    if liner is not None and radius < liner.outer_diameter / 2.0:
        pieces: list[Piece] = [("liner", -liner.length, liner.protrusion)]
        return pieces + ([("block", z["foot"], -liner.length)] if liner.length < block.height else [])
    inner = bore + block.wall
    in_jacket = block.jacket_width > 0.0 and inner < radius < inner + block.jacket_width
    if in_jacket and stud > block.boss_diameter / 2.0:
        closed: list[Piece] = [("block", -block.deck_thickness, top)] if block.deck_thickness > 0.0 else []
        return [("block", z["foot"], -block.jacket_depth), *closed]
    return [("block", z["foot"], top)]


def _gasket(cell: Cell, radius: float, stud: float) -> list[Piece]:
    opening = cell.zones[0].inner_diameter / 2.0
    if radius < opening or stud < cell.head.hole_diameter / 2.0:
        return []
    return [("gasket", 0.0, cell.joint.gasket.thickness)]


def _fastener(cell: Cell, stud: float) -> list[Piece]:
    z, joint, pieces = stack_heights(cell), cell.joint, list[Piece]()
    washer = joint.washer
    if washer is not None and washer.inner_diameter / 2.0 < stud < washer.outer_diameter / 2.0:
        pieces.append(("washer", z["head top"], z["bearing"]))
    if stud < cell.shank_diameter / 2.0:
        top = z["fastener top"] if joint.fastener.kind == "stud" else z["seat top"]
        return [*pieces, ("fastener", z["thread bottom"], top)]
    if stud < joint.seat.outer_diameter / 2.0:
        pieces.append(("nut", z["bearing"], z["seat top"]))
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
