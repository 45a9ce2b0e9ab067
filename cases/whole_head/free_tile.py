"""A quarter of a bore's pitch with nothing held at its planes, and what symmetry holds there in each parity.

Any displacement of a bore is the sum of four parts, each symmetric (+1) or antisymmetric (-1) about the bore's cross
plane x = 0 and about y = 0. Elastic stiffness does not mix them, so a tile condensed for every part stands for the
bore, whatever its neighbours, nuts and gas do to it. Where both sides of y = 0 are unlike, a tile is half of a bore's
pitch over the whole width: two parts, about x = 0 only (0 about y = 0).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import scipy.sparse as sp

from headjoint.cases.condensed.cell_condensation import CellModel, assembled_cell
from headjoint.cases.condensed.cell_interfaces import nearest_fastener
from headjoint.cases.condensed.held import check_held
from headjoint.cases.condensed.stud_copies import StudCopies, stud_copies
from headjoint.cases.elements.linear_solver import schur_of_half
from headjoint.meshes.solid.solid_mesh import SolidMesh
from headjoint.meshes.solid.symmetry import ON_PLANE
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import SolveError
from headjoint.model.cell import Cell

Parity = tuple[int, int]  # about x = 0 and about y = 0: 1 symmetric, -1 antisymmetric, 0 neither
ALIKE, UNLIKE = (1, -1), (0,)  # parities about y = 0 of a tile of one side, and of both


@dataclass(frozen=True)
class Face:
    """The cut face of a tile where its mirrored neighbour begins; unknowns are columns of the tile's transform.

    tangential, normal : along the face and across it; interface unknowns on the face are in neither. bodies : how each
    body that slides freely moves rigidly, on (tangential, normal) unknowns, (6, unknowns): along y and x, about the
    plumb line, upwards, about the row and across it. pulls : (k, unknowns) how an overlap shifts each stud that the
    face cuts, and how a head tied to its nuts rises with all of them, so that forces are in balance whatever other
    modes are kept.
    """

    tangential: IntArray = field(repr=False)
    normal: IntArray = field(repr=False)
    bodies: tuple[FloatArray, ...] = field(repr=False)
    pulls: FloatArray = field(repr=False)

    @property
    def unknowns(self) -> IntArray:
        """All of them, tangential ones first."""
        return np.concatenate([self.tangential, self.normal])


@dataclass(frozen=True)
class FreeTile:
    """A tile assembled without planes of symmetry.

    model : its matrix, loads and interface points. face : where its neighbour begins. studs : what is watched of them.
    at : (2, i) mm, place of every interface unknown, overlaps last. end : what closes the row beyond the face of the
    last one, None where that is a plane of symmetry. across : its parities about y = 0.
    """

    model: CellModel = field(repr=False)
    face: Face = field(repr=False)
    studs: StudCopies = field(repr=False)
    at: FloatArray = field(repr=False)
    end: FreeEnd | None = field(default=None, repr=False)
    across: tuple[int, ...] = ALIKE

    def held(self, parity: Parity) -> IntArray:
        """Return the columns of the transform that are zero in a part of the displacement."""
        points = self.model.mesh.points
        found = [np.empty(0, dtype=np.int64)]
        for axis, sign in enumerate(parity):
            if sign == 0:
                continue
            nodes = np.flatnonzero(np.abs(points[axis]) < ON_PLANE)
            components = [axis] if sign > 0 else [one for one in range(3) if one != axis]
            found += [columns_of(self.model.transform, nodes, one) for one in components]
            if sign < 0:  # overlaps of studs on the plane are alike on both sides
                first = self.model.transform.shape[1]
                found.append(first + np.flatnonzero(np.abs(self._studs()[axis]) < ON_PLANE))
        return np.unique(np.concatenate(found))

    def condensed(self, parity: Parity, loads: Sequence[str]) -> FloatArray:
        """Return stiffness over interface unknowns, face unknowns, `loads` and what is watched of the studs.

        What is held in the parity is zero. Condensed unit loads are in the rows of loads.
        """
        model, held = self.model, self.held(parity)
        live = np.setdiff1d(np.arange(model.unknowns), held)
        wanted = np.concatenate([model.kept, self.face.unknowns])
        here = np.isin(wanted, live)
        kept = np.searchsorted(live, wanted[here])
        beside = sp.hstack([_columns(model, loads)[live], self.studs.on_all[:, live].T]).tocsr()
        here = np.concatenate([here, np.ones(beside.shape[1], dtype=bool)])
        schur, _ = schur_of_half(model.assembly.half[live][:, live], kept, beside)
        if not np.isfinite(schur).all():
            raise SolveError("the condensed stiffness is not finite: a part of the mesh is held by nothing")
        if here.all():
            return schur
        whole = np.zeros((len(here), len(here)))
        whole[np.ix_(here, here)] = schur
        return whole

    def _studs(self) -> FloatArray:
        return np.array([[one.x for one in self.model.mesh.fasteners], [one.y for one in self.model.mesh.fasteners]])


@dataclass(frozen=True)
class FreeEnd:
    """What closes a row beyond the face of its last tile.

    piece : assembled without planes of symmetry; its face is that of the tile. on_face : which of the unknowns of the
    tile's face those of its own are. shared : (e,) the number of the tile's interface unknown that each of its own is,
    -1 where it is no other.
    """

    piece: FreeTile = field(repr=False)
    on_face: IntArray = field(repr=False)
    shared: IntArray = field(repr=False)


def columns_of(transform: sp.csr_matrix, nodes: IntArray, component: int) -> IntArray:
    """Return the columns that displacement `component` of nodes depends on."""
    return np.unique(transform[3 * nodes + component].indices).astype(np.int64)


def free_tile(cell: Cell, mesh: SolidMesh, face_at: float) -> FreeTile:
    """Assemble a mesh without its planes; the face where neighbours meet is at x = `face_at`."""
    check_held(mesh)
    model = free_model(cell, mesh)
    face, studs = _face(cell, model, face_at), stud_copies(model, face_at)
    return FreeTile(model, face, studs, interface_places(model), across=parities_across(cell))


def _columns(model: CellModel, loads: Sequence[str]) -> sp.csr_matrix:
    """Return unit loads as columns (u, loads)."""
    given = np.array([model.loads[name] for name in loads])
    return sp.csr_matrix(given.reshape(len(loads), model.unknowns).T)


def parities_across(cell: Cell) -> tuple[int, ...]:
    """Return the parities about y = 0 of a cell's tile."""
    return UNLIKE if cell.layout.extent == "half" else ALIKE


def free_model(cell: Cell, mesh: SolidMesh) -> CellModel:
    """Return the model of a mesh with nothing held at its planes."""
    return assembled_cell(cell, replace(mesh, planes=(), travelling=(), pins=()))


def interface_places(model: CellModel) -> FloatArray:
    """Return the place (2, i) in mm of every interface unknown, overlaps last."""
    mesh, transform = model.mesh, model.transform
    closures = model.kept[model.kept < transform.shape[1]]
    node = transform.tocsc()[:, closures].indices // 3
    studs = np.array([[one.x, one.y] for one in mesh.fasteners]).reshape(-1, 2).T
    return np.hstack([mesh.points[:2, node], studs])


def _face(cell: Cell, model: CellModel, face_at: float) -> Face:
    mesh, transform = model.mesh, model.transform
    nodes = np.flatnonzero(np.abs(mesh.points[0] - face_at) < ON_PLANE)
    normal = columns_of(transform, nodes, 0)
    along = [columns_of(transform, nodes, component) for component in (1, 2)]
    tangential = np.setdiff1d(np.concatenate(along), model.kept)
    unknowns = np.concatenate([tangential, normal])
    place = np.full(transform.shape[1], -1)
    place[unknowns] = np.arange(len(unknowns))
    in_head = np.unique(mesh.cells[:, mesh.part == mesh.parts.index("head")])
    head = np.isin(nodes, in_head)
    slides = cell.bearing_contact == "frictionless"
    loose = [head, ~head] if slides else [np.ones(len(nodes), dtype=bool)]
    bodies = []
    for own in loose:
        moved = np.zeros((6, len(unknowns)))
        own_nodes = nodes[own]
        x, y = (place[transform[3 * own_nodes + component].indices] for component in (0, 1))
        moved[0, y] = moved[1, x] = 1.0
        moved[2, x] = -mesh.points[1, own_nodes]
        # where a face presses on this body from below, its height is that of the other body less a closure
        upright = own_nodes[np.diff(transform[3 * own_nodes + 2].indptr) == 1]
        z = place[transform[3 * upright + 2].indices]
        upright, z = upright[z >= 0], z[z >= 0]
        moved[3, z] = 1.0
        moved[4, y], moved[4, z] = -mesh.points[2, own_nodes], mesh.points[1, upright]
        moved[5, x] = mesh.points[2, own_nodes]
        bodies.append(moved)
    pulls = _pulls(model, nodes, place, len(unknowns))
    if not slides:
        pulls = np.vstack([pulls, _risen(model, nodes[head], place, pulls)])
    return Face(tangential, normal, tuple(bodies), pulls)


def _risen(model: CellModel, head: IntArray, place: IntArray, pulls: FloatArray) -> FloatArray:
    """Return (unknowns,) how a head tied to its nuts rises by 1 as all its studs are pulled.

    It shares nodes with what stands on it, which `pulls` has; what it leaves of the gasket is in the closures.
    """
    vertical = model.transform[3 * head + 2]
    columns = place[vertical[np.diff(vertical.indptr) == 1].indices]
    risen = np.zeros(pulls.shape[1])
    risen[columns[columns >= 0]] = 1.0
    return np.where(pulls.any(axis=0), 0.0, risen)


def _pulls(model: CellModel, nodes: IntArray, place: IntArray, count: int) -> FloatArray:
    """Return the shift of every stud on the face under a unit overlap: 0 at its thread, 1 at its seat and beyond."""
    mesh, transform = model.mesh, model.transform
    parts = [index for index, name in enumerate(mesh.parts) if name in ("fastener", "nut", "washer")]
    own = np.intersect1d(nodes, np.unique(mesh.cells[:, np.isin(mesh.part, parts)]))
    own = own[np.diff(transform[3 * own + 2].indptr) == 1]
    column = place[transform[3 * own + 2].indices]
    own, column = own[column >= 0], column[column >= 0]
    nearest = nearest_fastener(mesh, mesh.points[:2, own])
    pulls = np.zeros((len(mesh.fasteners), count))
    for number, fastener in enumerate(mesh.fasteners):
        height = mesh.points[2, mesh.cells[:, fastener.free]]
        shifted = np.clip((mesh.points[2, own] - height.min()) / np.ptp(height), 0.0, 1.0)
        pulls[number, column[nearest == number]] = shifted[nearest == number]
    return pulls[np.abs(pulls).max(axis=1) > 0.0]
