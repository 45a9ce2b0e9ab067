"""Manufactured solutions: a field is chosen, the load that makes it follows by hand, and elements must find it again.

`python -m validation.manufactured` prints the errors on ever finer meshes of every kind of element, for elasticity and
heat, and the order at which they fall, beside that of theory: quadratic elements lose one power of their size in
gradients (2), and none in the field itself (3); textbook, from memory.

The solids carry a wave, u_i = A_i sin(k x + phi_i), whose load is b = (lambda + mu) k sum_i A_i k_i sin(k x + phi_i)
+ mu |k|^2 A sin(k x + phi), from div sigma + b = 0 with sigma = lambda tr(e) I + 2 mu e. The rings carry u_r =
r^2 sin(p z), u_z = r^2 cos(p z). Temperatures are the first component of either.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise, permutations

import numpy as np
import scipy.sparse as sp
from rich.console import Console
from rich.table import Table

from headjoint.cases.elements.linear_solver import Factorization
from headjoint.cases.elements.solid import SolidBody, element_rule, isotropic_stiffness
from headjoint.cases.heat.conduction import HeatBody, solid_heat_body
from headjoint.meshes.solid.tetrahedra import EDGES
from headjoint.model.base.arrays import FloatArray, IntArray, summed_at
from headjoint.model.heat.transfer import properties
from validation.elasticity import body_of, grid
from validation.heat_bodies import cuboid, ring

SIDE = 10.0  # mm of the block, and of the ring's cross-section
BORE = 5.0  # mm, inner radius of the ring
E, NU = 70e3, 0.33  # MPa, as of a light alloy; any would do
SHEAR = E / (2.0 * (1.0 + NU))
LAME = E * NU / ((1.0 + NU) * (1.0 - 2.0 * NU))
WAVE = np.array([0.21, -0.13, 0.17])  # 1/mm, along no edge of an element
AMPLITUDE = np.array([1.0, -0.7, 0.5])
PHASE = np.array([0.3, 1.1, -0.4])
ALONG = 0.25  # 1/mm, p of the ring
SLANT = np.array([[1.0, 0.2, 0.1], [0.0, 1.0, 0.15], [0.0, 0.0, 1.0]])  # blocks are slanted, so that nothing is square
THEORY = {"field": 3.0, "gradient": 2.0}
CONDUCTING = properties(50.0, 7850.0, 460.0)


@dataclass(frozen=True)
class Errors:
    """Root mean square errors of the field and its gradient (or stress), relative, on meshes of so many elements."""

    counts: tuple[int, ...]
    field: tuple[float, ...]
    gradient: tuple[float, ...]

    def orders(self, of: str) -> list[float]:
        """Return the observed order from each mesh to the next."""
        finer = [math.log2(fine / coarse) for coarse, fine in pairwise(self.counts)]
        return [math.log2(a / b) / by for (a, b), by in zip(pairwise(getattr(self, of)), finer, strict=True)]


def tetrahedra(count: int) -> tuple[FloatArray, IntArray]:
    """Return points (3, n) and cells (10, m) of a cube of count^3 boxes, each cut in six along its diagonal."""
    lines = np.arange(2 * count + 1)  # also middles of edges
    points = np.stack([one.ravel() for one in np.meshgrid(lines, lines, lines, indexing="ij")])

    def number(place: FloatArray) -> IntArray:
        return ((place[0] * len(lines) + place[1]) * len(lines) + place[2]).astype(np.int64)

    origin = 2 * np.stack([one.ravel() for one in np.indices((count, count, count))])
    cells = []
    for order in permutations(range(3)):
        path = [origin]
        for axis in order:
            path.append(path[-1] + 2 * np.eye(3, dtype=int)[axis][:, None])
        if np.linalg.det(np.eye(3)[list(order)]) < 0.0:  # or it would be inside out
            path[1], path[2] = path[2], path[1]
        middles = [(path[i] + path[j]) // 2 for i, j in EDGES]
        cells.append(np.stack([number(place) for place in (*path, *middles)]))
    cells_of = np.hstack(cells)
    used, inverse = np.unique(cells_of, return_inverse=True)
    return points[:, used] * SIDE / (2.0 * count), inverse.reshape(cells_of.shape)


def block(count: int, kind: str) -> tuple[FloatArray, IntArray]:
    """Return points and cells of a slanted block of "hexahedra" or "tetrahedra"."""
    if kind == "tetrahedra":
        points, cells = tetrahedra(count)
    else:
        lines = np.linspace(0.0, SIDE, count + 1)
        body = cuboid(lines, lines, lines, CONDUCTING)
        points, cells = body.places, body.cells
    return SLANT @ points, cells


def solved(matrix: sp.csr_matrix, load: FloatArray, exact: FloatArray, held: IntArray) -> FloatArray:
    """Return the solution under a load, with the exact values at the unknowns held."""
    free = np.setdiff1d(np.arange(len(exact)), held)
    found = exact.copy()
    found[free] = Factorization(matrix[free][:, free]).solve(load[free] - matrix[free][:, held] @ exact[held])
    return found


def outside(places: FloatArray) -> IntArray:
    """Return the nodes on the faces of a block or a ring's cross-section, slanted or not."""
    straight = np.linalg.solve(SLANT, places) if len(places) == 3 else places - np.array([[BORE], [0.0]])
    return np.flatnonzero((np.abs(straight) < 1e-9).any(axis=0) | (np.abs(straight - SIDE) < 1e-9).any(axis=0))


def relative(error: FloatArray, exact: FloatArray, weight: FloatArray) -> float:
    """Return the root mean square of an error (..., m, q) over that of the exact values."""
    return math.sqrt(float(np.sum(weight * error**2) / np.sum(weight * exact**2)))


def wave(places: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return displacement (3, ...), strain (3, 3, ...) and load (3, ...) of the wave at places (3, ...)."""
    angle = np.tensordot(WAVE, places, 1) + PHASE.reshape(3, *(1,) * (places.ndim - 1))
    swing, slope = (np.einsum("i,i...->i...", AMPLITUDE, f(angle)) for f in (np.sin, np.cos))
    gradient = np.einsum("i...,j->ij...", slope, WAVE)
    along = np.tensordot(WAVE, swing, 1)
    load = (LAME + SHEAR) * np.einsum("j,...->j...", WAVE, along) + SHEAR * float(WAVE @ WAVE) * swing
    return swing, (gradient + gradient.swapaxes(0, 1)) / 2.0, load


def elastic_block(count: int, kind: str) -> tuple[float, float]:
    """Return the errors of displacement and stress of a block that carries the wave."""
    points, cells = block(count, kind)
    body = SolidBody(points, cells, isotropic_stiffness(np.full(cells.shape[1], E), np.full(cells.shape[1], NU)))
    values = element_rule(len(cells))[0]
    at, weight = body.places()
    exact, strain, force = wave(at)
    element_load = np.einsum("dmq,mq,qn->mnd", force, weight, values)
    matrix, _ = body.stiffness_and_free_strain()
    held = outside(points)
    unknowns = (3 * held[:, None] + np.arange(3)).ravel()
    u = solved(matrix.tocsr(), body.vector(element_load.reshape(len(weight), -1)), wave(points)[0].T.ravel(), unknowns)
    found = np.einsum("dnm,qn->dmq", u.reshape(-1, 3).T[:, cells], values)
    stress = body.stress(u, np.zeros(len(weight)), np.zeros(cells.shape)).transpose(2, 0, 1)
    pressed = LAME * np.trace(strain)
    wanted = np.stack(
        [
            *(2.0 * SHEAR * strain[i, i] + pressed for i in range(3)),
            *(2.0 * SHEAR * strain[i, (i + 1) % 3] for i in range(3)),
        ]
    )
    return relative(found - exact, exact, weight), relative(stress - wanted, wanted, weight)


def hot_block(count: int, kind: str) -> tuple[float, float]:
    """Return the errors of temperature and its gradient of a block that carries the wave's first component."""
    points, cells = block(count, kind)
    body = solid_heat_body(points, cells, np.zeros(cells.shape[1], dtype=int), (CONDUCTING,))
    conductivity = float(CONDUCTING.conductivity.values[0])

    def temperature(places: FloatArray) -> FloatArray:
        return wave(places)[0][0]

    def gradient(places: FloatArray) -> FloatArray:
        angle = np.tensordot(WAVE, places, 1) + PHASE[0]
        return np.einsum("j,...->j...", WAVE, AMPLITUDE[0] * np.cos(angle))

    return _hot(body, temperature, gradient, lambda at: conductivity * float(WAVE @ WAVE) * temperature(at))


def elastic_ring(count: int, kind: str) -> tuple[float, float]:
    """Return the errors of displacement and stress of a ring."""
    lines = np.linspace(0.0, SIDE, count + 1)
    body = body_of(grid(BORE + lines, lines), E, NU)
    values = np.stack([np.broadcast_to(body.basis.basis[i][0], body.weight.shape)[0] for i in range(8)], axis=-1)

    def moved(r: FloatArray, z: FloatArray) -> FloatArray:
        return np.stack([r**2 * np.sin(ALONG * z), r**2 * np.cos(ALONG * z)])

    r, z = body.basis.global_coordinates()
    s, c, p = np.sin(ALONG * z), np.cos(ALONG * z), ALONG
    # dilatation 3 r s - p r^2 s; vector Laplacian (3 - p^2 r^2) s along r and (4 - p^2 r^2) c along z
    force = -np.stack(
        [
            (LAME + SHEAR) * (3.0 - 2.0 * p * r) * s + SHEAR * (3.0 - p**2 * r**2) * s,
            (LAME + SHEAR) * p * (3.0 * r - p * r**2) * c + SHEAR * (4.0 - p**2 * r**2) * c,
        ]
    )
    element_load = np.einsum("dmq,mq,qn->mnd", force, body.weight, values).reshape(len(r), -1)
    held = outside(body.basis.doflocs)
    unknowns = (2 * held[:, None] + np.arange(2)).ravel()
    exact = moved(*body.basis.doflocs).T.ravel()
    u = solved(body.matrix(body.element_stiffness()), body.vector(element_load), exact, unknowns)
    nodal = u.reshape(-1, 2).T[:, body.basis.element_dofs]
    found, wanted = np.einsum("dnm,qn->dmq", nodal, values), moved(r, z)
    stress = body.stress(u, np.zeros(len(r))).transpose(2, 0, 1)
    strain = np.stack([2.0 * r * s, -p * r**2 * s, r * s, p * r**2 * c + 2.0 * r * c])
    dilatation = LAME * strain[:3].sum(axis=0)
    exact_stress = np.stack([*(dilatation + 2.0 * SHEAR * one for one in strain[:3]), SHEAR * strain[3]])
    return relative(found - wanted, wanted, body.weight), relative(stress - exact_stress, exact_stress, body.weight)


def hot_ring(count: int, kind: str) -> tuple[float, float]:
    """Return the errors of temperature r^2 sin(p z) and its gradient in a ring."""
    lines = np.linspace(0.0, SIDE, count + 1)
    body = ring(BORE + lines, lines, CONDUCTING)
    conductivity = float(CONDUCTING.conductivity.values[0])
    return _hot(
        body,
        lambda at: at[0] ** 2 * np.sin(ALONG * at[1]),
        lambda at: np.stack([2.0 * at[0] * np.sin(ALONG * at[1]), ALONG * at[0] ** 2 * np.cos(ALONG * at[1])]),
        lambda at: -conductivity * (4.0 - ALONG**2 * at[0] ** 2) * np.sin(ALONG * at[1]),
    )


Field = Callable[[FloatArray], FloatArray]


def _hot(body: HeatBody, temperature: Field, gradient: Field, source: Field) -> tuple[float, float]:
    places = body.places[:, body.cells]
    at_source = np.einsum("dnm,qn->dmq", places, body.capacity_values)
    element_load = (source(at_source) * body.capacity_weight) @ body.capacity_values
    load = summed_at(body.cells.T.ravel(), element_load.ravel(), body.count)
    exact = temperature(body.places)
    T = solved(body.conductivity_matrix(np.zeros(body.count)), load, exact, outside(body.places))
    nodal = T[body.cells.T]
    at = np.einsum("dnm,qn->dmq", places, body.values)
    slope = (body.gradient @ nodal[:, :, None]).reshape(len(nodal), -1, len(places)).transpose(2, 0, 1)
    return (
        relative(nodal @ body.values.T - temperature(at), temperature(at), body.weight),
        relative(slope - gradient(at), gradient(at), body.weight),
    )


Case = tuple[Callable[[int, str], tuple[float, float]], str]
CASES: dict[str, Case] = {
    "elasticity, eight-node quadrilaterals round an axis": (elastic_ring, "quadrilaterals"),
    "elasticity, twenty-node hexahedra": (elastic_block, "hexahedra"),
    "elasticity, ten-node tetrahedra": (elastic_block, "tetrahedra"),
    "heat, eight-node quadrilaterals round an axis": (hot_ring, "quadrilaterals"),
    "heat, twenty-node hexahedra": (hot_block, "hexahedra"),
    "heat, ten-node tetrahedra": (hot_block, "tetrahedra"),
}


def errors(name: str, counts: tuple[int, ...]) -> Errors:
    """Return the errors of one case on meshes of so many elements along an edge."""
    work, kind = CASES[name]
    field, gradient = zip(*(work(count, kind) for count in counts), strict=True)
    return Errors(counts, field, gradient)


def main() -> None:
    table = Table(title="Manufactured solutions", title_justify="left")
    for heading in ("elements", "of", "elements an edge", "relative errors", "orders", "in theory"):
        table.add_column(heading)
    for name in CASES:
        counts = (2, 4, 8) if "tetra" in name or "hexa" in name else (4, 8, 16, 32)
        found = errors(name, counts)
        for of in THEORY:
            told = (f"{error:.1e}" for error in getattr(found, of))
            orders = (f"{order:.2f}" for order in found.orders(of))
            table.add_row(name, of, " ".join(map(str, counts)), " ".join(told), " ".join(orders), f"{THEORY[of]:.0f}")
    Console(width=140).print(table)


if __name__ == "__main__":
    main()
