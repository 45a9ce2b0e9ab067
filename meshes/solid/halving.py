"""A plan mesh halved: every quadrilateral in four, curved edges on their circles, so that meshes nest in each other."""

from __future__ import annotations

import numpy as np

from headjoint.meshes.solid.hexahedra import face_functions
from headjoint.meshes.solid.plan import PlanMesh, Rings, compact, merged
from headjoint.model.base.arrays import FloatArray

ON_CIRCLE = 1e-6  # mm
EDGES = ((0, 4, 1), (1, 5, 2), (2, 6, 3), (3, 7, 0))  # nodes of the edges of a quadrilateral
BETWEEN = ((5, 15), (21, 23), (9, 19), (1, 3))  # their new points in the lattice of five by five


def halved(plan: PlanMesh, circles: list[Rings]) -> PlanMesh:
    """Return the plan with every quadrilateral split in four by the middles of its edges.

    New points of an edge that lies on one of the circles lie on it, too.
    """
    points = _lattice(plan, circles)
    quarters = []
    for i, j in ((0, 0), (2, 0), (2, 2), (0, 2)):
        # (row, column) of the five by five lattice, row along edge 01
        own = [(0, 0), (2, 0), (2, 2), (0, 2), (1, 0), (2, 1), (1, 2), (0, 1)]
        at = np.array([5 * (i + a) + j + b for a, b in own])
        quarters.append(points[:, at])
    stacked = np.concatenate(quarters, axis=2)
    count = stacked.shape[2]
    loose = PlanMesh(stacked.reshape(2, -1), np.arange(8 * count).reshape(8, count))
    return compact(merged([loose]))


def _lattice(plan: PlanMesh, circles: list[Rings]) -> FloatArray:
    """Return five by five points (2, 25, m) of every quadrilateral, by its own map, curved edges on circles."""
    line = np.linspace(-1.0, 1.0, 5)
    at = np.array([[a, b] for a in line for b in line])
    values, _ = face_functions(at, 8)
    nodes = plan.points[:, plan.quads]
    points = np.einsum("dkf,qk->dqf", nodes, values, optimize=True)
    for ring in circles:
        centre = np.array([[ring.x], [ring.y]])
        for radius in ring.radii:
            away = np.abs(np.hypot(*(nodes - centre[:, :, None])) - radius) < ON_CIRCLE
            for edge, inside in zip(EDGES, BETWEEN, strict=True):
                on = away[list(edge)].all(axis=0)
                for number in inside:
                    off = points[:, number, on] - centre
                    points[:, number, on] = centre + off * (radius / np.hypot(*off))
    return points
