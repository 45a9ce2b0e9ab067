"""Quadrilateral plan mesh of the deck plane, following circles: bores, beads, stud holes, jackets.

A tile (quarter of a bank cell, or half a sector of a ring) is cut along circles and along help lines: a square
inside every innermost disc and spokes through the rings round it, so that rings are four-sided and mesh regularly.
Larger plans are mirrored tiles.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from headjoint.meshes.solid.gmsh_session import gmsh_session
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import MeshError

QUADRILATERAL_8 = 16  # gmsh's element type
LARGEST_PLAN = 40_000
SQUARE_SHARE = 0.55  # of a disc's radius, half diagonal of the square inside it
CORNER = 3.0  # rad: a face with four corners sharper than this is meshed as a grid
SIZE_TRIES = (1.0, 0.92, 1.08, 0.85, 1.15, 0.78)  # recombination is fickle: the best of a few sizes is taken

Point = tuple[float, float]
Line = tuple[Point, Point]


@dataclass(frozen=True)
class Rings:
    """Concentric circles (ascending radii, mm) that the mesh follows.

    square : whether a square divides the innermost disc. spokes : inner and outer radius (mm) between which spokes
    divide the rings.
    """

    x: float
    y: float
    radii: tuple[float, ...]
    square: bool = False
    spokes: tuple[float, float] | None = None


@dataclass(frozen=True)
class Arc:
    """Part of a circle round the tile's origin, from one angle (rad) to a larger one; mm."""

    radius: float
    start: float
    end: float


@dataclass(frozen=True)
class Rectangle:
    """The tile 0 <= x <= width, 0 <= y <= depth, bore centre at the origin; mm."""

    width: float
    depth: float


@dataclass(frozen=True)
class Sector:
    """The tile 0 <= angle <= `angle` (rad) out to `radius` (mm), bore centre at the origin."""

    radius: float
    angle: float


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


def tile_plan(
    name: str,
    tile: Rectangle | Sector,
    rings: list[Rings],
    size: Callable[[float, float], float],
    edges: Sequence[Line | Arc] = (),
) -> PlanMesh:
    """Return the plan mesh of one tile.

    `size` gives the wanted element size (mm) at a place; `edges` of walls are followed where the elements allow it.
    Raises MeshError when gmsh fails.
    """
    best: PlanMesh | None = None
    reached = -1.0
    for factor in SIZE_TRIES:
        with gmsh_session(name) as gmsh:
            try:
                plan = _mesh(gmsh, tile, rings, _scaled(size, factor), edges)
            except MeshError:
                raise
            except Exception as error:  # gmsh raises bare Exception
                raise MeshError(f"{name}: the mesher failed on the plan: {error}") from None
        quality = float(smallest_angle_sine(plan).min())
        if quality > reached:
            best, reached = plan, quality
        if quality > 0.28:
            break
    assert best is not None
    return best


def _scaled(size: Callable[[float, float], float], factor: float) -> Callable[[float, float], float]:
    return lambda x, y: factor * size(x, y)


def smallest_angle_sine(plan: PlanMesh) -> FloatArray:
    """Return the smallest sine of a corner angle of each quadrilateral, curved edges counted; below 0 folded."""
    p = plan.points[:, plan.quads]
    sines = []
    for corner in range(4):
        after, before = p[:, 4 + corner], p[:, 4 + (corner + 3) % 4]
        # tangents of the quadratic edges at this corner
        along = -3.0 * p[:, corner] + 4.0 * after - p[:, (corner + 1) % 4]
        back = -3.0 * p[:, corner] + 4.0 * before - p[:, (corner + 3) % 4]
        cross = along[0] * back[1] - along[1] * back[0]
        sines.append(cross / (np.linalg.norm(along, axis=0) * np.linalg.norm(back, axis=0)))
    return np.array(sines).min(axis=0)


def _mesh(
    gmsh: Any,
    tile: Rectangle | Sector,
    rings: list[Rings],
    size: Callable[[float, float], float],
    edges: Sequence[Line | Arc],
) -> PlanMesh:
    occ = gmsh.model.occ
    sheet = _sheet(occ, tile)
    tools = [(1, _circle(occ, ring, radius)) for ring in rings for radius in ring.radii]
    lines = [line for ring in rings for line in _help_lines(tile, ring)]
    for edge in [*lines, *edges]:
        if isinstance(edge, Arc):
            tools.append((1, occ.addCircle(0.0, 0.0, 0.0, edge.radius, angle1=edge.start, angle2=edge.end)))
        else:
            start, end = edge
            tools.append((1, occ.addLine(occ.addPoint(*start, 0.0), occ.addPoint(*end, 0.0))))
    occ.fragment([(2, sheet)], tools)
    occ.synchronize()
    for dimension in (1, 0):
        loose = [
            entity for entity in gmsh.model.getEntities(dimension) if not len(gmsh.model.getAdjacencies(*entity)[0])
        ]
        gmsh.model.removeEntities(loose)
    for option, value in (
        ("Mesh.MeshSizeExtendFromBoundary", 0),
        ("Mesh.MeshSizeFromPoints", 0),
        ("Mesh.RecombineAll", 1),
        ("Mesh.RecombinationAlgorithm", 1),
        ("Mesh.RecombineMinimumQuality", 0.2),  # else quadrilaterals with two edges on one circle appear
        ("Mesh.SubdivisionAlgorithm", 1),
        ("Mesh.Algorithm", 8),
        ("Mesh.SecondOrderIncomplete", 1),
    ):
        gmsh.option.setNumber(option, value)
    # every quadrilateral is split in four at the end
    gmsh.model.mesh.setSizeCallback(lambda dim, tag, x, y, z, lc: 2.0 * size(x, y))
    gridded = [face for face in gmsh.model.getEntities(2) if _has_grid(rings, occ.getCenterOfMass(*face)[:2])]
    gmsh.model.mesh.setTransfiniteAutomatic(gridded, CORNER, True)
    gmsh.model.mesh.generate(2)
    gmsh.model.mesh.setOrder(2)
    tags, xyz, _ = gmsh.model.mesh.getNodes()
    types, _, connectivity = gmsh.model.mesh.getElements(2)
    if list(types) != [QUADRILATERAL_8]:
        raise MeshError("the plan mesh holds other elements than quadrilaterals; try another [mesh] size")
    number = np.zeros(int(tags.max()) + 1, dtype=np.int64)
    number[tags.astype(int)] = np.arange(len(tags))
    quads = number[connectivity[0].astype(int)].reshape(-1, 8).T
    points = xyz.reshape(-1, 3)[:, :2].T
    if quads.shape[1] > LARGEST_PLAN:
        raise MeshError(f"{quads.shape[1]} quadrilaterals in one tile of the plan; give larger [mesh] sizes")
    return compact(PlanMesh(points, _anticlockwise(points, quads)))


def _sheet(occ: Any, tile: Rectangle | Sector) -> int:
    if isinstance(tile, Rectangle):
        return occ.addRectangle(0.0, 0.0, 0.0, tile.width, tile.depth)
    centre = occ.addPoint(0.0, 0.0, 0.0)
    first = occ.addPoint(tile.radius, 0.0, 0.0)
    last = occ.addPoint(tile.radius * math.cos(tile.angle), tile.radius * math.sin(tile.angle), 0.0)
    lines = [occ.addLine(centre, first), occ.addCircleArc(first, centre, last), occ.addLine(last, centre)]
    return occ.addPlaneSurface([occ.addCurveLoop(lines)])


def _has_grid(rings: list[Rings], place: Point) -> bool:
    """Return whether the face round `place` lies in a divided disc or between spokes."""
    for ring in rings:
        radius = math.hypot(place[0] - ring.x, place[1] - ring.y)
        if ring.square and radius < ring.radii[0]:
            return True
        if ring.spokes is not None and ring.spokes[0] < radius < ring.spokes[1]:
            return True
    return False


def _circle(occ: Any, ring: Rings, radius: float) -> int:
    """Draw a circle; where its axis stands on the left edge it begins outside the tile.

    Where a circle begins is a node. Inside the tile that one becomes, now and then, a corner between two edges on the
    same circle: a quadrilateral without an angle.
    """
    if ring.x == 0.0 and ring.y > 0.0:
        return int(occ.addCircle(ring.x, ring.y, 0.0, radius, angle1=math.pi, angle2=3.0 * math.pi))
    return int(occ.addCircle(ring.x, ring.y, 0.0, radius))


def _help_lines(tile: Rectangle | Sector, ring: Rings) -> list[Line]:
    """Return the square in the innermost disc and the spokes through the rings."""
    inner = ring.radii[0]
    lines: list[Line] = []
    if isinstance(tile, Sector) and ring.x == 0.0 and ring.y == 0.0:
        if ring.square:
            lines += _square_of_wedge(tile.angle, inner)
        angles = [tile.angle / 2.0]
    else:
        angles = [math.pi * (0.25 + 0.5 * quarter) for quarter in range(4)]
        if ring.square:
            corners = [_at(ring, SQUARE_SHARE * inner, angle) for angle in angles]
            lines += list(zip(corners, corners[1:] + corners[:1], strict=True))
            lines += [(corner, _at(ring, inner, angle)) for corner, angle in zip(corners, angles, strict=True)]
    if ring.spokes is not None:
        lines += [(_at(ring, ring.spokes[0], angle), _at(ring, ring.spokes[1], angle)) for angle in angles]
    return lines


def _square_of_wedge(angle: float, inner: float) -> list[Line]:
    half = angle / 2.0
    start, end = (inner / 2.0, 0.0), (inner / 2.0 * math.cos(angle), inner / 2.0 * math.sin(angle))
    distance = inner / 2.0 / max(math.cos(half), 0.7)
    middle = (distance * math.cos(half), distance * math.sin(half))
    return [(start, middle), (middle, end), (middle, (inner * math.cos(half), inner * math.sin(half)))]


def _at(ring: Rings, radius: float, angle: float) -> Point:
    return ring.x + radius * math.cos(angle), ring.y + radius * math.sin(angle)


def _anticlockwise(points: FloatArray, quads: IntArray) -> IntArray:
    p = points[:, quads[:4]]
    area = (p[0, 2] - p[0, 0]) * (p[1, 3] - p[1, 1]) - (p[0, 3] - p[0, 1]) * (p[1, 2] - p[1, 0])
    turned = quads[[0, 3, 2, 1, 7, 6, 5, 4]]
    return np.where(area > 0.0, quads, turned)


def compact(plan: PlanMesh) -> PlanMesh:
    """Return `plan` without unused points."""
    used, quads = np.unique(plan.quads, return_inverse=True)
    return PlanMesh(plan.points[:, used], quads.reshape(plan.quads.shape))


def moved(plan: PlanMesh, matrix: FloatArray, shift: Point = (0.0, 0.0)) -> PlanMesh:
    """Return the plan mapped by x -> matrix x + shift, a rotation or reflection."""
    points = matrix @ plan.points + np.array(shift)[:, None]
    return PlanMesh(points, _anticlockwise(points, plan.quads))


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
