"""Three-dimensional elasticity on second-order hexahedra and tetrahedra: stiffness, loads, stress; their faces."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache

import numpy as np
import scipy.sparse as sp

from headjoint.meshes.solid.hexahedra import face_functions, shape_functions
from headjoint.meshes.solid.tetrahedra import tetrahedron_functions
from headjoint.model.base.arrays import FloatArray, IntArray, summed_at

# Irons' 14-point rule, exact to degree five: as good as 27 points for stiffness at half the work
# (B. M. Irons, IJNME 3 (1971) 293; coefficients from memory, checked by a test on monomials)
_A, _B = np.sqrt(19.0 / 30.0), np.sqrt(19.0 / 33.0)
HEXAHEDRON_POINTS = np.array(
    [[_A, 0, 0], [-_A, 0, 0], [0, _A, 0], [0, -_A, 0], [0, 0, _A], [0, 0, -_A]]
    + [[i * _B, j * _B, k * _B] for i in (-1, 1) for j in (-1, 1) for k in (-1, 1)]
)
HEXAHEDRON_WEIGHTS = np.array([320.0 / 361.0] * 6 + [121.0 / 361.0] * 8)
# four points, exact to degree two, which is all a straight ten-node tetrahedron needs
_C, _D = (5.0 + 3.0 * np.sqrt(5.0)) / 20.0, (5.0 - np.sqrt(5.0)) / 20.0
TETRAHEDRON_POINTS = np.array([[_D, _D, _D], [_C, _D, _D], [_D, _C, _D], [_D, _D, _C]])
TETRAHEDRON_WEIGHTS = np.full(4, 1.0 / 24.0)
CHUNK = 500  # elements whose operators are held at once


@cache
def element_rule(nodes: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return functions, gradients and weights at the Gauss points of an element with so many nodes."""
    if nodes == 20:
        return *shape_functions(HEXAHEDRON_POINTS), HEXAHEDRON_WEIGHTS
    return *tetrahedron_functions(TETRAHEDRON_POINTS), TETRAHEDRON_WEIGHTS


def isotropic_stiffness(youngs_modulus: FloatArray, poissons_ratio: FloatArray) -> FloatArray:
    """Return D (n, 6, 6) in MPa for (xx, yy, zz, xy, yz, zx), engineering shear."""
    E, nu = np.atleast_1d(youngs_modulus), np.atleast_1d(poissons_ratio)
    lame = E * nu / ((1.0 + nu) * (1.0 - 2.0 * nu))
    shear = E / (2.0 * (1.0 + nu))
    D = np.zeros((len(E), 6, 6))
    D[:, :3, :3] = lame[:, None, None]
    for i in range(3):
        D[:, i, i] += 2.0 * shear
        D[:, 3 + i, 3 + i] = shear
    return D


@dataclass(frozen=True)
class SolidBody:
    """Elastic body of one kind of element; unknown 3 n + c is component c of node n.

    points : (3, n) mm; cells : (20 or 10, m); D : (m, 6, 6) MPa.
    """

    points: FloatArray = field(repr=False)
    cells: IntArray = field(repr=False)
    D: FloatArray = field(repr=False)

    @property
    def unknowns(self) -> int:
        """Number of displacement unknowns."""
        return 3 * self.points.shape[1]

    def dofs(self, elements: IntArray | slice = slice(None)) -> IntArray:
        """Return the unknowns of elements, (k, 60 or 30)."""
        cells = self.cells[:, elements].T
        return (3 * cells[:, :, None] + np.arange(3)).reshape(len(cells), -1)

    def operators(self, elements: IntArray | slice) -> tuple[FloatArray, FloatArray]:
        """Return strain operator (k, q, 6, d) and weight (k, q) in mm3 of some elements."""
        _, gradients, weights = element_rule(len(self.cells))
        nodes = self.points[:, self.cells[:, elements]]
        jacobian = np.einsum("dnm,qna->mqda", nodes, gradients, optimize=True)
        determinant = np.linalg.det(jacobian)
        # d/dx = J^-T d/dxi
        physical = gradients[None] @ np.linalg.inv(jacobian)
        m, q = determinant.shape
        operator = np.zeros((m, q, 6, len(self.cells), 3))
        for i in range(3):
            operator[:, :, i, :, i] = physical[..., i]
        for row, (i, j) in enumerate(((0, 1), (1, 2), (2, 0)), start=3):
            operator[:, :, row, :, i] = physical[..., j]
            operator[:, :, row, :, j] = physical[..., i]
        return operator.reshape(m, q, 6, -1), determinant * weights

    def chunks(self) -> list[slice]:
        """Return the slices of elements to treat at once."""
        m = self.cells.shape[1]
        return [slice(start, min(start + CHUNK, m)) for start in range(0, m, CHUNK)]

    def stiffness_and_free_strain(self) -> tuple[sp.csr_matrix, FloatArray]:
        """Return the assembled stiffness in N/mm and the element loads (m, d) in N of a unit free strain.

        Assembled in blocks of three by three over pairs of nodes, which is faster than entry by entry.
        """
        nodes, m = self.cells.shape
        count = self.points.shape[1]
        blocks = np.empty((m, nodes, nodes, 3, 3))
        load = np.empty((m, 3 * nodes))
        for chunk in self.chunks():
            operator, weight = self.operators(chunk)
            k, q = weight.shape
            stress = (self.D[chunk, None] @ operator) * weight[:, :, None, None]
            own = operator.reshape(k, 6 * q, -1).transpose(0, 2, 1) @ stress.reshape(k, 6 * q, -1)
            blocks[chunk] = own.reshape(k, nodes, 3, nodes, 3).transpose(0, 1, 3, 2, 4)
            load[chunk] = stress[:, :, :3].sum(axis=(1, 2))
        cells = self.cells.T
        key = (cells[:, :, None] * count + cells[:, None, :]).ravel()
        order = np.argsort(key, kind="stable")
        sorted_key = key[order]
        first = np.flatnonzero(np.concatenate([[True], sorted_key[1:] != sorted_key[:-1]]))
        summed = np.add.reduceat(blocks.reshape(-1, 9)[order], first, axis=0)
        row, column = sorted_key[first] // count, sorted_key[first] % count
        start = np.searchsorted(row, np.arange(count + 1))
        matrix = sp.bsr_matrix(
            (summed.reshape(-1, 3, 3), column.astype(np.int32), start.astype(np.int32)), shape=(3 * count, 3 * count)
        )
        return matrix.tocsr(), load

    def vector(self, element_vectors: FloatArray) -> FloatArray:
        """Assemble (m, d) into a vector over all unknowns."""
        return summed_at(self.dofs().ravel(), element_vectors.ravel(), self.unknowns)

    def travel_load(self, elements: IntArray, travel: FloatArray) -> tuple[FloatArray, float]:
        """Return nodal forces (N) of some elements under the vertical field `travel` (k, f) at their nodes, and its
        stiffness (N/mm): twice the energy of a unit of it.
        """
        operator, weight = self.operators(elements)
        strain = np.einsum("mqia,am->mqi", operator[..., 2::3], travel, optimize=True)
        stress = np.einsum("mij,mqj,mq->mqi", self.D[elements], strain, weight, optimize=True)
        own = np.einsum("mqia,mqi->ma", operator, stress, optimize=True)
        vector = summed_at(self.dofs(elements).ravel(), own.ravel(), self.unknowns)
        return vector, float(np.sum(stress * strain))

    def stress(self, displacement: FloatArray, free_strain: FloatArray, travel: FloatArray) -> FloatArray:
        """Return stress (m, q, 6) in MPa at the Gauss points.

        free_strain : (m,) or (m, q) thermal, in all directions. travel : (k, m) vertical displacement (mm) added at the
        nodes of each element by the overlaps.
        """
        q = len(element_rule(len(self.cells))[2])
        free = free_strain.reshape(self.cells.shape[1], -1)
        at_points = np.empty((self.cells.shape[1], q, 6))
        for chunk in self.chunks():
            operator, _ = self.operators(chunk)
            moved = displacement[self.dofs(chunk)]
            moved[:, 2::3] += travel[:, chunk].T
            strain = (operator @ moved[:, None, :, None])[..., 0]
            strain[:, :, :3] -= free[chunk][:, :, None]
            at_points[chunk] = np.einsum("mij,mqj->mqi", self.D[chunk], strain, optimize=True)
        return at_points

    def places(self, elements: IntArray | slice = slice(None)) -> tuple[FloatArray, FloatArray]:
        """Return position (3, m, q) in mm and weight (m, q) in mm3 of the Gauss points of elements."""
        values, gradients, weights = element_rule(len(self.cells))
        nodes = self.points[:, self.cells[:, elements]]
        jacobian = np.einsum("dnm,qna->mqda", nodes, gradients, optimize=True)
        return np.einsum("dnm,qn->dmq", nodes, values, optimize=True), np.linalg.det(jacobian) * weights


@cache
def _face_rule(nodes: int) -> tuple[FloatArray, FloatArray]:
    if nodes == 8:
        g, w = np.array([-np.sqrt(0.6), 0.0, np.sqrt(0.6)]), np.array([5.0, 8.0, 5.0]) / 9.0
        return np.array([[x, y] for x in g for y in g]), np.array([u * v for u in w for v in w])
    # six points, exact to degree four (D. A. Dunavant, IJNME 21 (1985) 1129; from memory, checked by a test)
    points, weights = [], []
    for a, weight in ((0.445948490915965, 0.223381589678011), (0.091576213509771, 0.109951743655322)):
        points += [[a, a], [1 - 2 * a, a], [a, 1 - 2 * a]]
        weights += [weight / 2] * 3
    return np.array(points), np.array(weights)


@dataclass(frozen=True)
class FacePoints:
    """Gauss points of faces: shape (q, k), places (3, f, q) mm, area vectors (3, f, q) mm2 (either side's normal)."""

    shape: FloatArray = field(repr=False)
    places: FloatArray = field(repr=False)
    area: FloatArray = field(repr=False)

    @property
    def weight(self) -> FloatArray:
        """Area of each point (f, q), mm2."""
        return np.linalg.norm(self.area, axis=0)


def _even_rule(nodes: int, count: int) -> tuple[FloatArray, FloatArray]:
    """Return `count` x `count` points of equal weight, for what jumps inside a face."""
    middle = (np.arange(count) + 0.5) / count
    a, b = (one.ravel() for one in np.meshgrid(middle, middle, indexing="ij"))
    if nodes == 8:
        return np.column_stack([2.0 * a - 1.0, 2.0 * b - 1.0]), np.full(count**2, 4.0 / count**2)
    # the unit square folded onto the triangle
    over = a + b > 1.0
    a, b = np.where(over, 1.0 - a, a), np.where(over, 1.0 - b, b)
    return np.column_stack([a, b]), np.full(count**2, 0.5 / count**2)


def face_points(points: FloatArray, faces: IntArray, even: int | None = None) -> FacePoints:
    """Return the Gauss points of faces (8 or 6, f) of a mesh, or `even` x `even` points of equal weight."""
    xi, weights = _face_rule(len(faces)) if even is None else _even_rule(len(faces), even)
    values, gradients = face_functions(xi, len(faces))
    nodes = points[:, faces]
    tangent = np.einsum("dkf,qka->dafq", nodes, gradients, optimize=True)
    area = np.cross(tangent[:, 0], tangent[:, 1], axis=0) * weights
    return FacePoints(values, np.einsum("dkf,qk->dfq", nodes, values, optimize=True), area)
