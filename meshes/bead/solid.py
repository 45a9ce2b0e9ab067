"""Eight-node quadrilaterals in the section of a solid ring, and the nodes that decks may touch.

A rectangle is a grid. A disk is a square core with blocks around it, so that no element has a corner on the rim that is
straight. About a wire, which is a disk, blocks go on to the rim of the section. All may be halved at x = 0. Nodes are
numbered for a narrow band: across it, or by Cuthill and McKee.
"""

from __future__ import annotations

import math

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import reverse_cuthill_mckee

from headjoint.meshes.bead.strip import Strip
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.bead.solid import Solid

CORE = 0.5  # of the radius: half the diagonal of the core of a disk
FINER = 1.5  # elements along the rim, where decks touch from node to node
BULGE = 0.2  # of the core's sagitta to that of the rim, so that no angle is straight
ALIKE = 1e-9  # mm, within which nodes are the same


def solid_mesh(solid: Solid, size: float, *, half: bool) -> Strip:
    """Return the mesh of a section that stands on y = 0; `half` : of its right half alone. size : of elements, mm."""
    if solid.core:
        quads = np.concatenate([_disk(solid.core / 2.0, size), _around(solid, size)])
    else:
        quads = _disk(solid.height / 2.0, size) if solid.kind == "round" else _rectangle(solid, size)
    if half:
        quads = quads[quads[:, :, 0].min(axis=1) > -ALIKE]
    points, cells = _merged(_with_middles(quads, solid))
    points[:, 1] += solid.height / 2.0
    rim = _rim(points, cells, half)
    y = points[rim, 1] - solid.height / 2.0
    lower, upper = (_from_left(points, rim[side * y >= -ALIKE]) for side in (-1.0, 1.0))
    middle = np.flatnonzero(np.abs(points[:, 0]) < ALIKE) if half else lower[:1]
    return Strip(points, cells, lower, upper, middle, lower[-1:], _lengths(points[lower]), _lengths(points[upper]))


def _rectangle(solid: Solid, size: float) -> FloatArray:
    """Return corners (m, 4, 2) of elements about the middle, an even number across and up."""
    across = 2 * max(2, round(solid.width / size / 2.0))
    up = 2 * max(1, round(solid.height / size / 2.0))
    x = np.linspace(-solid.width / 2.0, solid.width / 2.0, across + 1)
    y = np.linspace(-solid.height / 2.0, solid.height / 2.0, up + 1)
    return _cells_of(np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1))


def _disk(radius: float, size: float) -> FloatArray:
    """Return corners (m, 4, 2) of elements of a disk about the middle: four cores, eight blocks at the rim."""
    along = _along(radius, size)
    out = max(2, round((1.0 - CORE) * radius / size))
    t = np.linspace(0.0, 1.0, along + 1)
    # the edge of the core from the x axis to its corner on the diagonal, and the rim beside it
    angle = t * math.pi / 4.0
    rim = radius * np.column_stack([np.cos(angle), np.sin(angle)])
    corner = CORE * radius * math.sqrt(0.5)
    straight = np.column_stack([np.full_like(t, corner), t * corner])
    bulge = straight + np.column_stack([BULGE * CORE * radius * (1.0 - t**2), np.zeros_like(t)])
    share = np.linspace(0.0, 1.0, out + 1)[:, None, None]
    block = _cells_of((1.0 - share) * bulge + share * rim)
    # the core of the quadrant: its outer edges are the bulged ones
    u, v = np.meshgrid(t, t, indexing="ij")
    core = np.stack([u * np.interp(v, t, bulge[:, 0]), v * np.interp(u, t, bulge[:, 0])], axis=-1)
    other = block[:, ::-1, ::-1]  # mirrored about the diagonal, turned to stay anticlockwise
    return _mirrored(np.concatenate([block, other, _cells_of(core)]))


def _around(solid: Solid, size: float) -> FloatArray:
    """Return corners (m, 4, 2) of elements about a wire in the middle, from the rim of its disk to that of the
    section."""
    radius, blocks = solid.core / 2.0, []
    t = np.linspace(0.0, 1.0, _along(radius, size) + 1)
    out = max(2, round((max(solid.width, solid.height) / 2.0 - radius) / size))
    share = np.linspace(0.0, 1.0, out + 1)[:, None, None]
    corner, across, up = np.array([solid.width, solid.height]) / 2.0, np.array([1.0, 0.0]), np.array([0.0, 1.0])
    for start, ends in ((0.0, (corner * across, corner)), (math.pi / 4.0, (corner, corner * up))):
        angle = start + t * math.pi / 4.0
        ray = np.column_stack([np.cos(angle), np.sin(angle)])
        rim = solid.height / 2.0 * ray if solid.kind == "round" else ends[0] + t[:, None] * (ends[1] - ends[0])
        blocks.append(_cells_of((1.0 - share) * radius * ray + share * rim))
    return _mirrored(np.concatenate(blocks))


def _along(radius: float, size: float) -> int:
    """Return how many elements lie along an eighth of the rim of a disk."""
    return max(3, round(FINER * math.pi / 4.0 * radius / size))


def _mirrored(quadrant: FloatArray) -> FloatArray:
    """Return corners of elements of all four quadrants."""
    mirrored = [quadrant]
    for axis in (0, 1):
        flipped = [one[:, ::-1].copy() for one in mirrored]
        for one in flipped:
            one[:, :, axis] *= -1.0
        mirrored += flipped
    return np.concatenate(mirrored)


def _cells_of(grid: FloatArray) -> FloatArray:
    """Return corners (m, 4, 2) of the cells of a grid (a, b, 2), anticlockwise where a runs right and b up."""
    return np.stack([grid[:-1, :-1], grid[1:, :-1], grid[1:, 1:], grid[:-1, 1:]], axis=2).reshape(-1, 4, 2)


def _with_middles(quads: FloatArray, solid: Solid) -> FloatArray:
    """Return nodes (m, 8, 2) of elements, those of the rims of disks on their circles."""
    middles = (quads + np.roll(quads, -1, axis=1)) / 2.0
    ends = np.hypot(*np.moveaxis(quads, 2, 0))
    for radius in [solid.core / 2.0] * (solid.core > 0.0) + [solid.height / 2.0] * (solid.kind == "round"):
        on_rim = (np.abs(ends - radius) < ALIKE) & (np.abs(np.roll(ends, -1, axis=1) - radius) < ALIKE)
        middles[on_rim] *= (radius / np.hypot(*middles[on_rim].T))[:, None]
    return np.concatenate([quads, middles], axis=1)


def _merged(nodes: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return points and cells with nodes at one place made one, numbered for a narrow band."""
    flat = nodes.reshape(-1, 2)
    _, first, number = np.unique(np.round(flat / (10.0 * ALIKE)), axis=0, return_index=True, return_inverse=True)
    cells = number.reshape(len(nodes), 8)
    rows, columns = np.repeat(cells, 8, axis=1).ravel(), np.tile(cells, (1, 8)).ravel()
    graph = sp.csr_array((np.ones(len(rows)), (rows, columns)), shape=(len(first), len(first)))
    points = flat[first]
    orders = (reverse_cuthill_mckee(graph, symmetric_mode=True), np.lexsort(points.T[::-1]))
    order = min(orders, key=lambda one: int(np.ptp(np.argsort(one)[cells], axis=1).max()))
    return points[order], np.argsort(order)[cells]


def _rim(points: FloatArray, cells: IntArray, half: bool) -> IntArray:
    """Return the nodes of edges that one element alone has, but those of the plane that halves the section."""
    edges = np.stack([cells[:, :4], np.roll(cells[:, :4], -1, axis=1), cells[:, 4:]], axis=2).reshape(-1, 3)
    ends = np.sort(edges[:, :2], axis=1)
    _, first, count = np.unique(ends, axis=0, return_index=True, return_counts=True)
    alone = edges[first[count == 1]]
    if half:
        alone = alone[np.abs(points[alone[:, 2], 0]) > ALIKE]
    return np.unique(alone)


def _from_left(points: FloatArray, nodes: IntArray) -> IntArray:
    """Return nodes of the lower or the upper half of a rim from its left end to its right."""
    x, y = points[nodes].T
    return nodes[np.argsort(-np.arctan2(np.abs(y - points[:, 1].max() / 2.0), x))]


def _lengths(points: FloatArray) -> FloatArray:
    """Return the length (mm) that nodes of a rim stand for, edge by edge: 1/6, 4/6, 1/6."""
    length = np.linalg.norm(np.diff(points, axis=0), axis=1)
    length = length[::2] + length[1::2]
    weight = np.zeros(len(points))
    weight[:-2:2] += length / 6.0
    weight[1:-1:2] += 4.0 * length / 6.0
    weight[2::2] += length / 6.0
    return weight
