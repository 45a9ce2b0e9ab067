"""What a picture shows of a cell: its bores whole, by the mirror images that its planes of symmetry stand for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from headjoint.meshes.solid.symmetry import ring_copies
from headjoint.model.base.arrays import FloatArray
from headjoint.model.cell import Bank, Cell, Ring

SAME_PLACE = 1e-6  # mm
BEYOND = 0.11  # of the pitch that is shown beyond the bores at the ends: the studs between them are whole


@dataclass(frozen=True)
class Image:
    """A copy of the cell: places x become matrix @ x + shift, mm."""

    matrix: FloatArray = field(repr=False)
    shift: FloatArray

    def of(self, places: FloatArray) -> FloatArray:
        """Return places (2, n) of the copy."""
        return self.matrix @ places + self.shift[:, None]


@dataclass(frozen=True)
class Whole:
    """The copies that fill a picture, and its lower left and upper right corner (2,), mm."""

    images: tuple[Image, ...]
    low: FloatArray
    high: FloatArray

    def shows(self, x: float, y: float) -> bool:
        """Return whether a place lies in the picture."""
        return bool(np.all(self.low - SAME_PLACE <= (x, y)) and np.all((x, y) <= self.high + SAME_PLACE))

    def places_of(self, x: float, y: float) -> list[tuple[float, float]]:
        """Return all places in the picture that a place of the cell stands for, each once."""
        found: list[tuple[float, float]] = []
        for image in self.images:
            at = image.of(np.array([[x], [y]]))[:, 0]
            one = (float(at[0]), float(at[1]))
            if self.shows(*one) and all(np.hypot(one[0] - a, one[1] - b) > SAME_PLACE for a, b in found):
                found.append(one)
        return found


def whole(cell: Cell, *, beyond: float = BEYOND) -> Whole:
    """Return the copies of a cell that make its bores whole; `beyond` : share of the pitch added at a row's ends."""
    layout = cell.layout
    if isinstance(layout, Ring):
        reach = np.full(2, layout.outer_diameter / 2.0)
        matrices = [np.eye(2)] if layout.extent == "full" else ring_copies(layout.number)
        return Whole(tuple(Image(matrix, np.zeros(2)) for matrix in matrices), -reach, reach)
    end = (layout.bores - 0.5) * layout.pitch
    margin = beyond * layout.pitch
    low, high = -layout.pitch / 2.0 - margin, end + margin
    along = [(1.0, 0.0), (-1.0, 0.0)]
    if margin > 0.0:
        along += [(-1.0, 2.0 * end), (1.0, -2.0 * end)]
    images = tuple(
        Image(np.diag([sign, across]), np.array([shift, 0.0]))
        for sign, shift in along
        if min(shift, sign * end + shift) < high and max(shift, sign * end + shift) > low
        for across in _across(layout)
    )
    first, other = layout.half_widths
    return Whole(images, np.array([low, -other]), np.array([high, first]))


def _across(layout: Bank) -> Sequence[float]:
    return (1.0, -1.0) if layout.extent == "quarter" else (1.0,)
