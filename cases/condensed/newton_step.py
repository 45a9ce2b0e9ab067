"""The linear solve of one Newton step: directly for small joints, by preconditioned iteration for large ones.

Elastic stiffness outweighs the gasket's at short waves, so a tangent with other interface slopes differs from an
earlier one in few directions: conjugate gradients preconditioned with the factors of an earlier tangent need some ten
products with K, far cheaper than factorising again.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.linalg
import scipy.sparse as sp
from numpy.typing import NDArray

from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import SolveError

SMALLEST_FOR_ITERATION = 700  # unknowns; below this a Cholesky factorisation takes a few milliseconds
UNKNOWNS_PER_ITERATION = 100  # a factorisation costs as much as one iteration for every so many unknowns
FEWEST_ITERATIONS = 10
FIRST_LOOK = 4  # iterations before the pace so far decides whether to go on
FAR, ROUGH, FINE = 1e-3, 1e-2, 1e-5  # residual that counts as far from equilibrium; accuracies of far and near steps


def solve_symmetric(matrix: FloatArray, right_hand_side: FloatArray) -> FloatArray:
    """Return the solution with a symmetric positive definite matrix; SolveError where a part can move freely."""
    _, solution, info = scipy.linalg.lapack.dposv(matrix.T, right_hand_side, lower=1)
    if info != 0:
        raise SolveError("the joint is not held: a part can move freely under these loads")
    return solution


@dataclass(frozen=True)
class Tangent:
    """K + B' diag(w slope) B + diag(spring), by its terms; `transposed` is B', `free` the unknowns to solve for."""

    K: FloatArray
    B: sp.csr_matrix
    transposed: sp.csr_matrix
    weighted_slope: FloatArray
    spring: FloatArray
    free: IntArray

    def times(self, v: FloatArray) -> FloatArray:
        """Return the product with a vector (n,)."""
        elastic = scipy.linalg.blas.dsymv(1.0, self.K.T, v)  # K is symmetric: half the traffic of a plain product
        return elastic + self.transposed @ (self.weighted_slope * (self.B @ v)) + self.spring * v

    def matrix(self, products: PointProducts | None = None) -> FloatArray:
        """Return the sum (n, n); with the products of its B, where they are kept, sooner."""
        if products is None:
            total = self.K + (self.transposed @ self.B.multiply(self.weighted_slope[:, None])).toarray()
        else:
            total = self.K + products.summed(self.weighted_slope)
        total[np.diag_indices(len(total))] += self.spring
        return total


@dataclass(frozen=True)
class PointProducts:
    """Products of every two entries of B in the row of one point: B' diag(w) B without a sparse product.

    place : in the flat (n, n) result. point : whose weight counts.
    """

    B: sp.csr_matrix
    place: IntArray
    point: IntArray
    product: FloatArray

    def summed(self, weights: FloatArray) -> FloatArray:
        """Return B' diag(w) B (n, n)."""
        n = self.B.shape[1]
        found = np.bincount(self.place, weights=self.product * weights[self.point], minlength=n * n)
        return found.astype(float, copy=False).reshape(n, n)


def point_products(B: sp.csr_matrix) -> PointProducts:
    """Return the products of every two entries in a row of B (g, n)."""
    in_row = np.diff(B.indptr)
    row = np.repeat(np.arange(len(in_row)), in_row)
    one = np.repeat(np.arange(B.nnz), in_row[row])  # each entry beside all of its row in turn
    begins = np.repeat(np.cumsum(in_row[row]) - in_row[row], in_row[row])
    other = B.indptr[row[one]] + np.arange(len(one)) - begins
    place = B.indices[one].astype(np.int64) * B.shape[1] + B.indices[other]
    return PointProducts(B, place, row[one], B.data[one] * B.data[other])


class TangentSolver:
    """Solves with tangents of one joint, remembering the factors of an earlier one.

    The memory is a preconditioner only: it changes the time a solve takes, never its answer.
    """

    def __init__(self) -> None:
        self._factors: NDArray[np.float32] | None = None
        self._products: PointProducts | None = None
        self._turned: tuple[sp.csr_matrix, sp.csr_matrix] | None = None
        self.factorisations = 0
        self.iterations = 0

    def forget(self) -> None:
        """Drop the factors, so that what follows does not depend, to the last bit, on what went before."""
        self._factors = None

    def transposed(self, B: sp.csr_matrix) -> sp.csr_matrix:
        """Return B', made once for every B."""
        if self._turned is None or self._turned[0] is not B:
            self._turned = B, B.T.tocsr()
        return self._turned[1]

    def solve(self, tangent: Tangent, residual: FloatArray, size: float) -> FloatArray:
        """Return the solution on the free unknowns for `residual` there; `size` is its relative size.

        Raises SolveError where a part can move freely.
        """
        n, free = len(tangent.K), tangent.free
        iterated = n >= SMALLEST_FOR_ITERATION
        accuracy = ROUGH if size > FAR else FINE
        if iterated and self._factors is not None:
            step = self._iterate(tangent, residual, accuracy)
            if step is not None:
                return step
        if not iterated and (self._products is None or self._products.B is not tangent.B):
            self._products = point_products(tangent.B)
        matrix = tangent.matrix(None if iterated else self._products)
        self.factorisations += 1
        if iterated:
            # single precision is plenty for a preconditioner, and halves time and traffic
            factors, info = scipy.linalg.lapack.spotrf(_held_apart(matrix, free).astype(np.float32), lower=1)
            self._factors = factors if info == 0 else None
            step = self._iterate(tangent, residual, accuracy) if info == 0 else None
            if step is not None:
                return step
        return solve_symmetric(matrix[np.ix_(free, free)] if len(free) < n else matrix, residual)

    def _iterate(self, tangent: Tangent, residual: FloatArray, accuracy: float) -> FloatArray | None:
        """Return the solution by conjugate gradients, None where it would take too many steps."""
        assert self._factors is not None
        n = len(tangent.K)
        held = np.ones(n, dtype=bool)
        held[tangent.free] = False
        r = np.zeros(n)
        r[tangent.free] = residual
        x, direction, before = np.zeros(n), np.zeros(n), 1.0
        first = float(np.linalg.norm(r))
        wanted = accuracy * first
        largest = max(FEWEST_ITERATIONS, n // UNKNOWNS_PER_ITERATION)
        for iteration in range(1, largest + 1):
            half = scipy.linalg.blas.strsv(self._factors, r.astype(np.float32), lower=1)
            z = scipy.linalg.blas.strsv(self._factors, half, lower=1, trans=1).astype(np.float64)
            z[held] = 0.0
            now = float(r @ z)
            if not np.isfinite(now) or now <= 0.0:
                return None
            direction = z + (now / before if iteration > 1 else 0.0) * direction
            product = tangent.times(direction)
            product[held] = 0.0
            curvature = float(direction @ product)
            if curvature <= 0.0:
                return None
            length = now / curvature
            x += length * direction
            r -= length * product
            before = now
            self.iterations += 1
            norm = float(np.linalg.norm(r))
            if norm < wanted:
                return x[tangent.free]
            gained = np.log(first / norm) if norm < first else 0.0
            if iteration >= FIRST_LOOK and iteration * np.log(1.0 / accuracy) > gained * largest:
                return None
        return None


def _held_apart(matrix: FloatArray, free: IntArray) -> FloatArray:
    """Return the matrix with the unknowns that are not free uncoupled from the rest."""
    held = np.setdiff1d(np.arange(len(matrix)), free)
    if not held.size:
        return matrix
    apart = matrix.copy()
    apart[held, :] = 0.0
    apart[:, held] = 0.0
    apart[held, held] = 1.0
    return apart
