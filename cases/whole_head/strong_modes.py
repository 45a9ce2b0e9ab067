"""The modes of faces that a preconditioner of a row has to couple; all others stand alone in it.

Between two tiles the modes of a face are as stiff as `FaceModes.stiffness`, each by itself, and down to a thousandth of
that they feel interfaces and the next face. What feels them by a few hundredths is as good as alone: a step of the
iteration costs in proportion to the modes that are coupled, and those few are a quarter of all.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from headjoint.cases.whole_head.numbering import RowNumbers
from headjoint.cases.whole_head.tile import SIDES, CondensedTile, ParityTile
from headjoint.model.base.arrays import FloatArray

STRONG = 0.05  # of what a mode and what it couples to are stiff, by which it has to be coupled


@dataclass(frozen=True)
class StrongRow:
    """A row with strong modes alone.

    tile, numbers : of those. alone : (N,) inverse of the stiffness of each mode that stands alone, else 0.
    """

    tile: CondensedTile = field(repr=False)
    numbers: RowNumbers = field(repr=False)
    alone: FloatArray = field(repr=False)


def strong_row(tile: CondensedTile, numbers: RowNumbers, strong: float = STRONG) -> StrongRow:
    """Return a row in which modes that are coupled by less than `strong` stand alone."""
    alone = np.zeros(numbers.count)
    parts, modes, ends = dict(tile.parts), dict(tile.modes), {}
    of_faces = dict(numbers.modes)
    for across, own in tile.modes.items():
        of_tiles = [tile.parts[along, across].stiffness for along in SIDES]
        end = None if tile.end is None else tile.end.parts[across].stiffness
        coupled = coupling(of_tiles, end, len(own.mode_normal)) >= strong
        coupled[np.concatenate([own.shift, own.turn])] = True
        for along in SIDES:
            parts[along, across] = _cut(tile.parts[along, across], coupled)
        if tile.end is not None:
            ends[across] = _cut(tile.end.parts[across], coupled)
        alone += _by_themselves(of_tiles, end, numbers, across, coupled)
        places = np.cumsum(coupled) - 1
        modes[across] = replace(
            own, mode_normal=own.mode_normal[coupled], shift=places[own.shift], turn=places[own.turn]
        )
        of_faces[across] = numbers.modes[across][:, coupled]
    closed = None if tile.end is None else replace(tile.end, parts=ends)
    return StrongRow(CondensedTile(parts, modes, closed), replace(numbers, modes=of_faces), alone)


def coupling(of_tiles: list[FloatArray], end: FloatArray | None, count: int) -> FloatArray:
    """Return by how much (m,) of their stiffness modes are coupled to interfaces, the next face, the end."""
    even, odd = (one[-count:, -count:] for one in of_tiles)
    stiffness = np.diag(even + odd)
    squares = np.zeros(count)
    for one in of_tiles if end is None else [*of_tiles, end]:
        squares = np.maximum(squares, _to_interfaces(one, count) / stiffness)
    to_next = (even - odd) / 2.0
    squares += np.square(to_next / stiffness).sum(axis=1)
    if end is not None:
        beside = (even + odd) / 2.0 + end[-count:, -count:]
        own = np.diag(beside).copy()
        beside = beside - np.diag(own)
        squares = np.maximum(squares, (np.square(beside) / np.outer(own, own)).sum(axis=1))
    return np.sqrt(squares)


def _to_interfaces(stiffness: FloatArray, count: int) -> FloatArray:
    """Return the sum (m,) of squares of couplings to interface unknowns, scaled by how stiff each of these is."""
    own = np.diag(stiffness)[:-count]
    live = own > 0.0
    return (np.square(stiffness[:-count, -count:][live]) / own[live, None]).sum(axis=0)


def _cut(part: ParityTile, coupled: NDArray[np.bool_]) -> ParityTile:
    kept = np.concatenate([np.ones(len(part.stiffness) - len(coupled), dtype=bool), coupled])
    return replace(part, stiffness=part.stiffness[np.ix_(kept, kept)])


def _by_themselves(
    of_tiles: list[FloatArray], end: FloatArray | None, numbers: RowNumbers, across: int, coupled: NDArray[np.bool_]
) -> FloatArray:
    """Return the inverse stiffness (N,) of the modes of all faces that are not `coupled`."""
    count, ids = len(coupled), numbers.modes[across]
    of_tile = sum(np.diag(one)[-count:] for one in of_tiles) / 2.0
    total = np.tile(2.0 * of_tile, (len(ids), 1))
    total[[0, -1]] = of_tile if end is None else of_tile + np.diag(end)[-count:]
    used = (ids >= 0) & ~coupled
    found = np.zeros(numbers.count)
    found[ids[used]] = 1.0 / total[used]
    return found
