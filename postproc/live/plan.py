"""Pressure of a cell's gasket on a regular grid in plan, read inside the elements, and what lies round it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.spatial import Delaunay, cKDTree

from headjoint.cases.models.condensed import BoreCell
from headjoint.meshes.solid.face_search import FaceSearch
from headjoint.meshes.solid.symmetry import ring_copies, stud_places
from headjoint.model.base.arrays import FloatArray
from headjoint.model.cell import Bank, Cell, Ring

SPACING = 0.75  # mm between points of the grid: six across a bead of 5 mm
LARGEST_GRID = 40_000
ON_EDGE = 1e-9  # mm (or rad) by which places lie inside the planes of symmetry
SAME_PLACE = 1e-6  # mm


@dataclass(frozen=True)
class GasketPlan:
    """A grid over the gasket, mirror images too. x (c,), y (r,) mm. on (r, c) : where there is gasket.

    read : (points on the gasket, g) operator from values at the interface points.
    """

    x: FloatArray
    y: FloatArray
    on: NDArray[np.bool_] = field(repr=False)
    read: sp.csr_matrix = field(repr=False)

    def values(self, at_points: FloatArray) -> FloatArray:
        """Return values (g,) of interface points on the grid (r, c), nan where there is no gasket."""
        found = np.full(self.on.shape, np.nan)
        found[self.on] = self.read @ at_points
        return found


def gasket_plan(model: BoreCell, corners: FloatArray) -> GasketPlan:
    """Return the grid of all that a cell stands for, its mirror images too.

    corners : (2, 8 or 6, f) places of the nodes of the gasket's faces, mm.
    """
    count, faces = corners.shape[1:]
    search = FaceSearch(corners.reshape(2, -1), np.arange(count * faces).reshape(count, faces))
    low, high = _extent(model.cell, corners)
    step = max(SPACING, float(np.sqrt(np.prod(high - low) / LARGEST_GRID)))
    x, y = (np.linspace(a, b, round((b - a) / step) + 1) for a, b in zip(low, high, strict=True))
    places = folded(model.cell, np.stack(np.meshgrid(x, y)).reshape(2, -1))
    on = search.locate(places)[0] >= 0
    read = _read(model, places[:, on], _zone_of(model.cell, places[:, on]))
    return GasketPlan(x, y, on.reshape(len(y), len(x)), read)


def _extent(cell: Cell, corners: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the lower left and upper right corner (2,) of the picture, mm."""
    low, high = corners.min(axis=(1, 2)), corners.max(axis=(1, 2))
    if isinstance(cell.layout, Ring):
        radius = float(np.hypot(*corners.reshape(2, -1)).max())
        return np.full(2, -radius), np.full(2, radius)
    low[0] = -high[0]
    if cell.layout.extent == "quarter":
        low[1] = -high[1]
    return low, high


def folded(cell: Cell, places: FloatArray) -> FloatArray:
    """Return places (2, n) moved into the modelled cell by its symmetries, a hair inside of its planes."""
    x, y = places
    if isinstance(cell.layout, Bank):
        end = (cell.layout.bores - 0.5) * cell.layout.pitch
        x = np.clip(np.abs(x), ON_EDGE, end - ON_EDGE)
        return np.stack([x, np.maximum(np.abs(y), ON_EDGE) if cell.layout.extent == "quarter" else y])
    if cell.layout.extent == "full":
        return places
    half = np.pi / cell.layout.number
    angle = np.abs((np.arctan2(y, x) + half) % (2.0 * half) - half)
    angle, radius = np.clip(angle, ON_EDGE, half - ON_EDGE), np.hypot(x, y)
    return np.stack([radius * np.cos(angle), radius * np.sin(angle)])


def _zone_of(cell: Cell, places: FloatArray) -> NDArray[np.int64]:
    radius = np.min([np.hypot(places[0] - x, places[1] - y) for x, y in cell.bore_centres], axis=0)
    return np.searchsorted([zone.outer_diameter / 2.0 for zone in cell.zones], radius)


def _read(model: BoreCell, places: FloatArray, zone: NDArray[np.int64]) -> sp.csr_matrix:
    """Return the operator that reads pressure at places: linear between the points of their own zone.

    Pressure jumps from zone to zone, so that nothing is read across an edge; there each zone has points of its own.
    """
    rows, columns, weights = [], [], []
    points = model.points
    for index in range(len(model.cell.zones)):
        own, wanted = np.flatnonzero(points.zone == index), np.flatnonzero(zone == index)
        if not len(own) or not len(wanted):
            continue
        near = Delaunay(points.places[:, own].T)
        at = places[:, wanted].T
        simplex = near.find_simplex(at)
        inside = simplex >= 0
        corner = near.transform[simplex[inside]]
        share = np.einsum("nij,nj->ni", corner[:, :2], at[inside] - corner[:, 2])
        share = np.column_stack([share, 1.0 - share.sum(axis=1)])
        rows.append(np.repeat(wanted[inside], 3))
        columns.append(own[near.simplices[simplex[inside]]].ravel())
        weights.append(share.ravel())
        beyond = wanted[~inside]  # between the chord and the arc of an edge
        if len(beyond):
            nearest = cKDTree(points.places[:, own].T).query(places[:, beyond].T)[1]
            rows.append(beyond)
            columns.append(own[nearest])
            weights.append(np.ones(len(beyond)))
    entries = (np.concatenate(weights), (np.concatenate(rows), np.concatenate(columns)))
    return sp.csr_matrix(entries, shape=(places.shape[1], len(points.zone)))


def images(cell: Cell, place: tuple[float, float]) -> list[tuple[float, float]]:
    """Return all places of the picture that a place of the cell stands for, each once."""
    x, y = place
    layout = cell.layout
    if isinstance(layout, Bank):
        across = (y, -y) if layout.extent == "quarter" else (y,)
        found = [(one, other) for one in (x, -x) for other in across]
    elif layout.extent == "full":
        found = [place]
    else:
        found = [(float(one), float(other)) for one, other in np.array(ring_copies(layout.number)) @ place]
    once: list[tuple[float, float]] = []
    for one in found:
        if all(np.hypot(one[0] - other[0], one[1] - other[1]) > SAME_PLACE for other in once):
            once.append(one)
    return once


def surroundings(cell: Cell) -> dict[str, Any]:
    """Return what lies in the picture besides the gasket, mm: bores, which of them fire, sealing lines, studs."""
    bores, studs = cell.bore_centres, stud_places(cell)
    return {
        "bore": cell.layout.bore,
        "sealing_diameter": cell.sealing_zone.sealing_diameter,
        "bores": [
            {"x": x, "y": y, "number": number, "fired": number in cell.fired}
            for number, centre in enumerate(bores)
            for x, y in images(cell, centre)
        ],
        "studs": [
            {"x": x, "y": y, "number": number}
            for number, one in enumerate(studs)
            for x, y in images(cell, (one.x, one.y))
        ],
    }
