"""The mesh as a file to look at before solving."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from headjoint.cases.models.from_mesh import mesh_of
from headjoint.meshes.one_fastener import single_stud
from headjoint.meshes.own.mesh_reading import SOLID_SHARE, all_faces
from headjoint.model.base.whole_files import draft_of
from headjoint.model.cell import Cell
from headjoint.model.joint import Joint

FORMATS = {".vtu": "vtu", ".msh": "gmsh"}


def write_mesh(joint: Joint, path: Path) -> str:
    """Write parts as cells and every interface, cut and loaded face as lines; return a summary sentence.

    The cell array "group" numbers parts first, then faces, in the order of the returned sentence.
    """
    import meshio

    joint_mesh = single_stud.build(joint)
    mesh = joint_mesh.mesh
    points = np.column_stack([mesh.p.T, np.zeros(mesh.p.shape[1])])
    cells: list[tuple[str, np.ndarray]] = [("quad", mesh.t.T)]
    groups = [joint_mesh.part + 1]
    names = list(joint_mesh.parts)
    faces = {
        "pretension cut": joint_mesh.cut_facets,
        "gas ring": joint_mesh.gas_facets,
        "gas ring on the block": joint_mesh.deck_gas_facets,
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
    with draft_of(path) as draft:
        meshio.Mesh(points, cells, cell_data=data, field_data=field_data).write(
            draft, **({"file_format": "gmsh22", "binary": False} if path.suffix == ".msh" else {})
        )
    listed = ", ".join(f"{number} {name}" for number, name in enumerate(names, 1))
    return f"wrote {path}: {mesh.nelements} elements, {mesh.nvertices} vertices; groups: {listed}"


def write_cell_mesh(cell: Cell, path: Path) -> str:
    """Write the parts of a cell as second-order volume cells and its loaded faces; return a summary sentence."""
    import meshio

    mesh = mesh_of(cell)
    volume, surface = ("hexahedron20", "quad8") if len(mesh.cells) == 20 else ("tetra10", "triangle6")
    names = [name for number, name in enumerate(mesh.parts) if (mesh.part == number).any()]
    cells: list[tuple[str, np.ndarray]] = [(volume, mesh.cells.T)]
    number_of = {mesh.parts.index(name): number for number, name in enumerate(names, 1)}
    groups = [np.array([number_of[part] for part in mesh.part])]
    count = len(names)
    faces = {"gasket block face": mesh.pair("gasket").lower, "gasket head face": mesh.pair("gasket").upper}
    faces |= {
        f"bearing {side} face": face
        for pair in mesh.pairs
        if pair.name == "bearing"
        for side, face in (("head", pair.lower), ("stud", pair.upper))
    }
    nodes, _ = all_faces(mesh.cells)
    faces |= {
        "chamber": np.hstack(mesh.chamber),
        "chamber block face": np.hstack(mesh.deck),
        "bore wall": np.hstack(mesh.wall),
        "foot": nodes[:, np.isin(nodes, mesh.support).all(axis=0)],
    }
    for name, own in faces.items():
        if own.size:
            names.append(name)
            cells.append((surface, own.T))
            groups.append(np.full(own.shape[1], len(names)))
    # a .vtu file knows no names: besides the numbers, one array for each group, 1 inside
    data = {"group": groups} | {
        name: [(group == number).astype(np.int8) for group in groups] for number, name in enumerate(names, 1)
    }
    share = mesh.shares
    lost = ""
    if FORMATS[path.suffix] == "gmsh":
        data = {"gmsh:physical": groups, "gmsh:geometrical": groups}
        cut = int((share < 1.0).sum())
        lost = f"; {cut} elements that a wall's edge cuts are whole in it: a .vtu holds their share" if cut else ""
    else:
        data[SOLID_SHARE] = [share, *(np.ones(len(group)) for group in groups[1:])]
    field_data = {name: np.array([i, 3 if i <= count else 2]) for i, name in enumerate(names, 1)}
    with draft_of(path) as draft:
        meshio.Mesh(mesh.points.T, cells, cell_data=data, field_data=field_data).write(
            draft, **({"file_format": "gmsh22", "binary": False} if path.suffix == ".msh" else {})
        )
    quality = mesh.quality().min()
    listed = ", ".join(f"{number} {name}" for number, name in enumerate(names, 1))
    return (
        f"wrote {path}: {mesh.cells.shape[1]} elements of {len(mesh.cells)} nodes, {mesh.points.shape[1]} nodes, "
        f"smallest scaled Jacobian {quality:.2f}; groups: {listed}{lost}"
    )
