"""Full fields of every state: displacement and stress, and their VTU files."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from headjoint.cases.condensed.condensation import FieldRecovery
from headjoint.cases.load_cases.load_history import State
from headjoint.cases.load_cases.solved import SolvedJoint
from headjoint.model.base.arrays import FloatArray

UNFIT_FOR_FILES = r"[^\w.]+"


@dataclass(frozen=True)
class RecoveredState:
    """Full fields of one state.

    displacement : (N,) in mm over all unknowns. stress : (m, q, 4) in MPa (rr, zz, tt, rz) at the Gauss points.
    """

    state: State
    displacement: FloatArray = field(repr=False)
    stress: FloatArray = field(repr=False)

    @property
    def nodal(self) -> FloatArray:
        """Displacement (r, z) per scalar unknown, (n, 2) in mm."""
        return self.displacement.reshape(-1, 2)


def recover(solved: SolvedJoint, names: Iterable[str] | None = None) -> dict[str, RecoveredState]:
    """Return the full fields of the named states (all by default) of the nominal tightening."""
    wanted = None if names is None else set(names)
    recovery = FieldRecovery(solved.assembled)
    found = {}
    for state in solved.nominal.states:
        if wanted is not None and state.name not in wanted:
            continue
        factors = solved.nominal.model.factors(state.case)
        q = state.equilibrium.q
        displacement = recovery.displacement(q, factors)
        stress = recovery.stress(displacement, float(q[-1]), factors)
        found[state.name] = RecoveredState(state, displacement, stress)
    return found


def von_mises(stress: FloatArray) -> FloatArray:
    """Return the von Mises stress (MPa) of stresses (..., 4) ordered rr, zz, tt, rz."""
    rr, zz, tt, rz = np.moveaxis(stress, -1, 0)
    return np.sqrt(0.5 * ((rr - zz) ** 2 + (zz - tt) ** 2 + (tt - rr) ** 2) + 3.0 * rz**2)


def cell_nodes(solved: SolvedJoint) -> NDArray[np.int64]:
    """Return the eight scalar unknowns of each element, corners anticlockwise, then mid-edges: (m, 8)."""
    # scikit-fem numbers facets 01, 12, 23, 03 of a quadrilateral, which is VTK's order of mid-edges
    return solved.assembled.body.basis.element_dofs.T


def corner_values(solved: SolvedJoint, values: FloatArray) -> FloatArray:
    """Return values (m, q) at the Gauss points carried to the corners of each element, (m, 4).

    A bilinear fit over each element, then the mean over the elements of the same part that meet in a corner;
    never across parts, where stress may jump.
    """
    part = solved.assembled.joint_mesh.part
    x, y = solved.assembled.body.basis.X
    corners = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    fit = np.linalg.pinv(np.column_stack([np.ones_like(x), x, y, x * y]))
    own = values @ (np.column_stack([np.ones(4), corners, corners.prod(axis=1)]) @ fit).T
    key = cell_nodes(solved)[:, :4] * (part.max() + 1) + part[:, None]
    _, shared = np.unique(key, return_inverse=True)
    shared = shared.ravel()
    return (np.bincount(shared, own.ravel()) / np.bincount(shared))[shared].reshape(own.shape)


def part_edges(solved: SolvedJoint) -> NDArray[np.int64]:
    """Return the edges that bound a part, those only one of its elements has, as scalar unknowns (k, 2)."""
    nodes = cell_nodes(solved)[:, :4]
    ends = np.sort(np.stack([nodes, np.roll(nodes, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    count = nodes.max() + 1
    key = (np.repeat(solved.assembled.joint_mesh.part, 4) * count + ends[:, 0]) * count + ends[:, 1]
    _, first, times = np.unique(key, return_index=True, return_counts=True)
    return ends[first[times == 1]]


def fastener_stretch(solved: SolvedJoint, assembled: RecoveredState) -> float:
    """Return how far the fastener stretches at assembly (mm): overlap less the sinking of its bearing face."""
    parts, places = solved.assembled.joint_mesh, solved.assembled.body.basis.doflocs
    own = np.unique(cell_nodes(solved)[parts.part == parts.parts.index("nut")])
    r, z = places[:, own]
    face = (z < z.min() + 1e-6) & (r > solved.joint.seat.bearing_inner_diameter / 2 - 1e-6)
    sinking = -float(np.average(assembled.nodal[own[face], 1], weights=r[face]))
    return float(assembled.state.overlap[0]) - sinking


def write_vtu(solved: SolvedJoint, recovered: dict[str, RecoveredState], folder: Path) -> list[Path]:
    """Write one numbered VTU per state (x = radius, y = height) and return the paths.

    Point data: displacement. Cell data: part number, temperature, mean stresses and von Mises stress. The two
    faces of the pretension cut share their points, so the overlap itself is not drawn.
    """
    import meshio

    mesh = solved.assembled.joint_mesh
    places = solved.assembled.body.basis.doflocs
    points = np.column_stack([places.T, np.zeros(places.shape[1])])
    cells = [("quad8", cell_nodes(solved))]
    weight = solved.assembled.body.weight
    share = weight / weight.sum(axis=1, keepdims=True)
    paths = []
    for number, (name, fields) in enumerate(recovered.items(), start=1):
        temperatures = fields.state.case.temperatures
        mean = np.einsum("mq,mqi->mi", share, fields.stress)
        cell_data = {
            "part": mesh.part + 1,
            "temperature [degC]": np.array([temperatures[part] for part in mesh.parts])[mesh.part],
            "von Mises stress [MPa]": np.einsum("mq,mq->m", share, von_mises(fields.stress)),
        }
        for column, label in enumerate(("radial", "axial", "hoop", "shear")):
            cell_data[f"{label} stress [MPa]"] = mean[:, column]
        path = folder / f"{number}-{re.sub(UNFIT_FOR_FILES, '-', name)}.vtu"
        moved = np.column_stack([fields.nodal, np.zeros(len(points))])
        meshio.Mesh(
            points,
            cells,
            point_data={"displacement [mm]": moved},
            cell_data={key: [values] for key, values in cell_data.items()},
        ).write(path)
        paths.append(path)
    return paths
