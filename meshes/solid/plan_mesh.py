"""A plan mesh of eight-node quadrilaterals, moved, mirrored and merged."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from headjoint.model.base.arrays import FloatArray, IntArray


@dataclass(frozen=True)
class PlanMesh:
    """Eight-node quadrilaterals in the plane.

    points : (2, n) mm. quads : (8, m): four corners anticlockwise, then the middles of edges 01, 12, 23, 30;
    middles lie on the circles, so curved edges stay curved.
    """

    points: FloatArray
    quads: IntArray

    def centres(self) -> FloatArray:
        """Return the middle of each quadrilateral, (2, m), by its own map: the mean of the corners of a ring's piece
        may lie inside the ring.
        """
        corners, middles = self.points[:, self.quads[:4]], self.points[:, self.quads[4:]]
        return middles.sum(axis=1) / 2.0 - corners.sum(axis=1) / 4.0


def anticlockwise(points: FloatArray, quads: IntArray) -> IntArray:
    """Return the quadrilaterals (8, m) with their corners anticlockwise."""
    p = points[:, quads[:4]]
    area = (p[0, 2] - p[0, 0]) * (p[1, 3] - p[1, 1]) - (p[0, 3] - p[0, 1]) * (p[1, 2] - p[1, 0])
    turned = quads[[0, 3, 2, 1, 7, 6, 5, 4]]
    return np.where(area > 0.0, quads, turned)


def moved(plan: PlanMesh, matrix: FloatArray, shift: tuple[float, float] = (0.0, 0.0)) -> PlanMesh:
    """Return the plan mapped by x -> matrix x + shift, a rotation or reflection."""
    points = matrix @ plan.points + np.array(shift)[:, None]
    return PlanMesh(points, anticlockwise(points, plan.quads))


def merged(plans: list[PlanMesh]) -> PlanMesh:
    """Return the plans as one, points that coincide to 1e-6 mm made one."""
    points = np.hstack([plan.points for plan in plans])
    offsets = np.cumsum([0] + [plan.points.shape[1] for plan in plans[:-1]])
    quads = np.hstack([plan.quads + offset for plan, offset in zip(plans, offsets, strict=True)])
    number = _coincident(points)
    first = np.zeros(number.max() + 1, dtype=np.int64)
    first[number[::-1]] = np.arange(points.shape[1])[::-1]
    return PlanMesh(points[:, first], number[quads])


def _coincident(points: FloatArray) -> IntArray:
    """Return a number per point, equal where points coincide."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    pairs = cKDTree(points.T).query_pairs(1e-6, output_type="ndarray")
    side = points.shape[1]
    links = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(side, side))
    return connected_components(links, directed=False)[1].astype(np.int64)
