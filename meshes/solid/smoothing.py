"""Nodes of a plan mesh moved until no quadrilateral is folded or flat: what a free mesher leaves in narrow places."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from headjoint.meshes.solid.hexahedra import face_functions
from headjoint.model.base.arrays import FloatArray, IntArray, summed_at

# corners, middles of edges, and the points of integration between them
_ALONG = (-1.0, -(0.6**0.5), 0.0, 0.6**0.5, 1.0)
SAMPLES = np.array([[a, b] for a in _ALONG for b in _ALONG])
ROUNDS = (1e-1, 1e-2, 1e-3)  # of the mean area, what smooths the penalty of folded places
STEPS = 60  # of the descent in each round
POOR = 0.35  # share of a square below which a quadrilateral is mended
LAYERS = 2  # of quadrilaterals round a poor one that give way


def shares_of_square(points: FloatArray, quads: IntArray) -> FloatArray:
    """Return of each quadrilateral its least area over that of a rectangle with the same sides there, over the corners
    and all points of integration: the sine of the angle, 0 flat, below 0 folded.
    """
    along, across, area = _sides(points, quads)
    return (area / np.sqrt((along**2).sum(axis=0) * (across**2).sum(axis=0))).min(axis=1)


def smoothed(points: FloatArray, quads: IntArray, free: NDArray[np.bool_]) -> FloatArray:
    """Return points (2, n) moved so that poor quadrilaterals (8, m) become as square as the `free` nodes (n,) allow.

    Edges that have no line of the plan on them stay straight. Minimised is the sum over samples of
    (|a|^2 + |b|^2) / (2 det) with a and b the sides of the map there, 1 for a square; the determinant is smoothed so
    that folded places count, too (usual in mesh untangling; from memory).
    """
    from scipy.optimize import minimize

    near = np.asarray(shares_of_square(points, quads) < POOR)
    for _ in range(LAYERS):
        near = np.asarray(np.isin(quads, quads[:, near]).any(axis=0))
    moving = np.unique(quads[:4, near])
    moving = moving[free[moving]]
    if not len(moving):
        return points
    quads = quads[:, np.isin(quads[:4], moving).any(axis=0)]
    middles, ends = _straight_edges(quads, free)
    middles, ends = middles[np.isin(ends, moving).any(axis=0)], ends[:, np.isin(ends, moving).any(axis=0)]
    _, gradients = face_functions(SAMPLES, 8)
    at = points.copy()

    def placed(flat: FloatArray) -> FloatArray:
        at[:, moving] = flat.reshape(2, -1)
        at[:, middles] = at[:, ends].mean(axis=1)
        return at

    def measure(flat: FloatArray, least: float) -> tuple[float, FloatArray]:
        along, across, area = _sides(placed(flat), quads)
        root = np.sqrt(area**2 + least**2)
        whole = (area + root) / 2.0
        sides = ((along**2).sum(axis=0) + (across**2).sum(axis=0)) / 2.0
        by_sides, by_area = 1.0 / whole, -sides / whole**2 * (1.0 + area / root) / 2.0
        d_along = by_sides * along + by_area * np.stack([across[1], -across[0]])
        d_across = by_sides * across + by_area * np.stack([-along[1], along[0]])
        own = np.einsum("adfq,qka->dkf", np.stack([d_along, d_across]), gradients, optimize=True)
        slope = np.stack([summed_at(quads.ravel(), one.ravel(), points.shape[1]) for one in own])
        for end in ends:
            for component in range(2):
                np.add.at(slope[component], end, slope[component, middles] / 2.0)
        return float((sides / whole).sum()), slope[:, moving].ravel()

    scale = float(np.abs(_sides(points, quads)[2]).mean())
    flat = points[:, moving].ravel()
    for share in ROUNDS:
        flat = minimize(measure, flat, args=(share * scale,), jac=True, method="L-BFGS-B", options={"maxiter": STEPS}).x
    return placed(flat).copy()


def _sides(points: FloatArray, quads: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the sides (2, m, s) of the map at the samples, along and across, and their determinant (m, s)."""
    _, gradients = face_functions(SAMPLES, 8)
    along, across = np.einsum("dkf,qka->adfq", points[:, quads], gradients, optimize=True)
    return along, across, along[0] * across[1] - along[1] * across[0]


def _straight_edges(quads: IntArray, free: NDArray[np.bool_]) -> tuple[IntArray, IntArray]:
    """Return the free middles (e,) of edges, each once, and their ends (2, e)."""
    middles = quads[4:].ravel()
    ends = np.stack([quads[:4].ravel(), quads[[1, 2, 3, 0]].ravel()])
    middles, first = np.unique(middles, return_index=True)
    return middles[free[middles]], ends[:, first[free[middles]]]
