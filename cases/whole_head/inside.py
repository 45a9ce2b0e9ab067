"""What is inside a piece of a row, eliminated: in single precision, for a preconditioner only."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import scipy.linalg
from numpy.typing import NDArray

from headjoint.cases.condensed.cell_interfaces import InterfacePoints
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import SolveError

Single = NDArray[np.float32]


@dataclass(frozen=True)
class Inside:
    """What is inside a piece in one parity.

    inverse : (i, i) of its stiffness, for products with it are several times as quick as solves with factors of few
    columns. coupling : (i, s) the inverse times what couples it to the unknowns of a face. left : (s, s) stiffness that
    is left on the face.
    """

    inverse: Single = field(repr=False)
    coupling: Single = field(repr=False)
    left: FloatArray = field(repr=False)


def interface_tangent(points: InterfacePoints, slope: FloatArray, spring: FloatArray) -> FloatArray:
    """Return what weighted slopes (g,) and springs (i,) add to the stiffness over interface unknowns, (i, i)."""
    pressed: FloatArray = (points.B.T @ points.B.multiply(slope[:, None])).toarray()
    return pressed + np.diag(spring)


def eliminated(stiffness: FloatArray, extra: FloatArray, inner: IntArray, tied: IntArray) -> Inside:
    """Return a piece whose unknowns `inner` are eliminated and `tied` are left; `extra` on its interface unknowns.

    Raises SolveError where a part can move freely.
    """
    matrix, count = stiffness.copy(), len(extra)
    live = np.diag(stiffness)[:count] > 0.0
    matrix[:count, :count] += extra * np.outer(live, live)
    held = np.flatnonzero(~live)
    matrix[held, held] = 1.0  # unknowns that the parity holds stand alone
    within = inverse(matrix[np.ix_(inner, inner)])
    between = matrix[np.ix_(inner, tied)].astype(np.float32)
    coupling = within @ between
    return Inside(within, coupling, matrix[np.ix_(tied, tied)] - between.T @ coupling)


def factored(matrix: FloatArray) -> Single:
    """Return the lower Cholesky factor; SolveError where a part can move freely."""
    factor, info = scipy.linalg.lapack.spotrf(matrix.astype(np.float32), lower=1)
    if info != 0:
        raise SolveError("the head is not held: a part can move freely under these loads")
    return factor


def inverse(matrix: FloatArray) -> Single:
    """Return the inverse; SolveError where a part can move freely."""
    lower = scipy.linalg.lapack.spotri(factored(matrix), lower=1)[0]
    return np.tril(lower) + np.tril(lower, -1).T
