"""What a plane cuts of upright walls and rings: rectangles of parts, and the lines where one part ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

Piece = tuple[str, float, float]  # part, bottom, top in mm
Line = tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True)
class Block:
    """A rectangle of a part in the plane of a cut, mm: along the cut, and up from the block's deck."""

    part: str
    start: float
    end: float
    bottom: float
    top: float


def rings_cut(rings: Sequence[tuple[str, float, float, float, float]]) -> list[Block]:
    """Return half of a cut through the axis of rings: (part, inner and outer diameter, bottom, top), mm."""
    radii = sorted({diameter / 2.0 for ring in rings for diameter in ring[1:3]})
    blocks = []
    for start, end in pairwise(radii):
        middle = start + end  # as a diameter
        pieces = sorted((part, low, high) for part, inner, outer, low, high in rings if inner < middle < outer)
        blocks += [Block(part, start, end, low, high) for part, low, high in _joined(pieces)]
    return blocks


def _joined(pieces: Sequence[Piece]) -> list[Piece]:
    """Return pieces, sorted, those of one part as one where they meet or overlap."""
    found: list[Piece] = []
    for part, low, high in pieces:
        if found and found[-1][0] == part and low <= found[-1][2] + 1e-9:
            part, low, high = part, found[-1][1], max(high, found[-1][2])
            found.pop()
        found.append((part, low, high))
    return found


def outlines(blocks: Sequence[Block]) -> list[Line]:
    """Return the lines round the parts of a cut; where two rectangles of one part meet there is none."""
    columns: dict[float, list[Block]] = {}
    ends = sorted({place for one in blocks for place in (one.start, one.end)})
    lines: list[Line] = []
    for one in blocks:
        columns.setdefault(one.start, []).append(one)
        lines += [((one.start, height), (one.end, height)) for height in (one.bottom, one.top)]
    closing: dict[float, list[Block]] = {}
    for one in blocks:
        closing.setdefault(one.end, []).append(one)
    for place in ends:
        before, after = closing.get(place, []), columns.get(place, [])
        heights = sorted({height for one in (*before, *after) for height in (one.bottom, one.top)})
        for low, high in pairwise(heights):
            middle = (low + high) / 2.0
            if _part_at(before, middle) != _part_at(after, middle):
                lines.append(((place, low), (place, high)))
    return lines


def _part_at(column: Sequence[Block], height: float) -> str:
    return next((one.part for one in column if one.bottom < height < one.top), "")
