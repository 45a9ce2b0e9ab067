"""What moves at a cell's faces - head over block at the gasket, bore walls outward - as rows on all unknowns."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import scipy.sparse as sp

from headjoint.cases.condensed.cell_condensation import CellModel
from headjoint.meshes.solid.face_search import FaceSearch
from headjoint.model.base.arrays import FloatArray, IntArray

WALL_SLACK = 2e-3  # mm


@dataclass(frozen=True)
class Partners:
    """Some nodes (k,) of the gasket's carrying faces, their places (2, k), the operator (k, n) for what lies opposite.

    sign : 1 where the head lies opposite, -1 where the block does.
    """

    nodes: IntArray = field(repr=False)
    places: FloatArray = field(repr=False)
    opposite: sp.csr_matrix = field(repr=False)
    sign: float

    def sliding(self, count: int) -> sp.csr_matrix:
        """Return the operator (k, count) that makes travel of head over block of one component of displacement."""
        here = sp.csr_matrix(
            (np.ones(len(self.nodes)), (np.arange(len(self.nodes)), self.nodes)), (len(self.nodes), count)
        )
        return self.sign * (self.opposite - here)


def gasket_partners(model: CellModel) -> Partners:
    """Return the pairs of places of both gasket faces where the head slides most: corners and outlines of elements.

    A row costs as much as a kept unknown. Between its corners travel is as smooth as one element, and what grows more
    than the other slides most at its rim: a test holds two shipped cells to it in every state, on a coarse mesh.
    """
    pair, n = model.mesh.pair("gasket"), model.mesh.points.shape[1]
    corners = len(pair.carriers) // 2
    middles, faces = np.unique(pair.carriers[corners:], return_counts=True)
    nodes = np.union1d(pair.carriers[:corners], middles[faces == 1])
    operator, found = FaceSearch(model.mesh.points, pair.opposite).operator(model.mesh.points[:2, nodes], n)
    nodes = nodes[found]
    return Partners(nodes, model.mesh.points[:2, nodes], operator[found], -1.0 if pair.on_upper else 1.0)


@dataclass(frozen=True)
class Wall:
    """Nodes (k,) of a bore's wall, and their places (3, k) from its axis, mm."""

    bore: int
    nodes: IntArray = field(repr=False)
    places: FloatArray = field(repr=False)


@dataclass(frozen=True)
class FaceWatch:
    """What is watched of a model's faces.

    on_all : (r, u) rows on all unknowns: travel of head over block along x, then y, of every partner, then the radial
    displacement of every node of the walls.
    """

    partners: Partners
    walls: tuple[Wall, ...]
    on_all: sp.csr_matrix = field(repr=False)

    def split(self, values: FloatArray) -> tuple[FloatArray, list[FloatArray]]:
        """Return travel (2, k) of head over block and the radial displacements of each wall, mm, of rows' values."""
        count = len(self.partners.nodes)
        ends = 2 * count + np.cumsum([0] + [len(wall.nodes) for wall in self.walls])
        radial = [values[start:end] for start, end in zip(ends[:-1], ends[1:], strict=True)]
        return values[: 2 * count].reshape(2, count), radial


def face_watch(model: CellModel) -> FaceWatch:
    """Return what is watched of the faces of a model."""
    partners, walls = gasket_partners(model), _walls(model)
    nodes = model.mesh.points.shape[1]
    sliding = sp.coo_matrix(partners.sliding(nodes))
    rows, columns, values = [], [], []
    for component in range(2):
        rows.append(sliding.row + component * sliding.shape[0])
        columns.append(3 * sliding.col + component)
        values.append(sliding.data)
    first = 2 * sliding.shape[0]
    for wall in walls:
        outward = wall.places[:2] / np.hypot(*wall.places[:2])
        for component in range(2):
            rows.append(first + np.arange(len(wall.nodes)))
            columns.append(3 * wall.nodes + component)
            values.append(outward[component])
        first += len(wall.nodes)
    places = (np.concatenate(rows), np.concatenate(columns))
    on_displacements = sp.csr_matrix((np.concatenate(values), places), shape=(first, 3 * nodes))
    on_unknowns = (on_displacements @ model.transform).tocsr()
    on_unknowns.resize((first, model.unknowns))
    return FaceWatch(partners, walls, on_unknowns)


def _walls(model: CellModel) -> tuple[Wall, ...]:
    mesh, cell = model.mesh, model.cell
    casting = np.isin(mesh.part, [mesh.parts.index(name) for name in ("block", "liner") if name in mesh.parts])
    nodes = np.unique(mesh.cells[:, casting])
    found = []
    for bore, (x, y) in enumerate(cell.bore_centres):
        places = mesh.points[:, nodes] - np.array([[x], [y], [0.0]])
        on_wall = np.abs(np.hypot(places[0], places[1]) - cell.layout.bore / 2.0) < WALL_SLACK
        if on_wall.any():
            found.append(Wall(bore, nodes[on_wall], places[:, on_wall]))
    return tuple(found)
