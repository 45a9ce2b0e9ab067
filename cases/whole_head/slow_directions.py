"""Directions in which conjugate gradients were slow, kept so that later solves go there at once.

A Newton step's tangent differs from the last one's at few points, and what the preconditioner misses - a nut that has
lifted, a side of the row that others do not know of - stays from step to step, and from nut to nut. Conjugate gradients
find such directions as the outlying Ritz vectors of the preconditioned tangent; in their span the next solve is direct,
and iterates outside it (deflation). Products with the tangent are known from the iteration itself.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

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
    """What an iteration leaves: directions and the tangent times them (N,), step lengths, and r'z before every step."""

    directions: list[FloatArray]
    products: list[FloatArray]
    lengths: list[float]
    energies: list[float]

    def add(self, direction: FloatArray, product: FloatArray, length: float, energy: float) -> None:
        """Remember a step."""
        self.directions.append(direction)
        self.products.append(product)
        self.lengths.append(length)
        self.energies.append(energy)


@dataclass(frozen=True)
class SlowDirections:
    """Slow directions, and what a tangent makes of them.

    vectors : (m, N). closures : (m, g) of every interface point. products : (m, N) the tangent times them.
    energy : (m, m) of every two. slope, spring : (g,) and (N,) of that tangent.
    """

    vectors: FloatArray = field(repr=False)
    closures: FloatArray = field(repr=False)
    products: FloatArray = field(repr=False)
    energy: FloatArray = field(repr=False)
    slope: FloatArray = field(repr=False)
    spring: FloatArray = field(repr=False)

    def under(self, tangent: Tangent) -> SlowDirections:
        """Return them under another tangent of the same row: few slopes change from step to step, and only they count.

        Their products are brought up to date by what has changed, which is some 1e-16 of the stiffest contact off.
        """
        if len(self.vectors) == 0:
            return replace(self, slope=tangent.weighted_slope, spring=tangent.spring)
        points, springs = (
            np.flatnonzero(now != before)
            for now, before in ((tangent.weighted_slope, self.slope), (tangent.spring, self.spring))
        )
        products, energy = self.products, self.energy
        if points.size:
            own = self.closures[:, points]
            pressed = own * (tangent.weighted_slope[points] - self.slope[points])
            closures = tangent.B[points]
            moved = np.unique(closures.indices)
            products = products.copy()
            products[:, moved] += pressed @ closures[:, moved]
            energy = energy + pressed @ own.T
        if springs.size:
            own = self.vectors[:, springs]
            pulled = own * (tangent.spring[springs] - self.spring[springs])
            products = products.copy()
            products[:, springs] += pulled
            energy = energy + pulled @ own.T
        return SlowDirections(self.vectors, self.closures, products, energy, tangent.weighted_slope, tangent.spring)

    def deflation(self) -> Deflation | None:
        """Return what solves within them, None where they say nothing."""
        if len(self.vectors) == 0:
            return None
        try:
            factor = scipy.linalg.cholesky(self.energy, lower=True)
        except np.linalg.LinAlgError:
            return None
        return Deflation(self.vectors, self.products, factor)

    def with_more(self, trace: Trace, tangent: Tangent) -> SlowDirections:
        """Return them with what an iteration with their tangent has found to be slow, at most `MOST`, latest first."""
        weights = _outlying(trace)
        if weights.shape[1] == 0:
            return self
        new, product = weights.T @ np.array(trace.directions), weights.T @ np.array(trace.products)
        # of unit energy, and independent: a long iteration finds the same direction twice
        energy = new @ product.T
        squares, turned = scipy.linalg.eigh((energy + energy.T) / 2.0)
        turned = turned[:, squares > DEPENDENT * squares[-1]] / np.sqrt(squares[squares > DEPENDENT * squares[-1]])
        new, product = turned.T @ new, turned.T @ product
        own, between = new @ product.T, new @ self.products.T
        energy = np.block([[(own + own.T) / 2.0, between], [between.T, self.energy]])
        return SlowDirections(
            np.vstack([new, self.vectors])[:MOST],
            np.vstack([(tangent.B @ new.T).T, self.closures])[:MOST],
            np.vstack([product, self.products])[:MOST],
            energy[:MOST, :MOST],
            self.slope,
            self.spring,
        )


@dataclass(frozen=True)
class Deflation:
    """Slow directions (m, N), the tangent times them (m, N), and the Cholesky factor of their energy (m, m)."""

    vectors: FloatArray = field(repr=False)
    products: FloatArray = field(repr=False)
    factor: FloatArray = field(repr=False)

    def solved(self, load: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the solution for a load (N,) within the directions, and what is left of the load."""
        shares = self._shares(self.vectors @ load)
        return shares @ self.vectors, load - shares @ self.products

    def outside(self, v: FloatArray) -> FloatArray:
        """Return the part of v (N,) that the tangent does not couple to the directions."""
        return v - self._shares(self.products @ v) @ self.vectors

    def _shares(self, right_hand_side: FloatArray) -> FloatArray:
        shares: FloatArray = scipy.linalg.cho_solve((self.factor, True), right_hand_side, check_finite=False)
        return shares


def no_directions(unknowns: int, points: int) -> SlowDirections:
    """Return none."""
    none = np.empty((0, unknowns))
    return SlowDirections(
        none, np.empty((0, points)), none, np.empty((0, 0)), np.full(points, np.nan), np.full(unknowns, np.nan)
    )


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
