"""The tangent of a row as its preconditioner knows it: of every bore, and every end, the mean of its copies."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
import scipy.sparse as sp

from headjoint.cases.condensed.cell_interfaces import InterfacePoints
from headjoint.cases.condensed.newton_step import Tangent
from headjoint.cases.whole_head.tile import ParityTile
from headjoint.model.base.arrays import FloatArray, IntArray

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
