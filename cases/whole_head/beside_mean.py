"""The mean of a bore's copies that a preconditioner knows, and what bearing faces of single nuts make of it.

Under a nut, metal presses or is open: the tangent of one nut may be nothing like that of its mirror images. With its
own tangent L_A L_A' and that of the mean, L_P L_P', each over the unknowns of its face and its overlap, the mean's
solution P^-1 becomes S P^-1 S', S = L_A^-T L_P', which is exact on the nut by itself. Elsewhere the diagonal does.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
import scipy.linalg
import scipy.sparse as sp

from headjoint.cases.condensed.cell_interfaces import InterfacePoints
from headjoint.cases.condensed.newton_step import PointProducts, Tangent, point_products
from headjoint.cases.whole_head.numbering import RowNumbers, point_numbers
from headjoint.cases.whole_head.row_stiffness import RowStiffness
from headjoint.cases.whole_head.tile import ParityTile
from headjoint.model.base.arrays import FloatArray, IntArray

CHANGED = 0.1  # of the greater slope: a point of a nut that is as far from the mean of its copies makes a block of it
Like = tuple[FloatArray, FloatArray]  # weighted slope (g,) and spring (i,) of each copy of a bore or an end


@dataclass(frozen=True)
class Copies:
    """The copies of a tile in every bore, or of what closes the row in both ends.

    ids : (bores, copies, i) numbers of interface unknowns. at : (bores, copies, g) of interface points.
    squares : (i, g) of closures. stiffness : (i,) elastic, on the diagonal, a mean of all parities.
    """

    ids: IntArray = field(repr=False)
    at: IntArray = field(repr=False)
    squares: sp.csr_matrix = field(repr=False)
    stiffness: FloatArray = field(repr=False)

    @staticmethod
    def of(points: InterfacePoints, parts: Iterable[ParityTile], ids: IntArray, at: IntArray) -> Copies:
        """Return the copies of a piece with such points and parts."""
        count = points.B.shape[1]
        own: FloatArray = np.mean([np.diag(one.stiffness)[:count] for one in parts], axis=0)
        return Copies(ids, at, points.B.multiply(points.B).T.tocsr(), own)


@dataclass(frozen=True)
class MeanTangent:
    """slope : (g,) weighted, of every interface point. spring : (N,). diagonal : (N,) by which closures are scaled."""

    slope: FloatArray = field(repr=False)
    spring: FloatArray = field(repr=False)
    diagonal: FloatArray = field(repr=False)


def mean_tangent(
    pieces: Sequence[tuple[Copies, Sequence[Like]]], tangent: Tangent, squares: sp.csr_matrix
) -> MeanTangent:
    """Return the mean that every bore, and every end, is known by, and what scales it to a tangent's own diagonal.

    squares : (N, g) of the row's closures.
    """
    count = len(tangent.K)
    stiff, near, spring = np.zeros(count), np.zeros(count), np.zeros(count)
    slope = np.zeros(len(tangent.weighted_slope))
    for copies, likes in pieces:
        for ids, at, (own_slope, own_spring) in zip(copies.ids, copies.at, likes, strict=True):
            slope[at] = own_slope
            mean = copies.squares @ own_slope + own_spring
            for one in ids:
                stiff[one] += copies.stiffness
                near[one] += mean
                spring[one] += own_spring
    actual = squares @ tangent.weighted_slope + tangent.spring
    closures = stiff > 0.0
    diagonal = np.sqrt(np.where(closures, stiff + near, 1.0) / np.where(closures, stiff + actual, 1.0))
    return MeanTangent(slope, spring, diagonal)


@dataclass(frozen=True)
class NutBlock:
    """A nut: its unknowns (n,), the points (p,) under it with their closures (p, n), and the elastic stiffness."""

    unknowns: IntArray = field(repr=False)
    points: IntArray = field(repr=False)
    closures: PointProducts = field(repr=False)
    elastic: FloatArray = field(repr=False)

    def factor(self, slope: FloatArray, spring: FloatArray) -> FloatArray:
        """Return the lower Cholesky factor under weighted slopes (g,) and springs (N,) of the row."""
        total = self.elastic + self.closures.summed(slope[self.points]) + np.diag(spring[self.unknowns])
        found: FloatArray = scipy.linalg.cholesky(total, lower=True, check_finite=False)
        return found


@dataclass(frozen=True)
class Scaled:
    """S of a row: a factor (N,) of unknowns, but of nuts, by their unknowns (n,), the block L_A^-T L_P' (n, n)."""

    diagonal: FloatArray = field(repr=False)
    nuts: Sequence[tuple[IntArray, FloatArray]] = field(repr=False)

    def before(self, r: FloatArray) -> FloatArray:
        """Return S' r."""
        found = r * self.diagonal
        for at, block in self.nuts:
            found[at] = r[at] @ block
        return found

    def after(self, z: FloatArray) -> FloatArray:
        """Return S z."""
        found = z * self.diagonal
        for at, block in self.nuts:
            found[at] = block @ z[at]
        return found


def scaled(
    diagonal: FloatArray, nuts: Sequence[NutBlock], tangent: Tangent, slope: FloatArray, spring: FloatArray
) -> Scaled:
    """Return S for a tangent; slope (g,) and spring (N,) are those of the mean. Nuts near enough to it have none."""
    blocks = []
    for nut in nuts:
        own, mean = tangent.weighted_slope[nut.points], slope[nut.points]
        if (np.abs(own - mean) <= CHANGED * np.maximum(own, mean)).all():
            continue
        try:
            of_mean, of_own = nut.factor(slope, spring), nut.factor(tangent.weighted_slope, tangent.spring)
        except np.linalg.LinAlgError:  # a nut that nothing holds by itself
            continue
        block = scipy.linalg.solve_triangular(of_own, of_mean.T, lower=True, trans=1, check_finite=False)
        blocks.append((nut.unknowns, block))
    return Scaled(diagonal, blocks)


def nut_blocks(
    points: InterfacePoints, numbers: RowNumbers, tangent: Tangent, end_points: InterfacePoints | None = None
) -> tuple[NutBlock, ...]:
    """Return the nuts of a row whose bearing faces may open; points, end_points : those of its tile and of its ends."""
    stiffness: RowStiffness = tangent.K  # type: ignore[assignment]
    number, at_ends = point_numbers(numbers, points, end_points)
    under = _under_nuts(points, numbers.interfaces.reshape(len(number), -1), number)
    if end_points is not None:
        assert numbers.ends is not None
        under += _under_nuts(end_points, numbers.ends.reshape(len(at_ends), -1), at_ends)
    blocks = []
    for overlap in sorted({one for one, _ in under}):
        at = np.concatenate([own for one, own in under if one == overlap])
        closures = tangent.B[at]
        unknowns = np.union1d(closures.indices, [overlap])
        pressed = point_products(closures[:, unknowns])
        blocks.append(NutBlock(unknowns, at, pressed, elastic_block(stiffness, unknowns)))
    return tuple(blocks)


def _under_nuts(points: InterfacePoints, ids: IntArray, number: IntArray) -> list[tuple[int, IntArray]]:
    """Return the overlap of every stud in every copy, and the points under its nut there.

    ids, number : (copies, i) and (copies, g) of interface unknowns, overlaps last, and of points.
    """
    studs = int(points.fastener.max()) + 1
    return [
        (int(ids[copy, ids.shape[1] - studs + stud]), number[copy][points.fastener == stud])
        for copy in range(len(ids))
        for stud in range(studs)
    ]


def elastic_block(stiffness: RowStiffness, unknowns: IntArray) -> FloatArray:
    """Return the block (n, n) of a row's stiffness over some unknowns."""
    total = np.diag(stiffness.held[unknowns])
    for block in stiffness.blocks:
        size, taken = len(block.matrix), block.taken[:, unknowns]
        for first in range(0, taken.shape[0], size):
            own = taken[first : first + size]
            rows = np.flatnonzero(np.diff(own.indptr))
            given = own[rows].toarray()
            total += given.T @ block.matrix[np.ix_(rows, rows)] @ given
    return total
