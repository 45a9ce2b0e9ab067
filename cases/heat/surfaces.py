"""Surfaces that heat passes: films, contacts and fluxes by evaluation at Gauss points of facets and faces.

A surface is an operator from nodal temperatures to its points and the area of each; a contact is the same with the
difference of two faces. Points of matching faces come in the order of the mechanical interface points
(`cell_interfaces.interface_points`, `condensation`), so that a pressure per point there gives a conductance per
point here.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import scipy.sparse as sp

from headjoint.cases.condensed.cell_interfaces import UNMATCHED_POINTS, spread
from headjoint.cases.elements.axisymmetric import GAUSS_POINTS, GAUSS_WEIGHTS
from headjoint.cases.elements.solid import face_points
from headjoint.cases.heat.conduction import FloatArray, HeatBody, IntArray
from headjoint.meshes.solid.face_search import FaceSearch
from headjoint.meshes.solid.solid_mesh import FacePair
from headjoint.model.base.errors import InputError

SAME_PLACE = 1e-6  # mm along the face that paired points may differ
LARGEST_UNCOVERED = 0.02  # of a face's area; edges of unlike meshes miss each other by some of it


@dataclass(frozen=True)
class SurfacePoints:
    """Points of a surface, or of a contact (lower less upper face).

    evaluate : (g, n) temperature, or difference of temperature, at the points from nodal temperatures.
    weight : (g,) mm2. places : (2 or 3, g) mm.
    """

    evaluate: sp.csr_matrix = field(repr=False)
    weight: FloatArray = field(repr=False)
    places: FloatArray = field(repr=False)

    @property
    def area(self) -> float:
        """Area, mm2."""
        return float(self.weight.sum())

    def exchange_matrix(self, coefficient: FloatArray | float) -> sp.csr_matrix:
        """Return the matrix (n, n) in W/K of a coefficient in W/(mm2 K), a number or one per point."""
        scaled = sp.diags(self.weight * coefficient)
        return (self.evaluate.T @ scaled @ self.evaluate).tocsr()

    def load(self, density: FloatArray | float) -> FloatArray:
        """Return the load (n,) in W of a flux in W/mm2 into the body, a number or one per point."""
        return self.evaluate.T @ (self.weight * density)

    def mean(self, temperature: FloatArray) -> float:
        """Return the mean over the area of nodal temperatures (of a contact: of the difference)."""
        return float(self.weight @ (self.evaluate @ temperature) / self.weight.sum())


def surface(body: HeatBody, faces: IntArray) -> SurfacePoints:
    """Return the points of facets (numbers of straight mesh facets, axisymmetric) or faces (8 or 6, f nodes)."""
    if body.basis is not None:
        return _facets(body, np.asarray(faces, dtype=np.int64))
    gauss = face_points(body.places, faces)
    return SurfacePoints(spread(faces, gauss.shape, body.count), gauss.weight.ravel(), gauss.places.reshape(3, -1))


def _facets(body: HeatBody, facets: IntArray) -> SurfacePoints:
    basis = body.basis
    assert basis is not None
    mesh = basis.mesh
    ends = mesh.facets[:, facets]
    r, z = mesh.p[0][ends], mesh.p[1][ends]
    # from inner to outer, vertical ones upwards, as the mechanical rows go
    swap = (r[0] - r[1] > 1e-9) | ((np.abs(r[0] - r[1]) <= 1e-9) & (z[0] > z[1]))
    ends = np.where(swap, ends[::-1], ends)
    start, end = mesh.p[:, ends[0]], mesh.p[:, ends[1]]
    x = GAUSS_POINTS
    shape = np.column_stack([x * (x - 1.0) / 2.0, x * (x + 1.0) / 2.0, 1.0 - x**2])
    places = (start + end)[:, :, None] / 2.0 + (end - start)[:, :, None] / 2.0 * x
    half = np.linalg.norm(end - start, axis=0) / 2.0
    weight = 2.0 * np.pi * places[0] * half[:, None] * GAUSS_WEIGHTS
    vertices = basis.nodal_dofs[0][ends]
    nodes = np.stack([vertices[0], vertices[1], basis.facet_dofs[0][facets]])
    return SurfacePoints(spread(nodes, shape, body.count), weight.ravel(), places.reshape(2, -1))


def contact(body: HeatBody, lower: IntArray, upper: IntArray) -> SurfacePoints:
    """Return the points of matching facets or faces, pair by pair opposite each other.

    They may stand apart along their normal, as the deck and the head do by the gasket. Raises InputError when they
    do not lie opposite each other.
    """
    if np.shape(lower) != np.shape(upper):
        raise InputError("faces in contact must pair off", value=(np.shape(lower), np.shape(upper)))
    below, above = surface(body, lower), surface(body, upper)
    apart = above.places - below.places
    normal = _normals(body, lower)
    along = apart - normal * np.sum(apart * normal, axis=0)
    worst = float(np.abs(along).max(initial=0.0))
    if worst > SAME_PLACE:
        raise InputError(f"faces in contact are {worst:.3g} mm out of place along themselves; they must match")
    return SurfacePoints((below.evaluate - above.evaluate).tocsr(), below.weight, below.places)


def _normals(body: HeatBody, faces: IntArray) -> FloatArray:
    """Return the unit normal (2 or 3, g) at the points of facets or faces."""
    if body.basis is None:
        area = face_points(body.places, faces).area.reshape(3, -1)
        return area / np.linalg.norm(area, axis=0)
    ends = body.basis.mesh.p[:, body.basis.mesh.facets[:, faces]]
    along = ends[:, 1] - ends[:, 0]
    return np.repeat(np.stack([-along[1], along[0]]) / np.linalg.norm(along, axis=0), len(GAUSS_POINTS), axis=1)


def pair_contact(body: HeatBody, pair: FacePair) -> SurfacePoints:
    """Return the points of a pair of faces of a solid mesh; points of faces that do not match are searched in plan.

    Raises InputError when more than rounding of the smaller face has no face opposite.
    """
    if pair.matching:
        matched = contact(body, pair.carriers, pair.opposite)
        weight = pair.bearing(matched.weight.reshape(pair.carriers.shape[1], -1)).ravel()
        return SurfacePoints(-matched.evaluate if pair.on_upper else matched.evaluate, weight, matched.places)
    gauss = face_points(body.places, pair.carriers, UNMATCHED_POINTS)
    places, weight = gauss.places.reshape(3, -1), np.abs(gauss.area[2]).ravel()
    own = spread(pair.carriers, gauss.shape, body.count)
    other, met = FaceSearch(body.places, pair.opposite).operator(places[:2], body.count)
    uncovered = float(weight[~met].sum() / weight.sum())
    if uncovered > LARGEST_UNCOVERED:
        raise InputError(
            f"{100 * uncovered:.1f} % of the faces of '{pair.name}' have none opposite "
            f"(allowed {100 * LARGEST_UNCOVERED:g} %)"
        )
    difference = (other - own if pair.on_upper else own - other)[met].tocsr()
    return SurfacePoints(difference, weight[met], places[:, met])
