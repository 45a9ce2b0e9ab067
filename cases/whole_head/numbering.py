"""Numbers of a row's unknowns: of interfaces in every mirrored copy, shared ones once, then modes of every face."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from headjoint.cases.condensed.cell_condensation import gas_name
from headjoint.cases.whole_head.face_modes import FaceModes
from headjoint.cases.whole_head.free_tile import Parity
from headjoint.cases.whole_head.row_stiffness import selection
from headjoint.meshes.solid.symmetry import ON_PLANE
from headjoint.model.base.arrays import FloatArray, IntArray

COPIES = 4  # of a tile in a bore
SIGNS = np.array([1.0, -1.0])  # of the two copies about a plane; the first lies at positive x, or y


@dataclass(frozen=True)
class RowNumbers:
    """Numbers of a row of `bores` bores.

    interfaces : (bores, 2, 2, i) of interface unknown i in the copies at positive and negative x, then y.
    modes : by parity about y = 0, (bores + 1, m) of the modes of every face from left to right, -1 where held.
    on_face : (i,) whether an interface unknown of a tile lies on the face to its neighbour. count : of all.
    """

    interfaces: IntArray = field(repr=False)
    modes: Mapping[int, IntArray] = field(repr=False)
    on_face: NDArray[np.bool_] = field(repr=False)
    count: int

    @property
    def bores(self) -> int:
        """Number of bores."""
        return len(self.interfaces)

    def taken(self, parity: Parity, normal: NDArray[np.bool_]) -> sp.csr_matrix:
        """Return what takes every bore's unknowns in a parity from the row's; normal : (m,) whether a mode is.

        Each parity has half the sum of four copies, with signs, and of two faces 1/sqrt 2, so that energies add up.
        """
        bores, own, modes = self.bores, self.interfaces.shape[-1], self.modes[parity[1]]
        size = own + modes.shape[1]
        start = size * np.arange(bores)[:, None]
        entries = []
        for first in range(2):
            for second in range(2):
                half = sign_of(parity, first, second) / 2.0
                entries.append((start + np.arange(own), self.interfaces[:, first, second], half))
        at = start + own + np.arange(modes.shape[1])
        entries.append((at, modes[1:], np.sqrt(0.5)))
        entries.append((at, modes[:-1], parity[0] * np.where(normal, -1.0, 1.0) * np.sqrt(0.5)))
        return selection(entries, (bores * size, self.count))


def sign_of(parity: Parity, along: int, across: int) -> float:
    """Return the sign with which a copy (0 at the positive side, 1 at the negative, of x and y) counts in a parity."""
    return (parity[0] if along else 1) * (parity[1] if across else 1) * 1.0


def numbered(bores: int, at: FloatArray, face_at: float, modes: Mapping[int, FaceModes]) -> RowNumbers:
    """Return the numbers of a row whose two ends are planes of symmetry.

    at : (2, i) mm, places of a tile's interface unknowns. Such a plane stays plane and travels along the row.
    """
    count = at.shape[1]
    numbers = np.arange(4 * bores * count).reshape(bores, 2, 2, count)
    middle, bottom, on_face = (np.abs(one) < ON_PLANE for one in (at[0], at[1], at[0] - face_at))
    numbers[:, 1][..., middle] = numbers[:, 0][..., middle]
    numbers[1:, 1][..., on_face] = numbers[:-1, 0][..., on_face]
    numbers[:, :, 1][..., bottom] = numbers[:, :, 0][..., bottom]
    used, numbers = np.unique(numbers, return_inverse=True)
    numbers = numbers.reshape(bores, 2, 2, count)
    total, of_modes = len(used), {}
    for across, own in modes.items():
        free = np.ones((bores + 1, len(own.mode_normal)), dtype=bool)
        free[[0, -1]] = ~own.mode_normal
        if across > 0:
            for end in (0, -1):
                free[end, own.shift] = True
        of_modes[across] = np.where(free, total + np.cumsum(free).reshape(free.shape) - 1, -1)
        total += int(free.sum())
    return RowNumbers(numbers, of_modes, on_face, total)


def point_numbers(bores: int, points: int, on_faces: int) -> IntArray:
    """Return the numbers (copies, points) of all copies' interface points, those on gasket faces first."""
    count = COPIES * bores
    number = np.arange(count)[:, None] * (points - on_faces) + np.arange(points)[None, :] + (count - 1) * on_faces
    number[:, :on_faces] = np.arange(count)[:, None] * on_faces + np.arange(on_faces)
    return number


def gathered(loads: Mapping[str, FloatArray], factors: Mapping[str, float], bores: int, size: int) -> FloatArray:
    """Return the sum (bores, size) of a tile's unit loads times their factors, alike in the four copies of a bore.

    A tile's load by gas is that in its own bore; the symmetric part of a bore is half the sum of its copies.
    """
    total = np.zeros((bores, size))
    for name, load in loads.items():
        if name == gas_name(0):
            total += 2.0 * np.outer([factors.get(gas_name(bore), 0.0) for bore in range(bores)], load)
        else:
            total += 2.0 * np.outer(per_bore(name, factors, bores), load)
    return total


def hot_name(part: str, bore: int) -> str:
    """Return the name of the unit load of a part in one bore (number from 0) alone."""
    return f"{part} of bore {bore + 1}"


def per_bore(name: str, factors: Mapping[str, float], bores: int) -> FloatArray:
    """Return the factor (bores,) of a part's unit load in every bore: that in all, and that in this one alone."""
    alone = [factors.get(hot_name(name, bore), 0.0) for bore in range(bores)]
    return factors.get(name, 0.0) + np.array(alone)
