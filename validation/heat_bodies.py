"""Small bodies for checks of heat conduction, and their nodes and faces by place."""

from __future__ import annotations

import numpy as np

from headjoint.cases.heat.conduction import HeatBody, axisymmetric_heat_body, solid_heat_body
from headjoint.meshes.solid.hexahedra import ABOVE, BELOW, SIDES, stack
from headjoint.meshes.solid.plan_mesh import PlanMesh
from headjoint.model.heat.transfer import ThermalProperties
from validation.elasticity import grid


def cuboid(xs: np.ndarray, ys: np.ndarray, zs: np.ndarray, given: ThermalProperties) -> HeatBody:
    """Return hexahedra between lines along x, y and z (mm)."""
    flat = grid(xs, ys)
    rows = len(ys)
    ends = np.sort(flat.t[[[0, 1], [1, 2], [2, 3], [3, 0]]], axis=1)
    edges, number = np.unique(ends[:, 0] * len(xs) * rows + ends[:, 1], return_inverse=True)
    low, high = edges // (len(xs) * rows), edges % (len(xs) * rows)
    points = np.hstack([flat.p, (flat.p[:, low] + flat.p[:, high]) / 2.0])
    plan = PlanMesh(points, np.vstack([flat.t, flat.p.shape[1] + number.reshape(4, -1)]))
    return stacked_body(plan, zs, given)


def stacked_body(plan: PlanMesh, zs: np.ndarray, given: ThermalProperties) -> HeatBody:
    """Return a plan mesh stacked through heights (mm) as a body of hexahedra."""
    made = stack(plan, zs, np.zeros((plan.quads.shape[1], len(zs) - 1), dtype=int), np.zeros(1, dtype=int))
    return solid_heat_body(made.points, made.cells, made.part, (given,))


def faces_where(body: HeatBody, where) -> np.ndarray:
    """Return facets (axisymmetric) or faces (8, f) whose nodes all lie where `where(*places)` holds."""
    if body.basis is not None:
        mesh = body.basis.mesh
        return np.flatnonzero(where(*mesh.p)[mesh.facets].all(axis=0))
    inside = where(*body.places)
    found = [body.cells[local][:, inside[body.cells[local]].all(axis=0)] for local in (BELOW, ABOVE, *SIDES)]
    return np.hstack(found)


def nodes_where(body: HeatBody, where) -> np.ndarray:
    return np.flatnonzero(where(*body.places))


def ring(radii: np.ndarray, heights: np.ndarray, given: ThermalProperties) -> HeatBody:
    """Return an axisymmetric body of one material between lines of r and z (mm)."""
    mesh = grid(radii, heights)
    return axisymmetric_heat_body(mesh, np.zeros(mesh.nelements, dtype=int), (given,))


def at(value: float):
    """Return whether a coordinate is a value (mm)."""
    return lambda x: np.abs(x - value) < 1e-9
