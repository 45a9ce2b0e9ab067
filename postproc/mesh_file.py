"""The mesh as a file to look at before solving."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from headjoint.meshes import single_stud
from headjoint.meshes.bore_cell import build_cell
from headjoint.model.cell import Cell
from headjoint.model.errors import InputError
from headjoint.model.joint import Joint

FORMATS = {".vtu": "vtu", ".msh": "gmsh"}


def write_mesh(joint: Joint, path: Path) -> str:
    """Write parts as cells and every interface, cut and loaded face as lines; return a summary sentence.

    The cell array "group" numbers parts first, then faces, in the order of the returned sentence.
    """
    import meshio

    if path.suffix not in FORMATS:
        raise InputError(f"a mesh file ends in {' or '.join(FORMATS)}", field="--output", value=str(path))
    joint_mesh = single_stud.build(joint)
    mesh = joint_mesh.mesh
    points = np.column_stack([mesh.p.T, np.zeros(mesh.p.shape[1])])
    cells: list[tuple[str, np.ndarray]] = [("quad", mesh.t.T)]
    groups = [joint_mesh.part + 1]
    names = list(joint_mesh.parts)
    faces = {
        "pretension cut": joint_mesh.cut_facets,
        "gas ring": joint_mesh.gas_facets,
        "support": joint_mesh.bottom_facets,
    }
    for interface in joint_mesh.interfaces:
        faces[f"{interface.name}, lower face"] = interface.lower
        faces[f"{interface.name}, upper face"] = interface.upper
    for name, facets in faces.items():
        if len(facets):
            names.append(name)
            cells.append(("line", mesh.facets[:, facets].T))
            groups.append(np.full(len(facets), len(names)))
    data = {"group": groups}
    if FORMATS[path.suffix] == "gmsh":
        data = {"gmsh:physical": groups, "gmsh:geometrical": groups}
    field_data = {
        name: np.array([number, 2 if number <= len(joint_mesh.parts) else 1]) for number, name in enumerate(names, 1)
    }
    draft = path.with_name(f".{path.stem}.part{path.suffix}")
    try:
        meshio.Mesh(points, cells, cell_data=data, field_data=field_data).write(
            draft, **({"file_format": "gmsh22", "binary": False} if path.suffix == ".msh" else {})
        )
        draft.replace(path)
    finally:
        draft.unlink(missing_ok=True)
    listed = ", ".join(f"{number} {name}" for number, name in enumerate(names, 1))
    return f"wrote {path}: {mesh.nelements} elements, {mesh.nvertices} vertices; groups: {listed}"


def write_cell_mesh(cell: Cell, path: Path) -> str:
    """Write the parts of a cell as second-order volume cells and its loaded faces; return a summary sentence."""
    import meshio

    if path.suffix not in FORMATS:
        raise InputError(f"a mesh file ends in {' or '.join(FORMATS)}", field="--output", value=str(path))
    mesh = build_cell(cell)
    names = list(mesh.parts)
    cells: list[tuple[str, np.ndarray]] = [("hexahedron20", mesh.cells.T)]
    groups = [mesh.part + 1]
    faces = {f"{pair.name}, {side} face": getattr(pair, side) for pair in mesh.pairs for side in ("lower", "upper")}
    for bore, (chamber, wall) in enumerate(zip(mesh.chamber, mesh.wall, strict=True), start=1):
        faces |= {f"chamber {bore}": chamber, f"bore wall {bore}": wall}
    for name, own in faces.items():
        if own.size:
            names.append(name)
            cells.append(("quad8", own.T))
            groups.append(np.full(own.shape[1], len(names)))
    data = {"group": groups}
    if FORMATS[path.suffix] == "gmsh":
        data = {"gmsh:physical": groups, "gmsh:geometrical": groups}
    field_data = {name: np.array([i, 3 if i <= len(mesh.parts) else 2]) for i, name in enumerate(names, 1)}
    draft = path.with_name(f".{path.stem}.part{path.suffix}")
    try:
        meshio.Mesh(mesh.points.T, cells, cell_data=data, field_data=field_data).write(
            draft, **({"file_format": "gmsh22", "binary": False} if path.suffix == ".msh" else {})
        )
        draft.replace(path)
    finally:
        draft.unlink(missing_ok=True)
    quality = mesh.quality().min()
    listed = ", ".join(f"{number} {name}" for number, name in enumerate(names, 1))
    return (
        f"wrote {path}: {mesh.cells.shape[1]} hexahedra of 20 nodes, {mesh.points.shape[1]} nodes, smallest scaled "
        f"Jacobian {quality:.2f}; groups: {listed}"
    )
