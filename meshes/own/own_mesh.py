"""A user's own volume mesh as the mesh of a cell: its groups name parts and faces, the cell file says the rest.

The mesh has the axes and the extent of the layout: z up, the block's gasket face at z = 0, the first bore's axis at
the origin, cut at the layout's planes of symmetry. Head and block need not match at the gasket.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from headjoint.meshes.own.mesh_reading import NamedMesh, read_named_mesh
from headjoint.meshes.solid import symmetry
from headjoint.meshes.solid.face_search import FaceSearch
from headjoint.meshes.solid.solid_mesh import FacePair, MeshedFastener, SolidMesh, check_quality
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import InputError, MeshError
from headjoint.model.cell import CELL_PARTS, MILLIMETRES, Bank, Cell

NEEDED_PARTS = ("head", "block", "fastener")
FACES = {
    "gasket head face": ("head",),
    "gasket block face": ("block", "liner"),
    "bearing head face": ("head",),
    "bearing stud face": ("fastener", "nut", "washer"),
    "chamber": ("head",),
    "chamber block face": ("block", "liner"),
    "bore wall": ("block", "liner"),
    "foot": ("block", "liner"),
}
NEEDED_FACES = ("gasket head face", "gasket block face", "chamber", "foot")
ON_PLANE = 1e-3  # mm
FLAT = 0.02  # mm that a gasket face may be out of flat, or off its height
FAR = 0.5  # mm that a shank's radius or a bearing face may be off the file's
LARGEST_UNCOVERED = 0.05  # share of the smaller face of a pair that may have nothing opposite
ADVICE = "mend it in the program that made it"


def read_own_mesh(cell: Cell) -> SolidMesh:
    """Return the mesh that `cell.mesh.file` holds, checked against the layout.

    Raises InputError saying what was found, for missing or misnamed groups, a wrong unit, folded elements, parts that
    hang on nothing, and faces that do not meet.
    """
    assert cell.mesh.file is not None
    file = cell.mesh.file.name
    try:
        named = read_named_mesh(cell.mesh.file, CELL_PARTS, tuple(FACES), (*NEEDED_PARTS, *NEEDED_FACES))
        return _tagged(cell, named, file)
    except MeshError as error:
        raise InputError(str(error), field="mesh.file", file=file) from None


def _tagged(cell: Cell, named: NamedMesh, file: str) -> SolidMesh:
    _check_groups(cell, named)
    part = np.full(named.cells.shape[1], -1)
    for name, own in named.volumes.items():
        part[own] = CELL_PARTS.index(name)
    _check_faces(named, part)
    points = named.points * cell.mesh.unit
    _check_extent(cell, points)
    _check_heights(cell, points, named)
    nodes_of = {name: np.unique(named.cells[:, own]) for name, own in named.volumes.items()}
    _check_connection(cell, named, points, nodes_of)
    support = np.unique(named.faces["foot"])
    pairs = [_pair("gasket", points, named.faces["gasket block face"], named.faces["gasket head face"])]
    if "bearing head face" in named.faces:
        pairs.append(_pair("bearing", points, named.faces["bearing head face"], named.faces["bearing stud face"]))
    chamber, wall, deck = _gas_faces(cell, points, named)
    mesh = SolidMesh(
        points=points,
        cells=named.cells,
        parts=CELL_PARTS,
        part=part,
        pairs=tuple(pairs),
        fasteners=_fasteners(cell, named, points, nodes_of),
        planes=symmetry.on_planes(symmetry.planes(cell), points, ON_PLANE),
        support=support,
        chamber=chamber,
        wall=wall,
        deck=deck,
        pins=symmetry.pins(cell, points, support, nodes_of["head"]),
        travelling=symmetry.travelling(cell, points, nodes_of["head"], ON_PLANE),
        filled=named.filled,
        origin=f"own mesh {file}{', raised to second order' if named.raised else ''}",
    )
    check_quality(mesh, ADVICE)
    return mesh


def _pair(name: str, points: FloatArray, lower: IntArray, upper: IntArray) -> FacePair:
    """Return the pair, put in the same order and said to match where every node has one over it."""
    below, above = np.unique(lower), np.unique(upper)
    if lower.shape == upper.shape and len(below) == len(above):
        distance, nearest = cKDTree(points[:2, above].T).query(points[:2, below].T)
        over = np.full(points.shape[1], -1)
        over[below] = above[nearest]
        expected, there = ({tuple(row) for row in np.sort(faces, axis=0).T} for faces in (over[lower], upper))
        if distance.max() < ON_PLANE and expected == there:
            return FacePair(name, lower, over[lower])
    pair = FacePair(name, lower, upper, False, on_upper=_plan_area(points, upper) < _plan_area(points, lower))
    opposite, _ = FaceSearch(points, pair.opposite).locate(points[:2, pair.carriers].mean(axis=1))
    share = float((opposite < 0).mean())
    if share > LARGEST_UNCOVERED:
        raise MeshError(
            f"{100 * share:.0f} % of the faces at the {name} have no face opposite (allowed "
            f"{100 * LARGEST_UNCOVERED:.0f} %): the faces of the two groups do not meet in plan"
        )
    return pair


def _plan_area(points: FloatArray, faces: IntArray) -> float:
    corners = points[:2, faces[: 4 if len(faces) == 8 else 3]]
    x, y = corners
    return float(np.abs((x * np.roll(y, -1, axis=0) - y * np.roll(x, -1, axis=0)).sum(axis=0)).sum() / 2.0)


def _check_groups(cell: Cell, named: NamedMesh) -> None:
    bearing = [name for name in ("bearing head face", "bearing stud face") if name in named.faces]
    wanted = 2 if cell.bearing_contact == "frictionless" else 0
    if len(bearing) != wanted:
        raise MeshError(
            f"the cell file says that nut or washer is {cell.bearing_contact} on the head, which takes "
            f"{'both face groups' if wanted else 'no groups'} 'bearing head face' and 'bearing stud face'; "
            f"{named.listed()}"
        )
    if cell.liner is not None and "liner" not in named.volumes:
        raise MeshError(f"has no volume group 'liner', but the cell file has a [liner]; {named.listed()}")
    for name, present in (("liner", cell.liner is not None), ("washer", cell.joint.washer is not None)):
        if name in named.volumes and not present:
            raise MeshError(f"has a volume group '{name}', but the cell file has no [{name}] to give its material")


def _check_faces(named: NamedMesh, part: IntArray) -> None:
    for name, owner in named.faces_of.items():
        allowed = [CELL_PARTS.index(of) for of in FACES[name]]
        wrong = np.flatnonzero(~np.isin(part[owner], allowed))
        if wrong.size:
            of = CELL_PARTS[part[owner[wrong[0]]]]
            raise MeshError(
                f"{wrong.size} of {owner.size} faces of group '{name}' belong to part '{of}'; "
                f"it lies on {' or '.join(FACES[name])}"
            )


def _check_extent(cell: Cell, points: FloatArray) -> None:
    """Refuse a mesh in another unit, or that does not end where the layout's planes of symmetry are."""
    layout = cell.layout
    if isinstance(layout, Bank):
        expected = float(np.hypot((layout.bores - 0.5) * layout.pitch, layout.half_width))
    else:
        expected = layout.outer_diameter / 2.0
    found = float(np.hypot(np.abs(points[0]).max(), np.abs(points[1]).max() if isinstance(layout, Bank) else 0.0))
    ratio = expected / max(found, 1e-30)
    if not 0.4 < ratio < 2.5:
        own = cell.mesh.unit
        fitting = [name for name, size in MILLIMETRES.items() if 0.6 < size / (own * ratio) < 1.6]
        hint = f'; [mesh] unit = "{fitting[0]}" would fit' if fitting else ""
        raise MeshError(
            f"its corner lies {found:.4g} mm from the first bore's axis, that of the layout {expected:.4g} mm: the "
            f"length unit is wrong{hint}"
        )
    beyond = -float(symmetry.depth_inside(cell, points[0], points[1]).min())
    if beyond > ON_PLANE:
        raise MeshError(f"it reaches {beyond:.4g} mm beyond a plane of symmetry of the layout")
    for (normal, origin), (_, nodes) in zip(
        symmetry.planes(cell), symmetry.on_planes(symmetry.planes(cell), points, ON_PLANE), strict=True
    ):
        if not nodes.size:
            away = np.abs((points[0] - origin[0]) * normal[0] + (points[1] - origin[1]) * normal[1]).min()
            raise MeshError(
                f"no node lies on the plane of symmetry through x = {origin[0]:g}, y = {origin[1]:g} mm, normal "
                f"({normal[0]:.3g}, {normal[1]:.3g}, 0); the nearest is {away:.4g} mm away"
            )


def _check_heights(cell: Cell, points: FloatArray, named: NamedMesh) -> None:
    """Refuse faces at other heights than the file says: the estimate would be of another engine."""
    thickness = cell.joint.gasket.thickness
    for name, height, slack, what in (
        ("gasket block face", 0.0, FLAT, "the deck"),
        ("gasket head face", thickness, FLAT, "the thickness of the gasket"),
        ("bearing head face", thickness + cell.head.height, FAR, "that of the gasket and [head] height"),
    ):
        z = points[2, named.faces[name].ravel()] if name in named.faces else np.array([height])
        if np.abs(z - height).max() > slack:
            raise MeshError(
                f"group '{name}' lies between z = {z.min():.4g} and {z.max():.4g} mm; it must be flat at "
                f"z = {height:g} mm, {what}"
            )


def _check_connection(cell: Cell, named: NamedMesh, points: FloatArray, nodes_of: dict[str, IntArray]) -> None:
    """Refuse parts that share nodes where they must not, or none where they must, and islands."""
    apart = [("head", "block"), ("head", "liner")]
    apart += [("head", other) for other in FACES["bearing stud face"] if cell.bearing_contact == "frictionless"]
    for first, second in apart:
        if first in nodes_of and second in nodes_of:
            shared = np.intersect1d(nodes_of[first], nodes_of[second])
            if shared.size:
                x, y, z = points[:, shared[0]]
                raise MeshError(
                    f"'{first}' and '{second}' share {shared.size} nodes, one at x = {x:.1f}, y = {y:.1f}, "
                    f"z = {z:.1f} mm; they meet only at the gasket or bearing faces and have nodes of their own there"
                )
    if not np.intersect1d(nodes_of["fastener"], nodes_of["block"]).size:
        raise MeshError("'fastener' shares no nodes with 'block': mesh the engaged thread as one body with the block")
    corners = 8 if len(named.cells) == 20 else 4
    cells = named.cells[:corners]
    n, m = points.shape[1], cells.shape[1]
    bond = sp.coo_matrix((np.ones(cells.size), (np.tile(np.arange(m), corners), cells.ravel())), shape=(m, n)).tocsr()
    _, island = connected_components(bond @ bond.T, directed=False)
    held = set(island[named.faces_of["foot"]]) | set(island[named.faces_of["gasket head face"]])
    held |= set(island[named.faces_of["bearing stud face"]]) if "bearing stud face" in named.faces_of else set()
    for number in np.unique(island):
        if number not in held:
            own = np.flatnonzero(island == number)
            x, y, z = points[:, named.cells[:, own]].mean(axis=(1, 2))
            name = next(name for name, of in named.volumes.items() if own[0] in of)
            raise MeshError(
                f"{own.size} elements of '{name}' near x = {x:.1f}, y = {y:.1f}, z = {z:.1f} mm share no nodes with "
                "anything that holds them"
            )


def _gas_faces(cell: Cell, points: FloatArray, named: NamedMesh) -> tuple[tuple[IntArray, ...], ...]:
    """Return chamber faces, bore wall faces down to the gas depth, and the deck's between bore and gasket, by bore."""
    centres = np.array(cell.bore_centres)

    def by_bore(faces: IntArray) -> tuple[IntArray, ...]:
        middle = points[:2, faces].mean(axis=1)
        nearest = np.argmin([np.hypot(middle[0] - x, middle[1] - y) for x, y in centres], axis=0)
        return tuple(faces[:, nearest == bore] for bore in range(len(centres)))

    chamber = named.faces["chamber"]
    nothing = np.empty((len(chamber), 0), dtype=np.int64)
    wall, deck = (named.faces.get(name, nothing) for name in ("bore wall", "chamber block face"))
    wall = wall[:, points[2, wall].mean(axis=0) > -cell.wall_depth]
    chambers = by_bore(chamber)
    for bore, own in enumerate(chambers, start=1):
        if not own.size:
            raise MeshError(f"group 'chamber' has no face over bore {bore}")
    return chambers, by_bore(wall), by_bore(deck)


def _fasteners(
    cell: Cell, named: NamedMesh, points: FloatArray, nodes_of: dict[str, IntArray]
) -> tuple[MeshedFastener, ...]:
    """Return the studs, each the fastener cells round one place of the layout.

    The overlap rises from the highest node shared with the block to the lowest that meets nut, washer or head.
    """
    own = named.volumes["fastener"]
    centre = points[:2, named.cells[:, own]].mean(axis=1)
    places = symmetry.stud_places(cell)
    distance = np.array([np.hypot(centre[0] - place.x, centre[1] - place.y) for place in places])
    nearest, fasteners = distance.argmin(axis=0), []
    below = np.unique(np.concatenate([nodes_of[name] for name in ("block", "liner") if name in nodes_of]))
    in_block = np.intersect1d(nodes_of["fastener"], below)
    above = [nodes_of[name] for name in ("nut", "washer", "head") if name in nodes_of]
    if "bearing stud face" in named.faces:
        above.append(np.unique(named.faces["bearing stud face"]))
    seats = np.intersect1d(nodes_of["fastener"], np.unique(np.concatenate(above)))
    for number, place in enumerate(places):
        cells = own[nearest == number]
        nodes = np.unique(named.cells[:, cells])
        radius = np.hypot(points[0, nodes] - place.x, points[1, nodes] - place.y) if nodes.size else np.array([np.inf])
        where = f"stud {number + 1} at x = {place.x:.4g}, y = {place.y:.4g} mm"
        if abs(radius.min()) > cell.shank_diameter:
            raise MeshError(f"no 'fastener' cells stand at {where}, where the layout has it")
        thread, seat = np.intersect1d(nodes, in_block), np.intersect1d(nodes, seats)
        if not thread.size or not seat.size:
            to = "the block" if not thread.size else "nut, washer or head, nor a 'bearing stud face'"
            raise MeshError(f"{where} shares no nodes with {to}")
        bottom, top = float(points[2, thread].max()), float(points[2, seat].min())
        if top - bottom < cell.shank_diameter / 4.0:
            raise MeshError(f"{where}: its thread reaches up to z = {bottom:.4g} mm, its seat begins at {top:.4g} mm")
        middle = (bottom + top) / 2.0
        _check_shank(cell, points[:, nodes], place, where, middle)
        travel = np.clip((points[2, named.cells[:, cells]] - bottom) / (top - bottom), 0.0, 1.0)
        free = np.ptp(travel, axis=0) > 0.0
        fasteners.append(MeshedFastener(place.x, place.y, place.share, cells[free], travel[:, free], place.cut_planes))
    return tuple(fasteners)


def _check_shank(cell: Cell, nodes: FloatArray, place: symmetry.StudPlace, where: str, middle: float) -> None:
    """Refuse a shank of another diameter than that of the file: its stiffness would be wrong."""
    near = np.abs(nodes[2] - middle) < cell.shank_diameter
    radius = float(np.hypot(nodes[0, near] - place.x, nodes[1, near] - place.y).max(initial=0.0))
    if abs(radius - cell.shank_diameter / 2.0) > FAR:
        raise MeshError(
            f"{where} has nodes {radius:.4g} mm from its axis half-way up; the file's longest segment has a radius of "
            f"{cell.shank_diameter / 2.0:.4g} mm"
        )
