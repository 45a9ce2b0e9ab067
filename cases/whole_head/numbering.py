"""Numbers of a row's unknowns: of interfaces in every mirrored copy, shared ones once, then modes of every face."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from headjoint.cases.condensed.cell_condensation import gas_name
from headjoint.cases.condensed.cell_interfaces import InterfacePoints
from headjoint.cases.whole_head.face_modes import FaceModes
from headjoint.cases.whole_head.free_tile import FreeEnd, Parity
from headjoint.cases.whole_head.row_stiffness import selection
from headjoint.meshes.solid.symmetry import ON_PLANE
from headjoint.model.base.arrays import FloatArray, IntArray

SIGNS = np.array([1.0, -1.0])  # of the two copies about a plane; the first lies at positive x, or y


@dataclass(frozen=True)
class RowNumbers:
    """Numbers of a row of `bores` bores.

    interfaces : (bores, 2, sides, i) of interface unknown i in the copies at positive and negative x, then y; one of
    those where a tile has both sides.
    modes : by parity about y = 0, (bores + 1, m) of the modes of every face from left to right, -1 where held.
    on_face : (i,) whether an interface unknown of a tile lies on the face to its neighbour. count : of all. ends :
    (2, sides, e) of interface unknown e in the ends at the right and the left of the row, then the copies at positive
    and negative y; None where planes of symmetry end it. shared : as in `FreeEnd`.
    """

    interfaces: IntArray = field(repr=False)
    modes: Mapping[int, IntArray] = field(repr=False)
    on_face: NDArray[np.bool_] = field(repr=False)
    count: int
    ends: IntArray | None = field(default=None, repr=False)
    shared: IntArray | None = field(default=None, repr=False)

    @property
    def bores(self) -> int:
        """Number of bores."""
        return len(self.interfaces)

    @property
    def sides(self) -> int:
        """Number of copies of a tile across the row: 2, or 1 where it has both sides."""
        return self.interfaces.shape[2]

    @property
    def copies(self) -> int:
        """Number of copies of a tile in a bore, and of an end: at the right of the row and at its left."""
        return 2 * self.sides

    @cached_property
    def times(self) -> IntArray:
        """In how many copies of tiles and ends each unknown (N,) is an interface unknown."""
        ids = [self.interfaces.ravel()] + ([] if self.ends is None else [self.ends.ravel()])
        return np.bincount(np.concatenate(ids), minlength=self.count)

    def taken(self, parity: Parity, normal: NDArray[np.bool_]) -> sp.csr_matrix:
        """Return what takes every bore's unknowns in a parity from the row's; normal : (m,) whether a mode is.

        Each parity has half the sum of four copies (1/sqrt 2 of two), with signs, and of two faces 1/sqrt 2, so that
        energies add up.
        """
        bores, own, modes = self.bores, self.interfaces.shape[-1], self.modes[parity[1]]
        size = own + modes.shape[1]
        start = size * np.arange(bores)[:, None]
        entries = []
        for first in range(2):
            for second in range(self.sides):
                half = sign_of(parity, first, second) / np.sqrt(self.copies)
                entries.append((start + np.arange(own), self.interfaces[:, first, second], half))
        at = start + own + np.arange(modes.shape[1])
        entries.append((at, modes[1:], np.sqrt(0.5)))
        entries.append((at, modes[:-1], parity[0] * np.where(normal, -1.0, 1.0) * np.sqrt(0.5)))
        return selection(entries, (bores * size, self.count))

    def taken_by_ends(self, across: int, normal: NDArray[np.bool_]) -> sp.csr_matrix:
        """Return what takes both ends' unknowns in a parity about y = 0 from the row's; the left one is mirrored."""
        assert self.ends is not None
        own, modes = self.ends.shape[-1], self.modes[across]
        size = own + modes.shape[1]
        entries = []
        for end, face in enumerate((-1, 0)):
            for side in range(self.sides):
                half = sign_of((1, across), 0, side) * np.sqrt(1.0 / self.sides)
                entries.append((end * size + np.arange(own), self.ends[end, side], half))
            at = end * size + own + np.arange(modes.shape[1])
            entries.append((at, modes[face], np.where(normal, -1.0, 1.0) if end else 1.0))
        return selection(entries, (2 * size, self.count))


def sign_of(parity: Parity, along: int, across: int) -> float:
    """Return the sign with which a copy (0 at the positive side, 1 at the negative, of x and y) counts in a parity."""
    return (parity[0] if along else 1) * (parity[1] if across else 1) * 1.0


def numbered(
    bores: int, at: FloatArray, face_at: float, modes: Mapping[int, FaceModes], end: FreeEnd | None = None
) -> RowNumbers:
    """Return the numbers of a row whose two ends are planes of symmetry, or what lies beyond them.

    at : (2, i) mm, places of a tile's interface unknowns. Such a plane stays plane and travels along the row. There
    are as many copies across the row as parities about y = 0.
    """
    count, sides = at.shape[1], len(modes)
    numbers = np.arange(2 * sides * bores * count).reshape(bores, 2, sides, count)
    middle, bottom, on_face = (np.abs(one) < ON_PLANE for one in (at[0], at[1], at[0] - face_at))
    numbers[:, 1][..., middle] = numbers[:, 0][..., middle]
    numbers[1:, 1][..., on_face] = numbers[:-1, 0][..., on_face]
    numbers[:, :, 1:][..., bottom] = numbers[:, :, :1][..., bottom]
    used, numbers = np.unique(numbers, return_inverse=True)
    numbers = numbers.reshape(bores, 2, sides, count)
    total, of_modes = len(used), {}
    ends = None
    if end is not None:
        ends = _of_ends(numbers, end, total)
        total = int(max(numbers.max(), ends.max())) + 1
    for across, own in modes.items():
        free = np.ones((bores + 1, len(own.mode_normal)), dtype=bool)
        if end is None:
            free[[0, -1]] = ~own.mode_normal
            if across >= 0:
                for face in (0, -1):
                    free[face, own.shift] = True
        of_modes[across] = np.where(free, total + np.cumsum(free).reshape(free.shape) - 1, -1)
        total += int(free.sum())
    return RowNumbers(numbers, of_modes, on_face, total, ends, None if end is None else end.shared)


def _of_ends(numbers: IntArray, end: FreeEnd, first: int) -> IntArray:
    """Return the numbers (2, sides, e) of both ends' interface unknowns, those that no tile has from `first` on."""
    sides = numbers.shape[2]
    ends = np.empty((2, sides, len(end.shared)), dtype=np.int64)
    common, bottom = end.shared >= 0, np.abs(end.piece.at[1]) < ON_PLANE
    ends[0][:, common] = numbers[-1, 0][:, end.shared[common]]
    ends[1][:, common] = numbers[0, 1][:, end.shared[common]]
    fresh = np.arange(2 * sides * int((~common).sum())).reshape(2, sides, -1)
    fresh[:, 1:][..., bottom[~common]] = fresh[:, :1][..., bottom[~common]]
    ends[..., ~common] = first + np.unique(fresh, return_inverse=True)[1].reshape(fresh.shape)
    return ends


def point_numbers(
    row: RowNumbers, tile: InterfacePoints, end: InterfacePoints | None = None
) -> tuple[IntArray, IntArray]:
    """Return the numbers (copies, points) of all copies' interface points, of tiles and of ends.

    Those on gasket faces come first. tile, end : points of a tile and of an end, None where planes end the row.
    """
    count, points, on_faces = row.copies * row.bores, len(tile.weight), len(tile.gasket_face_of)
    of_ends, on_ends = (0, 0) if end is None else (len(end.weight), len(end.gasket_face_of))
    first = count * on_faces + row.copies * on_ends
    tiles = np.empty((count, points), dtype=np.int64)
    tiles[:, :on_faces] = np.arange(count * on_faces).reshape(count, on_faces)
    tiles[:, on_faces:] = first + np.arange(count * (points - on_faces)).reshape(count, -1)
    first += count * (points - on_faces)
    ends = np.empty((row.copies, of_ends), dtype=np.int64)
    ends[:, :on_ends] = count * on_faces + np.arange(row.copies * on_ends).reshape(row.copies, on_ends)
    ends[:, on_ends:] = first + np.arange(row.copies * (of_ends - on_ends)).reshape(row.copies, -1)
    return tiles, ends


def gathered(
    loads: Mapping[str, FloatArray], factors: Mapping[str, float], bores: int, size: int, sides: int = 2
) -> FloatArray:
    """Return the sum (bores, size) of a tile's unit loads times their factors, alike in all copies of a bore.

    A tile's load by gas is that in its own bore; the symmetric part of a bore is half the sum of its four copies, and
    1/sqrt 2 of two. sides : copies across the row.
    """
    total, copies = np.zeros((bores, size)), np.sqrt(2.0 * sides)
    for name, load in loads.items():
        if name == gas_name(0):
            total += copies * np.outer([factors.get(gas_name(bore), 0.0) for bore in range(bores)], load)
        else:
            total += copies * np.outer(per_bore(name, factors, bores), load)
    return total


def gathered_at_ends(
    loads: Mapping[str, FloatArray], factors: Mapping[str, float], bores: int, size: int, sides: int = 2
) -> FloatArray:
    """Return the same sum (2, size) of an end's unit loads; all copies of each are as hot as the bore beside it."""
    total = np.zeros((2, size))
    for name, load in loads.items():
        total += np.sqrt(sides) * np.outer(per_bore(name, factors, bores)[[-1, 0]], load)
    return total


def hot_name(part: str, bore: int) -> str:
    """Return the name of the unit load of a part in one bore (number from 0) alone."""
    return f"{part} of bore {bore + 1}"


def per_bore(name: str, factors: Mapping[str, float], bores: int) -> FloatArray:
    """Return the factor (bores,) of a part's unit load in every bore: that in all, and that in this one alone."""
    alone = [factors.get(hot_name(name, bore), 0.0) for bore in range(bores)]
    return factors.get(name, 0.0) + np.array(alone)
