"""What closes a row beyond the face of its last tile, nothing held, and which unknowns it has in common with that."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import scipy.sparse as sp
from scipy.spatial import cKDTree

from headjoint.cases.condensed.held import check_held
from headjoint.cases.condensed.stud_copies import stud_copies
from headjoint.cases.whole_head.free_tile import Face, FreeEnd, FreeTile, free_model, interface_places
from headjoint.meshes.solid.solid_mesh import SolidMesh
from headjoint.meshes.solid.symmetry import ON_PLANE
from headjoint.model.base.arrays import IntArray
from headjoint.model.base.errors import MeshError
from headjoint.model.cell import Cell

APART = 1e6  # mm between two nodes at one place that are not one


def with_end(tile: FreeTile, cell: Cell, mesh: SolidMesh, face_at: float) -> FreeTile:
    """Return a tile of a cell with the end beyond its face at x = `face_at`; mesh : that of the end.

    Raises MeshError where the two meshes do not meet.
    """
    check_held(mesh)
    model = free_model(cell, mesh)
    own = _same_columns(tile.model.mesh, tile.model.transform, model.mesh, model.transform, face_at)
    studs = [
        next((at for at, end in enumerate(model.mesh.fasteners) if abs(end.y - one.y) < ON_PLANE), -1)
        if abs(one.x - face_at) < ON_PLANE else -1
        for one in tile.model.mesh.fasteners
    ]  # fmt: skip
    first = model.transform.shape[1]
    of_tile = np.concatenate([own, np.where(np.array(studs) < 0, -1, first + np.array(studs))])
    on_face = np.flatnonzero(of_tile[tile.face.unknowns] >= 0)
    unknowns = of_tile[tile.face.unknowns[on_face]]
    shared = np.full(len(model.kept), -1)
    for number, column in enumerate(of_tile[tile.model.kept]):
        if column >= 0:
            shared[np.searchsorted(model.kept, column)] = number
    tangential = int((on_face < len(tile.face.tangential)).sum())
    face = Face(unknowns[:tangential], unknowns[tangential:], (), np.empty((0, len(unknowns))))
    piece = FreeTile(model, face, stud_copies(model, face_at), interface_places(model), across=tile.across)
    return replace(tile, end=FreeEnd(piece, on_face, shared))


def _same_columns(
    tile: SolidMesh, of_tile: sp.csr_matrix, end: SolidMesh, of_end: sp.csr_matrix, face_at: float
) -> IntArray:
    """Return, for every column of a tile's transform, that of the end's which is the same on their face, else -1."""
    first, second = _common_nodes(tile, end, face_at)
    found = np.full(of_tile.shape[1], -1)
    for component in range(3):
        for sign in (1.0, -1.0):  # a closure counts less in what lies above it
            one = _column(of_tile, sign)[3 * first + component]
            other = _column(of_end, sign)[3 * second + component]
            if ((one >= 0) != (other >= 0)).any():
                raise MeshError("the end of the row and the last bore do not meet in the same faces of the gasket")
            found[one[one >= 0]] = other[other >= 0]
    return found


def _common_nodes(tile: SolidMesh, end: SolidMesh, face_at: float) -> tuple[IntArray, IntArray]:
    """Return the nodes of both meshes on the face, pair by pair at one place; head and what stands on it are apart.

    Raises MeshError where either mesh has a node there that the other has not.
    """
    nodes, places = [], []
    for mesh in (tile, end):
        own = np.flatnonzero(np.abs(mesh.points[0] - face_at) < ON_PLANE)
        in_head = np.isin(own, np.unique(mesh.cells[:, mesh.part == mesh.parts.index("head")]))
        nodes.append(own)
        places.append(np.stack([*mesh.points[1:, own], np.where(in_head, APART, 0.0)], axis=1))
    away, at = cKDTree(places[1]).query(places[0], distance_upper_bound=10.0 * ON_PLANE)
    if not len(away) or np.isinf(away).any() or not np.array_equal(np.sort(at), np.arange(len(places[1]))):
        raise MeshError("the end of the row does not meet the last bore node for node")
    return nodes[0], nodes[1][at]


def _column(transform: sp.csr_matrix, sign: float) -> IntArray:
    """Return the column (rows,) in which every row has the entry `sign`, -1 where it has none."""
    entries = transform.tocoo()
    own = np.abs(entries.data - sign) < 0.5
    found = np.full(transform.shape[0], -1)
    found[entries.row[own]] = entries.col[own]
    return found
