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

    points : (3, n) mm; cells : (20 or 10, m); D : (m, 6, 6) MPa, isotropic.
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

    def gradients(self, elements: IntArray | slice) -> tuple[FloatArray, FloatArray]:
        """Return slopes (k, q, nodes, 3) of the shape functions, per mm, and weight (k, q) in mm3 of some elements."""
        _, gradients, weights = element_rule(len(self.cells))
        places = self.points[:, self.cells[:, elements]].transpose(2, 1, 0)
        jacobian = np.swapaxes(gradients, 1, 2) @ places[:, None]  # (k, q, a, d): d x_d / d xi_a
        # d/dx = J^-1 d/dxi, by cofactors: of three by three that takes a third of the time of a library's inverse
        cofactor = np.cross(jacobian[..., (1, 2, 0), :], jacobian[..., (2, 0, 1), :])
        determinant = np.sum(jacobian[..., 0, :] * cofactor[..., 0, :], axis=-1)
        physical = gradients[None] @ (cofactor / determinant[..., None, None])
        return physical, determinant * weights

    def operators(self, elements: IntArray | slice) -> tuple[FloatArray, FloatArray]:
        """Return strain operator (k, q, 6, d) and weight (k, q) in mm3 of some elements."""
        physical, weight = self.gradients(elements)
        m, q = weight.shape
        operator = np.zeros((m, q, 6, len(self.cells), 3))
        for i in range(3):
            operator[:, :, i, :, i] = physical[..., i]
        for row, (i, j) in enumerate(((0, 1), (1, 2), (2, 0)), start=3):
            operator[:, :, row, :, i] = physical[..., j]
            operator[:, :, row, :, j] = physical[..., i]
        return operator.reshape(m, q, 6, -1), weight

    def chunks(self) -> list[slice]:
        """Return the slices of elements to treat at once."""
        m = self.cells.shape[1]
        return [slice(start, min(start + CHUNK, m)) for start in range(0, m, CHUNK)]

    def half_stiffness_and_free_strain(self) -> tuple[sp.csr_matrix, FloatArray]:
        """Return H, of which the stiffness in N/mm is H + H', and the element loads (m, d) in N of a unit free strain.

        H has what is above the diagonal, of blocks of three by three, and half of the diagonal blocks.
        """
        nodes, m = self.cells.shape
        # of every pair of nodes of an element the block whose row is the smaller number
        order = np.argsort(self.cells, axis=0)
        cells = np.take_along_axis(self.cells, order, axis=0)
        first, second = np.triu_indices(nodes)
        blocks = np.empty((9, m, len(first)))
        load = np.empty((m, nodes, 3))
        for chunk in self.chunks():
            physical, weight = self.gradients(chunk)
            # a free strain presses alike in all directions, by three times the bulk modulus
            bulk = self.D[chunk, 0, :3].sum(axis=1)
            load[chunk] = bulk[:, None, None] * np.einsum("mq,mqnd->mnd", weight, physical)
            in_order = np.take_along_axis(physical, order[:, chunk].T[:, None, :, None], axis=2)
            _pair_blocks(in_order, weight, self.D[chunk], first, second, blocks[:, chunk])
        blocks[:, :, first == second] /= 2.0
        return _summed_blocks(blocks, cells[first].T, cells[second].T, self.points.shape[1]), load.reshape(m, -1)

    def stiffness_and_free_strain(self) -> tuple[sp.csr_matrix, FloatArray]:
        """Return the assembled stiffness in N/mm and the element loads (m, d) in N of a unit free strain."""
        half, load = self.half_stiffness_and_free_strain()
        return (half + half.T).tocsr(), load

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


def _pair_blocks(
    physical: FloatArray, weight: FloatArray, D: FloatArray, first: IntArray, second: IntArray, out: FloatArray
) -> None:
    """Write the stiffness between pairs of nodes of elements to out (9, k, pairs), row by row of a block.

    By Lame's constants, from the integrals G of slopes by slopes of both nodes: lambda G + mu (G' + tr G), a sixth of
    the work of B' D B and the same numbers. physical, weight : of `SolidBody.gradients`. first, second : (pairs,).
    """
    k, q, nodes, _ = physical.shape
    flat = physical.transpose(0, 1, 3, 2).reshape(k, q, 3 * nodes)
    products = (np.swapaxes(flat * weight[..., None], 1, 2) @ flat).reshape(k, -1)
    place = 3 * nodes * first + second
    step = np.array([[nodes * (3 * nodes * i + j) for j in range(3)] for i in range(3)])
    G = [[products[:, place + step[i, j]] for j in range(3)] for i in range(3)]
    lame, shear = D[:, 0, 1, None], D[:, 3, 3, None]
    trace = shear * (G[0][0] + G[1][1] + G[2][2])
    for i in range(3):
        for j in range(3):
            out[3 * i + j] = lame * G[i][j] + shear * G[j][i] + (trace if i == j else 0.0)


def _summed_blocks(blocks: FloatArray, first: IntArray, second: IntArray, count: int) -> sp.csr_matrix:
    """Return the matrix of `count` nodes that blocks (9, m, pairs) of nodes `first` by `second` (m, pairs) sum to."""
    key = (first * count + second).ravel()
    order = np.argsort(key, kind="stable")
    sorted_key = key[order]
    begin = np.flatnonzero(np.concatenate([[True], sorted_key[1:] != sorted_key[:-1], [True]]))
    # a matrix of ones adds them up without a sorted copy of them
    ones = sp.csr_matrix((np.ones(len(key)), order, begin), shape=(len(begin) - 1, len(key)))
    summed = np.stack([ones @ one.ravel() for one in blocks], axis=1)
    row, column = np.divmod(sorted_key[begin[:-1]], count)
    start = np.searchsorted(row, np.arange(count + 1))
    pattern = (summed.reshape(-1, 3, 3), column.astype(np.int32), start.astype(np.int32))
    return sp.bsr_matrix(pattern, shape=(3 * count, 3 * count)).tocsr()


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
