"""Bending of a row's studs, and the slip of their nuts, as rows on the row's unknowns: means over mirrored copies.

A copy's figures are the sum of its parities'; a stud is the mean of the copies that share it. What a shear under a nut
does besides is found with interfaces held, as in a cell: in the tiles' parities, then along the chain of faces. The
head as a whole is held by nothing but its nuts there: their shears are in balance, whatever it shifts and turns.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
import scipy.linalg
import scipy.sparse as sp

from headjoint.cases.condensed.stud_copies import AT_THREAD, CHANGE, OF_STUD, SLIP
from headjoint.cases.condensed.stud_rows import BendingRows, against_shears, thinner
from headjoint.cases.condensed.watched import Rows
from headjoint.cases.elements.threads import dense_on_all_threads
from headjoint.cases.whole_head.free_tile import Parity
from headjoint.cases.whole_head.numbering import SIGNS, RowNumbers, gathered, gathered_at_ends, sign_of
from headjoint.cases.whole_head.row_stiffness import RowStiffness, selection
from headjoint.cases.whole_head.tile import SIDES, CondensedTile, StudPart
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import SolveError
from headjoint.model.cell import Cell

X, Y = (np.array([AT_THREAD.start, CHANGE.start, SLIP.start]) + way for way in range(2))
BENDS = np.arange(AT_THREAD.start, CHANGE.stop)  # rows of a stud; its slips come after them
SLIPS = np.arange(SLIP.start, SLIP.stop)


@dataclass(frozen=True)
class WatchedRow:
    """Bending of a row's studs.

    rows : as of a cell. figures : (OF_STUD f, N) of all studs on the row's unknowns. weights : of each block of the
    row's stiffness, (OF_STUD f, copies r) that takes the figures of all studs from those of its copies of tiles, or
    ends. parts : what is watched in each of those blocks.
    """

    rows: BendingRows = field(repr=False)
    figures: FloatArray = field(repr=False)
    weights: tuple[sp.csr_matrix, ...] = field(repr=False)
    parts: tuple[StudPart, ...] = field(repr=False)

    def sliding(self, stud: int) -> FloatArray:
        """Return a stud's bending (4, OF_STUD f) by the figures, its nut free to slide."""
        return np.eye(len(BENDS), len(self.figures), OF_STUD * stud)

    def sticking(self, stud: int) -> FloatArray:
        """Return the same with all nuts sticking: less what the shears against their slips bend."""
        found = self.sliding(stud)
        if len(self.rows.of):
            stiffness = against_shears(self.rows.flexibility, self.rows.loose)
            found[:, _slips_of(len(self.rows.arm))] -= self.rows.by_shear[stud] @ stiffness
        return found

    def beyond(self, figure: FloatArray) -> list[FloatArray]:
        """Return by block what acts on modes left out (copies, r), as loads, of a sum (OF_STUD f,) of figures."""
        shares = [
            (weight.T @ figure).reshape(-1, len(part.rows))
            for weight, part in zip(self.weights, self.parts, strict=True)
        ]
        return [share @ part.beyond for share, part in zip(shares, self.parts, strict=True)]


@dataclass(frozen=True)
class StudFigures:
    """The figures of all studs, `OF_STUD` each.

    rows : on the row's unknowns and loads. crossed : a figure under a load that is another one, interfaces held.
    halved : (f,) 1 of studs that a plane of symmetry at the row's ends cuts, else 0. turns : whether no such plane
    keeps the head from turning. weights, parts : as in `WatchedRow`.
    """

    rows: Rows = field(repr=False)
    crossed: FloatArray = field(repr=False)
    halved: FloatArray
    turns: bool
    weights: tuple[sp.csr_matrix, ...] = field(repr=False)
    parts: tuple[StudPart, ...] = field(repr=False)


def stud_figures(
    condensed: CondensedTile,
    numbers: RowNumbers,
    stiffness: RowStiffness,
    names: Sequence[str],
    of_copy: IntArray,
    of_ends: IntArray,
) -> StudFigures:
    """Return the figures of all studs as means over their copies.

    names : of the row's unit loads. of_copy, of_ends : numbers of studs, as in `Fasteners`.
    """
    copies = np.bincount(np.concatenate([of_copy.ravel(), of_ends.ravel()]))
    halved = _on_end_planes(condensed, numbers, of_copy, len(copies))
    weights = [_of_tiles(parity, numbers, of_copy, halved, copies) for parity in condensed.parts]
    parts = [one.studs for one in condensed.parts.values()]
    if condensed.end is not None:
        at_ends = of_ends.reshape(2, numbers.sides, of_ends.shape[1])
        weights += [_of_ends(across, numbers, at_ends, copies) for across in condensed.end.parts]
        parts += [one.studs for one in condensed.end.parts.values()]
    size = OF_STUD * len(copies)
    figures, crossed = np.zeros((size, numbers.count)), np.zeros((size, size))
    for weight, part, block in zip(weights, parts, stiffness.blocks, strict=True):
        of_copies = weight.toarray().reshape(-1, len(part.rows)) @ part.rows
        figures += (block.given @ of_copies.reshape(size, block.taken.shape[0]).T).T
        crossed += _crossed(weight, part.crossed)
    for across in condensed.modes:
        crossed += _by_faces(figures, condensed, numbers, across, stiffness.held)
    loads = {name: np.zeros(size) for name in names}
    for weight, part, gather in _loaded(condensed, weights, parts):
        for name in names:
            given = gather(part.loads, {name: 1.0}, numbers.bores, len(part.rows), numbers.sides)
            loads[name] += weight @ given.ravel()
    turns = condensed.end is not None
    return StudFigures(Rows(figures, loads), crossed, halved, turns, tuple(weights), tuple(parts))


def watched_row(
    cell: Cell, studs: StudFigures, arm: FloatArray, slides: bool, places: FloatArray, share: FloatArray
) -> WatchedRow:
    """Return the rows of all studs of a row.

    cell : with all its bores. arm, slides : as in `StudCopies`. places, share : of the fasteners.
    """
    numbers = OF_STUD * np.arange(len(share))
    bends, slips = numbers[:, None] + BENDS, _slips_of(len(share)) if slides else np.empty(0, dtype=np.int64)
    of = np.repeat(np.arange(len(share)), len(SLIPS)) if slides else slips
    longer = np.zeros(len(share))
    for one in cell.row.studs:
        longer[one.number] = one.longer
    softer = np.array([thinner(cell, float(more)) for more in longer]) / share
    flexibility = studs.crossed[np.ix_(slips, slips)] + np.diag(softer[of])
    by_shear = studs.crossed[np.ix_(bends.ravel(), slips)].reshape(len(share), len(BENDS), len(slips))
    if slides:
        head = np.diag(studs.crossed)[slips[::2]]
        _make_round(flexibility, by_shear, np.flatnonzero(studs.halved), head, places[1])
    rows = BendingRows(
        bending=tuple(studs.rows.part(own) for own in bends),
        # of a longer stud what a shear bends goes by its length; what a tilted nut bends is less than this then says
        arm=arm[0] * (1.0 + longer / cell.joint.fastener.clamped_length),
        slip=studs.rows.part(slips),
        of=of,
        flexibility=flexibility,
        by_shear=tuple(by_shear),
        loose=loose_ways(places, turns=studs.turns) if slides else np.zeros((0, 0)),
        longer=longer,
    )
    return WatchedRow(rows, studs.rows.on_unknowns, studs.weights, studs.parts)


def _slips_of(studs: int) -> IntArray:
    """Return the numbers of the slips among all figures."""
    return (OF_STUD * np.arange(studs)[:, None] + SLIPS).ravel()


def _loaded(
    condensed: CondensedTile, weights: Sequence[sp.csr_matrix], parts: Sequence[StudPart]
) -> Iterator[tuple[sp.csr_matrix, StudPart, Callable[..., FloatArray]]]:
    """Yield what has loads, the tiles' symmetric part and that of the ends, and what gathers their loads."""
    at = list(condensed.parts).index(condensed.symmetric)
    yield weights[at], parts[at], gathered
    if condensed.end is not None:
        yield weights[len(condensed.parts)], parts[len(condensed.parts)], gathered_at_ends


def _on_end_planes(condensed: CondensedTile, numbers: RowNumbers, of_copy: IntArray, studs: int) -> FloatArray:
    """Return 1 of every stud (f,) that a plane of symmetry at the row's ends cuts, else 0."""
    halved = np.zeros(studs)
    if condensed.end is None:
        cut = numbers.on_face[len(numbers.on_face) - of_copy.shape[-1] :]
        halved[of_copy[-1, 0][:, cut]] = halved[of_copy[0, 1][:, cut]] = 1.0
    return halved


def _of_tiles(
    parity: Parity, numbers: RowNumbers, of_copy: IntArray, halved: FloatArray, copies: IntArray
) -> sp.csr_matrix:
    """Return the weights with which a parity of all tiles counts in the figures of the studs."""
    bores, sides, own = len(of_copy), of_copy.shape[2], of_copy.shape[3]
    rows = OF_STUD * own + 1
    start, first_of = rows * np.arange(bores)[:, None], OF_STUD * np.arange(own)
    entries = []
    for first in range(2):
        for second in range(sides):
            stud = of_copy[:, first, second]
            half = sign_of(parity, first, second) / np.sqrt(numbers.copies) / copies[stud]
            along, across = SIGNS[first] * half, SIGNS[second] * half
            # a plane at the row's end leaves no bending along the row there; its nut slips as head and all else part
            entries += [(OF_STUD * stud + row, start + first_of + row, along * (1.0 - halved[stud])) for row in X]
            entries += [(OF_STUD * stud + row, start + first_of + row, across) for row in Y]
            entries.append((OF_STUD * stud + X[-1], start + rows - 1, along * halved[stud]))
    return selection(entries, (OF_STUD * len(copies), bores * rows))


def _of_ends(across: int, numbers: RowNumbers, at_ends: IntArray, copies: IntArray) -> sp.csr_matrix:
    """Return the weights of a parity of both ends; the left one is mirrored."""
    own = at_ends.shape[-1]
    rows, first_of = OF_STUD * own + 1, OF_STUD * np.arange(own)
    entries = []
    for end in range(2):
        for side in range(numbers.sides):
            stud = at_ends[end, side]
            half = sign_of((1, across), 0, side) * np.sqrt(1.0 / numbers.sides) / copies[stud]
            entries += [(OF_STUD * stud + row, rows * end + first_of + row, SIGNS[end] * half) for row in X]
            entries += [(OF_STUD * stud + row, rows * end + first_of + row, SIGNS[side] * half) for row in Y]
    return selection(entries, (OF_STUD * len(copies), 2 * rows))


def _crossed(weight: sp.csr_matrix, own: FloatArray) -> FloatArray:
    """Return what studs do to each other inside the pieces, with interfaces and faces held."""
    rows, size = len(own), weight.shape[0]
    by_copy: FloatArray = weight.toarray().reshape(-1, rows) @ own
    return by_copy.reshape(size, -1) @ weight.T.toarray()


def _by_faces(
    figures: FloatArray, condensed: CondensedTile, numbers: RowNumbers, across: int, springs: FloatArray
) -> FloatArray:
    """Return what studs do to each other by the modes of the faces, with interfaces held: a chain from face to face."""
    modes, of_row = condensed.modes[across], numbers.modes[across]
    sign, count = np.where(modes.mode_normal, -1.0, 1.0), of_row.shape[1]
    even, odd = (condensed.parts[along, across].stiffness[-count:, -count:] for along in SIDES)
    mean, apart = (even + odd) / 2.0, sign[:, None] * (even - odd) / 2.0
    end = None if condensed.end is None else condensed.end.parts[across].stiffness[-count:, -count:]
    found, carried, taken = np.zeros((len(figures), len(figures))), None, None
    for face, own in enumerate(of_row):
        block, free = np.zeros((count, count)), own >= 0
        block += mean if face > 0 else 0.0
        block += np.outer(sign, sign) * mean if face < len(of_row) - 1 else 0.0
        if end is not None and face in (0, len(of_row) - 1):
            block += end if face else np.outer(sign, sign) * end
        load = np.where(free[:, None], figures[:, own].T, 0.0)
        block[~free, :] = block[:, ~free] = 0.0
        block[np.diag_indices(count)] += np.where(free, springs[own], 1.0)
        if carried is not None and taken is not None:
            block -= carried.T @ carried
            load -= carried.T @ taken
        try:
            with dense_on_all_threads():
                factor = scipy.linalg.cholesky(block, lower=True, overwrite_a=True)
                taken = scipy.linalg.solve_triangular(factor, load, lower=True)
                next_free = of_row[face + 1] >= 0 if face < len(of_row) - 1 else free
                carried = scipy.linalg.solve_triangular(factor, apart * np.outer(free, next_free), lower=True)
        except np.linalg.LinAlgError:
            raise SolveError("the head is not held: a part can move freely where its interfaces are held") from None
        found += taken.T @ taken
    return found


def _make_round(
    flexibility: FloatArray, by_shear: FloatArray, halved: IntArray, head: FloatArray, y: FloatArray
) -> None:
    """Let studs that planes at the row's ends cut give way and bend along the row as they do across it.

    Across it as if all of them were pulled outwards: then the head is held by nothing else. head : (f,) mm/N, how far
    the plane parts. y : (f,) mm, places across the row.
    """
    across, outwards = 2 * halved + 1, np.sign(y[halved])
    for stud, sign in zip(halved, outwards, strict=True):
        pulled = sign * outwards if sign else (halved == stud).astype(float)
        flexibility[2 * stud, 2 * stud] = head[stud] + flexibility[2 * stud + 1, across] @ pulled
        by_shear[stud, [0, 2], 2 * stud] = by_shear[stud][[1, 3]][:, across] @ pulled


def loose_ways(places: FloatArray, *, turns: bool) -> FloatArray:
    """Return how nuts slip as the head shifts along the row and across it and, with nothing at its ends, turns."""
    x, y = places - places.mean(axis=1, keepdims=True)
    along = np.stack([-np.ones_like(x), 0.0 * x], axis=1)
    across = np.stack([0.0 * x, -np.ones_like(x)], axis=1)
    ways = [along, across] + ([np.stack([y, -x], axis=1) / np.hypot(x, y).max()] if turns else [])
    return np.stack([one.ravel() for one in ways], axis=1)
