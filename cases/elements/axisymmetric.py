"""Axisymmetric elasticity on eight-node quadrilaterals: stiffness, thermal and pressure loads, stress.

Strains are ordered (rr, zz, tt, rz) with engineering shear; unknown 2 i + c is component c (r, z) of scalar
unknown i of scikit-fem's ElementQuadS2. Basis gradients come from scikit-fem and are contracted per element
in one batched product, far faster than one form call per pair of shape functions.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import scipy.sparse as sp
from skfem import Basis, ElementQuadS2, MeshQuad

from headjoint.model.base.arrays import FloatArray, IntArray, summed_at

QUADRATURE_ORDER = 4  # 3 x 3 Gauss points, exact for rectangles up to the 1/r hoop term
GAUSS_POINTS = np.array([-np.sqrt(0.6), 0.0, np.sqrt(0.6)])
GAUSS_WEIGHTS = np.array([5.0, 8.0, 5.0]) / 9.0


def isotropic_stiffness(youngs_modulus: FloatArray, poissons_ratio: FloatArray) -> FloatArray:
    """Return D (n, 4, 4) in MPa of Hooke's law for (rr, zz, tt, rz)."""
    E, nu = np.atleast_1d(youngs_modulus), np.atleast_1d(poissons_ratio)
    lame = E * nu / ((1.0 + nu) * (1.0 - 2.0 * nu))
    shear = E / (2.0 * (1.0 + nu))
    D = np.zeros((len(E), 4, 4))
    D[:, :3, :3] = lame[:, None, None]
    for i in range(3):
        D[:, i, i] += 2.0 * shear
    D[:, 3, 3] = shear
    return D


@dataclass(frozen=True)
class ElasticBody:
    """Element matrices of an axisymmetric elastic mesh, ready to be assembled.

    basis : scalar scikit-fem basis; dofs : (16, m) unknowns per element.
    strain_operator : (m, q, 4, 16); weight : (m, q) of 2 pi r dA in mm3; D : (m, 4, 4) in MPa.
    """

    basis: Basis
    dofs: IntArray
    strain_operator: FloatArray = field(repr=False)
    weight: FloatArray = field(repr=False)
    D: FloatArray = field(repr=False)

    @property
    def unknowns(self) -> int:
        """Number of displacement unknowns."""
        return 2 * int(self.basis.N)

    def element_stiffness(self) -> FloatArray:
        """Return K_e (m, 16, 16) in N/mm."""
        m, q = self.weight.shape
        weighted = (self.D[:, None] @ self.strain_operator) * self.weight[:, :, None, None]
        return self.strain_operator.reshape(m, 4 * q, 16).transpose(0, 2, 1) @ weighted.reshape(m, 4 * q, 16)

    def element_thermal_load(self, free_strain: FloatArray | float = 1.0) -> FloatArray:
        """Return the load (m, 16) in N of a free strain, equal in all directions, (m, q) or one number."""
        stress = self.D[:, :, :3].sum(axis=2)
        return np.einsum("mqia,mi,mq->ma", self.strain_operator, stress, self.weight * free_strain)

    def matrix(self, element_matrices: FloatArray) -> sp.csr_matrix:
        """Assemble (m, 16, 16) into a sparse matrix over all unknowns."""
        rows = np.repeat(self.dofs.T, 16, axis=1).ravel()
        columns = np.tile(self.dofs.T, (1, 16)).ravel()
        shape = (self.unknowns, self.unknowns)
        return sp.coo_matrix((element_matrices.ravel(), (rows, columns)), shape=shape).tocsr()

    def vector(self, element_vectors: FloatArray) -> FloatArray:
        """Assemble (m, 16) into a vector over all unknowns."""
        return summed_at(self.dofs.T.ravel(), element_vectors.ravel(), self.unknowns)

    def stress(self, displacement: FloatArray, free_strain: FloatArray) -> FloatArray:
        """Return stress (m, q, 4) in MPa at the Gauss points; free_strain (m,) or (m, q) is thermal."""
        strain = np.einsum("mqia,ma->mqi", self.strain_operator, displacement[self.dofs.T])
        free = np.broadcast_to(np.asarray(free_strain).reshape(len(strain), -1), strain.shape[:2])
        strain[:, :, :3] -= free[:, :, None]
        return np.einsum("mij,mqj->mqi", self.D, strain)


def elastic_body(mesh: MeshQuad, youngs_modulus: FloatArray, poissons_ratio: FloatArray) -> ElasticBody:
    """Return the element operators of `mesh` ((r, z) in mm) with one E (MPa) and nu per element."""
    basis = Basis(mesh, ElementQuadS2(), intorder=QUADRATURE_ORDER)
    radius = basis.global_coordinates()[0]
    m, q = radius.shape
    operator = np.zeros((m, q, 4, 16))
    for i in range(8):
        shape = basis.basis[i][0]
        d_dr, d_dz = shape.grad
        operator[:, :, 0, 2 * i] = d_dr
        operator[:, :, 1, 2 * i + 1] = d_dz
        operator[:, :, 2, 2 * i] = np.broadcast_to(shape, (m, q)) / radius
        operator[:, :, 3, 2 * i] = d_dz
        operator[:, :, 3, 2 * i + 1] = d_dr
    scalar = basis.element_dofs
    dofs = np.stack([2 * scalar, 2 * scalar + 1], axis=1).reshape(16, m)
    weight = 2.0 * np.pi * radius * basis.dx
    return ElasticBody(basis, dofs, operator, weight, isotropic_stiffness(youngs_modulus, poissons_ratio))


@dataclass(frozen=True)
class FacetRow:
    """Horizontal facets as quadratic line elements.

    nodes : (n, 3) scalar unknowns: inner end, outer end, middle; radius : (n, 3) at the Gauss points (mm);
    shape : (3, 3) shape functions [Gauss point, node]; weight : (n, 3) of 2 pi r dr in mm2.
    """

    nodes: IntArray
    radius: FloatArray
    shape: FloatArray
    weight: FloatArray


def facet_row(basis: Basis, facets: IntArray) -> FacetRow:
    """Return the quadratic line elements of horizontal `facets`, each from inner to outer radius."""
    ends = basis.mesh.facets[:, facets]
    radii = basis.mesh.p[0][ends]
    swap = radii[0] > radii[1]
    ends = np.where(swap, ends[::-1], ends)
    inner, outer = np.sort(radii, axis=0)
    vertices = basis.nodal_dofs[0][ends]
    nodes = np.column_stack([vertices[0], vertices[1], basis.facet_dofs[0][facets]])
    x = GAUSS_POINTS
    shape = np.column_stack([x * (x - 1.0) / 2.0, x * (x + 1.0) / 2.0, 1.0 - x**2])
    half = (outer - inner) / 2.0
    radius = (inner + outer)[:, None] / 2.0 + half[:, None] * x
    weight = 2.0 * np.pi * radius * half[:, None] * GAUSS_WEIGHTS
    return FacetRow(nodes, radius, shape, weight)


def axial_pressure_load(basis: Basis, facets: IntArray, unknowns: int) -> FloatArray:
    """Return the load vector (N) of a unit pressure (MPa) pushing in +z on horizontal facets."""
    row = facet_row(basis, facets)
    load = np.zeros(unknowns)
    np.add.at(load, 2 * row.nodes + 1, row.weight @ row.shape)
    return load
