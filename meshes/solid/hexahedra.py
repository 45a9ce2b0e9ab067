"""Twenty-node hexahedra by stacking a plan mesh through layers; each column of a layer is a part or air."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from headjoint.meshes.solid.plan_mesh import PlanMesh
from headjoint.model.base.arrays import FloatArray, IntArray

# corner signs (xi, eta, zeta) and mid-edge signs of the 20-node hexahedron, numbered as VTK numbers them
CORNERS = np.array([[-1, -1, -1], [1, -1, -1], [1, 1, -1], [-1, 1, -1], [-1, -1, 1], [1, -1, 1], [1, 1, 1], [-1, 1, 1]])
EDGES = np.array(
    [
        [0, -1, -1], [1, 0, -1], [0, 1, -1], [-1, 0, -1],
        [0, -1, 1], [1, 0, 1], [0, 1, 1], [-1, 0, 1],
        [-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0],
    ]
)  # fmt: skip
NODES = np.vstack([CORNERS, EDGES])
EDGE_ENDS = ((0, 1), (1, 2), (2, 3), (3, 0), (4, 5), (5, 6), (6, 7), (7, 4), (0, 4), (1, 5), (2, 6), (3, 7))
# nodes of the faces, corners then mid-edges: below, above, then the sides on edges 0 to 3
FACES = np.array(
    [
        [0, 1, 2, 3, 8, 9, 10, 11], [4, 5, 6, 7, 12, 13, 14, 15], [0, 1, 5, 4, 8, 17, 12, 16],
        [1, 2, 6, 5, 9, 18, 13, 17], [2, 3, 7, 6, 10, 19, 14, 18], [3, 0, 4, 7, 11, 16, 15, 19],
    ]
)  # fmt: skip
# corners, and places near those of integration rules
INSIDE = np.vstack([CORNERS, 0.77 * CORNERS, 0.8 * np.vstack([np.eye(3), -np.eye(3)])])
CHUNK = 500  # elements looked at together, which then stay in a processor's own memory
BELOW, ABOVE, SIDES = FACES[0], FACES[1], FACES[2:]


@dataclass(frozen=True)
class Stack:
    """Hexahedra of a stacked plan mesh.

    points : (3, n) mm. cells : (20, m) in VTK order. part : (m,) index. column : (m,) plan quadrilateral.
    layer : (m,) index of the layer. node_plan : (n,) plan point under each node. node_level : (n,) level,
    counted in half layers.
    """

    points: FloatArray
    cells: IntArray
    part: IntArray
    column: IntArray
    layer: IntArray
    node_plan: IntArray
    node_level: IntArray


def stack(plan: PlanMesh, heights: FloatArray, grid: IntArray, body: IntArray) -> Stack:
    """Extrude `plan` through `heights` (k + 1,), keeping the cells of `grid` (columns, k) that are not -1.

    `body` (parts,) tells which parts share nodes where they meet: those of one body number.
    """
    column, layer = np.nonzero(grid >= 0)
    part = grid[column, layer]
    quads = plan.quads[:, column]
    plan_points = plan.points.shape[1]
    levels = 2 * len(heights) - 1
    low, mid, high = 2 * layer, 2 * layer + 1, 2 * layer + 2
    plan_of = np.concatenate([quads[:4], quads[:4], quads[4:], quads[4:], quads[:4]])
    level_of = np.concatenate(
        [
            np.tile(low, (4, 1)),
            np.tile(high, (4, 1)),
            np.tile(low, (4, 1)),
            np.tile(high, (4, 1)),
            np.tile(mid, (4, 1)),
        ]
    )
    keys = (body[part] * levels + level_of) * plan_points + plan_of
    unique, cells = np.unique(keys, return_inverse=True)
    node_plan = unique % plan_points
    node_level = (unique // plan_points) % levels
    all_heights = np.empty(levels)
    all_heights[::2] = heights
    all_heights[1::2] = (heights[1:] + heights[:-1]) / 2.0
    points = np.vstack([plan.points[:, node_plan], all_heights[node_level]])
    return Stack(points, cells.reshape(keys.shape), part, column, layer, node_plan, node_level)


def shape_functions(xi: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the 20 serendipity functions (q, 20) and their gradients (q, 20, 3) at points xi (q, 3)."""
    s = NODES[None, :, :]
    x = xi[:, None, :]
    values = np.empty((len(xi), 20))
    gradients = np.empty((len(xi), 20, 3))
    corner = np.arange(8)
    factor = 1.0 + x * s
    product = factor.prod(axis=2)
    total = (x * s).sum(axis=2)
    values[:, corner] = (product * (total - 2.0) / 8.0)[:, corner]
    for a in range(3):
        others = [b for b in range(3) if b != a]
        pair = factor[:, :, others[0]] * factor[:, :, others[1]]
        slope = s[:, :, a] * pair * (total - 2.0) / 8.0 + product * s[:, :, a] / 8.0
        gradients[:, corner, a] = slope[:, corner]
    for a in range(3):
        edge = np.flatnonzero(NODES[:, a] == 0)
        b, c = (k for k in range(3) if k != a)
        bubble = 1.0 - x[:, :, a] ** 2
        values[:, edge] = (bubble * factor[:, :, b] * factor[:, :, c] / 4.0)[:, edge]
        gradients[:, edge, a] = (-2.0 * x[:, :, a] * factor[:, :, b] * factor[:, :, c] / 4.0)[:, edge]
        gradients[:, edge, b] = (bubble * s[:, :, b] * factor[:, :, c] / 4.0)[:, edge]
        gradients[:, edge, c] = (bubble * s[:, :, c] * factor[:, :, b] / 4.0)[:, edge]
    return values, gradients


def scaled_jacobians(points: FloatArray, cells: IntArray) -> FloatArray:
    """Return the smallest scaled Jacobian of each hexahedron: 1 for a brick, below 0 folded.

    Over its corners and, since curved edges may cross where corners are right, places near those of integration.
    """
    _, gradients = shape_functions(INSIDE)
    slopes = np.swapaxes(gradients, 1, 2)
    found = np.empty(cells.shape[1])
    for start in range(0, len(found), CHUNK):
        chunk = slice(start, start + CHUNK)
        jacobian = slopes @ points[:, cells[:, chunk]].transpose(2, 1, 0)[:, None]  # (m, q, a, d): d x_d / d xi_a
        lengths = np.sqrt(np.sum(jacobian**2, axis=3)).prod(axis=2)
        normal = np.cross(jacobian[:, :, 1], jacobian[:, :, 2])
        found[chunk] = (np.sum(jacobian[:, :, 0] * normal, axis=2) / lengths).min(axis=1)
    return found


def face_functions(xi: FloatArray, nodes: int) -> tuple[FloatArray, FloatArray]:
    """Return functions (q, 8 or 6) and gradients (q, 8 or 6, 2) of a face at points xi (q, 2)."""
    a, b = xi[:, 0], xi[:, 1]
    if nodes == 8:
        signs = ((-1, -1), (1, -1), (1, 1), (-1, 1))
        values = [(1 + s * a) * (1 + t * b) * (s * a + t * b - 1) / 4 for s, t in signs]
        along = [s * (1 + t * b) * (2 * s * a + t * b) / 4 for s, t in signs]
        across = [t * (1 + s * a) * (s * a + 2 * t * b) / 4 for s, t in signs]
        for s, t in ((0, -1), (1, 0), (0, 1), (-1, 0)):
            if s == 0:
                values.append((1 - a * a) * (1 + t * b) / 2)
                along.append(-a * (1 + t * b))
                across.append(t * (1 - a * a) / 2)
            else:
                values.append((1 - b * b) * (1 + s * a) / 2)
                along.append(s * (1 - b * b) / 2)
                across.append(-b * (1 + s * a))
        return np.stack(values, axis=1), np.stack([np.stack(along, axis=1), np.stack(across, axis=1)], axis=2)
    bary = np.column_stack([1 - a - b, a, b])
    slope = np.array([[-1.0, -1.0], [1.0, 0.0], [0.0, 1.0]])
    values = [bary[:, i] * (2 * bary[:, i] - 1) for i in range(3)]
    gradients = [(4 * bary[:, i] - 1)[:, None] * slope[i] for i in range(3)]
    for i, j in ((0, 1), (1, 2), (2, 0)):
        values.append(4 * bary[:, i] * bary[:, j])
        gradients.append(4 * (bary[:, i, None] * slope[j] + bary[:, j, None] * slope[i]))
    return np.stack(values, axis=1), np.stack(gradients, axis=1)
