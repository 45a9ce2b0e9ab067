"""Eight-node quadrilaterals along a beaded sheet: columns across its thickness, numbered column by column.

So numbered, the unknowns of an element lie close together and the stiffness is a narrow band.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from headjoint.meshes.solid.hexahedra import face_functions
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import MeshError
from headjoint.model.bead.profile import Profile

Thickness = Literal["normal", "vertical"]
GAUSS = 1.0 / np.sqrt(3.0)
# corners from lower left, anticlockwise; then the middles of the edges, lower edge first
CORNERS = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1], [0, -1], [1, 0], [0, 1], [-1, 0]], dtype=float)


@dataclass(frozen=True)
class Strip:
    """A sheet as elements. points : (n, 2) mm, x across the bead (or radius) and y up; cells : (m, 8).

    lower, upper : nodes of both faces along the sheet, edge by edge with middle nodes; first, last : nodes of its two
    ends. lower_weight, upper_weight : lengths (mm) of face that nodes stand for, by Simpson's rule.
    """

    points: FloatArray = field(repr=False)
    cells: IntArray = field(repr=False)
    lower: IntArray = field(repr=False)
    upper: IntArray = field(repr=False)
    first: IntArray = field(repr=False)
    last: IntArray = field(repr=False)
    lower_weight: FloatArray = field(repr=False)
    upper_weight: FloatArray = field(repr=False)


def places_along(profile: Profile, start: float, end: float, size: float) -> FloatArray:
    """Return places x (mm) of element edges and middles from start to end, evenly along the middle line.

    The ends of the bead's width, where the flat begins, are edges of elements.
    """
    corners = [start, *(x for x in (-profile.width / 2.0, profile.width / 2.0) if start + 1e-9 < x < end - 1e-9), end]
    places = [np.array([start])]
    fine = np.linspace(start, end, 20001)
    length = profile.along(fine)
    for a, b in zip(corners, corners[1:], strict=False):
        low, high = profile.along(np.array([a, b]))
        count = 2 * max(2, round((high - low) / size))
        places.append(np.interp(np.linspace(low, high, count + 1)[1:], length, fine))
    return np.concatenate(places)


def strip(
    profile: Profile,
    thickness: float,
    start: float,
    end: float,
    *,
    size: float,
    through: int,
    kept: Thickness = "normal",
) -> Strip:
    """Return the mesh of a sheet from x = start to end (mm), its middle line lifted by half its thickness.

    size : length of elements along the sheet, mm. through : elements across the thickness. kept : whether the
    thickness is measured across the sheet or straight up.

    Raises MeshError where an element is folded, as where a radius is less than half the thickness.
    """
    x = places_along(profile, start, end, size)
    y, slope = profile.at(x)
    along = np.column_stack([-slope, np.ones_like(x)])
    normal = along / np.linalg.norm(along, axis=1)[:, None] if kept == "normal" else np.array([0.0, 1.0]) + 0 * along
    middle = np.column_stack([x, y + thickness / 2.0])
    full, half = 2 * through + 1, through + 1
    heights = (np.linspace(-0.5, 0.5, full) * thickness, np.linspace(-0.5, 0.5, half) * thickness)
    points, starts, at = [], [], 0
    for i in range(len(x)):
        rows = heights[i % 2]
        points.append(middle[i] + rows[:, None] * normal[i])
        starts.append(at)
        at += len(rows)
    cells = []
    for i in range(0, len(x) - 1, 2):
        a, m, b = starts[i : i + 3]
        for j in range(through):
            corner = [a + 2 * j, b + 2 * j, b + 2 * j + 2, a + 2 * j + 2]
            cells.append([*corner, m + j, b + 2 * j + 1, m + j + 1, a + 2 * j + 1])
    nodes, elements = np.concatenate(points), np.array(cells)
    ends = np.array([*starts, at])
    lower, upper = ends[:-1], ends[1:] - 1
    made = Strip(
        nodes, elements, lower, upper, np.arange(full), np.arange(starts[-1], at),
        _simpson(nodes[lower]), _simpson(nodes[upper]),
    )  # fmt: skip
    _check(made)
    return made


def _simpson(points: FloatArray) -> FloatArray:
    """Return the length that each node of a face stands for: 1/6, 4/6, 1/6 of every edge."""
    length = np.linalg.norm(points[2::2] - points[:-2:2], axis=1)
    weight = np.zeros(len(points))
    weight[:-2:2] += length / 6.0
    weight[1:-1:2] += 4.0 * length / 6.0
    weight[2::2] += length / 6.0
    return weight


def _check(made: Strip) -> None:
    _, gradients = face_functions(CORNERS, 8)
    jacobian = np.einsum("mad,qae->mqde", made.points[made.cells], gradients)
    if np.linalg.det(jacobian).min() <= 0.0:
        raise MeshError("the sheet folds onto itself: a radius of the middle line is less than half the thickness")
