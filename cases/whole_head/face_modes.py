"""The cut face between a tile and its mirrored neighbour, compressed to what the rest of the head feels of it.

Of two neighbours the stiffnesses of their common face add up to K + P K P, P the change of sign of what is normal to
it: tangential and normal displacements do not mix, and a mirrored neighbour is a sign for each mode. Modes are the
leading singular vectors of what interfaces, loads and the next face do to the face, in the metric of that sum; what
lies beyond them is kept far enough to say, of every state, how much energy they leave out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import scipy.linalg
from numpy.typing import NDArray

from headjoint.cases.whole_head.free_tile import Face
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import SolveError

BEYOND = 0.1  # of the tolerance, down to which modes that are left out are known
FIRST_GUESS = 13.0  # times the root of a face's unknowns, modes looked for at first: they hardly grow with a mesh
SIDES_OF_FACE = {1: 1, -1: 1, 0: 2}  # a face of both sides has twice the modes, on twice the unknowns
COUPLING_SAMPLES = 0.1  # of a face's unknowns, random displacements of the next face that are tried
AT_ENDS = 0.2  # weight of how only the last faces move: five times as much of it may be left out
SEED = 1  # random directions find the range of a matrix, and the same ones every time


@dataclass(frozen=True)
class FaceModes:
    """Modes of a face for one parity about y = 0, or for the whole width.

    modes : (f, m) displacement of the face's unknowns, in whose coordinates the face between two tiles is as stiff as
    `stiffness` (N/mm) in every one. beyond : (f, r) modes left out, of unit energy. normal : (m,) and (r,) whether a
    mode is normal to the face. shift, turn : numbers of the modes in which bodies that slide shift freely in this
    parity (along the row or across it), and turn.
    """

    modes: FloatArray = field(repr=False)
    beyond: FloatArray = field(repr=False)
    stiffness: float
    mode_normal: NDArray[np.bool_] = field(repr=False)
    beyond_normal: NDArray[np.bool_] = field(repr=False)
    shift: IntArray
    turn: IntArray


@dataclass(frozen=True)
class EndOnFace:
    """What closes the row beyond a face, in one parity about y = 0.

    stiffness : over its `interfaces`, then the face's unknowns, zero where they are none of its own. loads : (f,) its
    condensed unit loads on the face.
    """

    stiffness: FloatArray = field(repr=False)
    interfaces: int
    loads: Sequence[FloatArray] = field(repr=False)


def face_modes(
    face: Face,
    across: int,
    stiffness: Mapping[int, FloatArray],
    interfaces: int,
    loads: Sequence[FloatArray],
    tolerance: float,
    end: EndOnFace | None = None,
) -> FaceModes:
    """Return the modes of a face for the parity `across` about y = 0.

    stiffness : by parity about x = 0, over interface unknowns, then those of the face. loads : (f,) condensed unit
    loads on the face. tolerance : its square is
    the share of its own stiffness that an interface unknown feels through a mode that is left out; 0 keeps all. end :
    what closes the row beyond the face of its last tile, None where a plane of symmetry does.
    """
    first, tangential = interfaces, len(face.tangential)
    parts = (slice(first, first + tangential), slice(first + tangential, first + len(face.unknowns)))
    factors = [_Factored(stiffness, part) for part in parts]
    local = [slice(part.start - first, part.stop - first) for part in parts]
    random = np.random.default_rng(SEED)
    acting: list[list[FloatArray]] = [[], []]
    if tolerance > 0.0:
        acting = _acting(factors, parts, stiffness, first, random)
        moved = None if end is None else _moved_end(factors, local, stiffness, first, acting, loads, end)
        for number, (own, place) in enumerate(zip(factors, local, strict=True)):
            acting[number] += [_unit(own.lower(load[place])) for load in loads if np.abs(load[place]).any()]
            acting[number] += [] if moved is None else [moved[number]]
    found = []
    for own, place, columns in zip(factors, local, acting, strict=True):
        rigid = [own.metric(body[kind, place]) for kind in range(6) for body in face.bodies]
        rigid += [own.metric(pull[place]) for pull in face.pulls]
        guess = int(FIRST_GUESS * np.sqrt(SIDES_OF_FACE[across] * len(own.free))) + 20
        found.append(_leading(own, [one for one in rigid if _counts(one)], columns, tolerance, random, guess))
    return _joined(face, across, factors, found)


class _Factored:
    """Cholesky factors of one block of the face's stiffness between two tiles; unknowns held in the parity left out."""

    def __init__(self, stiffness: Mapping[int, FloatArray], part: slice) -> None:
        total = stiffness[1][part, part] + stiffness[-1][part, part]
        self.size = len(total)
        self.free = np.flatnonzero(np.diag(total) > 0.0)
        self.mean = float(np.diag(total)[self.free].mean())
        try:
            self.factor = scipy.linalg.cholesky(total[np.ix_(self.free, self.free)], lower=True, overwrite_a=True)
        except np.linalg.LinAlgError:
            raise SolveError("the face between two tiles is not held: a part of the mesh is held by nothing") from None

    def lower(self, load: FloatArray) -> FloatArray:
        """Return L^-1 load, whose square is twice the energy of what the load does alone."""
        return scipy.linalg.solve_triangular(self.factor, load[self.free], lower=True, check_finite=False)

    def raised(self, scaled: FloatArray) -> FloatArray:
        """Return L^-T scaled over all unknowns of the block."""
        whole = np.zeros((self.size, scaled.shape[1]))
        whole[self.free] = scipy.linalg.solve_triangular(self.factor, scaled, lower=True, trans=1, check_finite=False)
        return whole

    def metric(self, displacement: FloatArray) -> FloatArray:
        """Return L' displacement."""
        return self.factor.T @ displacement[self.free]


def _counts(vector: FloatArray) -> bool:
    return bool(np.abs(vector).max(initial=0.0) > 0.0)


def _unit(vector: FloatArray) -> FloatArray:
    return (vector / np.linalg.norm(vector))[:, None]


def _acting(
    factors: Sequence[_Factored],
    parts: Sequence[slice],
    stiffness: Mapping[int, FloatArray],
    first: int,
    random: np.random.Generator,
) -> list[list[FloatArray]]:
    """Return what interface unknowns, scaled by their own stiffness, and the next face do to both blocks of the face.

    The same columns in both blocks are one action.
    """
    acting: list[list[FloatArray]] = [[] for _ in factors]
    for matrix in stiffness.values():
        diagonal = np.diag(matrix)[:first]
        live = np.flatnonzero(diagonal > 0.0)
        for own, part, found in zip(factors, parts, acting, strict=True):
            found.append(own.lower(matrix[part, :first][:, live] / np.sqrt(diagonal[live])))
    for other, columns in zip(factors, parts, strict=True):
        # of the next face only the range counts: random displacements find it
        count = max(20, int(COUPLING_SAMPLES * len(other.free)))
        moved = other.raised(random.normal(size=(len(other.free), count)) / np.sqrt(count))
        for own, part, found in zip(factors, parts, acting, strict=True):
            found.append(own.lower((stiffness[1][part, columns] - stiffness[-1][part, columns]) @ moved / 2.0))
    return acting


def _moved_end(
    factors: Sequence[_Factored],
    local: Sequence[slice],
    stiffness: Mapping[int, FloatArray],
    first: int,
    acting: Sequence[Sequence[FloatArray]],
    loads: Sequence[FloatArray],
    end: EndOnFace,
) -> list[FloatArray]:
    """Return how the face between the last tile and the end moves, in the metric of both blocks, under what acts on it.

    There neither blocks nor modes are apart as between two tiles: an end is no mirrored tile. So modes are wanted of
    what the face does, not of what is done to it.
    """
    tile = (stiffness[1][first:, first:] + stiffness[-1][first:, first:]) / 2.0
    total = tile + end.stiffness[end.interfaces :, end.interfaces :]
    blocks = [
        [other.lower(own.lower(total[place, beside]).T).T for other, beside in zip(factors, local, strict=True)]
        for own, place in zip(factors, local, strict=True)
    ]
    matrix = np.block(blocks)
    diagonal = np.diag(end.stiffness)[: end.interfaces]
    live = np.flatnonzero(diagonal > 0.0)
    whole = [*loads, *end.loads]
    columns = []
    for own, place, known in zip(factors, local, acting, strict=True):
        coupling = end.stiffness[end.interfaces :, : end.interfaces][place][:, live] / np.sqrt(diagonal[live])
        loaded = [own.lower(load[place])[:, None] for load in whole]
        columns.append(np.hstack([*known, own.lower(coupling), *loaded]))
    force = np.vstack(columns)
    if whole:
        force[:, -len(whole) :] /= np.maximum(np.linalg.norm(force[:, -len(whole) :], axis=0), 1e-300)
    try:
        moved = AT_ENDS * scipy.linalg.solve(matrix, force, assume_a="pos", overwrite_b=True)
    except np.linalg.LinAlgError:
        raise SolveError("the end of the row is not held: a part of its mesh is held by nothing") from None
    return [moved[: len(factors[0].free)], moved[len(factors[0].free) :]]


@dataclass(frozen=True)
class _Found:
    """Orthonormal vectors in the metric of a block: rigid ones first, then modes; `beyond` are left out."""

    modes: FloatArray
    beyond: FloatArray
    rigid: int


def _leading(
    own: _Factored,
    rigid: Sequence[FloatArray],
    acting: Sequence[FloatArray],
    tolerance: float,
    random: np.random.Generator,
    count: int,
) -> _Found:
    """Return the modes of a block; count : how many are looked for at first."""
    size = len(own.free)
    fixed = np.linalg.qr(np.column_stack(rigid))[0] if rigid else np.zeros((size, 0))
    if tolerance == 0.0:
        whole, _ = np.linalg.qr(np.hstack([fixed, np.eye(size)]))
        return _Found(whole, np.zeros((size, 0)), fixed.shape[1])
    samples = np.hstack(acting)
    samples = samples - fixed @ (fixed.T @ samples)
    single = samples.astype(np.float32)  # for a basis: what is looked at in it is of double precision
    while True:
        count = min(count, *samples.shape)
        basis = np.linalg.qr(single @ random.normal(size=(samples.shape[1], count)).astype(np.float32))[0]
        moved = (single @ (single.T @ basis)).astype(float)
        basis = np.linalg.qr(moved - fixed @ (fixed.T @ moved))[0]
        inside = basis.T @ samples
        squares, turned = np.linalg.eigh(inside @ inside.T)
        singular = np.sqrt(np.maximum(squares[::-1], 0.0))
        if singular[-1] < BEYOND * tolerance or count == min(samples.shape):
            break
        count = int(1.5 * count)
    vectors = basis @ turned[:, ::-1]
    kept = int((singular > tolerance).sum())
    last = int((singular > BEYOND * tolerance).sum())
    return _Found(np.hstack([fixed, vectors[:, :kept]]), vectors[:, kept:last], fixed.shape[1])


def _joined(face: Face, across: int, factors: Sequence[_Factored], found: Sequence[_Found]) -> FaceModes:
    """Put tangential and normal modes together."""
    stiffness = float(np.mean([own.mean for own in factors]))
    modes = [own.raised(one.modes) * np.sqrt(stiffness) for own, one in zip(factors, found, strict=True)]
    beyond = [own.raised(one.beyond) for own, one in zip(factors, found, strict=True)]
    bodies, first = len(face.bodies), modes[0].shape[1]
    # symmetric about y = 0 a body shifts along the row; else across it, and it turns; over the whole width all three
    along, over = first + np.arange(bodies), np.arange(bodies)
    shift = {1: along, -1: over, 0: np.concatenate([over, along])}[across]
    turn = {1: np.empty(0, dtype=np.int64), -1: along, 0: along + bodies}[across]
    return FaceModes(
        modes=scipy.linalg.block_diag(*modes),
        beyond=scipy.linalg.block_diag(*beyond),
        stiffness=stiffness,
        mode_normal=np.repeat([False, True], [one.shape[1] for one in modes]),
        beyond_normal=np.repeat([False, True], [one.shape[1] for one in beyond]),
        shift=shift,
        turn=turn,
    )
