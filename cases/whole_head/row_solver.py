"""The linear solve of a Newton step of a row: conjugate gradients, preconditioned by a row that is alike everywhere.

With the mean interface slope of all mirrored copies the tangent falls into parities like the stiffness itself: the
unknowns inside a bore go out tile by tile, those of the faces between bores are left as a chain of blocks, each
coupled to the next. What differs from copy to copy is for the iteration.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import scipy.linalg
import scipy.sparse as sp
from numpy.typing import NDArray

from headjoint.cases.condensed.cell_interfaces import InterfacePoints
from headjoint.cases.condensed.newton_step import FAR, FINE, ROUGH, Tangent, TangentSolver
from headjoint.cases.whole_head.free_tile import Parity
from headjoint.cases.whole_head.numbering import RowNumbers, sign_of
from headjoint.cases.whole_head.row_stiffness import selection
from headjoint.cases.whole_head.tile import CondensedTile
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import SolveError

Single = NDArray[np.float32]
MANY_ITERATIONS = 25  # after which the slopes have changed so much that the next step gets new factors
MOST_ITERATIONS = 400


class RowSolver(TangentSolver):
    """Solves with tangents of a row; what it remembers changes the time, never the answer."""

    def __init__(self, points: InterfacePoints, tile: CondensedTile, numbers: RowNumbers) -> None:
        super().__init__()
        self._points, self._tile, self._numbers = points, tile, numbers
        self._alike: AlikeRow | None = None

    def forget(self) -> None:
        """Drop the factors."""
        self._alike = None

    def solve(self, tangent: Tangent, residual: FloatArray, size: float) -> FloatArray:
        """Return the solution on the free unknowns for `residual` there; `size` is its relative size.

        Raises SolveError where a part can move freely.
        """
        accuracy = ROUGH if size > FAR else FINE
        for attempt in range(2):
            fresh = self._alike is None
            if self._alike is None:
                self._alike = alike_row(self._points, self._tile, self._numbers, tangent)
                self.factorisations += 1
            step, count = self._iterated(self._alike, tangent, residual, accuracy, fresh)
            if count > MANY_ITERATIONS and not fresh:
                self._alike = None
            if step is not None:
                return step
        raise SolveError("the head is not held, or its Newton step is not solved: a part can move freely")

    def _iterated(
        self, alike: AlikeRow, tangent: Tangent, residual: FloatArray, accuracy: float, fresh: bool
    ) -> tuple[FloatArray | None, int]:
        """Return the solution by conjugate gradients and how many steps it took, None where too many."""
        n = len(tangent.K)
        held = np.setdiff1d(np.arange(n), tangent.free)
        x, r = np.zeros(n), np.zeros(n)
        r[tangent.free] = residual
        direction, before = np.zeros(n), 1.0
        wanted = accuracy * float(np.linalg.norm(r))
        most = MOST_ITERATIONS if fresh else 3 * MANY_ITERATIONS
        for iteration in range(1, most + 1):
            z = alike.solved(r)
            z[held] = 0.0
            now = float(r @ z)
            if not np.isfinite(now) or now <= 0.0:
                return None, most
            direction = z + (now / before if iteration > 1 else 0.0) * direction
            product = product_with(tangent, direction)
            product[held] = 0.0
            curvature = float(direction @ product)
            if curvature <= 0.0:
                return None, most
            x += now / curvature * direction
            r -= now / curvature * product
            before = now
            self.iterations += 1
            if float(np.linalg.norm(r)) < wanted:
                return x[tangent.free], iteration
        return None, most


def product_with(tangent: Tangent, v: FloatArray) -> FloatArray:
    """Return the product of a row's tangent with a vector (N,)."""
    return (
        tangent.K @ v + tangent.transposed @ (tangent.weighted_slope * (tangent.B @ v)) + tangent.spring * v
    )


@dataclass(frozen=True)
class _Inside:
    """The unknowns inside the bores in one parity.

    factor : Cholesky factor (i, i). coupling : (i, s) its inverse times what couples them to the unknowns of a face.
    taken, given : from the row's unknowns to (bores, i) and back, each unknown counted once. sign : (s,) of a face's
    unknowns seen from the bore at its right.
    """

    factor: Single = field(repr=False)
    coupling: Single = field(repr=False)
    taken: sp.csr_matrix = field(repr=False)
    given: sp.csr_matrix = field(repr=False)
    sign: Single = field(repr=False)

    def own(self, r: FloatArray) -> Single:
        """Return the bores' part (i, bores) of a vector of the row."""
        return (self.taken @ r).reshape(-1, len(self.factor)).T.astype(np.float32)

    def solved(self, own: Single) -> Single:
        """Return the solution for each bore."""
        return scipy.linalg.cho_solve((self.factor, True), own, check_finite=False)

    def of_faces(self, right: Single, left: Single) -> Single:
        """Return the part in this parity (s, bores) of what stands on the bores' right and left faces."""
        return np.float32(np.sqrt(0.5)) * (right + self.sign[:, None] * left)


@dataclass(frozen=True)
class _Faces:
    """The chain of faces in one parity about y = 0: Cholesky factors of its blocks, and what couples each to the next.

    free : (s, faces) whether an unknown is not held at a face. taken, given : from the row's unknowns to (faces, s) and
    back.
    """

    factors: tuple[Single, ...] = field(repr=False)
    couplings: tuple[Single, ...] = field(repr=False)
    free: NDArray[np.bool_] = field(repr=False)
    taken: sp.csr_matrix = field(repr=False)
    given: sp.csr_matrix = field(repr=False)

    def own(self, r: FloatArray) -> Single:
        """Return the faces' part (s, faces) of a vector of the row."""
        return (self.taken @ r).reshape(len(self.factors), -1).T.astype(np.float32)

    def solved(self, load: Single) -> Single:
        """Return the solution (s, faces) of the chain."""
        found = np.where(self.free, load, np.float32(0.0))
        for face, coupling in enumerate(self.couplings):
            found[:, face + 1] -= coupling.T @ found[:, face]
        last = len(self.factors) - 1
        for face in range(last, -1, -1):
            found[:, face] = scipy.linalg.cho_solve((self.factors[face], True), found[:, face], check_finite=False)
            if face < last:
                found[:, face] -= self.couplings[face] @ found[:, face + 1]
        return found


@dataclass(frozen=True)
class AlikeRow:
    """The factors of a row whose interfaces are alike in all copies."""

    inside: Mapping[Parity, _Inside] = field(repr=False)
    faces: Mapping[int, _Faces] = field(repr=False)

    def solved(self, r: FloatArray) -> FloatArray:
        """Return the solution (N,) for a load on the row's unknowns."""
        load = {across: chain.own(r) for across, chain in self.faces.items()}
        moved = {}
        for parity, tile in self.inside.items():
            own = tile.own(r)
            moved[parity] = tile.solved(own)
            back = np.float32(np.sqrt(0.5)) * (tile.coupling.T @ own)
            load[parity[1]][:, 1:] -= back
            load[parity[1]][:, :-1] -= tile.sign[:, None] * back
        solution = np.zeros(len(r))
        for across, chain in self.faces.items():
            found = chain.solved(load[across])
            solution += chain.given @ found.T.ravel()
            for parity, tile in self.inside.items():
                if parity[1] == across:
                    moved[parity] -= tile.coupling @ tile.of_faces(found[:, 1:], found[:, :-1])
        for parity, tile in self.inside.items():
            solution += tile.given @ moved[parity].T.ravel()
        return solution


def alike_row(points: InterfacePoints, tile: CondensedTile, numbers: RowNumbers, tangent: Tangent) -> AlikeRow:
    """Return the factors of the row whose interface slopes and springs are the means of those of `tangent`."""
    interface = points.B.T @ points.B.multiply(_mean_slope(points, numbers, tangent)[:, None])
    extra = interface.toarray() + np.diag(_mean_spring(numbers, tangent))
    apart = _Apart(numbers)
    inside, faces = {}, {}
    for across, modes in tile.modes.items():
        on_face = np.flatnonzero(numbers.on_face)
        tied = np.concatenate([on_face, np.arange(len(extra), len(extra) + len(modes.mode_normal))])
        sign = np.concatenate([np.ones(len(on_face)), np.where(modes.mode_normal, -1.0, 1.0)])
        chain = {}
        for along in (1, -1):
            matrix = _with(tile.parts[along, across].stiffness, extra)
            inner = np.flatnonzero(~numbers.on_face)
            factor = _factor(matrix[np.ix_(inner, inner)])
            between = matrix[np.ix_(inner, tied)]
            coupling = scipy.linalg.cho_solve((factor, True), between.astype(np.float32), check_finite=False)
            chain[along] = matrix[np.ix_(tied, tied)] - between.T @ coupling
            taken = apart.inside((along, across), inner)
            inside[along, across] = _Inside(
                factor, coupling, taken, taken.T.tocsr(), (along * sign).astype(np.float32)
            )
        taken = apart.faces(across, on_face)
        own = numbers.modes[across]
        free = np.hstack([np.ones((len(own), len(on_face)), dtype=bool), own >= 0]).T
        faces[across] = _Faces(*_chain(tangent, numbers, across, chain, sign), free, taken, taken.T.tocsr())
    return AlikeRow(inside, faces)


def _mean_slope(points: InterfacePoints, numbers: RowNumbers, tangent: Tangent) -> FloatArray:
    """Return the weighted slope of a tile's points, the mean over all copies; those on gasket faces come first."""
    on_faces = len(points.gasket_face_of)
    copies = len(tangent.weighted_slope) // len(points.weight)
    first = tangent.weighted_slope[: copies * on_faces].reshape(copies, -1)
    rest = tangent.weighted_slope[copies * on_faces :].reshape(copies, -1)
    return np.concatenate([first.mean(axis=0), rest.mean(axis=0)])


def _mean_spring(numbers: RowNumbers, tangent: Tangent) -> FloatArray:
    """Return the springs of a tile's unknowns, each the share of a copy, the mean over all copies."""
    times = np.bincount(numbers.interfaces.ravel(), minlength=numbers.count)
    return (tangent.spring / np.maximum(times, 1))[numbers.interfaces].mean(axis=(0, 1, 2))


def _with(stiffness: FloatArray, extra: FloatArray) -> FloatArray:
    """Return a tile's stiffness with that of its interfaces; unknowns held in the parity stand alone."""
    matrix, count = stiffness.copy(), len(extra)
    live = np.flatnonzero(np.diag(stiffness)[:count] > 0.0)
    held = np.flatnonzero(np.diag(stiffness)[:count] <= 0.0)
    matrix[np.ix_(live, live)] += extra[np.ix_(live, live)]
    matrix[held, held] = 1.0
    return matrix


def _factor(matrix: FloatArray) -> Single:
    factor, info = scipy.linalg.lapack.spotrf(matrix.astype(np.float32), lower=1)
    if info != 0:
        raise SolveError("the head is not held: a part can move freely under these loads")
    return factor


@dataclass(frozen=True)
class _Apart:
    """Takes a load on the row's unknowns apart into those inside bores and those of faces, and puts answers together.

    An unknown that k copies share is in k of them: its load is divided among them, and so is what is put together.
    """

    numbers: RowNumbers

    def inside(self, parity: Parity, inner: IntArray) -> sp.csr_matrix:
        """Return the matrix from the row's unknowns to (bores, inner) in a parity; its transposed goes back."""
        ids = self.numbers.interfaces[..., inner]
        bores, count = len(ids), len(inner)
        at = count * np.arange(bores)[:, None] + np.arange(count)
        shared = np.bincount(ids.ravel(), minlength=self.numbers.count)
        entries = [
            (at, ids[:, first, second], sign_of(parity, first, second) / 2.0 / shared[ids[:, first, second]])
            for first in range(2)
            for second in range(2)
        ]
        return selection(entries, (bores * count, self.numbers.count))

    def faces(self, across: int, on_face: IntArray) -> sp.csr_matrix:
        """Return the same for (faces, unknowns of a face): interface unknowns on it, then its modes."""
        ids, modes = self.numbers.interfaces[..., on_face], self.numbers.modes[across]
        faces, count = len(modes), len(on_face) + modes.shape[1]
        at = count * np.arange(faces)[:, None]
        seen = np.concatenate([ids[:1, 1], ids[:, 0]])  # in the bore at the right of the first face, at the left of all
        shared = np.bincount(seen.ravel(), minlength=self.numbers.count)
        entries: list[tuple[IntArray, IntArray, FloatArray | float]] = [
            (
                at + np.arange(len(on_face)),
                seen[:, second],
                sign_of((1, across), 0, second) * np.sqrt(0.5) / shared[seen[:, second]],
            )
            for second in range(2)
        ]
        entries.append((at + len(on_face) + np.arange(modes.shape[1]), modes, 1.0))
        return selection(entries, (faces * count, self.numbers.count))


def _chain(
    tangent: Tangent, numbers: RowNumbers, across: int, parts: Mapping[int, FloatArray], sign: FloatArray
) -> tuple[tuple[Single, ...], tuple[Single, ...]]:
    """Return factors and couplings of the chain of faces.

    parts : stiffness of a bore (s, s) on its faces by parity about x = 0.
    """
    mean, difference = (parts[1] + parts[-1]) / 2.0, (parts[1] - parts[-1]) / 2.0
    mirrored = sign[:, None] * mean * sign
    modes = numbers.modes[across]
    first = len(mean) - modes.shape[1]
    factors: list[Single] = []
    couplings: list[Single] = []
    for face, own in enumerate(modes):
        block = np.zeros_like(mean)
        if face > 0:
            block += mean
        if face < len(modes) - 1:
            block += mirrored
        block[first + np.arange(len(own)), first + np.arange(len(own))] += np.where(
            own >= 0, tangent.K.held[own], 0.0  # type: ignore[attr-defined]
        )
        stopped = first + np.flatnonzero(own < 0)
        block[stopped, :] = 0.0
        block[:, stopped] = 0.0
        block[stopped, stopped] = 1.0
        if factors:
            to_here = sign[:, None] * difference
            to_here[first + np.flatnonzero(modes[face - 1] < 0), :] = 0.0
            to_here[:, stopped] = 0.0
            couplings.append(scipy.linalg.cho_solve((factors[-1], True), to_here.astype(np.float32), check_finite=False))
            block -= to_here.T @ couplings[-1]
        factors.append(_factor(block))
    return tuple(factors), tuple(couplings)
