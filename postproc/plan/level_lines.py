"""Lines of one value over triangles, and the edges of what lies above it."""

from __future__ import annotations

import numpy as np

from headjoint.model.base.arrays import FloatArray, IntArray

SAME = 1e-4  # mm within which places of neighbouring faces are one


def level_lines(places: FloatArray, triangles: IntArray, values: FloatArray) -> FloatArray:
    """Return the segments (s, 2, 2) in mm along which linear values (n,) over triangles (t, 3) are 0.

    places : (2, n). A value of 0 counts as above.
    """
    above = values[triangles] >= 0.0
    crossed = triangles[above.any(axis=1) & ~above.all(axis=1)]
    over = values[crossed] >= 0.0
    # turned so that the first corner is the one on its own side
    alone = np.where(over.sum(axis=1) == 1, over.argmax(axis=1), (~over).argmax(axis=1))
    turned = np.take_along_axis(crossed, (alone[:, None] + np.arange(3)) % 3, axis=1)
    first = values[turned[:, 0]]
    ends = []
    for other in (1, 2):
        share = first / (first - values[turned[:, other]])
        ends.append(places[:, turned[:, 0]] + share * (places[:, turned[:, other]] - places[:, turned[:, 0]]))
    return np.stack(ends, axis=0).transpose(2, 0, 1)


def outer_edges(places: FloatArray, triangles: IntArray) -> IntArray:
    """Return the edges (e, 2) that belong to one triangle alone, triangles meeting where their corners' places do."""
    _, number = np.unique(np.round(places[:, triangles.ravel()] / SAME).astype(np.int64), axis=1, return_inverse=True)
    corner = number.reshape(triangles.shape)
    pairs = np.concatenate([corner[:, [0, 1]], corner[:, [1, 2]], corner[:, [2, 0]]])
    edges = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    _, first, count = np.unique(np.sort(pairs, axis=1), axis=0, return_index=True, return_counts=True)
    return edges[first[count == 1]]


def above_on_edges(places: FloatArray, edges: IntArray, values: FloatArray) -> FloatArray:
    """Return the segments (s, 2, 2) of edges (e, 2) along which linear values (n,) are not below 0."""
    start, end = values[edges[:, 0]], values[edges[:, 1]]
    some = (start >= 0.0) | (end >= 0.0)
    edges, start, end = edges[some], start[some], end[some]
    a, b = places[:, edges[:, 0]], places[:, edges[:, 1]]
    with np.errstate(divide="ignore", invalid="ignore"):
        crossing = a + start / (start - end) * (b - a)
    return np.stack([np.where(start >= 0.0, a, crossing), np.where(end >= 0.0, b, crossing)]).transpose(2, 0, 1)
