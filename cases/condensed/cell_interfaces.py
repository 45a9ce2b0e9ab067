"""Interface points of a cell: closures from unknowns, zones and laws; points of no area along sealing lines, at nodes,
where the edges of zones are, and wherever the file asks.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from headjoint.cases.condensed.interface_laws import BEARING, PointGroup
from headjoint.cases.elements.solid import face_points
from headjoint.meshes.solid.face_search import FaceSearch
from headjoint.meshes.solid.solid_mesh import FacePair, SolidMesh
from headjoint.meshes.solid.symmetry import depth_inside
from headjoint.model.base.arrays import FloatArray, IntArray, summed_at
from headjoint.model.base.errors import SolveError
from headjoint.model.cell import Cell, PlanZone, Ring

UNMATCHED_POINTS = 8  # along a face whose partner's edges cut through it: uniform pressure stays so to 0.2 %
LINE_SLACK = 0.05  # mm from a plane of symmetry within which a place may miss the faces by rounding
LINE_STEP = 3.0  # degrees between points of a sealing line
AT_EDGE = 1e-3  # mm from the edge of a zone within which a node belongs to both sides
RADIAL_POINTS, RADIAL_WEIGHTS = np.polynomial.legendre.leggauss(5)


@dataclass(frozen=True)
class SealingLine:
    """The sealing line of one bore: angle (k,) in degrees from the x axis; numbers of its points.

    at : (k,) points on the line. across : (k, 5) points over the ring's width, of weights across_weight (5,) mm, whose
    sum of pressure is the line load in N/mm.
    """

    bore: int
    angle: FloatArray
    at: IntArray = field(repr=False)
    across: IntArray = field(repr=False)
    across_weight: FloatArray = field(repr=False)


@dataclass(frozen=True)
class InterfacePoints:
    """All points where interface laws act.

    B : (g, kept) closure per kept unknown. weight : (g,) mm2, 0 on sealing lines, at nodes and places that are asked
    for. places : (2, g) mm.
    zone : (g,) index of the gasket zone, -1 on bearing faces. fastener : (g,) number of the one whose bearing face it
    is, -1 on the gasket. uncovered : largest share of a face's area that
    has no face opposite, 0 where faces match. gasket_faces : (8 or 6, f) faces that carry the gasket's points;
    gasket_face_of : (k,) the face of each of the first k points. asked : (p,) the points at the places that the file
    asks for, -1 where no gasket lies. nodes : (e,) the points at nodes of its faces.
    """

    B: sp.csr_matrix = field(repr=False)
    weight: FloatArray = field(repr=False)
    places: FloatArray = field(repr=False)
    zone: IntArray = field(repr=False)
    fastener: IntArray = field(repr=False)
    groups: tuple[PointGroup, ...]
    lines: tuple[SealingLine, ...]
    uncovered: float
    gasket_faces: IntArray = field(repr=False)
    gasket_face_of: IntArray = field(repr=False)
    asked: IntArray = field(repr=False)
    nodes: IntArray = field(repr=False)

    @cached_property
    def under_fasteners(self) -> list[IntArray]:
        """The points of the bearing face of every fastener that has one."""
        numbers = np.unique(self.fastener[self.fastener >= 0])
        return [np.flatnonzero(self.fastener == number) for number in numbers]

    def face_means(self, values: FloatArray) -> FloatArray:
        """Return the mean over each gasket face (f,) of values at all points (g,)."""
        count, at = self.gasket_faces.shape[1], slice(0, len(self.gasket_face_of))
        sums = summed_at(self.gasket_face_of, self.weight[at] * values[at], count)
        return sums / np.maximum(summed_at(self.gasket_face_of, self.weight[at], count), 1e-12)


def interface_points(cell: Cell, mesh: SolidMesh, transform: sp.csr_matrix, kept: IntArray) -> InterfacePoints:
    """Return the interface points of a mesh; `kept` numbers the unknowns of the reduced joint."""
    # closure at a point from displacements u_z of both faces, then through T to the kept unknowns
    rows, places, weights, kinds = [], [], [], []
    uncovered = 0.0
    for pair in mesh.pairs:
        met = faces_met(mesh, pair)
        uncovered = max(uncovered, met.uncovered)
        if pair.name == "gasket":
            gasket_face_of = met.face_of
        rows.append(met.lower - met.upper)
        places.append(met.at)
        weights.append(met.weight)
        kinds.append(np.full(len(met.weight), 0 if pair.name == "gasket" else 1))
    lines = _lines(cell, mesh, rows, places, weights, kinds)
    asked = _asked(cell, mesh, rows, places, weights, kinds)
    count = sum(len(one) for one in weights)
    zone, on_liner = _with_nodes(cell, mesh, rows, places, weights, kinds)
    position, kind = np.hstack(places), np.concatenate(kinds)
    weight = np.concatenate(weights)
    operator = _through(sp.vstack(rows).tocsr(), transform, kept)
    zone[kind == 1] = -1
    groups = []
    for index, wanted in enumerate(cell.zones):
        for liner in (False, True):
            own = np.flatnonzero((zone == index) & (on_liner == liner))
            if len(own):
                above = cell.liner.protrusion if liner and cell.liner is not None else 0.0
                name = f"{wanted.name} on liner" if liner else wanted.name
                groups.append(PointGroup(name, "gasket", own, wanted.law, wanted.step - above))
    bearing = np.flatnonzero(kind == 1)
    if len(bearing):
        groups.append(PointGroup("bearing", "bearing", bearing, BEARING))
    faces = mesh.pair("gasket").carriers
    fastener = np.full(len(kind), -1)
    fastener[bearing] = nearest_fastener(mesh, position[:, bearing]) if len(bearing) else -1
    return InterfacePoints(
        operator, weight, position, zone, fastener, tuple(groups), tuple(lines), uncovered, faces, gasket_face_of,
        asked, np.arange(count, len(weight)),
    )  # fmt: skip


@dataclass(frozen=True)
class FacesMet:
    """Points where two faces meet: lower, upper (g, nodes) evaluate a nodal field on either face there.

    at : (2, g) mm. weight : (g,) mm2. face_of : (g,) the carrying face of each. uncovered : as in `InterfacePoints`.
    """

    lower: sp.csr_matrix = field(repr=False)
    upper: sp.csr_matrix = field(repr=False)
    at: FloatArray = field(repr=False)
    weight: FloatArray = field(repr=False)
    face_of: IntArray = field(repr=False)
    uncovered: float


def faces_met(mesh: SolidMesh, pair: FacePair) -> FacesMet:
    """Return the quadrature points of a pair of faces."""
    gauss = face_points(mesh.points, pair.carriers, None if pair.matching else UNMATCHED_POINTS)
    at = gauss.places[:2].reshape(2, -1)
    weight = pair.bearing(np.abs(gauss.area[2])).ravel()
    own = spread(pair.carriers, gauss.shape, mesh.points.shape[1])
    face_of = np.repeat(np.arange(pair.carriers.shape[1]), len(gauss.shape))
    uncovered = 0.0
    if pair.matching:
        other = spread(pair.opposite, gauss.shape, mesh.points.shape[1])
    else:  # points of the smaller faces are searched on the others
        other, met = FaceSearch(mesh.points, pair.opposite).operator(at, mesh.points.shape[1])
        uncovered = float(weight[~met].sum() / weight.sum())
        own, other, at, weight, face_of = own[met], other[met], at[:, met], weight[met], face_of[met]
    lower, upper = (other, own) if pair.on_upper else (own, other)
    return FacesMet(lower, upper, at, weight, face_of, uncovered)


def spread(faces: IntArray, shape: FloatArray, nodes: int) -> sp.csr_matrix:
    """Return the operator (f q, nodes) that evaluates a nodal field at the Gauss points of faces."""
    k, f = faces.shape
    q = len(shape)
    row = np.repeat(np.arange(f * q), k)
    column = np.repeat(faces.T[:, None, :], q, axis=1).ravel()
    value = np.tile(shape.ravel(), f)
    return sp.csr_matrix((value, (row, column)), shape=(f * q, nodes))


def _through(closure: sp.csr_matrix, transform: sp.csr_matrix, kept: IntArray) -> sp.csr_matrix:
    """Return the closure operator over kept unknowns (overlaps get no column entries)."""
    vertical = transform[2::3]
    whole = (closure @ vertical).tocsc()
    inside = kept[kept < whole.shape[1]]
    taken = whole[:, inside]
    # what is not kept must drop out: both faces move together by the same unknown
    rest = abs(whole).sum() - abs(taken).sum()
    if rest > 1e-8 * max(abs(taken).sum(), 1.0):
        raise SolveError("closures depend on unknowns that were condensed: the faces are not paired as they should be")
    overlaps = sp.csr_matrix((whole.shape[0], len(kept) - len(inside)))
    return sp.hstack([taken, overlaps]).tocsr()


def _zones(cell: Cell, position: FloatArray, nudge: float = 0.0) -> tuple[IntArray, NDArray[np.bool_]]:
    """Return the zone of places and whether they are on a liner, as if they lay `nudge` mm further from their bore."""
    radius = nudge + np.min([np.hypot(position[0] - x, position[1] - y) for x, y in cell.bore_centres], axis=0)
    edges = np.array([zone.outer_diameter / 2.0 for zone in cell.zones])
    on_liner = np.zeros(len(radius), dtype=bool)
    if cell.liner is not None:
        on_liner = radius < cell.liner.outer_diameter / 2.0
    return np.searchsorted(edges, radius), on_liner


def _with_nodes(
    cell: Cell, mesh: SolidMesh, rows: list, places: list, weights: list, kinds: list
) -> tuple[IntArray, NDArray[np.bool_]]:
    """Append a point of no area at every node of the gasket's faces, two on the edge between zones, one of each.

    Returns the zone of all points and whether they are on a liner.
    """
    zone, on_liner = _zones(cell, np.hstack(places))
    pair, count = mesh.pair("gasket"), mesh.points.shape[1]
    nodes, first = np.unique(pair.carriers.ravel(), return_index=True)
    at = mesh.points[:2, nodes]
    own = _picked(nodes, count)
    if pair.matching:
        other = _picked(pair.opposite.ravel()[first], count)
    else:
        other, met = FaceSearch(mesh.points, pair.opposite).operator(at, count)
        at, own, other = at[:, met], own[met], other[met]
    closure = other - own if pair.on_upper else own - other
    inner, outer = _zones(cell, at, -AT_EDGE), _zones(cell, at, AT_EDGE)
    both = np.flatnonzero((inner[0] != outer[0]) | (inner[1] != outer[1]))
    taken = np.concatenate([np.arange(at.shape[1]), both])
    rows.append(closure[taken])
    places.append(at[:, taken])
    weights.append(np.zeros(len(taken)))
    kinds.append(np.zeros(len(taken), dtype=np.int64))
    zone = np.concatenate([zone, inner[0], outer[0][both]])
    return zone, np.concatenate([on_liner, inner[1], outer[1][both]])


def _asked(cell: Cell, mesh: SolidMesh, rows: list, places: list, weights: list, kinds: list) -> IntArray:
    """Append a point of no area at every place that the file asks for; returns their numbers, -1 off the gasket."""
    wanted = np.array(cell.asked.places).reshape(-1, 2).T
    if not wanted.size:
        return np.empty(0, dtype=np.int64)
    pair, count = mesh.pair("gasket"), mesh.points.shape[1]
    lower, on_lower = FaceSearch(mesh.points, pair.lower).operator(wanted, count)
    upper, on_upper = FaceSearch(mesh.points, pair.upper).operator(wanted, count)
    met = on_lower & on_upper
    number = np.full(len(met), -1)
    number[met] = sum(len(one) for one in weights) + np.arange(int(met.sum()))
    rows.append((lower - upper)[met])
    places.append(wanted[:, met])
    weights.append(np.zeros(int(met.sum())))
    kinds.append(np.zeros(int(met.sum()), dtype=np.int64))
    return number


def _picked(nodes: IntArray, count: int) -> sp.csr_matrix:
    """Return the operator (k, count) that reads a nodal field at nodes."""
    return sp.csr_matrix((np.ones(len(nodes)), (np.arange(len(nodes)), nodes)), shape=(len(nodes), count))


def nearest_fastener(mesh: SolidMesh, position: FloatArray) -> IntArray:
    """Return the number of the fastener nearest to every place (2, g)."""
    away = [np.hypot(position[0] - one.x, position[1] - one.y) for one in mesh.fasteners]
    return np.argmin(away, axis=0)


def _lines(cell: Cell, mesh: SolidMesh, rows: list, places: list, weights: list, kinds: list) -> list[SealingLine]:
    """Append points of no area along every sealing line and over its ring's width."""
    pair = mesh.pair("gasket")
    lower, upper = FaceSearch(mesh.points, pair.lower), FaceSearch(mesh.points, pair.upper)
    zone: PlanZone = cell.sealing_zone
    half = (zone.outer_diameter - zone.inner_diameter) / 4.0
    middle = zone.sealing_diameter / 2.0
    radii = np.concatenate([[middle], middle + half * RADIAL_POINTS])
    first = sum(len(weight) for weight in weights)
    lines = []
    # a piece of a head that no bore opens into has no line
    for bore, (x, y) in enumerate(cell.bore_centres[: len(mesh.chamber)]):
        angle = np.arange(0.0, 360.0, LINE_STEP)
        if isinstance(cell.layout, Ring):  # at and half-way between the studs, whatever their number
            angle = np.union1d(angle, np.arange(2 * cell.layout.number) * 180.0 / cell.layout.number)
        turn = np.radians(angle)
        at = np.stack([x + np.outer(np.cos(turn), radii), y + np.outer(np.sin(turn), radii)])
        flat = at.reshape(2, -1)
        below, found_below = lower.operator(flat, mesh.points.shape[1])
        above, found_above = upper.operator(flat, mesh.points.shape[1])
        whole = (found_below & found_above).reshape(len(angle), -1).all(axis=1)
        lost = ~whole & (depth_inside(cell, *at).reshape(len(angle), -1).min(axis=1) > LINE_SLACK)
        if lost.any() or not whole.any():
            where = f" at {angle[lost][0]:g} degrees" if lost.any() else ""
            raise SolveError(f"no gasket faces lie on the sealing line of bore {bore + 1}{where}")
        take = np.repeat(whole, len(radii))
        rows.append((below - above)[take])
        places.append(flat[:, take])
        weights.append(np.zeros(int(take.sum())))
        kinds.append(np.zeros(int(take.sum()), dtype=np.int64))
        number = first + np.arange(int(take.sum())).reshape(-1, len(radii))
        first += number.size
        lines.append(SealingLine(bore, angle[whole], number[:, 0], number[:, 1:], half * RADIAL_WEIGHTS))
    return lines
