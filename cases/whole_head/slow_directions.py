"""Directions in which conjugate gradients were slow, kept so that later solves go there at once.

A Newton step's tangent differs from the last one's at few points, and what the preconditioner misses - a nut that has
lifted, a side of the row that others do not know of - stays from step to step, and from nut to nut. Conjugate gradients
find such directions as the outlying Ritz vectors of the preconditioned tangent; in their span the next solve is direct,
and iterates outside it (deflation). Products with the elastic stiffness are known from the iteration itself.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import scipy.linalg

from headjoint.cases.condensed.newton_step import Tangent
from headjoint.model.base.arrays import FloatArray

MOST = 60  # directions that are kept
OUTLYING = 1.5  # a Ritz value as far off 1, or its inverse, makes an iteration slow
KNOWN = 0.3  # of its Ritz value, error below which a direction is worth keeping
DEPENDENT = 1e-7  # of the greatest: energy below which directions are those that are there already


@dataclass(frozen=True)
class Trace:
    """What an iteration leaves: directions and elastic products (N,), step lengths, and r'z before every step."""

    directions: list[FloatArray]
    elastic: list[FloatArray]
    lengths: list[float]
    energies: list[float]

    def add(self, direction: FloatArray, elastic: FloatArray, length: float, energy: float) -> None:
        """Remember a step."""
        self.directions.append(direction)
        self.elastic.append(elastic)
        self.lengths.append(length)
        self.energies.append(energy)


@dataclass(frozen=True)
class SlowDirections:
    """vectors : (N, m). elastic : (N, m) the stiffness times them. closures : (g, m) of every interface point."""

    vectors: FloatArray = field(repr=False)
    elastic: FloatArray = field(repr=False)
    closures: FloatArray = field(repr=False)

    def under(self, tangent: Tangent) -> Deflation | None:
        """Return them under a tangent, None where they say nothing of it."""
        if self.vectors.shape[1] == 0 or len(tangent.free) < len(tangent.K):
            return None
        product = self.elastic + tangent.transposed @ (tangent.weighted_slope[:, None] * self.closures)
        product += tangent.spring[:, None] * self.vectors
        try:
            factor = scipy.linalg.cholesky(self.vectors.T @ product, lower=True)
        except np.linalg.LinAlgError:
            return None
        return Deflation(self.vectors, product, factor)

    def with_more(self, trace: Trace, tangent: Tangent) -> SlowDirections:
        """Return them with what an iteration with `tangent` has found to be slow, at most `MOST`, the latest first."""
        weights = _outlying(trace)
        if weights.shape[1] == 0:
            return self
        new, elastic = np.column_stack(trace.directions) @ weights, np.column_stack(trace.elastic) @ weights
        closures = tangent.B @ new
        # of unit energy, and independent: a long iteration finds the same direction twice; the tangent does not couple
        # it to those known before, outside of which it went
        energy = new.T @ elastic + closures.T @ (tangent.weighted_slope[:, None] * closures)
        energy += new.T @ (tangent.spring[:, None] * new)
        squares, turned = scipy.linalg.eigh((energy + energy.T) / 2.0)
        turned = turned[:, squares > DEPENDENT * squares[-1]] / np.sqrt(squares[squares > DEPENDENT * squares[-1]])
        return SlowDirections(
            np.hstack([new @ turned, self.vectors])[:, :MOST],
            np.hstack([elastic @ turned, self.elastic])[:, :MOST],
            np.hstack([closures @ turned, self.closures])[:, :MOST],
        )


@dataclass(frozen=True)
class Deflation:
    """Slow directions (N, m), the tangent times them (N, m), and the Cholesky factor of their energy (m, m)."""

    vectors: FloatArray = field(repr=False)
    product: FloatArray = field(repr=False)
    factor: FloatArray = field(repr=False)

    def solved(self, load: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the solution for a load (N,) within the directions, and what is left of the load."""
        shares = self._shares(self.vectors.T @ load)
        return self.vectors @ shares, load - self.product @ shares

    def outside(self, v: FloatArray) -> FloatArray:
        """Return the part of v (N,) that the tangent does not couple to the directions."""
        return v - self.vectors @ self._shares(self.product.T @ v)

    def _shares(self, right_hand_side: FloatArray) -> FloatArray:
        shares: FloatArray = scipy.linalg.cho_solve((self.factor, True), right_hand_side, check_finite=False)
        return shares


def no_directions(unknowns: int, points: int) -> SlowDirections:
    """Return none."""
    return SlowDirections(np.empty((unknowns, 0)), np.empty((unknowns, 0)), np.empty((points, 0)))


def _outlying(trace: Trace) -> FloatArray:
    """Return the outlying Ritz vectors as combinations (k, m) of an iteration's directions.

    Conjugate gradients are Lanczos' method: with step lengths a_j and b_j = e_j+1 / e_j, e_j = r_j'z_j, its tridiagonal
    matrix has 1/a_j + b_j-1 / a_j-1 on the diagonal and sqrt(b_j) / a_j beside it, of vectors z_j / sqrt(e_j); and
    z_j = p_j - b_j-1 p_j-1 (Y. Saad, Iterative Methods for Sparse Linear Systems, section 6.7.3; from memory).
    """
    a, e = np.array(trace.lengths), np.array(trace.energies)
    b = e[1:] / e[:-1]
    diagonal = 1.0 / a
    diagonal[1:] += b / a[:-1]
    beside = np.sqrt(b) / a[:-1]
    values, vectors = scipy.linalg.eigh_tridiagonal(diagonal, beside)
    error = np.sqrt(b[-1]) / a[-1] * np.abs(vectors[-1]) if len(b) else np.zeros(len(values))
    far = (values > OUTLYING) | (values < 1.0 / OUTLYING)
    taken = vectors[:, far & (error < KNOWN * values)] / np.sqrt(e)[:, None]
    weights = taken.copy()
    weights[:-1] -= b[:, None] * taken[1:]
    found: FloatArray = weights
    return found
