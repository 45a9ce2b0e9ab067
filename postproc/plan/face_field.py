"""Pressure of a cell's gasket inside its faces: closures by their shape functions, the law at every point."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from headjoint.cases.condensed.cell_interfaces import InterfacePoints
from headjoint.cases.condensed.interface_laws import PointGroup
from headjoint.meshes.solid.hexahedra import face_functions
from headjoint.model.base.arrays import FloatArray, IntArray

PARTS = 4  # pieces that every edge of a face is cut into


@dataclass(frozen=True)
class _Piece:
    """The sub-points of one zone's law: at (n,) their numbers, read (n, g) interpolates values at interface points."""

    group: PointGroup
    at: IntArray = field(repr=False)
    read: sp.csr_matrix = field(repr=False)


@dataclass(frozen=True)
class GasketField:
    """The gasket's faces cut into triangles, the modelled cell alone.

    places : (2, n) mm. triangles : (t, 3). zone : (t,) number of the gasket zone. Faces share no points, so that
    pressure may jump from zone to zone.
    """

    places: FloatArray = field(repr=False)
    triangles: IntArray = field(repr=False)
    zone: IntArray = field(repr=False)
    pieces: tuple[_Piece, ...] = field(repr=False)

    def pressures(self, closure: FloatArray, permanent_set: FloatArray, temperature: float) -> FloatArray:
        """Return pressures (n,) MPa from closures and sets (g,) mm of interface points at a temperature in degC.

        A set is read as that of a new zone under the closure there, and what the zone has set beyond that: the first
        follows the law, the other is smooth, so that a zone on its loading curve stays on it between the points.
        """
        found = np.zeros(self.places.shape[1])
        for piece in self.pieces:
            law, own = piece.group.law, piece.group.points
            new = law.sets_after(closure[own], np.zeros(len(own)), temperature)
            beyond = np.zeros(len(closure))
            beyond[own] = np.maximum(permanent_set[own] - new, 0.0)
            at = piece.read @ closure
            sets = law.sets_after(at, np.zeros(len(at)), temperature) + np.maximum(piece.read @ beyond, 0.0)
            found[piece.at] = law.pressures(at, sets, temperature)[0]
        return found


def gasket_field(points: InterfacePoints, corners: FloatArray) -> GasketField:
    """Return the field of a cell's gasket; corners : (2, 8 or 6, f) places of the nodes of its faces, mm."""
    nodes, count = corners.shape[1:]
    local, cut = _cut_face(nodes)
    shape, _ = face_functions(local, nodes)
    each = len(local)
    gauss = len(points.gasket_face_of)
    owner = np.full(len(points.zone), -1)
    gasket = [group for group in points.groups if group.kind == "gasket"]
    for number, group in enumerate(gasket):
        owner[group.points] = number
    nearest = cKDTree(points.places[:, :gauss].T)
    alone = _of_one_zone(owner[:gauss], points.gasket_face_of, count)
    places, triangles, zone, pieces, used = [], [], [], [], 0
    for number, group in enumerate(gasket):
        own_gauss = group.points[group.points < gauss]
        faces = np.unique(points.gasket_face_of[own_gauss])
        if not len(faces):
            continue
        at = np.einsum("dkf,qk->dfq", corners[:, :, faces], shape).reshape(2, -1)
        cells = (cut[None] + each * np.arange(len(faces))[:, None, None]).reshape(-1, 3)
        # a face of somebody's own mesh may hold several zones: each piece goes by the law of the nearest point
        mine = np.repeat(alone[faces], len(cut))
        mine[~mine] = owner[nearest.query(at[:, cells[~mine]].mean(axis=2).T)[1]] == number
        of_nodes = _nearest_own(points, group, corners[:, :, faces])
        pieces.append(_Piece(group, used + np.arange(at.shape[1]), _reading(of_nodes, shape, len(points.zone))))
        places.append(at)
        triangles.append(used + cells[mine])
        zone.append(np.full(int(mine.sum()), points.zone[group.points[0]]))
        used += at.shape[1]
    return GasketField(np.hstack(places), np.concatenate(triangles), np.concatenate(zone), tuple(pieces))


def _of_one_zone(owner: IntArray, face_of: IntArray, count: int) -> NDArray[np.bool_]:
    """Return whether all points of a face (count,) have one owner."""
    low, high = np.full(count, owner.max()), np.zeros(count, dtype=np.int64)
    np.minimum.at(low, face_of, owner)
    np.maximum.at(high, face_of, owner)
    return low == high


def _nearest_own(points: InterfacePoints, group: PointGroup, corners: FloatArray) -> IntArray:
    """Return the point (k, f) of a group at every node of some faces; where a zone has all of it, at the node."""
    _, found = cKDTree(points.places[:, group.points].T).query(corners.reshape(2, -1).T)
    return group.points[found].reshape(corners.shape[1:])


def _reading(of_nodes: IntArray, shape: FloatArray, count: int) -> sp.csr_matrix:
    """Return the operator (f q, count) that interpolates values at points (k, f) by shape functions (q, k)."""
    (k, faces), q = of_nodes.shape, len(shape)
    rows = np.repeat(np.arange(faces * q), k)
    columns = np.repeat(of_nodes.T[:, None, :], q, axis=1).ravel()
    return sp.csr_matrix((np.tile(shape.ravel(), faces), (rows, columns)), shape=(faces * q, count))


def _cut_face(nodes: int) -> tuple[FloatArray, IntArray]:
    """Return local places (q, 2) of a face of 8 or 6 nodes, and the triangles (t, 3) between them."""
    steps = PARTS + 1
    row, column = (one.ravel() for one in np.meshgrid(np.arange(steps), np.arange(steps), indexing="ij"))
    lower = np.flatnonzero((row < PARTS) & (column < PARTS))
    first = np.column_stack([lower, lower + 1, lower + steps])
    second = np.column_stack([lower + 1, lower + steps + 1, lower + steps])
    local: FloatArray = np.column_stack([column, row]).astype(np.float64) / PARTS
    if nodes == 8:
        return 2.0 * local - 1.0, np.concatenate([first, second])
    inside = local.sum(axis=1) <= 1.0 + 1e-9
    cut = np.concatenate([first, second])
    cut = cut[inside[cut].all(axis=1)]
    number = np.cumsum(inside) - 1
    return local[inside], number[cut]
