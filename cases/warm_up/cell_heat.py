"""Heat of a bore cell on the mesh of its elasticity: where it enters and leaves, and the load of its strain."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial

import numpy as np
from numpy.typing import NDArray

from headjoint.cases.condensed.cell_condensation import CellModel
from headjoint.cases.heat.conduction import HeatBody
from headjoint.cases.heat.gap_round_shank import ShankGap, cell_gap
from headjoint.cases.heat.problem import Film
from headjoint.cases.heat.surfaces import surface
from headjoint.meshes.one_fastener.joint_mesh import JointMesh
from headjoint.meshes.solid import hexahedra, tetrahedra
from headjoint.meshes.solid.solid_mesh import SolidMesh
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.cell import Bank, Cell, Ring
from headjoint.model.heat.duty import HeatDuty
from headjoint.model.heat.transfer import ThermalProperties, thermal_properties
from headjoint.model.library.materials import Material

SAME_PLACE = 1e-3  # mm, that own meshes may miss a plane by
WALL_FILM_SHARE = 0.5  # of the chamber's film on the bore wall: it is covered by the piston half the time (from memory)


def free_faces(mesh: SolidMesh) -> tuple[IntArray, IntArray]:
    """Return the outer faces (8 or 6, f) of a mesh and the parts (f,) they belong to."""
    table = hexahedra.FACES if len(mesh.cells) == 20 else tetrahedra.FACES
    corners = 4 if len(mesh.cells) == 20 else 3
    faces = mesh.cells[table].transpose(1, 0, 2).reshape(table.shape[1], -1)
    part = np.tile(mesh.part, len(table))
    key = np.sort(faces[:corners], axis=0)
    _, first, count = np.unique(key, axis=1, return_index=True, return_counts=True)
    outer = np.sort(first[count == 1])
    return faces[:, outer], part[outer]


def _among(faces: IntArray, others: IntArray) -> NDArray[np.bool_]:
    """Return which faces (k, f) are among others (k, g), by their corners."""
    corners = 4 if len(faces) == 8 else 3
    known = {tuple(column) for column in np.sort(others[:corners], axis=0).T.tolist()}
    return np.array([tuple(column) in known for column in np.sort(faces[:corners], axis=0).T.tolist()], dtype=bool)


def thermal_parts(
    mesh: JointMesh | SolidMesh, material: Callable[[str], Material]
) -> tuple[IntArray, tuple[ThermalProperties, ...]]:
    """Return the part (m,) of every element, counting those that the mesh has, and the properties of each.

    Raises InputError where a material's thermal data are not known.
    """
    used = np.unique(mesh.part)
    return np.searchsorted(used, mesh.part), tuple(thermal_properties(material(mesh.parts[index])) for index in used)


@dataclass(frozen=True)
class OuterFaces:
    """Free faces of a cell by what they meet: (8 or 6, f) nodes each. shank, round_it : what may face each other."""

    chamber: IntArray = field(repr=False)
    wall: IntArray = field(repr=False)
    coolant: IntArray = field(repr=False)
    ambient: IntArray = field(repr=False)
    shank: IntArray = field(repr=False)
    round_it: IntArray = field(repr=False)


def outer_faces(cell: Cell, mesh: SolidMesh) -> OuterFaces:
    """Return who meets what: gas on chambers and bore walls of fired bores, coolant on what is left inside.

    Free faces are the coolant's, but for planes of symmetry and the foot (no heat), stud holes with the bores of
    washers and the studs in them (each other, across their gap), and the top and outer sides (ambient).
    """
    faces, part = free_faces(mesh)
    paired = (side for pair in mesh.pairs for side in (pair.lower, pair.upper))
    taken = np.hstack([*mesh.chamber, *mesh.wall, *mesh.deck, *paired])
    left = ~_among(faces, taken)
    for _, nodes in (*mesh.planes, *mesh.travelling):
        left &= ~np.isin(faces, nodes).all(axis=0)
    left &= ~np.isin(faces, mesh.support).all(axis=0)
    middle = mesh.points[:, faces].mean(axis=1)
    casting = np.isin(part, [i for i, name in enumerate(mesh.parts) if name in ("head", "block", "liner")])
    height = cell.joint.gasket.thickness + cell.head.height
    top = middle[2] > height - SAME_PLACE
    reach = cell.head.hole_diameter / 2.0 + 0.5
    holes = np.zeros_like(left)
    for fastener in mesh.fasteners:
        holes |= np.hypot(middle[0] - fastener.x, middle[1] - fastener.y) < reach
    side = _outer_side(cell, middle)
    # the nut shuts in what is round the shank, the bore of the washer too: neither air nor coolant gets there
    bearing = height + (0.0 if cell.joint.washer is None else cell.joint.washer.thickness)
    shut_in = holes & (middle[2] < bearing + SAME_PLACE)
    of_fastener = part == mesh.parts.index("fastener")
    shank, round_it = left & of_fastener, left & shut_in & ~of_fastener
    left &= ~shut_in
    ambient = left & (top | (side & casting))
    return OuterFaces(
        chamber=np.hstack([mesh.chamber[bore] for bore in cell.fired]),
        wall=np.hstack([mesh.wall[bore] for bore in cell.fired]),
        coolant=faces[:, left & casting & ~ambient],
        ambient=faces[:, ambient],
        shank=faces[:, shank],
        round_it=faces[:, round_it],
    )


def cell_films(cell: Cell, mesh: SolidMesh, body: HeatBody, duty: HeatDuty) -> tuple[Film, ...]:
    """Return the films of a duty on the faces of a cell."""
    outer = outer_faces(cell, mesh)
    films = [
        Film(surface(body, outer.chamber), duty.gas_film, duty.gas_temperature, "gas"),
        Film(surface(body, outer.coolant), duty.coolant_film, duty.coolant_temperature, "coolant"),
        Film(surface(body, outer.ambient), duty.ambient_film, duty.ambient_temperature, "ambient"),
    ]
    if outer.wall.size:
        film = duty.gas_film
        half = type(film)(film.times, tuple(WALL_FILM_SHARE * value for value in film.values))
        films.append(Film(surface(body, outer.wall), half, duty.gas_temperature, "bore wall"))
    return tuple(films)


def cell_shank_gap(cell: Cell, mesh: SolidMesh, body: HeatBody) -> ShankGap | None:
    """Return the gap between all shanks of a cell and their holes."""
    outer = outer_faces(cell, mesh)
    centres = [(fastener.x, fastener.y) for fastener in mesh.fasteners]
    return cell_gap(body, centres, outer.shank, outer.round_it, cell.head.hole_diameter / 2.0)


def _outer_side(cell: Cell, places: FloatArray) -> NDArray[np.bool_]:
    if isinstance(cell.layout, Ring):
        return np.hypot(places[0], places[1]) > 0.99 * cell.layout.outer_diameter / 2.0
    first, other = cell.layout.half_widths
    return (places[1] > first - SAME_PLACE) | (places[1] < SAME_PLACE - other)


def cell_strain_load(model: CellModel, body: HeatBody, strain: FloatArray) -> FloatArray:
    """Return the load on all unknowns of a free strain at the Gauss points (m, q), the same in all directions.

    An isotropic body answers it with the stress (3 lambda + 2 mu) strain, so the load is that times the gradients.
    """
    m, q = strain.shape
    # elements that are material in part have their share in the weight already
    bulk = model.body.D[:, 0, :3].sum(axis=1) / model.mesh.shares
    gradient = body.gradient.reshape(m, q, 3, -1)
    load = np.einsum("mq,mqdn->mnd", strain * body.weight * bulk[:, None], gradient, optimize=True).reshape(m, -1)
    on_overlaps = [float(np.sum(load[one.free, 2::3] * one.travel.T)) for one in model.mesh.fasteners]
    return np.concatenate([model.transform.T @ model.body.vector(load), on_overlaps])


def part_means(mesh: JointMesh | SolidMesh, body: HeatBody) -> dict[str, Callable[[FloatArray], float]]:
    """Return how to read the mean temperature of every part that the mesh has."""
    used = np.unique(mesh.part)
    return {f"{mesh.parts[index]} mean": partial(body.mean, parts=number) for number, index in enumerate(used)}


def _at_node(node: int, temperature: FloatArray) -> float:
    return float(temperature[node])


def cell_places(cell: Cell, mesh: SolidMesh, body: HeatBody) -> dict[str, Callable[[FloatArray], float]]:
    """Return how to read the temperature of every named place of a cell from nodal temperatures.

    The sealing line is what lies under and over the sealing ring of a fired bore; the bridge is half-way to the next
    bore, where there is one.
    """
    readers = part_means(mesh, body)
    pair = mesh.pair("gasket")
    zone = cell.sealing_zone
    bore = np.array(cell.bore_centres[cell.fired[0]])

    def within(faces: IntArray) -> IntArray:
        nodes = np.unique(faces)
        reach = np.hypot(*(mesh.points[:2, nodes] - bore[:, None]))
        return nodes[(reach > zone.inner_diameter / 2.0 - 1e-6) & (reach < zone.outer_diameter / 2.0 + 1e-6)]

    deck, head = within(pair.lower), within(pair.upper)
    gasket = np.concatenate([np.unique(pair.lower), np.unique(pair.upper)])
    chamber = surface(body, np.hstack([mesh.chamber[bore_number] for bore_number in cell.fired]))
    readers["gasket mean"] = lambda T: float(T[gasket].mean())
    readers["sealing line"] = lambda T: float(T[deck].mean() + T[head].mean()) / 2.0
    readers["chamber face"] = chamber.mean
    readers["hottest of the chamber face"] = lambda T: float((chamber.evaluate @ T).max())
    readers["block deck at the gasket"] = lambda T: float(T[deck].mean())
    if isinstance(cell.layout, Bank):
        bridge = bore + np.array([cell.layout.pitch / 2.0, 0.0])
        for name, faces in (("head", pair.upper), ("block deck", pair.lower)):
            nodes = np.unique(faces)
            near = nodes[np.hypot(*(mesh.points[:2, nodes] - bridge[:, None])).argmin()]
            readers[f"{name} at the bridge"] = partial(_at_node, int(near))
    readers.setdefault("washer mean", readers["head mean"])
    readers.setdefault("nut mean", readers["fastener mean"])
    return readers
