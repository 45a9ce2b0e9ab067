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
from numpy.typing import NDArray

from headjoint.meshes.solid.gmsh_session import gmsh_session
from headjoint.meshes.solid.plan_mesh import PlanMesh, anticlockwise
from headjoint.meshes.solid.smoothing import shares_of_square, smoothed
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import MeshError, TooManyElementsError

QUADRILATERAL_8 = 16  # gmsh's element type
LARGEST_PLAN = 40_000
LARGER = "give larger ring_size, stud_size or largest"
SQUARE_SHARE = 0.55  # of a disc's radius, half diagonal of the square inside it
SAME_RADIUS = SAME_PLACE = 1e-6  # mm
SAME_AREA = 1e-4  # of the tile; its outer arc takes some of it
CORNER = 3.0  # rad: a face with four corners sharper than this is meshed as a grid
SMALLEST_SIZE = 0.2  # mm
ROOM_STEP = 0.25  # mm between places at which the room between lines is known

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
class _Try:
    """A way to mesh the plan. factor : on the element size. narrow : element size over the room between two lines, at
    most. recombined : quadrilaterals made of pairs of triangles; else each triangle becomes three.
    """

    factor: float = 1.0
    narrow: float = math.inf
    recombined: bool = True


# pairing is fickle: the best of a few sizes is taken; what is still not usable is meshed by triangles
SIZE_TRIES = tuple(_Try(factor) for factor in (1.0, 0.92, 1.08))
OTHER_TRIES = (_Try(recombined=False), *(_Try(narrow=share, recombined=False) for share in (2.0, 1.0, 0.5)))
GOOD, USABLE = 0.2, 0.15  # least share of a square at which no better mesh is looked for, or no other way


def tile_plan(
    name: str,
    tile: Rectangle | Sector,
    rings: list[Rings],
    size: Callable[[float, float], float],
    edges: Sequence[Line | Arc] = (),
    middle: Sequence[float] | None = None,
) -> PlanMesh:
    """Return the plan mesh of one tile.

    `size` gives the wanted element size (mm) at a place; `edges` of walls are followed where the elements allow it.
    Where no size gives usable elements, narrow places get smaller ones. middle : x (mm) of the nodes that it must have
    at y = 0. Raises MeshError when gmsh fails.
    """
    best: PlanMesh | None = None
    reached, failed = -1.0, None
    for way in (*SIZE_TRIES, *OTHER_TRIES):
        if reached > (GOOD if way in SIZE_TRIES else USABLE):
            break
        try:
            plan, quality = _tried(name, tile, rings, _sizes(tile, rings, edges, size, way), edges, way.recombined)
        except TooManyElementsError:
            if best is None:
                raise
            continue
        except MeshError as error:
            failed = failed or error
            continue
        if middle is not None and not same_places(middle_of(plan), middle):
            failed = failed or MeshError(f"{name}: the plans of its two sides do not meet; change [mesh] ring_size")
            continue
        if quality > reached:
            best, reached = plan, quality
    if best is None:
        raise failed or MeshError(f"{name}: every plan is folded")
    return best


def middle_of(plan: PlanMesh) -> tuple[float, ...]:
    """Return x (mm) of the nodes of a plan at y = 0, rising."""
    return tuple(np.sort(plan.points[0, np.abs(plan.points[1]) < SAME_PLACE]).tolist())


def same_places(some: Sequence[float], others: Sequence[float]) -> bool:
    """Return whether nodes on one line are at the same places (mm)."""
    return len(some) == len(others) and bool(np.abs(np.subtract(some, others)).max(initial=0.0) < SAME_PLACE)


def _tried(
    name: str,
    tile: Rectangle | Sector,
    rings: list[Rings],
    size: Callable[[float, float], float],
    edges: Sequence[Line | Arc],
    recombined: bool,
) -> tuple[PlanMesh, float]:
    """Return a plan mesh, smoothed where it is not usable otherwise, and its quality."""
    with gmsh_session(name) as gmsh:
        try:
            plan, free = _mesh(gmsh, tile, rings, size, edges, recombined)
        except MeshError:
            raise
        except Exception as error:  # gmsh raises bare Exception
            raise MeshError(f"{name}: the mesher failed on the plan: {error}") from None
    whole = tile.width * tile.depth if isinstance(tile, Rectangle) else tile.angle * tile.radius**2 / 2.0
    return mended(plan, free, whole)


def mended(plan: PlanMesh, free: NDArray[np.bool_], whole: float) -> tuple[PlanMesh, float]:
    """Return a plan of so many mm2, smoothed where it is not usable otherwise, and its quality."""
    quality = plan_quality(plan, whole)
    if quality < USABLE:
        better = PlanMesh(smoothed(plan.points, plan.quads, free), plan.quads)
        by_smoothing = plan_quality(better, whole)
        if by_smoothing > quality:
            return better, by_smoothing
    return plan, quality


def plan_quality(plan: PlanMesh, whole: float) -> float:
    """Return the least share of a square of any quadrilateral, -1 where they do not cover the tile once (mm2)."""
    if abs(plan_area(plan) / whole - 1.0) > SAME_AREA:
        return -1.0
    return float(shares_of_square(plan.points, plan.quads).min())


def plan_area(plan: PlanMesh) -> float:
    """Return the area (mm2) of a plan's quadrilaterals; folded ones count less than nothing."""
    straight, bent = (
        _polygons(plan.points[:, plan.quads[nodes]]) for nodes in ([0, 1, 2, 3], [0, 4, 1, 5, 2, 6, 3, 7])
    )
    # between a chord and a parabola lie four thirds of the triangle to its middle
    return (4.0 * bent - straight) / 3.0


def _polygons(corners: FloatArray) -> float:
    """Return the area (mm2) of polygons with corners (2, k, m)."""
    x, y = corners
    return float((x * np.roll(y, -1, axis=0) - np.roll(x, -1, axis=0) * y).sum() / 2.0)


def _sizes(
    tile: Rectangle | Sector,
    rings: list[Rings],
    edges: Sequence[Line | Arc],
    size: Callable[[float, float], float],
    way: _Try,
) -> Callable[[float, float], float]:
    if math.isinf(way.narrow):
        return lambda x, y: way.factor * size(x, y)
    # looked up, for the mesher asks some hundred thousand times
    width, depth = (tile.width, tile.depth) if isinstance(tile, Rectangle) else (tile.radius, tile.radius)
    x, y = np.meshgrid(np.arange(0.0, width + ROOM_STEP, ROOM_STEP), np.arange(0.0, depth + ROOM_STEP, ROOM_STEP))
    allowed = np.maximum(way.narrow * _room(tile, rings, edges, x, y), SMALLEST_SIZE).T

    def limited(x: float, y: float) -> float:
        return min(way.factor * size(x, y), allowed[round(max(x, 0.0) / ROOM_STEP), round(max(y, 0.0) / ROOM_STEP)])

    return limited


def _room(
    tile: Rectangle | Sector, rings: list[Rings], edges: Sequence[Line | Arc], x: FloatArray, y: FloatArray
) -> FloatArray:
    """Return the room (mm) at places: the least sum of distances from two lines that do not cross."""
    circles = [(ring.x, ring.y, r) for ring in rings for r in ring.radii if ring.spokes is None or r >= ring.spokes[1]]
    circles += [(0.0, 0.0, edge.radius) for edge in edges if isinstance(edge, Arc)]
    if isinstance(tile, Rectangle):
        lines = [(1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (-1.0, 0.0, tile.width), (0.0, -1.0, tile.depth)]
    else:
        lines = [(0.0, 1.0, 0.0), (math.sin(tile.angle), -math.cos(tile.angle), 0.0)]
        circles.append((0.0, 0.0, tile.radius))
    away = [np.abs(np.hypot(x - x0, y - y0) - radius) for x0, y0, radius in circles]
    room = np.full(x.shape, np.inf)
    for index, (x0, y0, radius) in enumerate(circles):
        for other, (x1, y1, second) in enumerate(circles[:index]):
            if not abs(radius - second) <= math.hypot(x0 - x1, y0 - y1) <= radius + second:
                room = np.minimum(room, away[index] + away[other])
        for a, b, offset in lines:
            if abs(a * x0 + b * y0 + offset) > radius:
                room = np.minimum(room, away[index] + np.abs(a * x + b * y + offset))
    return room


def _mesh(
    gmsh: Any,
    tile: Rectangle | Sector,
    rings: list[Rings],
    size: Callable[[float, float], float],
    edges: Sequence[Line | Arc],
    recombined: bool,
) -> tuple[PlanMesh, NDArray[np.bool_]]:
    """Return the plan mesh, and which of its points (n,) lie on no line and in no grid."""
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
    without_loose(gmsh)
    gridded = [face for face in gmsh.model.getEntities(2) if _has_grid(rings, _corners(gmsh, face))]
    points, quads, free = quadrilaterals(gmsh, size, recombined, gridded)
    points = _bent(points, quads, rings)
    used, numbered = np.unique(anticlockwise(points, quads), return_inverse=True)
    return PlanMesh(points[:, used], numbered.reshape(quads.shape)), free[used]


def quadrilaterals(
    gmsh: Any, size: Callable[[float, float], float], recombined: bool, gridded: Sequence[tuple[int, int]]
) -> tuple[FloatArray, IntArray, NDArray[np.bool_]]:
    """Return points (2, n), quadrilaterals (8, m) of all faces of the model, and which points lie on no line and in no
    grid; faces of `gridded` are meshed as grids. Raises MeshError for other elements, or too many.
    """
    for option, value in (
        ("Mesh.MeshSizeExtendFromBoundary", 0),
        ("Mesh.MeshSizeFromPoints", 0),
        ("Mesh.RecombineAll", int(recombined)),
        ("Mesh.RecombinationAlgorithm", 1),
        ("Mesh.RecombineMinimumQuality", 0.2),  # else quadrilaterals with two edges on one circle appear
        ("Mesh.SubdivisionAlgorithm", 1),
        ("Mesh.Algorithm", 8),
        ("Mesh.SecondOrderIncomplete", 1),
    ):
        gmsh.option.setNumber(option, value)
    # every quadrilateral is split in four at the end
    gmsh.model.mesh.setSizeCallback(lambda dim, tag, x, y, z, lc: 2.0 * size(x, y))
    gmsh.model.mesh.setTransfiniteAutomatic(gridded, CORNER, True)
    for face in gridded:
        gmsh.model.mesh.setRecombine(*face)
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
        what = f"{quads.shape[1]} quadrilaterals in one tile of the plan are too many (at most {LARGEST_PLAN})"
        raise TooManyElementsError(f"{what}; {LARGER}", field="mesh")
    free = np.zeros(len(number), dtype=bool)
    for face in gmsh.model.getEntities(2):
        if face not in gridded:
            free[gmsh.model.mesh.getNodes(*face)[0].astype(int)] = True
    return points, quads, free[tags.astype(int)]


def _bent(points: FloatArray, quads: IntArray, rings: list[Rings]) -> FloatArray:
    """Return the points with edges between spokes on circles: a straight one would cut its thin ring's curved edge."""
    points = points.copy()
    for ring in rings:
        if ring.spokes is None:
            continue
        dx, dy = points[0] - ring.x, points[1] - ring.y
        radius = np.hypot(dx, dy)
        for edge in range(4):
            start, end, middle = quads[edge], quads[(edge + 1) % 4], quads[4 + edge]
            on = (np.abs(radius[start] - radius[end]) < SAME_RADIUS) & (radius[start] > ring.spokes[0] - SAME_RADIUS)
            on &= radius[start] < ring.spokes[1] + SAME_RADIUS
            between, centre = middle[on], np.array([[ring.x], [ring.y]])
            along = np.stack([dx[start[on]] + dx[end[on]], dy[start[on]] + dy[end[on]]])
            points[:, between] = centre + along / np.hypot(*along) * radius[start[on]]
    return points


def _sheet(occ: Any, tile: Rectangle | Sector) -> int:
    if isinstance(tile, Rectangle):
        return occ.addRectangle(0.0, 0.0, 0.0, tile.width, tile.depth)
    centre = occ.addPoint(0.0, 0.0, 0.0)
    first = occ.addPoint(tile.radius, 0.0, 0.0)
    last = occ.addPoint(tile.radius * math.cos(tile.angle), tile.radius * math.sin(tile.angle), 0.0)
    lines = [occ.addLine(centre, first), occ.addCircleArc(first, centre, last), occ.addLine(last, centre)]
    return occ.addPlaneSurface([occ.addCurveLoop(lines)])


def without_loose(gmsh: Any) -> None:
    """Remove what of the lines lies outside the tile."""
    for dimension in (1, 0):
        entities = gmsh.model.getEntities(dimension)
        gmsh.model.removeEntities([one for one in entities if not len(gmsh.model.getAdjacencies(*one)[0])])


def _corners(gmsh: Any, face: tuple[int, int]) -> FloatArray:
    """Return the places (2, k) where the lines round a face meet."""
    ends = gmsh.model.getBoundary([face], oriented=False, recursive=True)
    return np.array([gmsh.model.getValue(*end, [])[:2] for end in ends]).T


def _has_grid(rings: list[Rings], corners: FloatArray) -> bool:
    """Return whether the face with such corners (2, k) lies in a divided disc or between spokes."""
    for ring in rings:
        radius = np.hypot(corners[0] - ring.x, corners[1] - ring.y)
        if ring.square and radius.max() < ring.radii[0] + SAME_RADIUS:
            return True
        first, last = ring.spokes or (math.inf, 0.0)
        if radius.min() > first - SAME_RADIUS and radius.max() < last + SAME_RADIUS:
            return True
    return False


def _circle(occ: Any, ring: Rings, radius: float) -> int:
    """Draw a circle from one of its spokes on: where it begins is a corner, and grids have no more than four."""
    return int(occ.addCircle(ring.x, ring.y, 0.0, radius, angle1=math.pi / 4.0, angle2=2.25 * math.pi))


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
