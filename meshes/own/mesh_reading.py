"""Volume meshes of other programs, read through meshio: points, one kind of second-order cells, named groups."""

from __future__ import annotations

import contextlib
import io
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from headjoint.meshes.solid import hexahedra, tetrahedra
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import MeshError, nearest

# meshio's name -> nodes kept (VTK puts face and body centres last, the second-order serendipity element has none)
VOLUMES = {"tetra": 4, "tetra10": 10, "hexahedron": 8, "hexahedron20": 20, "hexahedron27": 20}
FACES = {"triangle": 3, "triangle6": 3, "quad": 4, "quad8": 4, "quad9": 4}  # corners are enough to find a face
SOLID_SHARE = "solid share"  # cell data: how much of each cell is material, all of it where a file does not say
OTHER_VOLUMES = ("wedge", "pyramid", "hexahedron24", "tetra20", "tetra35", "polyhedron")


@dataclass(frozen=True)
class NamedMesh:
    """A volume mesh with names.

    points : (3, n) in the file's unit. cells : (20 or 10, m), VTK order. volumes : group -> numbers of its cells.
    faces : group -> (8 or 6, f) nodes of its faces, and faces_of : group -> (f,) the cell each belongs to.
    raised : whether mid-edge nodes were added to first-order cells. filled : (m,) share of each cell that is material,
    None where the file does not say.
    """

    points: FloatArray = field(repr=False)
    cells: IntArray = field(repr=False)
    volumes: dict[str, IntArray] = field(repr=False)
    faces: dict[str, IntArray] = field(repr=False)
    faces_of: dict[str, IntArray] = field(repr=False)
    raised: bool
    filled: FloatArray | None = field(default=None, repr=False)

    def listed(self) -> str:
        """Name the groups found, for messages."""
        return _listed(self.volumes, self.faces)


def _listed(volumes: Iterable[str], faces: Iterable[str]) -> str:
    volumes, faces = (", ".join(f"'{name}'" for name in names) or "none" for names in (volumes, faces))
    return f"volume groups found: {volumes}; face groups found: {faces}"


def read_named_mesh(path: Path, volumes: tuple[str, ...], faces: tuple[str, ...], needed: tuple[str, ...]) -> NamedMesh:
    """Read a .msh or .vtu file; groups other than the wanted `volumes` and `faces` are passed over.

    Names of groups are the physical groups of a .msh file; in a .vtu file, cell arrays of 0 and 1.

    Raises MeshError for a damaged file, a missing group of those `needed`, mixed or unusable kinds of cells, and faces
    that are none of any cell.
    """
    mesh = _read(path)
    kinds = [kind for kind in VOLUMES if any(block.type == kind for block in mesh.cells)]
    unusable = sorted({block.type for block in mesh.cells if block.type.rstrip("0123456789") in OTHER_VOLUMES})
    if unusable or len(kinds) != 1:
        what = ", ".join(unusable or kinds) or "no volume cells"
        raise MeshError(f"holds {what}; one kind is wanted, {', '.join(VOLUMES)}")
    kind = kinds[0]
    members = _members(mesh)
    points: FloatArray = np.array(mesh.points, dtype=np.float64).T
    if points.shape[0] == 2:
        raise MeshError("is a plane mesh; a volume mesh is wanted")
    cells = np.vstack([block.data for block in mesh.cells if block.type == kind])[:, : VOLUMES[kind]].T.astype(np.int64)
    groups: dict[str, IntArray] = {}
    corners: dict[str, list[IntArray]] = {}
    offset = 0
    for index, block in enumerate(mesh.cells):
        for name, inside in members.items():
            own = np.flatnonzero(inside[index])
            if block.type == kind and len(own):
                groups[name] = np.concatenate([groups.get(name, np.empty(0, dtype=np.int64)), offset + own])
            elif block.type in FACES and len(own):
                corners.setdefault(name, []).append(block.data[own, : FACES[block.type]])
        offset += len(block.data) if block.type == kind else 0
    _check_names(groups, corners, volumes, faces, needed)
    used = {name: own for name, own in groups.items() if name in volumes}
    chosen = np.unique(np.concatenate(list(used.values())))
    cells = cells[:, chosen]
    filled = _solid_share(mesh, kind)
    raised = len(cells) in (4, 8)
    if raised:
        points, cells = _second_order(points, cells)
    nodes = np.unique(cells)
    node_number = np.full(points.shape[1], -1)
    node_number[nodes] = np.arange(len(nodes))
    cells = node_number[cells]
    wanted = {name: [node_number[part] for part in parts] for name, parts in corners.items() if name in faces}
    face_nodes, face_cells = _faces(cells, wanted)
    volumes_found = {name: np.searchsorted(chosen, own) for name, own in used.items()}
    filled = None if filled is None else filled[chosen]
    return NamedMesh(points[:, nodes], cells, volumes_found, face_nodes, face_cells, raised, filled)


def _solid_share(mesh: Any, kind: str) -> FloatArray | None:
    """Return the share of every cell of a kind that is material; MeshError for one beyond 0 to 1."""
    stated = mesh.cell_data.get(SOLID_SHARE)
    if stated is None:
        return None
    own = [np.ravel(part) for part, block in zip(stated, mesh.cells, strict=True) if block.type == kind]
    share = np.concatenate(own).astype(np.float64)
    if not ((share > 0.0) & (share <= 1.0)).all():
        raise MeshError(f"'{SOLID_SHARE}' must be above 0 and at most 1 in every cell")
    return share


def _read(path: Path) -> Any:
    """Return the mesh as meshio has it, which knows no types."""
    import meshio

    reader = meshio.gmsh.read if path.suffix == ".msh" else meshio.vtu.read
    try:
        with contextlib.redirect_stdout(io.StringIO()):
            return reader(str(path))
    except (Exception, SystemExit) as error:  # meshio raises whatever its parsers raise
        text = (str(error).strip() or "damaged").splitlines()[0]
        raise MeshError(f"cannot be read as a {path.suffix} mesh ({text})") from None


def _members(mesh: Any) -> dict[str, list[NDArray[np.bool_]]]:
    """Return for each group name one mask per block of cells."""
    physical = mesh.cell_data.get("gmsh:physical")
    if physical is not None:
        # a number may mean one group of volumes and another of faces
        dimension = [3 if block.type in VOLUMES else 2 for block in mesh.cells]
        return {
            name: [(own == number) & (dimension[index] == of) for index, own in enumerate(physical)]
            for name, (number, of) in mesh.field_data.items()
        }
    return {
        name: [np.asarray(block) != 0 for block in blocks]
        for name, blocks in mesh.cell_data.items()
        if name != SOLID_SHARE and all(np.asarray(block).ndim == 1 and np.isin(block, (0, 1)).all() for block in blocks)
    }


def _check_names(
    groups: dict[str, IntArray],
    corners: dict[str, list[IntArray]],
    volumes: tuple[str, ...],
    faces: tuple[str, ...],
    needed: tuple[str, ...],
) -> None:
    """Name a group that looks like a misspelt one of ours, and those that are needed and missing."""
    for names, known, what in ((groups, volumes, "volume"), (corners, faces, "face")):
        for name in names:
            near = nearest(name, known) if name not in known else []
            if near and near[0] not in names:
                raise MeshError(f"{what} group '{name}' means nothing here; did you mean '{near[0]}'?")
    for what, names, known in (("volume", groups, volumes), ("face", corners, faces)):
        missing = ", ".join(f"'{name}'" for name in known if name in needed and name not in names)
        if missing:
            raise MeshError(f"no {what} group {missing}; {_listed(groups, corners)}")


def _second_order(points: FloatArray, cells: IntArray) -> tuple[FloatArray, IntArray]:
    """Return points and cells with a node put in the middle of every edge."""
    edges = np.array(tetrahedra.EDGES if len(cells) == 4 else hexahedra.EDGE_ENDS)
    ends = np.sort(cells[edges], axis=1)  # (edges, 2, m)
    unique, number = np.unique(ends.transpose(0, 2, 1).reshape(-1, 2), axis=0, return_inverse=True)
    middle = points[:, unique].mean(axis=2)
    added = points.shape[1] + number.reshape(len(edges), -1)
    return np.hstack([points, middle]), np.vstack([cells, added])


def all_faces(cells: IntArray) -> tuple[IntArray, IntArray]:
    """Return the nodes (8 or 6, f) of all faces of all cells (20 or 10, m), and the cell (f,) of each."""
    local = hexahedra.FACES if len(cells) == 20 else tetrahedra.FACES
    nodes = cells[local].transpose(1, 0, 2).reshape(local.shape[1], -1)
    return nodes, np.tile(np.arange(cells.shape[1]), len(local))


def _faces(cells: IntArray, wanted: dict[str, list[IntArray]]) -> tuple[dict[str, IntArray], dict[str, IntArray]]:
    """Return the cell faces with the corners of each group's surface cells, and whose they are."""
    nodes, owner = all_faces(cells)
    size = 4 if len(cells) == 20 else 3
    number_of = {tuple(corners): index for index, corners in enumerate(np.sort(nodes[:size], axis=0).T.tolist())}
    faces, owners = {}, {}
    for name, parts in wanted.items():
        rows = [tuple(sorted(row)) for part in parts for row in part.tolist()]
        numbers = [number_of.get(row, -1) for row in rows]
        lost = sum(number < 0 for number in numbers)
        if lost:
            raise MeshError(
                f"{lost} of {len(rows)} faces of group '{name}' are not faces of any cell of a part; "
                "mesh surfaces and volumes together"
            )
        at = np.unique(numbers)
        faces[name], owners[name] = nodes[:, at], owner[at]
    return faces, owners
