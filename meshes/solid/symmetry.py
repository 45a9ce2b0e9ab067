"""What symmetry says of a cell's mesh: copies of the tile, planes, studs, rigid-body constraints."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.cell import Bank, Cell, Ring

Plane = tuple[tuple[float, float], tuple[float, float]]  # unit normal and a point, in plan
PlaneNodes = tuple[tuple[float, float], IntArray]
Pin = tuple[int, tuple[float, float]]
ON_PLANE = 1e-6  # mm
PIN_SLACK = 1e-3  # mm within which nodes count as equally far out


@dataclass(frozen=True)
class StudPlace:
    """Axis of a stud (mm); cut_planes : unit normals of the planes of symmetry through it."""

    x: float
    y: float
    cut_planes: tuple[tuple[float, float], ...]

    @property
    def share(self) -> float:
        """How much of the stud the cell holds: 1, or 0.5 or 0.25 where planes cut it."""
        return 0.5 ** len(self.cut_planes)


def copies(cell: Cell) -> list[tuple[FloatArray, tuple[float, float]]]:
    """Return the reflections and rotations that make the cell of its first tile."""
    layout = cell.layout
    mirror_x, mirror_y = np.diag([-1.0, 1.0]), np.diag([1.0, -1.0])
    if isinstance(layout, Ring):
        if layout.extent == "sector":
            return [(np.eye(2), (0.0, 0.0))]
        return [(matrix, (0.0, 0.0)) for matrix in ring_copies(layout.number)]
    along = [(np.eye(2), (0.0, 0.0))]
    for index in range(1, layout.bores):
        centre = (index * layout.pitch, 0.0)
        along += [(mirror_x, centre), (np.eye(2), centre)]
    if layout.extent == "half":
        along = [(flip @ matrix, shift) for matrix, shift in along for flip in (np.eye(2), mirror_y)]
    return along


def ring_copies(number: int) -> list[FloatArray]:
    """Return the reflections and rotations (2, 2) that make a ring of so many studs of its first half sector."""
    turns = [2.0 * math.pi * index / number for index in range(number)]
    rotations = [np.array([[math.cos(a), -math.sin(a)], [math.sin(a), math.cos(a)]]) for a in turns]
    return [rotation @ flip for rotation in rotations for flip in (np.eye(2), np.diag([1.0, -1.0]))]


def stud_places(cell: Cell) -> list[StudPlace]:
    """Return every stud of the cell in the order of its numbers: along the bank, or round the ring."""
    layout = cell.layout
    places: list[tuple[float, float]] = []
    for matrix, shift in copies(cell):
        for place in layout.tile_studs:
            x, y = matrix @ np.array(place) + np.array(shift)
            if all(math.dist((x, y), other) > ON_PLANE for other in places):
                places.append((float(x), float(y)))
    if isinstance(layout, Bank):
        places.sort(key=lambda place: (round(place[0], 6), -place[1]))
    else:
        places.sort(key=lambda place: round(math.atan2(place[1], place[0]) % (2.0 * math.pi), 9))
    return [StudPlace(x, y, planes_through(cell, x, y)) for x, y in places]


def planes(cell: Cell) -> list[Plane]:
    """Return unit normal and a point of every plane of symmetry."""
    layout = cell.layout
    if isinstance(layout, Ring):
        if layout.extent == "full":
            return []
        half = math.pi / layout.number
        return [((0.0, 1.0), (0.0, 0.0)), ((math.sin(half), -math.cos(half)), (0.0, 0.0))]
    end = (layout.bores - 0.5) * layout.pitch
    found = [((1.0, 0.0), (0.0, 0.0)), ((1.0, 0.0), (end, 0.0))]
    if layout.extent == "quarter":
        found.append(((0.0, 1.0), (0.0, 0.0)))
    return found


def planes_through(cell: Cell, x: float, y: float) -> tuple[tuple[float, float], ...]:
    """Return the unit normals of the planes of symmetry through a place (mm)."""
    return tuple(
        normal for normal, origin in planes(cell) if abs(float(np.dot(np.subtract((x, y), origin), normal))) < ON_PLANE
    )


def depth_inside(cell: Cell, x: FloatArray, y: FloatArray) -> FloatArray:
    """Return how far (mm) places lie inside the nearest plane of symmetry; negative beyond one."""
    layout = cell.layout
    if isinstance(layout, Bank):
        middle = ((layout.bores - 0.5) * layout.pitch / 2.0, layout.half_width / 2.0)
    else:
        middle = (math.cos(math.pi / layout.number / 2.0), math.sin(math.pi / layout.number / 2.0))
    depth = np.full(np.shape(x), np.inf)
    for normal, origin in planes(cell):
        side = math.copysign(1.0, float(np.dot(np.subtract(middle, origin), normal)))
        depth = np.minimum(depth, side * ((x - origin[0]) * normal[0] + (y - origin[1]) * normal[1]))
    return depth


def on_planes(wanted: list[Plane], points: FloatArray, slack: float = ON_PLANE) -> tuple[PlaneNodes, ...]:
    """Return the unit normal and the nodes of each plane."""
    held = []
    for normal, origin in wanted:
        distance = (points[0] - origin[0]) * normal[0] + (points[1] - origin[1]) * normal[1]
        held.append((normal, np.flatnonzero(np.abs(distance) < slack)))
    return tuple(held)


def travelling(cell: Cell, points: FloatArray, in_head: IntArray, slack: float = ON_PLANE) -> tuple[PlaneNodes, ...]:
    """Return the far end of a bank, of the head and of all else: without friction each expands as it likes."""
    if isinstance(cell.layout, Ring):
        return ()
    ((normal, nodes),) = on_planes(planes(cell)[1:2], points, slack)
    if cell.bearing_contact == "tied":
        return ((normal, nodes),)
    return ((normal, np.intersect1d(nodes, in_head)), (normal, np.setdiff1d(nodes, in_head)))


def pins(cell: Cell, points: FloatArray, support: IntArray, in_head: IntArray) -> tuple[Pin, ...]:
    """Return what must be held at the foot, and at the top of a head that slides, where symmetry leaves it free.

    Rigid-body constraints, which take no force: without friction nothing pushes a part sideways as a whole.
    """
    layout = cell.layout
    if layout.extent in ("quarter", "sector"):
        return ()
    levels = [support]
    if cell.bearing_contact == "frictionless":
        height = points[2, in_head]
        levels.append(in_head[height > height.max() - PIN_SLACK])
    pinned: list[Pin] = []
    for nodes in levels:
        x, y = points[:2, nodes]
        if isinstance(layout, Bank):
            far = np.flatnonzero(x > x.max() - PIN_SLACK)
            pinned.append((int(nodes[far[np.argmin(np.abs(y[far]))]]), (0.0, 1.0)))
            continue
        # on the axes as nearly as nodes allow: a ring that grows evenly pulls at none
        reach = np.hypot(x, y).max()
        for place, held in (((reach, 0.0), (0.0, 1.0)), ((-reach, 0.0), (0.0, 1.0)), ((0.0, reach), (1.0, 0.0))):
            pinned.append((int(nodes[np.argmin(np.hypot(x - place[0], y - place[1]))]), held))
    return tuple(pinned)
