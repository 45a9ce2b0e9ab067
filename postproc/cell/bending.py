"""Bending of a cell's studs as rows on the condensed unknowns, so that studies need no full displacements."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from headjoint.cases.condensed.cell_condensation import CellModel, CellRecovery
from headjoint.model.base.arrays import FloatArray
from headjoint.postproc.cell.shapes import bending_fit


@dataclass(frozen=True)
class BendingRows:
    """For every fastener its rows (r, n) on the unknowns, (r,) on unit loads by name, and radius times shape (mm).

    The first half of the rows gives the gradients of axial stress across the axis at the thread, the second how they
    change up to the seat.
    """

    on_unknowns: tuple[FloatArray, ...] = field(repr=False)
    on_loads: tuple[dict[str, FloatArray], ...] = field(repr=False)
    arm: tuple[float, ...]

    def stress(self, q: FloatArray, load_factors: Mapping[str, float]) -> FloatArray:
        """Return the greatest bending stress (MPa) of each fastener, as `cell_shapes.bending_stress` does."""
        found = []
        for rows, loads, arm in zip(self.on_unknowns, self.on_loads, self.arm, strict=True):
            gradients = rows @ q
            for name, factor in load_factors.items():
                if name in loads:
                    gradients = gradients + factor * loads[name]
            at_thread, slope = np.split(gradients, 2)
            greatest = max(float(np.linalg.norm(at_thread)), float(np.linalg.norm(at_thread + slope)))
            found.append(greatest * arm)
        return np.array(found)


def bending_rows(model: CellModel, recovery: CellRecovery) -> BendingRows:
    """Return the rows of every fastener of a model, by one back-substitution of its recovery a row."""
    mesh, body, whole = model.mesh, model.body, model.matrix.shape[0]
    coupling = model.matrix[model.inner][:, model.kept]
    rows, loads, arms = [], [], []
    for number, fastener in enumerate(mesh.fasteners):
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
        on_all = np.zeros((len(fit), whole))
        on_all[:, : model.transform.shape[1]] = (model.transform.T @ displacement.T).T
        first_overlap = model.transform.shape[1]
        on_all[:, first_overlap + number] = np.einsum("rma,am->r", on_nodes[:, :, 2::3], fastener.travel)
        back = np.stack([recovery.solve_inner(row) for row in on_all[:, model.inner]])
        rows.append(on_all[:, model.kept] - (coupling.T @ back.T).T)
        of_loads = {name: back @ load[model.inner] for name, load in model.loads.items()}
        free = np.einsum("rmq,mi->rm", on_points, body.D[own][:, 2, :3])
        for part in np.unique(mesh.part[own]):
            name = mesh.parts[part]
            of_loads[name] = of_loads[name] - free[:, mesh.part[own] == part].sum(axis=1)
        loads.append(of_loads)
        arms.append(arm)
    return BendingRows(tuple(rows), tuple(loads), tuple(arms))
