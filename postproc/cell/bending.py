"""Bending of a cell's studs, and the slip of their nuts over the head, as rows on the condensed unknowns.

So studies need no full displacements. The faces under the nuts slide freely in the model; what a shear between nut and
head does besides is linear, and found here once, with the gasket's closures held.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from headjoint.cases.condensed.cell_condensation import CellModel, CellRecovery
from headjoint.cases.condensed.cell_interfaces import faces_met, nearest_fastener
from headjoint.meshes.solid.solid_mesh import MeshedFastener
from headjoint.model.base.arrays import FloatArray
from headjoint.model.formulas.stud_bending import guided_beam
from headjoint.model.joint import Segment
from headjoint.postproc.cell.shapes import bending_fit


@dataclass(frozen=True)
class Rows:
    """Linear figures (r,) of a state: on_unknowns (r, n), on_loads name -> (r,) of unit loads."""

    on_unknowns: FloatArray = field(repr=False)
    on_loads: dict[str, FloatArray] = field(repr=False)

    def at(self, q: FloatArray, load_factors: Mapping[str, float]) -> FloatArray:
        """Return the figures (r,) at unknowns q (n,) under unit loads."""
        found: FloatArray = self.on_unknowns @ q
        for name, factor in load_factors.items():
            if name in self.on_loads:
                found = found + factor * self.on_loads[name]
        return found


@dataclass(frozen=True)
class BendingRows:
    """Bending and slip of every fastener.

    bending : of each fastener the gradients of axial stress across the axis at the thread (half of its rows), and how
    they change up to the seat. arm : (f,) mm, radius times shape, which makes stress of a gradient.
    slip : mm of nuts over the head, `of` the fasteners (r,); none where faces under nuts are tied or symmetry holds
    them. flexibility : (r, r) mm per N of shear on what the mesh has of each nut. by_shear : of each fastener, its
    bending per N of each shear.
    """

    bending: tuple[Rows, ...]
    arm: FloatArray
    slip: Rows
    of: NDArray[np.int64]
    flexibility: FloatArray = field(repr=False)
    by_shear: tuple[FloatArray, ...] = field(repr=False)

    def gradients(self, q: FloatArray, load_factors: Mapping[str, float]) -> list[FloatArray]:
        """Return the bending of every fastener whose nut slides freely."""
        return [rows.at(q, load_factors) for rows in self.bending]

    def stress(self, gradients: list[FloatArray]) -> FloatArray:
        """Return the greatest bending stress (f,) MPa of gradients: that of the larger end."""
        found = []
        for one in gradients:
            at_thread, slope = np.split(one, 2)
            found.append(max(float(np.linalg.norm(at_thread)), float(np.linalg.norm(at_thread + slope))))
        return np.array(found) * self.arm


def bending_rows(model: CellModel, recovery: CellRecovery) -> BendingRows:
    """Return the rows of every fastener of a model, by one back-substitution of its recovery a row."""
    bending, arms = [], []
    for number, fastener in enumerate(model.mesh.fasteners):
        rows, arm = _bending(model, recovery, number, fastener)
        bending.append(rows)
        arms.append(arm)
    return _with_slip(model, recovery, bending, np.array(arms))


@dataclass(frozen=True)
class _Solved:
    """Rows with what makes them: on_inner, (r, i) on the inner unknowns, and back, the same through their stiffness."""

    rows: Rows
    on_inner: FloatArray
    back: FloatArray


def _solved(model: CellModel, recovery: CellRecovery, on_all: FloatArray) -> _Solved:
    """Return rows (r, u) on all unknowns as rows on the kept ones and on unit loads."""
    coupling = model.matrix[model.inner][:, model.kept]
    on_inner = on_all[:, model.inner]
    back = np.stack([recovery.solve_inner(row) for row in on_inner]) if len(on_all) else on_inner
    loads = {name: back @ load[model.inner] for name, load in model.loads.items()}
    return _Solved(Rows(on_all[:, model.kept] - (coupling.T @ back.T).T, loads), on_inner, back)


def _bending(model: CellModel, recovery: CellRecovery, number: int, fastener: MeshedFastener) -> tuple[_Solved, float]:
    mesh, body = model.mesh, model.body
    own = fastener.free
    fit, inside, arm = bending_fit(model.cell, model, fastener)
    operator, weight = body.operators(own)
    on_points = np.zeros((len(fit), inside.size))
    on_points[:, inside] = fit
    on_points = on_points.reshape(len(fit), *weight.shape)
    vertical = body.D[own][:, 2]  # sigma_zz of the six strains
    on_nodes = np.einsum("rmq,mi,mqid->rmd", on_points, vertical, operator, optimize=True)
    displacement = np.zeros((len(fit), body.unknowns))
    dofs = body.dofs(own)
    for row in range(len(fit)):
        np.add.at(displacement[row], dofs.ravel(), on_nodes[row].ravel())
    on_all = np.zeros((len(fit), model.matrix.shape[0]))
    on_all[:, : model.transform.shape[1]] = (model.transform.T @ displacement.T).T
    first_overlap = model.transform.shape[1]
    on_all[:, first_overlap + number] = np.einsum("rma,am->r", on_nodes[:, :, 2::3], fastener.travel)
    solved = _solved(model, recovery, on_all)
    free = np.einsum("rmq,mi->rm", on_points, body.D[own][:, 2, :3])
    for part in np.unique(mesh.part[own]):
        name = mesh.parts[part]
        solved.rows.on_loads[name] -= free[:, mesh.part[own] == part].sum(axis=1)
    for name, strain in model.strains.items():
        solved.rows.on_loads[name] -= np.einsum("rmq,mi,mq->r", on_points, body.D[own][:, 2, :3], strain[own])
    return solved, arm


def _with_slip(model: CellModel, recovery: CellRecovery, bending: list[_Solved], arms: FloatArray) -> BendingRows:
    """Return the rows with the slip of nuts along what symmetry leaves them.

    A stud on the far end of a bank is cut by a plane that head and block move along each by itself: across that plane
    its nut slips, too, as far as one has moved over the other. It is round, so it bends there as it does along it.
    """
    faces, travels = _nut_over_head(model), _across_ends(model)
    along = _solved(
        model, recovery, np.array([row for rows in faces for row in rows]).reshape(-1, model.matrix.shape[0])
    )
    of = np.repeat(np.arange(len(faces)), [len(rows) for rows in faces])
    across = _solved(model, recovery, np.array([row for _, row in travels]).reshape(-1, model.matrix.shape[0]))
    ends = np.array([number for number, _ in travels], dtype=np.int64)
    count, more = len(of), len(ends)
    flexibility = np.zeros((count + more, count + more))
    flexibility[:count, :count] = along.back @ along.on_inner.T + np.diag(_thinner(model)[of])
    rows, by_shear = [], []
    for number, one in enumerate(bending):
        shears = np.zeros((len(one.back), count + more))
        shears[:, :count] = one.back @ along.on_inner.T
        found = one.rows
        if number in ends:
            twin, new = int(np.flatnonzero(of == number)[0]), count + int(np.flatnonzero(ends == number)[0])
            flexibility[new, new] = flexibility[twin, twin]
            found, shears = _with_direction(found, shears, twin, new)
        rows.append(found)
        by_shear.append(shears)
    slip = Rows(
        np.vstack([along.rows.on_unknowns, across.rows.on_unknowns]),
        {name: np.concatenate([load, across.rows.on_loads[name]]) for name, load in along.rows.on_loads.items()},
    )
    return BendingRows(tuple(rows), arms, slip, np.concatenate([of, ends]), flexibility, tuple(by_shear))


def _with_direction(rows: Rows, shears: FloatArray, twin: int, new: int) -> tuple[Rows, FloatArray]:
    """Return bending along one way (two rows) and another, which the shear `new` bends as `twin` does the first."""
    empty = np.zeros((1, rows.on_unknowns.shape[1]))
    unknowns = np.vstack([rows.on_unknowns[:1], empty, rows.on_unknowns[1:], empty])
    loads = {name: np.array([load[0], 0.0, load[1], 0.0]) for name, load in rows.on_loads.items()}
    both = np.vstack([shears[:1], np.zeros((1, shears.shape[1])), shears[1:], np.zeros((1, shears.shape[1]))])
    both[[1, 3], new] = shears[:, twin]
    return Rows(unknowns, loads), both


def _nut_over_head(model: CellModel) -> list[list[FloatArray]]:
    """Return, of every fastener, the mean of nut over head on all unknowns along each way that symmetry leaves."""
    mesh = model.mesh
    found: list[list[FloatArray]] = [[] for _ in mesh.fasteners]
    if all(pair.name != "bearing" for pair in mesh.pairs):
        return found
    met = faces_met(mesh, mesh.pair("bearing"))
    whose = nearest_fastener(mesh, met.at)
    for number, fastener in enumerate(mesh.fasteners):
        ways = [(1.0, 0.0), (0.0, 1.0)]
        if fastener.cut_planes:
            (nx, ny), *others = fastener.cut_planes
            ways = [] if others else [(-ny, nx)]
        weight = np.where(whose == number, met.weight, 0.0)
        mean = (met.upper - met.lower).T @ (weight / weight.sum())
        for way in ways:
            found[number].append(_on_all(model, np.outer(mean, (*way, 0.0)).ravel()))
    return found


def _across_ends(model: CellModel) -> list[tuple[int, FloatArray]]:
    """Return the number of every fastener on a far end that head and block leave each by itself, with its row."""
    mesh = model.mesh
    found: list[tuple[int, FloatArray]] = []
    if len(mesh.travelling) < 2 or all(pair.name != "bearing" for pair in mesh.pairs):
        return []
    (normal, head), (_, others) = mesh.travelling
    at = float(np.dot(normal, mesh.points[:2, head[0]]))
    apart = np.zeros((mesh.points.shape[1], 3))
    apart[others[0], :2], apart[head[0], :2] = normal, [-component for component in normal]
    for number, fastener in enumerate(mesh.fasteners):
        cut = [abs(float(np.dot(normal, plane))) > 1.0 - 1e-9 for plane in fastener.cut_planes]
        if cut == [True] and abs(float(np.dot(normal, (fastener.x, fastener.y))) - at) < 1e-3:
            found.append((number, _on_all(model, apart.ravel())))
    return found


def _on_all(model: CellModel, on_displacements: FloatArray) -> FloatArray:
    found = np.zeros(model.matrix.shape[0])
    found[: model.transform.shape[1]] = model.transform.T @ on_displacements
    return found


def _thinner(model: CellModel) -> FloatArray:
    """Return what the stated segments add (f,) mm/N to the flexibility of the cylinder that stands for the fastener."""
    cell = model.cell
    fastener = cell.joint.fastener
    E, nu = fastener.material.E.at(cell.joint.assembly_temperature), fastener.material.nu
    cylinder = (Segment(fastener.clamped_length, cell.shank_diameter, False),)
    more = guided_beam(fastener.segments, E, nu).compliance - guided_beam(cylinder, E, nu).compliance
    return np.array([more / one.share for one in model.mesh.fasteners])
