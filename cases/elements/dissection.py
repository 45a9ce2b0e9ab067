"""Nested dissection of a graph: where few vertices are taken out, what is left falls apart into two.

The graph alone is known. Its vertices get places in space by their distances from a few of them, counted in edges;
planes through these places cut it, and of every cut the least set of vertices that covers its edges is taken out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components, maximum_bipartite_matching, shortest_path

from headjoint.model.base.arrays import FloatArray, IntArray

LEAF = 300  # unknowns that are not cut any further: dense algebra does them as quickly
LANDMARKS, SMOOTHED = 7, 40  # distances are whole numbers: places are means over neighbours, so many times
LEAST_SHARE = 0.2  # of all unknowns, on either side of a cut
TRIED = 4  # best cuts of all directions whose least cover is looked for
CUBE = np.array([one for one in np.ndindex(3, 3, 3) if one > (1, 1, 1)]) - 1.0  # its edges and diagonals
ANY = np.random.default_rng(0).normal(size=(40, 3))  # directions besides, for pieces where a better cut pays
LARGE = 3000  # vertices of such a piece

Edges = tuple[IntArray, IntArray]  # every edge both ways, by its first vertex


@dataclass(frozen=True)
class Piece:
    """Vertices that are taken out together, after all of the pieces `children` (numbers in the list of pieces)."""

    own: IntArray
    children: tuple[int, ...]


def dissected(graph: sp.csr_matrix, weight: IntArray) -> list[Piece]:
    """Return all vertices in pieces, children before parents; no edge joins pieces that do not stand in one line.

    graph : symmetric (n, n), any values. weight : (n,) unknowns of each vertex.
    """
    pieces: list[Piece] = []

    def cut(vertices: IntArray, place: FloatArray, edges: Edges) -> int:
        side = None if weight[vertices].sum() <= LEAF else _halved(edges, place, weight[vertices])
        children = []
        for half in (0, 1) if side is not None else ():
            own = np.flatnonzero(side == half)
            children.append(cut(vertices[own], place[:, own], _within(edges, own, len(vertices))))
        pieces.append(Piece(vertices if side is None else vertices[side == 2], tuple(children)))
        return len(pieces) - 1

    count, label = connected_components(graph, directed=False)
    coo = graph.tocoo()
    apart = coo.row != coo.col
    edges = coo.row[apart].astype(np.int64), coo.col[apart].astype(np.int64)
    for component in range(count):
        vertices = np.flatnonzero(label == component)
        small = weight[vertices].sum() <= LEAF
        place = np.zeros((3, len(vertices))) if small else _places(graph[vertices][:, vertices])
        cut(vertices, place, _within(edges, vertices, len(label)))
    return pieces


def _within(edges: Edges, own: IntArray, count: int) -> Edges:
    """Return the edges among some of `count` vertices, by their numbers in `own`."""
    number = np.full(count, -1)
    number[own] = np.arange(len(own))
    first, second = number[edges[0]], number[edges[1]]
    both = (first >= 0) & (second >= 0)
    return first[both], second[both]


def _places(graph: sp.csr_matrix) -> FloatArray:
    """Return places (3, n) of the vertices of a connected graph.

    Squares of distances less their means are linear in places; landmarks are far from each other.
    """
    links = (graph != 0).astype(float).tocsr()
    distances: list[FloatArray] = []
    nearest = shortest_path(links, method="D", unweighted=True, indices=0)
    for _ in range(LANDMARKS):
        distances.append(shortest_path(links, method="D", unweighted=True, indices=int(np.argmax(nearest))))
        nearest = np.minimum(nearest, distances[-1]) if len(distances) > 1 else distances[-1]
    squares = np.array(distances) ** 2
    squares -= squares.mean(axis=1, keepdims=True)
    squares -= squares.mean(axis=0)
    _, length, along = np.linalg.svd(squares, full_matrices=False)
    place = (length[:3, None] * along[:3]).T
    mean = sp.diags(1.0 / np.asarray(links.sum(axis=1)).ravel()) @ links
    for _ in range(SMOOTHED):
        place = mean @ place
    return place.T


def _halved(edges: Edges, place: FloatArray, weight: IntArray) -> NDArray[np.int8] | None:
    """Return 0 or 1 for the vertices of either half and 2 for those between; None where no cut parts them."""
    total = float(weight.sum())
    cuts = sorted(_cuts(edges, place, weight), key=lambda one: one[0])
    best, least = None, np.inf
    for _, high in cuts[:TRIED]:
        side = high.astype(np.int8)
        side[_cover(edges, high)] = 2
        low_share, high_share = (float(weight[side == half].sum()) / total for half in (0, 1))
        if low_share * high_share > 0.0 and (cost := (1.0 - low_share - high_share) / (low_share * high_share)) < least:
            best, least = side, cost
    return best


def _cuts(edges: Edges, place: FloatArray, weight: IntArray) -> list[tuple[float, NDArray[np.bool_]]]:
    """Return the best cut of every direction: its cost, and which vertices lie beyond it.

    The cost is the weight of the vertices along the lighter side of the cut, over the product of both shares.
    """
    n, total = len(weight), float(weight.sum())
    centred = place - np.average(place, axis=1, weights=weight)[:, None]
    principal = np.linalg.eigh((centred * weight) @ centred.T / total)[1].T @ centred
    count = np.bincount(edges[0], minlength=n)
    joined = count > 0
    start = (np.cumsum(count) - count)[joined]
    cuts = []
    for direction in np.vstack([CUBE, ANY]) if n > LARGE else CUBE:
        order = np.argsort(direction @ principal, kind="stable")
        rank = np.empty(n, dtype=np.int64)
        rank[order] = np.arange(n)
        first, last = rank.copy(), rank.copy()  # ranks of the neighbours farthest to either side
        if len(start):
            first[joined] = np.minimum(rank[joined], np.minimum.reduceat(rank[edges[1]], start))
            last[joined] = np.maximum(rank[joined], np.maximum.reduceat(rank[edges[1]], start))
        # a vertex lies along the cut before rank k where it is below k and a neighbour is not, or the other way round
        below = np.cumsum(np.bincount(rank, weight, n) - np.bincount(last, weight, n))[:-1]
        above = np.cumsum(np.bincount(first, weight, n) - np.bincount(rank, weight, n))[:-1]
        share = np.cumsum(weight[order])[:-1] / total
        fair = (share > LEAST_SHARE) & (share < 1.0 - LEAST_SHARE)
        if fair.any():
            cost = np.where(fair, np.minimum(below, above) / (share * (1.0 - share)), np.inf)
            cut = int(np.argmin(cost))
            cuts.append((float(cost[cut]), rank > cut))
    return cuts


def _cover(edges: Edges, high: NDArray[np.bool_]) -> IntArray:
    """Return the fewest vertices that touch every edge between the halves, by Koenig's theorem.

    They are the lower ends that no alternating path from an unmatched lower end reaches, and the upper ends that one
    does (D. Koenig 1931; any textbook on matchings, from memory).
    """
    crossing = ~high[edges[0]] & high[edges[1]]
    lower, row = np.unique(edges[0][crossing], return_inverse=True)
    upper, column = np.unique(edges[1][crossing], return_inverse=True)
    if not len(lower):
        return np.empty(0, dtype=np.int64)
    links = sp.csr_matrix((np.ones(len(row), dtype=np.int8), (row, column)), shape=(len(lower), len(upper)))
    match = maximum_bipartite_matching(links, perm_type="column")
    partner = np.full(len(upper), -1)
    partner[match[match >= 0]] = np.flatnonzero(match >= 0)
    low_reached, up_reached = match < 0, np.zeros(len(upper), dtype=bool)
    new = np.flatnonzero(low_reached)
    while len(new):
        ends = np.unique(links[new].indices)
        ends = ends[~up_reached[ends]]
        up_reached[ends] = True
        new = partner[ends]
        new = new[(new >= 0) & ~low_reached[new]]
        low_reached[new] = True
    return np.concatenate([lower[~low_reached], upper[up_reached]])
