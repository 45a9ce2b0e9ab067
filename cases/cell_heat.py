"""Heat of a bore cell on the mesh of its elasticity: where it enters and leaves, and the load of its strain."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from headjoint.cases.cell_condensation import CellModel
from headjoint.cases.conduction import HeatBody, solid_heat_body
from headjoint.cases.heat import Contact, Film, HeatProblem
from headjoint.cases.heat_surfaces import pair_contact, surface
from headjoint.meshes import hexahedra, tetrahedra
from headjoint.meshes.joint_mesh import JointMesh
from headjoint.meshes.solid_mesh import SolidMesh
from headjoint.model.cell import Cell, Ring
from headjoint.model.contact_heat import bearing_law, gasket_law
from headjoint.model.heat_transfer import ThermalProperties, thermal_properties
from headjoint.model.materials import Material

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
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


def cell_heat_problem(cell: Cell, mesh: SolidMesh) -> HeatProblem:
    """Return the heat problem of a cell: gas on chambers and bore walls, coolant on what is left inside.

    Free faces are the coolant's, but for planes of symmetry and the foot (no heat), stud holes and the studs themselves
    (none), and the top and outer sides (ambient). Raises InputError where a material's thermal data are not known.
    """
    body = solid_heat_body(mesh.points, mesh.cells, *thermal_parts(mesh, cell.part_material))
    faces, part = free_faces(mesh)
    paired = (side for pair in mesh.pairs for side in (pair.lower, pair.upper))
    taken = np.hstack([*mesh.chamber, *mesh.wall, *mesh.deck, *paired])
    left = ~_among(faces, taken)
    for _, nodes in (*mesh.planes, *mesh.travelling):
        left &= ~np.isin(faces, nodes).all(axis=0)
    left &= ~np.isin(faces, mesh.support).all(axis=0)
    middle = mesh.points[:, faces].mean(axis=1)
    casting = np.isin(part, [i for i, name in enumerate(mesh.parts) if name in ("head", "block", "liner")])
    top = middle[2] > cell.joint.gasket.thickness + cell.head.height - SAME_PLACE
    reach = cell.head.hole_diameter / 2.0 + 0.5
    for fastener in mesh.fasteners:
        near = np.hypot(middle[0] - fastener.x, middle[1] - fastener.y) < reach
        left &= ~(near & casting & ~top)
    side = _outer_side(cell, middle)
    ambient = left & (top | (side & casting))
    coolant = left & casting & ~ambient
    duty = cell.joint.heat
    chamber = np.hstack([mesh.chamber[bore] for bore in cell.fired])
    films = [
        Film(surface(body, chamber), duty.gas_film, duty.gas_temperature, "gas"),
        Film(surface(body, faces[:, coolant]), duty.coolant_film, duty.coolant_temperature, "coolant"),
        Film(surface(body, faces[:, ambient]), duty.ambient_film, duty.ambient_temperature, "ambient"),
    ]
    wall = np.hstack([mesh.wall[bore] for bore in cell.fired])
    if wall.size:
        film = duty.gas_film
        half = type(film)(film.times, tuple(WALL_FILM_SHARE * value for value in film.values))
        films.append(Film(surface(body, wall), half, duty.gas_temperature, "bore wall"))
    contacts = tuple(
        Contact(
            pair_contact(body, pair),
            _typical_conductance(cell, pair.name),
            pair.name,
        )
        for pair in mesh.pairs
    )
    return HeatProblem(body, tuple(films), contacts)


def _typical_conductance(cell: Cell, name: str) -> float:
    """Return the conductance (W/(mm2 K)) of gasket or bearing faces at a usual pressure."""
    joint = cell.joint
    gasket = name == "gasket"
    law = gasket_law(joint) if gasket else bearing_law(joint, joint.head.material, joint.fastener.material)
    return float(law.conductance(np.array(20.0 if gasket else 150.0), np.array(0.0)))


def _outer_side(cell: Cell, places: FloatArray) -> NDArray[np.bool_]:
    if isinstance(cell.layout, Ring):
        return np.hypot(places[0], places[1]) > 0.99 * cell.layout.outer_diameter / 2.0
    return np.abs(places[1]) > cell.layout.half_width - SAME_PLACE


def cell_strain_load(model: CellModel, body: HeatBody, strain: FloatArray) -> FloatArray:
    """Return the load on all unknowns of a free strain at the Gauss points (m, q), the same in all directions.

    An isotropic body answers it with the stress (3 lambda + 2 mu) strain, so the load is that times the gradients.
    """
    m, q = strain.shape
    bulk = model.body.D[:, 0, :3].sum(axis=1)
    gradient = body.gradient.reshape(m, q, 3, -1)
    load = np.einsum("mq,mqdn->mnd", strain * body.weight * bulk[:, None], gradient, optimize=True).reshape(m, -1)
    on_overlaps = [float(np.sum(load[one.free, 2::3] * one.travel.T)) for one in model.mesh.fasteners]
    return np.concatenate([model.transform.T @ model.body.vector(load), on_overlaps])
