"""Shapes from full displacements: sliding at the gasket, bore distortion by order, bending of fasteners."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from headjoint.cases.cell_condensation import CellModel
from headjoint.meshes.face_search import FaceSearch
from headjoint.meshes.solid_mesh import SolidMesh
from headjoint.model.cell import Cell

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
ORDERS = (0, 1, 2, 3, 4, 5, 6, 8)
DEPTHS = (0.06, 0.25, 0.5, 0.9)  # of the bore's diameter below the deck
WALL_SLACK = 1e-3  # mm


@dataclass(frozen=True)
class BoreShape:
    """Radial displacement of a bore at one depth (mm below the deck).

    angle (deg), radial (mm) : the samples. orders : amplitude (mm) of order k: 0 growth, 1 shift, 2 oval, ...
    """

    bore: int
    depth: float
    angle: FloatArray = field(repr=False)
    radial: FloatArray = field(repr=False)
    orders: dict[int, float]


@dataclass(frozen=True)
class Partners:
    """Nodes (k,) of the gasket's lower face, their places (2, k), and the operator (k, n) for the head over them."""

    lower: IntArray = field(repr=False)
    places: FloatArray = field(repr=False)
    upper: object = field(repr=False)

    def sliding(self, moved: FloatArray) -> FloatArray:
        """Return the horizontal travel (2, k) in mm of head over block for displacements (n, 3)."""
        return np.stack([self.upper @ moved[:, c] - moved[self.lower, c] for c in range(2)])


def gasket_partners(mesh: SolidMesh) -> Partners:
    """Return the pairs of places of both gasket faces."""
    pair = mesh.pair("gasket")
    lower = np.unique(pair.lower)
    operator, found = FaceSearch(mesh.points, pair.upper).operator(mesh.points[:2, lower], mesh.points.shape[1])
    return Partners(lower[found], mesh.points[:2, lower[found]], operator[found])


def bore_shapes(cell: Cell, mesh: SolidMesh, moved: FloatArray) -> tuple[BoreShape, ...]:
    """Return the shape of every bore at several depths, all round by the planes of symmetry through its axis."""
    casting = np.isin(mesh.part, [mesh.parts.index(name) for name in ("block", "liner") if name in mesh.parts])
    nodes = np.unique(mesh.cells[:, casting])
    x, y, z = mesh.points[:, nodes]
    found = []
    for bore, (bx, by) in enumerate(cell.bore_centres):
        on_wall = np.abs(np.hypot(x - bx, y - by) - cell.layout.bore / 2.0) < WALL_SLACK
        heights = np.unique(np.round(z[on_wall], 4))
        if not len(heights):
            continue
        chosen = sorted({float(heights[np.abs(heights + share * cell.layout.bore).argmin()]) for share in DEPTHS})
        planes = [
            math.atan2(-normal[0], normal[1])
            for normal, on in mesh.planes
            if len(on)
            and abs((bx - mesh.points[0, on[0]]) * normal[0] + (by - mesh.points[1, on[0]]) * normal[1]) < 1e-6
        ]
        for height in reversed(chosen):
            ring = nodes[on_wall & (np.abs(z - height) < 1e-3)]
            dx, dy = mesh.points[0, ring] - bx, mesh.points[1, ring] - by
            angle = np.arctan2(dy, dx)
            radial = moved[ring, 0] * np.cos(angle) + moved[ring, 1] * np.sin(angle)
            angle, radial = _all_round(angle, radial, planes)
            found.append(BoreShape(bore, -height, np.degrees(angle), radial, _orders(angle, radial)))
    return tuple(found)


def _all_round(angle: FloatArray, radial: FloatArray, planes: list[float]) -> tuple[FloatArray, FloatArray]:
    """Return the samples and their mirror images at planes (angle, rad) through the axis, all round."""
    angle = angle % (2.0 * math.pi)
    for _ in range(5):  # every round doubles the reach; eight studs have sixteen half sectors
        before = len(angle)
        for plane in planes:
            both = np.concatenate([angle, (2.0 * plane - angle) % (2.0 * math.pi)])
            # mirror images of one sample differ in their last digits, also across the full turn
            _, first = np.unique(np.round(both, 5) % round(2.0 * math.pi, 5), return_index=True)
            radial, angle = np.concatenate([radial, radial])[first], both[first]
            order = np.argsort(angle)
            angle, radial = angle[order], radial[order]
            new = np.concatenate([[True], np.diff(angle) > 1e-4])
            angle, radial = angle[new], radial[new]
        if len(angle) == before:
            break
    return angle, radial


def _orders(angle: FloatArray, radial: FloatArray) -> dict[int, float]:
    """Return the amplitudes of the Fourier orders by least squares over unevenly spaced samples."""
    usable = [k for k in ORDERS if 2 * k + 1 <= len(angle)]
    columns = [np.ones_like(angle)]
    for k in usable[1:]:
        columns += [np.cos(k * angle), np.sin(k * angle)]
    gaps = np.diff(np.concatenate([angle, [angle[0] + 2 * math.pi]]))
    weight = np.sqrt((gaps + np.roll(gaps, 1)) / 2.0)
    fit, *_ = np.linalg.lstsq(np.stack(columns, axis=1) * weight[:, None], radial * weight, rcond=None)
    orders = {0: float(fit[0])}
    for index, k in enumerate(usable[1:]):
        orders[k] = float(np.hypot(fit[1 + 2 * index], fit[2 + 2 * index]))
    return orders


def bending_stress(cell: Cell, model: CellModel, stress: FloatArray) -> FloatArray:
    """Return the greatest bending stress (MPa) of each fastener, at its smallest section.

    The gradient of the axial stress over the cylinder gives the moment, layer by layer of its free length; the
    smallest stated section bears it at d^3 of its own.
    """
    mesh = model.mesh
    places, weight = model.body.places()
    diameter = cell.shank_diameter
    smallest = min(segment.diameter for segment in cell.joint.fastener.segments)
    found = []
    for fastener in mesh.fasteners:
        own = fastener.free
        height = np.round(places[2, own].mean(axis=1), 3)
        largest = 0.0
        for level in np.unique(height):
            layer = own[height == level]
            dx = (places[0, layer] - fastener.x).ravel()
            dy = (places[1, layer] - fastener.y).ravel()
            w, axial = weight[layer].ravel(), stress[layer, :, 2].ravel()
            if not len(fastener.cut_planes):
                gradient = math.hypot(
                    float(w @ (axial * dx)) / float(w @ dx**2), float(w @ (axial * dy)) / float(w @ dy**2)
                )
            elif len(fastener.cut_planes) == 1:
                normal = fastener.cut_planes[0]
                along = -normal[1] * dx + normal[0] * dy
                gradient = abs(float(w @ (axial * along)) / float(w @ along**2))
            else:
                gradient = 0.0
            largest = max(largest, gradient)
        found.append(largest * diameter / 2.0 * (diameter / smallest) ** 3)
    return np.array(found)
