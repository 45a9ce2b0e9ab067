"""The linear solve of one Newton step: directly for small joints, by preconditioned iteration for large ones.

Elastic stiffness outweighs the gasket's at short waves, so a tangent with other interface slopes differs from an
earlier one in few directions: conjugate gradients preconditioned with the inverse of an earlier tangent need some ten
products with K, far cheaper than factorising again.
"""

from __future__ import annotations

import numpy as np
import scipy.linalg
import scipy.sparse as sp
from numpy.typing import NDArray

from headjoint.model.errors import SolveError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

SMALLEST_FOR_ITERATION = 700  # unknowns; below this a Cholesky factorisation takes a few milliseconds
LARGEST_ITERATIONS = 40  # of one Newton step, before a new factorisation pays
FAR, ROUGH, FINE = 1e-3, 1e-2, 1e-5  # residual that counts as far from equilibrium; accuracies of far and near steps


def solve_symmetric(matrix: FloatArray, right_hand_side: FloatArray) -> FloatArray:
    """Return the solution with a symmetric positive definite matrix; SolveError where a part can move freely."""
    try:
        factors = scipy.linalg.cho_factor(matrix, lower=True, check_finite=False)
    except np.linalg.LinAlgError:
        raise SolveError("the joint is not held: a part can move freely under these loads") from None
    return scipy.linalg.cho_solve(factors, right_hand_side, check_finite=False)


class TangentSolver:
    """Solves with K + B' diag(w slope) B + diag(spring), remembering the inverse of an earlier one.

    The memory is a preconditioner only: it changes the time a solve takes, never its answer.
    """

    def __init__(self) -> None:
        self._inverse: FloatArray | None = None
        self.factorisations = 0
        self.iterations = 0

    def solve(
        self,
        K: FloatArray,
        B: sp.csr_matrix,
        weighted_slope: FloatArray,
        spring: FloatArray,
        free: IntArray,
        residual: FloatArray,
        size: float,
    ) -> FloatArray:
        """Return the solution on the `free` unknowns for `residual` there; `size` is its relative size."""
        if len(K) >= SMALLEST_FOR_ITERATION and self._inverse is not None:
            found = self._iterate(K, B, weighted_slope, spring, free, residual, ROUGH if size > FAR else FINE)
            if found is not None:
                return found
        tangent = K + (B.T @ B.multiply(weighted_slope[:, None])).toarray()
        tangent[np.diag_indices(len(K))] += spring
        self.factorisations += 1
        if len(K) < SMALLEST_FOR_ITERATION:
            return solve_symmetric(tangent[np.ix_(free, free)] if len(free) < len(K) else tangent, residual)
        return self._factorise(tangent, free, residual)

    def _factorise(self, tangent: FloatArray, free: IntArray, residual: FloatArray) -> FloatArray:
        held = np.setdiff1d(np.arange(len(tangent)), free)
        tangent[held, :] = 0.0
        tangent[:, held] = 0.0
        tangent[held, held] = 1.0
        factors, info = scipy.linalg.lapack.dpotrf(tangent, lower=1, clean=1, overwrite_a=1)
        if info != 0:
            raise SolveError("the joint is not held: a part can move freely under these loads")
        right = np.zeros(len(tangent))
        right[free] = residual
        solution = scipy.linalg.cho_solve((factors, True), right, check_finite=False)
        inverse, _ = scipy.linalg.lapack.dpotri(factors, lower=1, overwrite_c=1)
        lower = np.tril(inverse)
        # single precision is plenty for a preconditioner and halves its traffic
        self._inverse = np.ascontiguousarray((lower + np.tril(lower, -1).T).astype(np.float32))
        return solution[free]

    def _iterate(
        self,
        K: FloatArray,
        B: sp.csr_matrix,
        weighted_slope: FloatArray,
        spring: FloatArray,
        free: IntArray,
        residual: FloatArray,
        accuracy: float,
    ) -> FloatArray | None:
        """Return the solution by conjugate gradients, None where it takes too many steps."""
        held = np.ones(len(K), dtype=bool)
        held[free] = False
        transposed = B.T.tocsr()
        r = np.zeros(len(K))
        r[free] = residual
        x, direction, before = np.zeros(len(K)), np.zeros(len(K)), 1.0
        wanted = accuracy * np.linalg.norm(r)
        for iteration in range(LARGEST_ITERATIONS):
            z = (self._inverse @ r.astype(np.float32)).astype(np.float64)
            z[held] = 0.0
            now = float(r @ z)
            if not np.isfinite(now) or now <= 0.0:
                return None
            direction = z + (now / before if iteration else 0.0) * direction
            product = K @ direction + transposed @ (weighted_slope * (B @ direction)) + spring * direction
            product[held] = 0.0
            curvature = float(direction @ product)
            if curvature <= 0.0:
                return None
            length = now / curvature
            x += length * direction
            r -= length * product
            before = now
            self.iterations += 1
            if np.linalg.norm(r) < wanted:
                return x[free]
        return None
