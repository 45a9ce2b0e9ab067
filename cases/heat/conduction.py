"""Heat conduction on the meshes of elasticity: conductivity, capacity and heat content, node for node the same.

One unknown, the temperature (degC), at every node of the eight-node quadrilaterals (axisymmetric), twenty-node
hexahedra or ten-node tetrahedra. Matrices and flows are batched products per element, as in elasticity. Heat content
is integrated from the capacity table, so that a transient keeps energy whatever the capacity does.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import scipy.sparse as sp
from scipy.special import roots_jacobi, roots_legendre
from skfem import Basis, ElementQuadS2, MeshQuad

from headjoint.cases.elements.axisymmetric import QUADRATURE_ORDER
from headjoint.cases.elements.solid import element_rule
from headjoint.meshes.solid.hexahedra import shape_functions
from headjoint.meshes.solid.tetrahedra import tetrahedron_functions
from headjoint.model.base.arrays import FloatArray, IntArray, summed_at
from headjoint.model.base.errors import InputError
from headjoint.model.base.property_table import PropertyTable, looked_up
from headjoint.model.heat.transfer import ThermalProperties

CHUNK = 1000  # elements whose products are held at once
IN_CACHE = 128  # elements whose gradients are still at hand when they are used a second time


@dataclass(frozen=True)
class Pattern:
    """Where element matrices go in the sparse matrix of all nodes; found once, used at every assembly."""

    order: IntArray = field(repr=False)
    first: IntArray = field(repr=False)
    column: IntArray = field(repr=False)
    start: IntArray = field(repr=False)

    def assembled(self, element_matrices: FloatArray) -> sp.csr_matrix:
        """Return the sum (n, n) of element matrices (m, k, k)."""
        data = np.add.reduceat(element_matrices.ravel()[self.order], self.first)
        n = len(self.start) - 1
        return sp.csr_matrix((data, self.column, self.start), shape=(n, n))


def pattern_of(cells: IntArray, count: int) -> Pattern:
    """Return the pattern of elements (k, m) over `count` nodes."""
    nodes = cells.T
    key = (nodes[:, :, None] * count + nodes[:, None, :]).ravel()
    order = np.argsort(key, kind="stable")
    key = key[order]
    first = np.flatnonzero(np.concatenate([[True], key[1:] != key[:-1]]))
    start = np.searchsorted(key[first], np.arange(count + 1) * count)
    return Pattern(order, first, (key[first] % count).astype(np.int32), start.astype(np.int32))


@dataclass(frozen=True)
class HeatBody:
    """Element operators of heat conduction, with properties per part.

    places : (2 or 3, n) mm of the nodes. cells : (k, m). gradient : (m, q d, k) 1/mm, values : (q, k) and weight :
    (m, q) mm3 at the points of conduction. capacity_values : (c, k), capacity_weight : (m, c) at those of capacity.
    part : (m,) index into properties. basis : scikit-fem's, axisymmetric bodies only.
    """

    places: FloatArray = field(repr=False)
    cells: IntArray = field(repr=False)
    gradient: FloatArray = field(repr=False)
    values: FloatArray = field(repr=False)
    weight: FloatArray = field(repr=False)
    capacity_values: FloatArray = field(repr=False)
    capacity_weight: FloatArray = field(repr=False)
    part: IntArray = field(repr=False)
    properties: tuple[ThermalProperties, ...]
    basis: Basis | None = field(default=None, repr=False)

    def __post_init__(self) -> None:
        if len(self.part) != self.cells.shape[1] or self.part.max() >= len(self.properties) or self.part.min() < 0:
            raise InputError("every element needs a part with thermal properties", field="part")

    @property
    def count(self) -> int:
        """Number of nodes."""
        return self.places.shape[1]

    @cached_property
    def pattern(self) -> Pattern:
        """The sparse pattern of this body."""
        return pattern_of(self.cells, self.count)

    @cached_property
    def volume(self) -> float:
        """Volume of all elements, mm3."""
        return float(self.capacity_weight.sum())

    def conductivity_matrix(self, temperature: FloatArray) -> sp.csr_matrix:
        """Return K (n, n) in W/K at nodal temperatures (n,) in degC."""
        m, k = self.cells.shape[1], len(self.cells)
        factor = np.repeat(self._conductivity(temperature), len(self.places), axis=1)
        element = np.empty((m, k, k))
        for start in range(0, m, CHUNK):
            chunk = slice(start, start + CHUNK)
            gradient = self.gradient[chunk]
            element[chunk] = (gradient * factor[chunk][:, :, None]).transpose(0, 2, 1) @ gradient
        return self.pattern.assembled(element)

    def capacity_matrix(self, temperature: FloatArray) -> sp.csr_matrix:
        """Return the consistent C (n, n) in J/K, the derivative of the heat content by nodal temperatures."""
        k = len(self.cells)
        at_points = temperature[self.cells.T] @ self.capacity_values.T
        capacity = self._by_part(at_points, lambda own, T: looked_up(own.capacity, T))
        products = (self.capacity_values[:, :, None] * self.capacity_values[:, None, :]).reshape(-1, k * k)
        return self.pattern.assembled((capacity * self.capacity_weight) @ products)

    def conduction(self, temperature: FloatArray) -> FloatArray:
        """Return the heat (n,) in W that conduction takes from each node; K(T) T without assembling K."""
        nodal = temperature[self.cells.T]
        factor, d = self._conductivity(temperature), len(self.places)
        found = np.empty_like(nodal)
        for start in range(0, len(nodal), IN_CACHE):
            chunk = slice(start, start + IN_CACHE)
            gradient = self.gradient[chunk]
            flux = (gradient @ nodal[chunk, :, None]).reshape(len(gradient), -1, d)
            flux *= factor[chunk, :, None]
            found[chunk] = (flux.reshape(len(gradient), 1, -1) @ gradient)[:, 0, :]
        return self._summed(found)

    def heat(self, temperature: FloatArray) -> FloatArray:
        """Return the heat content (n,) in J above the lowest temperatures of the tables; sums to the body's."""
        at_points = temperature[self.cells.T] @ self.capacity_values.T
        content = self._by_part(at_points, lambda own, T: _integrated(own.capacity, T))
        return self._summed((content * self.capacity_weight) @ self.capacity_values)

    def source(self, density: FloatArray) -> FloatArray:
        """Return the load (n,) in W of heat set free in elements, (m,) in W/mm3."""
        return self._summed((density[:, None] * self.capacity_weight) @ self.capacity_values)

    def mean(self, temperature: FloatArray, parts: IntArray | int | None = None) -> float:
        """Return the mean temperature over the volume of all elements, or of those of some parts."""
        weight = self.capacity_weight * (1.0 if parts is None else np.isin(self.part, parts)[:, None])
        at_points = temperature[self.cells.T] @ self.capacity_values.T
        return float(np.sum(weight * at_points) / weight.sum())

    def _conductivity(self, temperature: FloatArray) -> FloatArray:
        """Return conductivity times weight (m, q) at the points of conduction."""
        at_points = temperature[self.cells.T] @ self.values.T
        return self._by_part(at_points, lambda own, T: looked_up(own.conductivity, T)) * self.weight

    @cached_property
    def _elements(self) -> list[tuple[ThermalProperties, IntArray]]:
        by_part = ((own, np.flatnonzero(self.part == index)) for index, own in enumerate(self.properties))
        return [(own, elements) for own, elements in by_part if len(elements)]

    def _by_part(
        self, at_points: FloatArray, law: Callable[[ThermalProperties, FloatArray], FloatArray | float]
    ) -> FloatArray:
        values = np.empty_like(at_points)
        for own, elements in self._elements:
            values[elements] = law(own, at_points[elements])
        return values

    def _summed(self, element_vectors: FloatArray) -> FloatArray:
        return summed_at(self.cells.T.ravel(), element_vectors.ravel(), self.count)


def _integrated(table: PropertyTable, temperature: FloatArray) -> FloatArray:
    """Return the integral of a table from its first temperature."""
    at, value = table.temperatures, table.values
    total = value[0] * (temperature - at[0])
    for t_0, t_1, v_0, v_1 in zip(at, at[1:], value, value[1:], strict=False):
        beyond = np.maximum(temperature - t_0, 0.0)
        inside = np.minimum(beyond, t_1 - t_0)
        # the value bends by its slope inside a segment and keeps what it gained there
        total += (v_1 - v_0) / (t_1 - t_0) * inside * (beyond - inside / 2.0)
    return total


def axisymmetric_heat_body(mesh: MeshQuad, part: IntArray, properties: tuple[ThermalProperties, ...]) -> HeatBody:
    """Return the body of a mesh in (r, z) mm; nodes are the scalar unknowns of `elastic_body` on the same mesh."""
    basis = Basis(mesh, ElementQuadS2(), intorder=QUADRATURE_ORDER)
    radius = basis.global_coordinates()[0]
    m, q = radius.shape
    gradient = np.stack([np.broadcast_to(basis.basis[i][0].grad, (2, m, q)) for i in range(8)], axis=-1)
    values = np.stack([np.broadcast_to(basis.basis[i][0], (m, q))[0] for i in range(8)], axis=-1)
    weight = 2.0 * np.pi * radius * basis.dx
    return HeatBody(
        places=basis.doflocs,
        cells=np.asarray(basis.element_dofs, dtype=np.int64),
        gradient=np.ascontiguousarray(gradient.transpose(1, 2, 0, 3)).reshape(m, 2 * q, 8),
        values=values,
        weight=weight,
        capacity_values=values,
        capacity_weight=weight,
        part=part,
        properties=properties,
        basis=basis,
    )


def solid_heat_body(
    points: FloatArray,
    cells: IntArray,
    part: IntArray,
    properties: tuple[ThermalProperties, ...],
    filled: FloatArray | None = None,
) -> HeatBody:
    """Return the body of hexahedra (20, m) or tetrahedra (10, m) at points (3, n) mm.

    filled : (m,) share of each element that is material, all of it by default.
    """
    share = 1.0 if filled is None else filled[:, None]
    values, local, weights = element_rule(len(cells))
    nodes = points[:, cells]
    m, q = cells.shape[1], len(weights)
    gradient = np.empty((m, q, 3, len(cells)))
    weight = np.empty((m, q))
    for start in range(0, m, CHUNK):
        chunk = slice(start, start + CHUNK)
        jacobian = np.einsum("dnm,qna->mqda", nodes[:, :, chunk], local, optimize=True)
        weight[chunk] = np.linalg.det(jacobian) * weights
        # d/dx = J^-T d/dxi
        gradient[chunk] = (local[None] @ np.linalg.inv(jacobian)).transpose(0, 1, 3, 2)
    capacity_values, capacity_local, capacity_weights = _capacity_rule(len(cells))
    jacobian = np.einsum("dnm,qna->mqda", nodes, capacity_local, optimize=True)
    return HeatBody(
        places=points,
        cells=cells,
        gradient=gradient.reshape(m, 3 * q, len(cells)),
        values=values,
        weight=share * weight,
        capacity_values=capacity_values,
        capacity_weight=share * np.linalg.det(jacobian) * capacity_weights,
        part=part,
        properties=properties,
    )


def _capacity_rule(nodes: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return functions, gradients and weights at 27 points: fewer would leave fields without capacity."""
    g, w = roots_legendre(3)
    if nodes == 20:
        xi = np.array([[a, b, c] for a in g for b in g for c in g])
        return *shape_functions(xi), np.array([a * b * c for a in w for b in w for c in w])
    # the cube folded to a tetrahedron (A. H. Stroud's conical product), exact to degree five
    u, w_u = (g + 1.0) / 2.0, w / 2.0
    (v, w_v), (t, w_t) = (
        ((x + 1.0) / 2.0, weight / 2.0 ** (power + 1)) for power in (1, 2) for x, weight in [roots_jacobi(3, power, 0)]
    )
    xi = np.array([[a, b * (1 - a), c * (1 - a) * (1 - b)] for a in t for b in v for c in u])
    return *tetrahedron_functions(xi), np.array([a * b * c for a in w_t for b in w_v for c in w_u])
