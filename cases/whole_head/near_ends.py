"""What closes a row in the preconditioner of its tangent: each end as if both sides of y = 0 were alike."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import scipy.sparse as sp

from headjoint.cases.condensed.cell_interfaces import InterfacePoints
from headjoint.cases.condensed.newton_step import Tangent
from headjoint.cases.whole_head.inside import Inside, Single, eliminated, interface_tangent
from headjoint.cases.whole_head.numbering import RowNumbers, sign_of
from headjoint.cases.whole_head.row_stiffness import selection
from headjoint.cases.whole_head.tile import CondensedEnd
from headjoint.model.base.arrays import FloatArray, IntArray

FACES = (-1, 0)  # of the row, that the ends at its right and left begin at


@dataclass(frozen=True)
class NearEnds:
    """Both ends, right and left, eliminated to the unknowns of the row's last faces.

    slope, spring : (2, g) and (2, e), means over both sides. insides : by parity about y = 0 of each end.
    sign : (s,) of a face's unknowns seen from the left end. taken, given : from the row's unknowns to (2, i) inside,
    and back.
    """

    slope: FloatArray = field(repr=False)
    spring: FloatArray = field(repr=False)
    insides: Mapping[int, tuple[Inside, ...]] = field(repr=False)
    sign: Mapping[int, Single] = field(repr=False)
    taken: Mapping[int, sp.csr_matrix] = field(repr=False)
    given: Mapping[int, sp.csr_matrix] = field(repr=False)

    def left(self, across: int) -> dict[int, FloatArray]:
        """Return the stiffness (s, s) that each end leaves on its face, by the number of the face."""
        right, left = self.insides[across]
        sign = self.sign[across]
        return {FACES[0]: right.left, FACES[1]: sign[:, None] * left.left * sign}

    def began(self, r: FloatArray, load: Mapping[int, Single]) -> dict[int, Single]:
        """Return the solution inside with faces held, by parity, and take what it leaves off the faces' load."""
        moved = {}
        for across, taken in self.taken.items():
            own = (taken @ r).reshape(2, -1).astype(np.float32)
            for end, (inside, face, sign) in enumerate(self._each(across)):
                load[across][:, face] -= sign * (inside.coupling.T @ own[end])
                own[end] = inside.inverse @ own[end]
            moved[across] = own
        return moved

    def ended(self, moved: Mapping[int, Single], faces: Mapping[int, Single]) -> FloatArray:
        """Return what the solution inside adds to the row's (N,), with the faces (s, faces) moved."""
        total: FloatArray = np.zeros(next(iter(self.given.values())).shape[0])
        for across, given in self.given.items():
            own = moved[across]
            for end, (inside, face, sign) in enumerate(self._each(across)):
                own[end] -= inside.coupling @ (sign * faces[across][:, face])
            total += given @ own.ravel()
        return total

    def _each(self, across: int) -> tuple[tuple[Inside, int, Single], ...]:
        (right, left), sign = self.insides[across], self.sign[across]
        return (right, FACES[0], np.ones_like(sign)), (left, FACES[1], sign)


def near_ends(
    points: InterfacePoints,
    end: CondensedEnd,
    numbers: RowNumbers,
    at: IntArray,
    tangent: Tangent,
    sign: Mapping[int, FloatArray],
    before: NearEnds | None,
) -> NearEnds:
    """Return the ends of a row near `tangent`; points : of one end, of which those `at` (copies, g) are in the row.

    sign : by parity about y = 0, (s,) with which a mirrored neighbour has the unknowns of a face.
    """
    assert numbers.ends is not None
    slope = tangent.weighted_slope[at].reshape(2, numbers.sides, -1).mean(axis=1)
    spring = (tangent.spring / np.maximum(numbers.times, 1))[numbers.ends].mean(axis=1)
    extra = [interface_tangent(points, one, other) for one, other in zip(slope, spring, strict=True)]
    insides = {
        across: tuple(_left_on_face(part.stiffness, one, numbers) for one in extra)
        for across, part in end.parts.items()
    }
    if before is None:
        taken = {across: _inside_ends(numbers, across) for across in end.parts}
        given = {across: one.T.tocsr() for across, one in taken.items()}
    else:
        taken, given = dict(before.taken), dict(before.given)
    single = {across: one.astype(np.float32) for across, one in sign.items()}
    return NearEnds(slope, spring, insides, single, taken, given)


def _left_on_face(stiffness: FloatArray, extra: FloatArray, numbers: RowNumbers) -> Inside:
    """Return an end eliminated to all unknowns of a face, also those that it does not have."""
    assert numbers.shared is not None
    own, on_face = len(extra), np.flatnonzero(numbers.on_face)
    common = np.flatnonzero(numbers.shared >= 0)
    modes = np.arange(own, len(stiffness))
    inside = eliminated(stiffness, extra, np.flatnonzero(numbers.shared < 0), np.concatenate([common, modes]))
    at = np.concatenate([np.searchsorted(on_face, numbers.shared[common]), len(on_face) + modes - own])
    size = len(on_face) + len(modes)
    coupling, left = np.zeros((len(inside.coupling), size), dtype=np.float32), np.zeros((size, size))
    coupling[:, at] = inside.coupling
    left[np.ix_(at, at)] = inside.left
    return Inside(inside.inverse, coupling, left)


def _inside_ends(numbers: RowNumbers, across: int) -> sp.csr_matrix:
    """Return the matrix from the row's unknowns to those inside both ends (2, i); its transposed goes back."""
    assert numbers.ends is not None
    assert numbers.shared is not None
    ids = numbers.ends[..., numbers.shared < 0]
    at = ids.shape[-1] * np.arange(2)[:, None] + np.arange(ids.shape[-1])
    times = np.bincount(ids.ravel(), minlength=numbers.count)
    entries = [
        (at, ids[:, side], sign_of((1, across), 0, side) * np.sqrt(1.0 / numbers.sides) / times[ids[:, side]])
        for side in range(numbers.sides)
    ]
    return selection(entries, (2 * ids.shape[-1], numbers.count))
