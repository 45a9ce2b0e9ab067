"""The wanted element size of a bore cell's plan."""

from __future__ import annotations

import math
from dataclasses import dataclass

from headjoint.model.cell import Cell

EVEN = 3.0  # times the size at the sealing line, over which it is the same
ROUND_HOLE = 2.5  # elements across a coolant hole


@dataclass(frozen=True)
class ElementSize:
    """Fine at the sealing line (radius `middle`), the studs and the holes, growing away from them; mm.

    studs, holes : x, y, radius and size there of each. refinement : 2 halves every element.
    """

    middle: float
    ring: float
    studs: tuple[tuple[float, float, float, float], ...]
    holes: tuple[tuple[float, float, float, float], ...]
    growth: float
    largest: float
    refinement: float

    def __call__(self, x: float, y: float) -> float:
        """Return the size (mm) at a place; the mesher asks some hundred thousand times."""
        hypot, growth = math.hypot, self.growth
        away = abs(hypot(x, y) - self.middle) - EVEN * self.ring
        wanted = self.ring + growth * away if away > 0.0 else self.ring
        for around in (self.studs, self.holes):
            for at_x, at_y, radius, size in around:
                away = hypot(x - at_x, y - at_y) - radius
                there = size + growth * away if away > 0.0 else size
                if there < wanted:
                    wanted = there
        return min(wanted, self.largest) / self.refinement


def element_size(cell: Cell, refinement: float) -> ElementSize:
    """Return the size that a cell states, `refinement` times as fine."""
    sizes, hole_radius = cell.mesh, cell.head.hole_diameter / 2.0
    return ElementSize(
        middle=cell.sealing_zone.sealing_diameter / 2.0,
        ring=sizes.ring_size,
        studs=tuple((x, y, hole_radius, sizes.stud_size) for x, y in cell.layout.tile_studs),
        holes=tuple((hole.x, hole.y, hole.diameter / 2.0, hole.diameter / ROUND_HOLE) for hole in cell.holes),
        growth=sizes.growth,
        largest=sizes.largest,
        refinement=refinement,
    )
