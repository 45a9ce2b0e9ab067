"""Ten-node tetrahedra: shape functions and quality; nodes numbered as VTK numbers them."""

from __future__ import annotations

import numpy as np

from headjoint.model.base.arrays import FloatArray, IntArray

EDGES = ((0, 1), (1, 2), (0, 2), (0, 3), (1, 3), (2, 3))
# nodes of the faces, corners then mid-edges
FACES = np.array([[0, 1, 2, 4, 5, 6], [0, 1, 3, 4, 8, 7], [1, 2, 3, 5, 9, 8], [0, 2, 3, 6, 9, 7]])
CORNERS = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])


def tetrahedron_functions(xi: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the ten functions (q, 10) and gradients (q, 10, 3) at points xi (q, 3); nodes in VTK order."""
    bary = np.column_stack([1.0 - xi.sum(axis=1), xi])
    slope = np.array([[-1.0, -1.0, -1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    values = [bary[:, i] * (2.0 * bary[:, i] - 1.0) for i in range(4)]
    gradients = [(4.0 * bary[:, i] - 1.0)[:, None] * slope[i] for i in range(4)]
    for i, j in EDGES:
        values.append(4.0 * bary[:, i] * bary[:, j])
        gradients.append(4.0 * (bary[:, i, None] * slope[j] + bary[:, j, None] * slope[i]))
    return np.stack(values, axis=1), np.stack(gradients, axis=1)


def scaled_jacobians(points: FloatArray, cells: IntArray) -> FloatArray:
    """Return the smallest scaled Jacobian (m,) over corners: 1 for an equilateral tetrahedron, below 0 folded."""
    _, gradients = tetrahedron_functions(CORNERS)
    jacobian = np.einsum("dnm,qna->mqda", points[:, cells], gradients)
    first, second, third = (jacobian[..., a] for a in range(3))
    # at a corner the three edges that leave it; by column differences where the corner is not the first
    edges = (
        (first, second, third),
        (first, second - first, third - first),
        (second, first - second, third - second),
        (third, first - third, second - third),
    )
    found = []
    for corner, three in enumerate(edges):
        lengths = np.prod([np.linalg.norm(edge[:, corner], axis=1) for edge in three], axis=0)
        found.append(np.sqrt(2.0) * np.linalg.det(jacobian[:, corner]) / lengths)
    return np.min(found, axis=0)
