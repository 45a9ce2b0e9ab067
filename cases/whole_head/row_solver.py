"""The linear solve of a Newton step of a row: conjugate gradients, preconditioned by bores alike in all their copies.

With the mean interface slope of a bore's mirrored copies its tangent falls into parities like the stiffness: the
unknowns inside it go out parity by parity, once for all bores that are alike, and those of the faces between bores are
left as a chain of blocks, each coupled to the next. What differs from copy to copy is for the iteration.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from headjoint.cases.condensed.cell_interfaces import InterfacePoints
from headjoint.cases.condensed.newton_step import FINE, Tangent, TangentSolver
from headjoint.cases.condensed.reduced_joint import iterated_goal
from headjoint.cases.elements.side_by_side import side_by_side
from headjoint.cases.whole_head.beside_mean import Copies, NutBlock, Scaled, mean_tangent, nut_blocks, scaled
from headjoint.cases.whole_head.free_tile import Parity
from headjoint.cases.whole_head.inside import Inside, Single, eliminated, interface_tangent, inverse
from headjoint.cases.whole_head.iteration import iterated
from headjoint.cases.whole_head.near_ends import NearEnds, near_ends
from headjoint.cases.whole_head.numbering import RowNumbers, point_numbers, sign_of
from headjoint.cases.whole_head.row_stiffness import selection
from headjoint.cases.whole_head.slow_directions import SlowDirections, no_directions
from headjoint.cases.whole_head.strong_modes import strong_row
from headjoint.cases.whole_head.tile import SIDES, CondensedTile
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import SolveError

MANY_ITERATIONS = 20  # after which slopes have changed so much that the next step gets new factors
MOST_ITERATIONS = 400
CHANGED = 0.5  # of the greater slope: a point whose slope differs by more counts as changed
ROUGH = 3e-2  # accuracy of steps while slopes move: the next tangent is another one anyhow
MOVED = 0.2  # of the greater slope: a point whose slope differs by more from the last step's still moves
SINGLE = 1e-2  # accuracy from which on elastic products in single precision do
SETTLED = 30  # points that still move, up to which a step is worth to be solved as exactly as Newton's pace
NEAR_GOAL = 1e-7  # relative residual below which it always is
FEW_CHANGED = 6  # points of a tile: so few cost less in iterations than new factors
ROOT_HALF = np.float32(np.sqrt(0.5))


class RowSolver(TangentSolver):
    """Solves with tangents of a row; what it remembers changes the time, never the answer."""

    def __init__(
        self,
        points: InterfacePoints,
        tile: CondensedTile,
        numbers: RowNumbers,
        end_points: InterfacePoints | None = None,
    ) -> None:
        super().__init__()
        self._points, self._end_points, self._numbers = points, end_points, numbers
        self._strong = strong_row(tile, numbers)
        self._near: NearRow | None = None
        self._tired = True
        self._size = np.inf
        self._none = no_directions(
            numbers.count, sum(one.size for one in point_numbers(numbers, points, end_points))
        )  # fmt: skip
        self._slow: SlowDirections = self._none
        self._nuts: tuple[NutBlock, ...] | None = None
        self._slope: FloatArray | None = None
        self._in_single = True
        self._squares: tuple[sp.csr_matrix, sp.csr_matrix] | None = None

    def forget(self) -> None:
        """Drop the factors."""
        self._near, self._tired, self._size = None, True, np.inf
        self._slow, self._slope, self._in_single = self._none, None, True

    def solve(self, tangent: Tangent, residual: FloatArray, size: float) -> FloatArray:
        """Return the solution on the free unknowns for `residual` there; `size` is its relative size.

        Raises SolveError where a part can move freely.
        """
        accuracy = self._accuracy(tangent, size)
        if not self._tired:
            single = self._in_single and accuracy >= SINGLE
            step = self._iterated(tangent, residual, accuracy, 5 * MANY_ITERATIONS, single)
            if step is not None:
                return step
            self._in_single &= not single  # where a nut floats, its stiffness is lost in rounding
        strong = self._strong
        self._near = near_row(self._points, strong.tile, strong.numbers, tangent, self._near, self._end_points)
        self.factorisations += 1
        step = self._iterated(tangent, residual, accuracy, MOST_ITERATIONS)
        if step is None:
            raise SolveError("the head is not held, or its Newton step is not solved: a part can move freely")
        return step

    def _accuracy(self, tangent: Tangent, size: float) -> float:
        """Return how exactly a step is to be solved from a residual of relative `size`, 0 for one that stands alone.

        As Newton's own pace tells: no step is worth more than the next one's error. While many slopes move,
        that error is greater than the pace tells.
        """
        pace = size / self._size if size < self._size else float(size > 0.0)
        before, self._slope, self._size = self._slope, tangent.weighted_slope, size
        accuracy = 0.3 * pace**1.5
        if size > 0.0:  # nor does anybody want more than Newton's goal
            accuracy = max(accuracy, 0.1 * iterated_goal(len(tangent.K)) / size)
        if size > NEAR_GOAL and before is not None and _changed(before, tangent.weighted_slope, MOVED) > SETTLED:
            return ROUGH
        return float(np.clip(accuracy, FINE, ROUGH))

    def _iterated(
        self, tangent: Tangent, residual: FloatArray, accuracy: float, most: int, single: bool = False
    ) -> FloatArray | None:
        """Return the solution by conjugate gradients, None where it takes too many steps; single : as of `iterated`."""
        assert self._near is not None
        scale, load = self._scaled(tangent), np.zeros(len(tangent.K))
        near, alone = self._near, self._strong.alone
        load[tangent.free] = residual

        def solved(r: FloatArray) -> FloatArray:
            return scale.after(near.solved(scale.before(r))) + alone * r

        found = iterated(tangent, load, accuracy, most, solved, self._slow, single)
        self._slow = found.slow
        self.iterations += found.steps
        if found.solution is None:
            return None
        # the first steps of a solve are rough, and say little
        self._tired = found.steps > MANY_ITERATIONS
        return found.solution[tangent.free]

    def _scaled(self, tangent: Tangent) -> Scaled:
        """Return what the mean of a bore's copies is scaled by: a nut's own tangent, a closure's own stiffness.

        Of closures elsewhere the diagonal alone, which is most of it.
        """
        assert self._near is not None
        kinds, ends = self._near.kinds, self._near.ends
        likes = [[(kinds[kind].slope, kinds[kind].spring) for kind in self._near.kind_of]]
        if ends is not None:
            likes.append(list(zip(ends.slope, ends.spring, strict=True)))
        if self._squares is None or self._squares[0] is not tangent.B:
            self._squares = tangent.B, tangent.transposed.multiply(tangent.transposed).tocsr()
        mean = mean_tangent(list(zip(self._copies, likes, strict=True)), tangent, self._squares[1])
        if self._nuts is None:
            self._nuts = nut_blocks(self._points, self._numbers, tangent, self._end_points)
        return scaled(mean.diagonal, self._nuts, tangent, mean.slope, mean.spring)

    @cached_property
    def _copies(self) -> list[Copies]:
        numbers, shape = self._numbers, (self._numbers.bores, self._numbers.copies, -1)
        at, at_ends = point_numbers(numbers, self._points, self._end_points)
        ids = numbers.interfaces.reshape(shape)
        found = [Copies.of(self._points, self._strong.tile.parts.values(), ids, at.reshape(shape))]
        if self._end_points is not None:
            assert numbers.ends is not None
            assert self._strong.tile.end is not None
            parts = self._strong.tile.end.parts.values()
            found.append(Copies.of(self._end_points, parts, numbers.ends, at_ends.reshape(2, numbers.sides, -1)))
        return found


@dataclass(frozen=True)
class _Kind:
    """Bores that are alike: mean weighted slope (g,) of their copies and spring (i,), and their insides by parity."""

    slope: FloatArray = field(repr=False)
    spring: FloatArray = field(repr=False)
    parts: Mapping[Parity, Inside] = field(repr=False)

    def like(self, slope: FloatArray, spring: FloatArray) -> bool:
        """Whether a bore of this slope and spring is as good as alike."""
        return _changed(self.slope, slope) + _changed(self.spring, spring) <= FEW_CHANGED


def _changed(one: FloatArray, other: FloatArray, by: float = CHANGED) -> int:
    """Return how many slopes differ `by` more than such a share of the greater."""
    return int((np.abs(one - other) > by * np.maximum(one, other)).sum())


@dataclass(frozen=True)
class _Chain:
    """The faces in one parity about y = 0: inverses of the chain's blocks, and what couples each to the next.

    free : (s, faces) whether an unknown is not held at a face. taken, given : from the row's unknowns to (faces, s) and
    back.
    """

    inverses: tuple[Single, ...] = field(repr=False)
    couplings: tuple[Single, ...] = field(repr=False)
    free: NDArray[np.bool_] = field(repr=False)
    taken: sp.csr_matrix = field(repr=False)
    given: sp.csr_matrix = field(repr=False)

    def own(self, r: FloatArray) -> Single:
        """Return the faces' part (s, faces) of a vector of the row."""
        return np.asfortranarray((self.taken @ r).reshape(len(self.inverses), -1).T, dtype=np.float32)

    def solved(self, load: Single) -> Single:
        """Return the solution (s, faces) of the chain."""
        found = np.where(self.free, load, np.float32(0.0))
        for face, coupling in enumerate(self.couplings):
            found[:, face + 1] -= coupling.T @ found[:, face]
        last = len(self.inverses) - 1
        for face in range(last, -1, -1):
            found[:, face] = self.inverses[face] @ found[:, face]
            if face < last:
                found[:, face] -= self.couplings[face] @ found[:, face + 1]
        return found


@dataclass(frozen=True)
class NearRow:
    """The factors of a row near the one to be solved.

    kinds, kind_of : bores that are alike, and which each one is. sign : by parity, (s,) of a face's unknowns seen from
    the bore at its right. taken, given : by parity, from the row's unknowns to (bores, i) and back. ends : what closes
    the row, None where planes of symmetry do.
    """

    kinds: tuple[_Kind, ...] = field(repr=False)
    kind_of: IntArray
    sign: Mapping[Parity, Single] = field(repr=False)
    taken: Mapping[Parity, sp.csr_matrix] = field(repr=False)
    given: Mapping[Parity, sp.csr_matrix] = field(repr=False)
    chains: Mapping[int, _Chain] = field(repr=False)
    ends: NearEnds | None = field(default=None, repr=False)

    def solved(self, r: FloatArray) -> FloatArray:
        """Return the solution (N,) for a load on the row's unknowns."""
        load = {across: chain.own(r) for across, chain in self.chains.items()}
        insides = zip(self.taken, side_by_side(lambda parity: self._inside(parity, r), self.taken), strict=True)
        moved: dict[Parity, Single] = {}
        for parity, (own, back) in insides:
            moved[parity] = own
            load[parity[1]][:, 1:] -= ROOT_HALF * back
            load[parity[1]][:, :-1] -= ROOT_HALF * self.sign[parity][:, None] * back
        in_ends = {} if self.ends is None else self.ends.began(r, load)
        found = side_by_side(lambda across: self.chains[across].solved(load[across]), self.chains)
        faces = dict(zip(self.chains, found, strict=True))
        solution = np.zeros(len(r))
        for across, chain in self.chains.items():
            solution += chain.given @ faces[across].T.ravel()
        for share in side_by_side(lambda parity: self._followed(parity, moved[parity], faces[parity[1]]), self.given):
            solution += share
        return solution if self.ends is None else solution + self.ends.ended(in_ends, faces)

    def _inside(self, parity: Parity, r: FloatArray) -> tuple[Single, Single]:
        """Return the solution (i, bores) of a load inside the bores with faces held, and what it leaves (s, bores)."""
        load = (self.taken[parity] @ r).reshape(len(self.kind_of), -1).T.astype(np.float32)
        own, back = np.empty_like(load), np.empty((len(self.sign[parity]), load.shape[1]), dtype=np.float32)
        for number, kind in enumerate(self.kinds):
            part, which = kind.parts[parity], self.kind_of == number
            back[:, which] = part.coupling.T @ load[:, which]
            own[:, which] = part.inverse @ load[:, which]
        return own, back

    def _followed(self, parity: Parity, own: Single, found: Single) -> FloatArray:
        """Return what a solution inside, moved by what was found on the faces (s, faces), adds to the row's (N,)."""
        on_faces = ROOT_HALF * (found[:, 1:] + self.sign[parity][:, None] * found[:, :-1])
        for number, kind in enumerate(self.kinds):
            which = self.kind_of == number
            own[:, which] -= kind.parts[parity].coupling @ on_faces[:, which]
        return self.given[parity] @ own.T.ravel()


def near_row(
    points: InterfacePoints,
    tile: CondensedTile,
    numbers: RowNumbers,
    tangent: Tangent,
    before: NearRow | None,
    end_points: InterfacePoints | None = None,
) -> NearRow:
    """Return the factors of the row near `tangent`; bores like those of `before` keep theirs.

    points, end_points : of a tile and of an end, None where planes of symmetry end the row.
    """
    at, at_ends = point_numbers(numbers, points, end_points)
    slopes = tangent.weighted_slope[at].reshape(numbers.bores, numbers.copies, -1).mean(axis=1)
    springs = _mean_springs(numbers, tangent)
    known = list(before.kinds) if before is not None else []
    kind_of = []
    for slope, spring in zip(slopes, springs, strict=True):
        found = next((at for at, kind in enumerate(known) if kind.like(slope, spring)), None)
        if found is None:
            found = len(known)
            known.append(_kind(points, tile, numbers, slope, spring))
        kind_of.append(found)
    used, numbered = np.unique(kind_of, return_inverse=True)
    kinds = tuple(known[kind] for kind in used)
    signs = {parity: (parity[0] * _face_sign(tile, numbers, parity[1])).astype(np.float32) for parity in tile.parts}
    if before is not None:
        taken, given, shared = before.taken, before.given, before.chains
    else:
        taken = {parity: _inside_bores(numbers, parity) for parity in tile.parts}
        given, shared = {parity: one.T.tocsr() for parity, one in taken.items()}, {}
    ends = None
    if tile.end is not None and end_points is not None:
        sign = {across: _face_sign(tile, numbers, across) for across in tile.modes}
        known_ends = None if before is None else before.ends
        ends = near_ends(end_points, tile.end, numbers, at_ends, tangent, sign, known_ends)
    chains = {}
    for across in tile.modes:
        parts = [{along: kinds[kind].parts[along, across].left for along in SIDES} for kind in numbered]
        beyond = {} if ends is None else ends.left(across)
        inverses, couplings = _eliminated(tangent, numbers, across, parts, _face_sign(tile, numbers, across), beyond)
        to_faces = shared[across].taken if shared else _on_faces(numbers, across)
        back = shared[across].given if shared else to_faces.T.tocsr()
        free = np.repeat(True, int(numbers.on_face.sum()))
        free = np.array([np.concatenate([free, own >= 0]) for own in numbers.modes[across]]).T
        chains[across] = _Chain(inverses, couplings, free, to_faces, back)
    return NearRow(kinds, numbered, signs, taken, given, chains, ends)


def _face_sign(tile: CondensedTile, numbers: RowNumbers, across: int) -> FloatArray:
    """Return the sign (s,) with which a mirrored neighbour has the unknowns of a face."""
    normal = tile.modes[across].mode_normal
    return np.concatenate([np.ones(int(numbers.on_face.sum())), np.where(normal, -1.0, 1.0)])


def _kind(
    points: InterfacePoints, tile: CondensedTile, numbers: RowNumbers, slope: FloatArray, spring: FloatArray
) -> _Kind:
    extra = interface_tangent(points, slope, spring)
    inner, on_face = np.flatnonzero(~numbers.on_face), np.flatnonzero(numbers.on_face)
    parts = {}
    for parity, part in tile.parts.items():
        tied = np.concatenate([on_face, np.arange(len(extra), len(part.stiffness))])
        parts[parity] = eliminated(part.stiffness, extra, inner, tied)
    return _Kind(slope, spring, parts)


def _mean_springs(numbers: RowNumbers, tangent: Tangent) -> FloatArray:
    """Return the springs (bores, i) of a tile's unknowns, each the share of a copy, the mean over a bore's copies."""
    return (tangent.spring / np.maximum(numbers.times, 1))[numbers.interfaces].mean(axis=(1, 2))


def _inside_bores(numbers: RowNumbers, parity: Parity) -> sp.csr_matrix:
    """Return the matrix from the row's unknowns to those inside the bores (bores, i); its transposed goes back.

    An unknown that k copies share is in k of them: its load is divided among them, and so is what is put together.
    """
    ids = numbers.interfaces[..., ~numbers.on_face]
    bores, count = len(ids), ids.shape[-1]
    at = count * np.arange(bores)[:, None] + np.arange(count)
    shared, whole = np.bincount(ids.ravel(), minlength=numbers.count), np.sqrt(numbers.copies)
    entries = [
        (at, ids[:, first, second], sign_of(parity, first, second) / whole / shared[ids[:, first, second]])
        for first in range(2)
        for second in range(numbers.sides)
    ]
    return selection(entries, (bores * count, numbers.count))


def _on_faces(numbers: RowNumbers, across: int) -> sp.csr_matrix:
    """Return the same for the unknowns of faces (faces, s): interface unknowns on them, then modes."""
    ids, modes = numbers.interfaces[..., numbers.on_face], numbers.modes[across]
    on_face = ids.shape[-1]
    faces, count = len(modes), on_face + modes.shape[1]
    at = count * np.arange(faces)[:, None]
    seen = np.concatenate([ids[:1, 1], ids[:, 0]])  # by the bore at the right of the first face, at the left of others
    shared = np.bincount(seen.ravel(), minlength=numbers.count)
    entries: list[tuple[IntArray, IntArray, FloatArray | float]] = [
        (at + np.arange(on_face), own, sign_of((1, across), 0, second) * np.sqrt(1.0 / numbers.sides) / shared[own])
        for second, own in enumerate(seen.swapaxes(0, 1))
    ]
    entries.append((at + on_face + np.arange(modes.shape[1]), modes, 1.0))
    return selection(entries, (faces * count, numbers.count))


def _eliminated(
    tangent: Tangent,
    numbers: RowNumbers,
    across: int,
    parts: Sequence[Mapping[int, FloatArray]],
    sign: FloatArray,
    beyond: Mapping[int, FloatArray],
) -> tuple[tuple[Single, ...], tuple[Single, ...]]:
    """Return inverses and couplings of the chain of faces, one eliminated after the other.

    parts : of every bore, the stiffness (s, s) that is left on its faces, by parity about x = 0. beyond : by the number
    of a face, that of what closes the row there.
    """
    modes = numbers.modes[across]
    mean = [(one[1] + one[-1]) / 2.0 for one in parts]
    difference = [(one[1] - one[-1]) / 2.0 for one in parts]
    first = len(sign) - modes.shape[1]
    inverses: list[Single] = []
    couplings: list[Single] = []
    for face, own in enumerate(modes):
        block = np.zeros((len(sign), len(sign)))
        if face > 0:
            block += mean[face - 1]
        if face < len(mean):
            block += sign[:, None] * mean[face] * sign
        for number, left in beyond.items():
            if number % len(modes) == face:
                block += left
        at = first + np.flatnonzero(own >= 0)
        block[at, at] += tangent.K.held[own[own >= 0]]  # type: ignore[attr-defined]
        stopped = first + np.flatnonzero(own < 0)
        if inverses:
            to_here = (sign[:, None] * difference[face - 1]).astype(np.float32)
            to_here[first + np.flatnonzero(modes[face - 1] < 0), :] = 0.0
            to_here[:, stopped] = 0.0
            couplings.append(inverses[-1] @ to_here)
            block -= to_here.T @ couplings[-1]
        block[stopped, :] = 0.0
        block[:, stopped] = 0.0
        block[stopped, stopped] = 1.0
        inverses.append(inverse(block))
    return tuple(inverses), tuple(couplings)
