"""Displacements of a cell's mesh by what is free of them: closures at matching interfaces, planes, pins, supports."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp

from headjoint.meshes.solid.solid_mesh import SolidMesh
from headjoint.model.base.arrays import FloatArray, IntArray


class _Entries:
    """Entries of T as they are found, and how many of its columns are taken."""

    def __init__(self) -> None:
        self.used = 0
        self._rows: list[IntArray] = []
        self._columns: list[IntArray] = []
        self._values: list[FloatArray] = []

    def add(self, rows: IntArray, columns: IntArray, values: FloatArray) -> None:
        """Add one entry for each row."""
        self._rows.append(rows)
        self._columns.append(columns)
        self._values.append(values)

    def take(self, count: int) -> IntArray:
        """Return `count` new columns."""
        self.used += count
        return np.arange(self.used - count, self.used)

    def matrix(self, rows: int) -> sp.csr_matrix:
        """Return T; small components of slanted planes are rounding and left out."""
        places = (np.concatenate(self._rows), np.concatenate(self._columns))
        transform = sp.coo_matrix((np.concatenate(self._values), places), shape=(rows, self.used)).tocsr()
        transform.data[np.abs(transform.data) < 1e-14] = 0.0
        transform.eliminate_zeros()
        return transform


def tied_by_closures(mesh: SolidMesh) -> tuple[sp.csr_matrix, IntArray]:
    """Return T (3 n, v) and the columns of T that are interface unknowns.

    Columns are horizontal displacements along what planes and rigid-body constraints leave free, shifts of travelling
    planes, vertical displacements, then closures. Where faces do not match, the vertical displacements of both are the
    interface unknowns instead.
    """
    n = mesh.points.shape[1]
    entries = _Entries()
    _add_horizontal(entries, mesh)
    closures = [pair for pair in mesh.pairs if pair.matching]
    lower = np.concatenate([pair.lower.ravel() for pair in closures]) if closures else np.empty(0, dtype=np.int64)
    upper = np.concatenate([pair.upper.ravel() for pair in closures]) if closures else np.empty(0, dtype=np.int64)
    upper, first = np.unique(upper, return_index=True)
    lower = lower[first]
    vertical = np.delete(np.arange(n), np.concatenate([mesh.support, upper]))
    column_of = np.full(n, -1)
    column_of[vertical] = entries.take(len(vertical))
    entries.add(3 * vertical + 2, column_of[vertical], np.ones(len(vertical)))
    # u_z(upper) = u_z(lower) - c; a lower face on the support itself does not move
    standing = column_of[lower] >= 0
    entries.add(3 * upper[standing] + 2, column_of[lower[standing]], np.ones(int(standing.sum())))
    interface = entries.take(len(upper))
    entries.add(3 * upper + 2, interface, -np.ones(len(upper)))
    both = [np.unique(np.concatenate([p.lower.ravel(), p.upper.ravel()])) for p in mesh.pairs if not p.matching]
    if both:
        interface = np.concatenate([interface, column_of[np.unique(np.concatenate(both))]])
    return entries.matrix(3 * n), np.sort(interface)


def _add_horizontal(entries: _Entries, mesh: SolidMesh) -> None:
    """Add what planes, pins and travelling planes leave of the horizontal displacements."""
    n = mesh.points.shape[1]
    normals = np.zeros((n, 2, 2))
    held = np.zeros(n, dtype=np.int64)
    for normal, nodes in [*mesh.planes, *((direction, np.array([node])) for node, direction in mesh.pins)]:
        unit = np.array(normal)
        new = nodes[(held[nodes] == 0) | (np.abs(normals[nodes, 0] @ unit) < 1.0 - 1e-9)]
        normals[new, np.minimum(held[new], 1)] = unit
        held[new] = np.minimum(held[new] + 1, 2)
    free = np.flatnonzero(held == 0)
    columns = entries.take(2 * len(free))
    for component in range(2):
        entries.add(3 * free + component, columns[component::2], np.ones(len(free)))
    sliding = np.flatnonzero(held == 1)
    columns = entries.take(len(sliding))
    for component, along in ((0, -normals[sliding, 0, 1]), (1, normals[sliding, 0, 0])):
        entries.add(3 * sliding + component, columns, along)
    for normal, nodes in mesh.travelling:
        column = entries.take(1)
        for component in range(2):
            entries.add(3 * nodes + component, np.repeat(column, len(nodes)), np.full(len(nodes), normal[component]))
