"""VTU files of a solved cell: the solid, and its gasket."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from headjoint.cases.load_cases.solved import SolvedCell
from headjoint.postproc.cell.assessment import CellFindings
from headjoint.postproc.cell.findings import CellFields, FullField
from headjoint.postproc.joint.fields import UNFIT_FOR_FILES


def write_cell_vtu(findings: CellFindings, solved: SolvedCell, fields: Sequence[FullField], folder: Path) -> list[Path]:
    """Write two numbered VTU files per state.

    Solid: displacement; part, temperature and stresses as means of each element. Gasket: contact pressure, closure and
    scrub on the faces that carry it, means of each face.
    """
    import meshio

    mesh = solved.assembled.mesh
    _, weight = solved.assembled.body.places()
    share = weight / weight.sum(axis=1, keepdims=True)
    kind = "hexahedron20" if len(mesh.cells) == 20 else "tetra10"
    written = []
    triples = zip(fields, findings.fields, findings.states["nominal"], strict=True)
    for number, (one, faces, state) in enumerate(triples, start=1):
        temperatures = state.temperatures | {"liner": state.temperatures["block"]}
        mean = np.einsum("mq,mqi->mi", share, one.stress)
        data = {
            "part": mesh.part + 1,
            "temperature [degC]": np.array([temperatures.get(part, 0.0) for part in mesh.parts])[mesh.part],
            "von Mises stress [MPa]": np.einsum("mq,mq->m", share, von_mises_3d(one.stress)),
        }
        for column, label in enumerate(("xx", "yy", "zz", "xy", "yz", "zx")):
            data[f"stress {label} [MPa]"] = mean[:, column]
        path = folder / f"{number}-{re.sub(UNFIT_FOR_FILES, '-', one.name)}.vtu"
        meshio.Mesh(
            mesh.points.T,
            [(kind, mesh.cells.T)],
            point_data={"displacement [mm]": one.displacement},
            cell_data={key: [values] for key, values in data.items()},
        ).write(path)
        written += [path, _write_gasket(solved, one, faces, number - 1, path.with_name(f"{path.stem}-gasket.vtu"))]
    return written


def _write_gasket(solved: SolvedCell, fields: FullField, moved: CellFields, index: int, path: Path) -> Path:
    import meshio

    points, equilibrium = solved.assembled.points, solved.nominal.states[index].equilibrium
    faces = points.gasket_faces
    nodes, local = np.unique(faces, return_inverse=True)
    scrub = np.full(solved.assembled.mesh.points.shape[1], np.nan)
    scrub[moved.nodes] = moved.scrub
    meshio.Mesh(
        solved.assembled.mesh.points[:, nodes].T,
        [("quad8" if len(faces) == 8 else "triangle6", local.reshape(faces.shape).T)],
        point_data={"displacement [mm]": fields.displacement[nodes]},
        cell_data={
            "contact pressure [MPa]": [points.face_means(equilibrium.pressure)],
            "closure [mm]": [points.face_means(equilibrium.closure)],
            "scrub since assembly [mm]": [np.nanmean(scrub[faces], axis=0)],
        },
    ).write(path)
    return path


def von_mises_3d(stress: np.ndarray) -> np.ndarray:
    """Return the von Mises stress (MPa) of stresses (..., 6) ordered xx, yy, zz, xy, yz, zx."""
    xx, yy, zz, xy, yz, zx = np.moveaxis(stress, -1, 0)
    normal = 0.5 * ((xx - yy) ** 2 + (yy - zz) ** 2 + (zz - xx) ** 2)
    return np.sqrt(normal + 3.0 * (xy**2 + yz**2 + zx**2))
