"""Whether every piece of a mesh is held: one that moves freely would end in a factorisation that says nothing."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components

from headjoint.meshes.solid.solid_mesh import SolidMesh
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import MeshError

MOTIONS = ("move along x", "move along y", "move up and down", "turn about x", "turn about y", "turn about z")
FREE = 1e-6  # of the stiffest motion, below which a motion is free


def check_held(mesh: SolidMesh) -> None:
    """Raise MeshError, naming part, place and motion, where a connected piece of the mesh can move as a rigid body.

    Held are nodes of planes of symmetry and pins along their normals, those of the support vertically, and those of
    gasket and bearing faces vertically by what lies opposite, which must stand on the support in the end.
    """
    piece = _pieces(mesh)
    for number in range(piece.max() + 1):
        _check_piece(mesh, piece, number)
    links = [piece[np.stack([pair.lower[0], pair.upper[0]])] for pair in mesh.pairs if pair.matching]
    if len(links) < len(mesh.pairs):
        return  # faces that do not match are searched for each other later
    joined = _joined(np.hstack(links) if links else np.empty((2, 0), dtype=np.int64), int(piece.max()) + 1)
    standing = np.isin(joined, joined[piece[mesh.support]])
    if not standing.all():
        what, where = _named(mesh, piece, int(np.flatnonzero(~standing)[0]))
        raise MeshError(f"a piece of the {what} near {where} stands on nothing: no gasket or bearing face joins it")


def _pieces(mesh: SolidMesh) -> IntArray:
    """Return the number (n,) of the connected piece of every node."""
    first = np.repeat(mesh.cells[:1], len(mesh.cells) - 1, axis=0)
    return _joined(np.stack([first.ravel(), mesh.cells[1:].ravel()]), mesh.points.shape[1])


def _joined(links: IntArray, count: int) -> IntArray:
    graph = sp.coo_matrix((np.ones(links.shape[1]), (links[0], links[1])), shape=(count, count))
    return connected_components(graph, directed=False)[1].astype(np.int64)


def _named(mesh: SolidMesh, piece: IntArray, number: int) -> tuple[str, str]:
    """Return the parts in a piece and a place in it, in words."""
    own = piece[mesh.cells[0]] == number
    x, y, z = mesh.points[:, mesh.cells[0, own]].mean(axis=1)
    parts = [mesh.parts[index] for index in np.unique(mesh.part[own])]
    return " and ".join(parts) or "mesh", f"x = {x:.1f}, y = {y:.1f}, z = {z:.1f} mm"


def _check_piece(mesh: SolidMesh, piece: IntArray, number: int) -> None:
    """Refuse a piece whose rigid motions are not all stopped."""
    own = piece == number
    middle = mesh.points[:, own].mean(axis=1)
    size = float(np.ptp(mesh.points[:, own], axis=1).max())

    def rows(nodes: IntArray, direction: tuple[float, float, float]) -> FloatArray:
        """Return the motion of nodes along a direction, for a unit of each rigid motion: (k, 6)."""
        at = (mesh.points[:, nodes].T - middle) / size
        unit = np.array(direction)
        return np.hstack([np.tile(unit, (len(at), 1)), np.cross(at, np.tile(unit, (len(at), 1)))])

    def mine(nodes: IntArray) -> IntArray:
        return nodes[own[nodes]]

    up = (0.0, 0.0, 1.0)
    stops = [rows(mine(mesh.support), up)]
    stops += [rows(mine(np.unique(faces)), up) for pair in mesh.pairs for faces in (pair.lower, pair.upper)]
    stops += [rows(mine(nodes), (*normal, 0.0)) for normal, nodes in mesh.planes]
    stops += [rows(mine(np.array([node])), (*direction, 0.0)) for node, direction in mesh.pins]
    for normal, nodes in mesh.travelling:
        moving = rows(mine(nodes), (*normal, 0.0))
        stops.append(moving - moving.mean(axis=0) if len(moving) else moving)
    _, sizes, motions = np.linalg.svd(np.vstack([*stops, np.zeros((6, 6))]), full_matrices=False)
    if sizes[-1] < FREE * max(sizes[0], 1.0):
        what, where = _named(mesh, piece, number)
        motion = MOTIONS[int(np.abs(motions[-1]).argmax())]
        raise MeshError(f"a piece of the {what} near {where} can {motion}: nothing of plane, support or face holds it")
