"""A joint or cell ready to be heated: service model, heat problem, places to read, the load of a temperature field.

In one fastener's joint heat enters through the gas ring of the head and leaves to the coolant through the outer
cylinders of head and block; `cell_heat` says where in a bore cell. Faces in contact conduct by their pressure, shank
and hole across their gap.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from headjoint.cases.condensed.cell_condensation import CellModel, CellRecovery, cell_model, condense_cell
from headjoint.cases.condensed.condensation import FieldRecovery, FullModel, condense, full_model
from headjoint.cases.condensed.reduced_joint import ReducedJoint
from headjoint.cases.condensed.store import user_store
from headjoint.cases.condensed.watched_cell import watched_cell
from headjoint.cases.elements.memory import check_memory
from headjoint.cases.heat.conduction import FloatArray, HeatBody, IntArray, axisymmetric_heat_body, solid_heat_body
from headjoint.cases.heat.contacts import Face, Faces, gap_contact
from headjoint.cases.heat.gap_round_shank import ShankGap, joint_gap
from headjoint.cases.heat.problem import Contact, Film, HeatProblem
from headjoint.cases.heat.surfaces import contact, pair_contact, surface
from headjoint.cases.models.condensed import OneFastener, condensed_cell
from headjoint.cases.models.from_mesh import mesh_of
from headjoint.cases.service.model import ServiceModel, service_of
from headjoint.cases.service.steps import Reached
from headjoint.cases.warm_up.cell_heat import (
    cell_films,
    cell_places,
    cell_shank_gap,
    cell_strain_load,
    part_means,
    thermal_parts,
)
from headjoint.meshes.one_fastener import single_stud
from headjoint.meshes.one_fastener.joint_mesh import JointMesh
from headjoint.meshes.solid.solid_mesh import SolidMesh
from headjoint.model.base.errors import InputError
from headjoint.model.base.property_table import looked_up
from headjoint.model.cell import Cell
from headjoint.model.heat.duty import HeatDuty
from headjoint.model.joint import Joint, bearing_ring, washer_ring
from headjoint.model.library.materials import Material

SAME_PLACE = 1e-6  # mm
Reader = Callable[[FloatArray], float]


@dataclass(frozen=True)
class Elastic:
    """The joint condensed with one field of stiffness.

    load : condensed load (n,) of nodal temperatures (m,) degC. displacement : of all nodes, mm, from reduced unknowns
    (n,) and nodal temperatures, without gas.
    """

    reduced: ReducedJoint = field(repr=False)
    load: Callable[[FloatArray], FloatArray] = field(repr=False)
    displacement: Callable[[FloatArray, FloatArray], FloatArray] = field(repr=False)


@dataclass(frozen=True)
class Heated:
    """A joint or cell ready to be heated.

    model, assembled : with the stiffness of assembly. body : where heat is conducted. films : of a duty. faces :
    that conduct by pressure. gap : across the shank's hole, None where shank and hole do not face each other.
    places : how to read a named temperature from nodal ones (m,). hottest : how to read the greatest of a part.
    cold : condensed with the stiffness of assembly. at_temperature : condensed anew with the stiffness of nodal
    temperatures, of the whole or all but the fasteners.
    """

    model: ServiceModel = field(repr=False)
    assembled: FullModel | CellModel = field(repr=False)
    body: HeatBody = field(repr=False)
    films: Callable[[HeatDuty], tuple[Film, ...]] = field(repr=False)
    faces: Faces = field(repr=False)
    gap: Contact | None = field(repr=False)
    places: dict[str, Reader] = field(repr=False)
    hottest: dict[str, Reader] = field(repr=False)
    cold: Elastic = field(repr=False)
    at_temperature: Callable[[FloatArray, bool], Elastic] = field(repr=False)
    mesh: JointMesh | SolidMesh = field(repr=False)
    material: Callable[[str], Material] = field(repr=False)

    def problem(self, duty: HeatDuty, at: Reached) -> HeatProblem:
        """Return the heat problem of a duty; faces conduct as the pressures of a state let them."""
        return HeatProblem(self.body, self.films(duty), self.contacts(at))

    def contacts(self, at: Reached) -> tuple[Contact, ...]:
        """Return all contacts, faces as the pressures of a state let them conduct."""
        gap = () if self.gap is None else (self.gap,)
        return (*self.faces.contacts(at.memory.permanent_set, at.equilibrium), *gap)


def heated_joint(joint: Joint, refinement: float = 1.0) -> Heated:
    """Return one fastener's joint, meshed and condensed; InputError where heat or yield cannot be known."""
    if joint.gas is None:
        raise InputError("a warm-up needs the [gas] table that says where heat comes in", field="gas")
    mesh = single_stud.build(joint, refinement)
    body = axisymmetric_heat_body(mesh.mesh, *thermal_parts(mesh, joint.part_material))

    def condensed(full: FullModel) -> Elastic:
        recovery = FieldRecovery(full)

        def load(temperature: FloatArray) -> FloatArray:
            strain = free_strain(joint.part_material, joint.assembly_temperature, mesh, body, temperature)
            return recovery.condensed(full.strain_load(strain))

        def displacement(q: FloatArray, temperature: FloatArray) -> FloatArray:
            strain = free_strain(joint.part_material, joint.assembly_temperature, mesh, body, temperature)
            return recovery.displacement(q, {}, full.strain_load(strain))

        return Elastic(condense(joint, full), load, displacement)

    assembled = full_model(joint, mesh)
    cold = condensed(assembled)
    return Heated(
        model=service_of(OneFastener(joint, cold.reduced)),
        assembled=assembled,
        body=body,
        films=lambda duty: _joint_films(joint, mesh, body, duty),
        faces=Faces(tuple(_joint_faces(joint, mesh, body)), cold.reduced),
        gap=_gap(joint, joint_gap(body, mesh)),
        places=_joint_places(joint, mesh, body),
        hottest=_hottest(mesh, body),
        cold=cold,
        at_temperature=lambda T, whole: condensed(
            full_model(joint, mesh, element_temperatures(joint, mesh, body, T, whole))
        ),
        mesh=mesh,
        material=joint.part_material,
    )


def heated_cell(cell: Cell, refinement: float = 1.0) -> Heated:
    """Return a bore cell, meshed and condensed; InputError where heat or yield cannot be known."""
    mesh, joint = mesh_of(cell, refinement), cell.joint
    check_memory(mesh.points.size, 0, solid=True, heated=True)
    body = solid_heat_body(mesh.points, mesh.cells, *thermal_parts(mesh, cell.part_material), mesh.filled)
    store = user_store()

    def elastic(full: CellModel, reduced: ReducedJoint) -> Elastic:
        recovery = CellRecovery(full, refined=False)

        def strain_load(temperature: FloatArray) -> FloatArray:
            strain = free_strain(cell.part_material, joint.assembly_temperature, mesh, body, temperature)
            return cell_strain_load(full, body, strain)

        def displacement(q: FloatArray, temperature: FloatArray) -> FloatArray:
            return recovery.displacement(q, {}, strain_load(temperature))

        return Elastic(reduced, lambda temperature: recovery.condensed(strain_load(temperature)), displacement)

    assembled = cell_model(cell, mesh)
    cold = elastic(assembled, watched_cell(assembled, store).reduced)  # which other commands condense, too

    def hot(temperature: FloatArray, whole: bool) -> Elastic:
        full = cell_model(cell, mesh, element_temperatures(joint, mesh, body, temperature, whole))
        return elastic(full, condense_cell(full, store))

    return Heated(
        model=service_of(condensed_cell(assembled, cold.reduced)),
        assembled=assembled,
        body=body,
        films=lambda duty: cell_films(cell, mesh, body, duty),
        faces=Faces(tuple(_cell_faces(joint, cell.part_material, mesh, body)), cold.reduced),
        gap=_gap(joint, cell_shank_gap(cell, mesh, body)),
        places=cell_places(cell, mesh, body),
        hottest=_hottest(mesh, body),
        cold=cold,
        at_temperature=hot,
        mesh=mesh,
        material=cell.part_material,
    )


def heated(stated: Joint | Cell, refinement: float = 1.0) -> Heated:
    """Return a joint or cell, meshed and condensed; InputError where heat or yield cannot be known."""
    return heated_cell(stated, refinement) if isinstance(stated, Cell) else heated_joint(stated, refinement)


def element_temperatures(
    joint: Joint, mesh: JointMesh | SolidMesh, body: HeatBody, temperature: FloatArray, whole: bool
) -> FloatArray:
    """Return the mean temperature (m,) of every element from nodal ones; fasteners, unless whole, at assembly."""
    at_points = temperature[body.cells.T] @ body.capacity_values.T
    means = np.sum(at_points * body.capacity_weight, axis=1) / body.capacity_weight.sum(axis=1)
    held = (mesh.part == mesh.parts.index("fastener")) & (not whole)
    return np.where(held, joint.assembly_temperature, means)


def free_strain(
    material: Callable[[str], Material],
    reference: float,
    mesh: JointMesh | SolidMesh,
    body: HeatBody,
    temperature: FloatArray,
) -> FloatArray:
    """Return the free thermal strain (m, q) at the Gauss points for nodal temperatures (n,).

    material : of a part by name. reference : degC of assembly, where there is none.
    """
    at_points = temperature[body.cells.T] @ body.values.T
    strain = np.zeros_like(at_points)
    for index, name in enumerate(mesh.parts):
        own = mesh.part == index
        if not own.any():
            continue
        expansion = material(name).expansion
        T = at_points[own]
        strain[own] = looked_up(expansion, T) * (T - 20.0) - expansion.at(reference) * (reference - 20.0)
    return strain


def _joint_films(joint: Joint, mesh: JointMesh, body: HeatBody, duty: HeatDuty) -> tuple[Film, ...]:
    return (
        Film(surface(body, mesh.gas_facets), duty.gas_film, duty.gas_temperature, "gas"),
        Film(surface(body, _coolant_facets(joint, mesh)), duty.coolant_film, duty.coolant_temperature, "coolant"),
        Film(surface(body, _top_facets(joint, mesh)), duty.ambient_film, duty.ambient_temperature, "ambient"),
    )


def _coolant_facets(joint: Joint, mesh: JointMesh) -> IntArray:
    """Return the facets of the outer cylinders of head and block."""
    facets = mesh.mesh.boundary_facets()
    r = mesh.mesh.p[0][mesh.mesh.facets[:, facets]]
    z = mesh.mesh.p[1][mesh.mesh.facets[:, facets]].mean(axis=0)
    outer = np.where(z > 0.0, joint.head.outer_diameter, joint.block.outer_diameter) / 2.0
    return facets[(np.abs(r - outer) < SAME_PLACE).all(axis=0)]


def _top_facets(joint: Joint, mesh: JointMesh) -> IntArray:
    """Return the facets of the head's top, and of washer, nut and stud end above it, that air gets to.

    What the nut shuts in round the shank - the bore of the washer, ledges under nut and washer - meets the shank's gap.
    """
    facets = mesh.mesh.boundary_facets()
    r = mesh.mesh.p[0][mesh.mesh.facets[:, facets]].max(axis=0)
    z = mesh.mesh.p[1][mesh.mesh.facets[:, facets]]
    faces = np.concatenate([pair.lower for pair in mesh.interfaces] + [pair.upper for pair in mesh.interfaces])
    top = bearing = joint.gasket.thickness + joint.head.height
    rings = [bearing_ring(joint), (joint.head.hole_diameter, 0.0)]
    if joint.washer is not None:
        bearing += joint.washer.thickness
        rings.append(washer_ring(joint))
    shut_in = (r < max(inner for inner, _ in rings) / 2.0 + SAME_PLACE) & (z.max(axis=0) < bearing + SAME_PLACE)
    return np.setdiff1d(facets[(z.min(axis=0) > top - SAME_PLACE) & ~shut_in], faces)


def _joint_faces(joint: Joint, mesh: JointMesh, body: HeatBody) -> list[Face]:
    def part_at(facet: int) -> str:
        return mesh.parts[mesh.part[mesh.mesh.f2t[0, facet]]]

    return [
        Face(
            pair.name,
            pair.kind,
            contact(body, pair.lower, pair.upper),
            joint,
            joint.part_material(part_at(pair.lower[0])),
            joint.part_material(part_at(pair.upper[0])),
        )
        for pair in mesh.interfaces
    ]


def _cell_faces(joint: Joint, material: Callable[[str], Material], mesh: SolidMesh, body: HeatBody) -> list[Face]:
    def part_of(faces: IntArray) -> str:
        corners = faces[:4, 0] if len(faces) == 8 else faces[:3, 0]
        holding = np.isin(mesh.cells, corners).sum(axis=0) == len(corners)
        return mesh.parts[mesh.part[np.flatnonzero(holding)[0]]]

    return [
        Face(
            pair.name,
            pair.name,
            pair_contact(body, pair),
            joint,
            material(part_of(pair.lower)),
            material(part_of(pair.upper)),
        )
        for pair in mesh.pairs
    ]


def _gap(joint: Joint, gap: ShankGap | None) -> Contact | None:
    return None if gap is None or joint.heat.shank_gap == 0.0 else gap_contact(joint, gap)


def _greatest(nodes: IntArray, temperature: FloatArray) -> float:
    return float(temperature[nodes].max())


def _hottest(mesh: JointMesh | SolidMesh, body: HeatBody) -> dict[str, Reader]:
    """Return how to read the greatest nodal temperature of every part."""
    readers: dict[str, Reader] = {}
    for index in np.unique(mesh.part):
        nodes = np.unique(body.cells[:, mesh.part == index])
        readers[mesh.parts[index]] = partial(_greatest, nodes)
    return readers


def _joint_places(joint: Joint, mesh: JointMesh, body: HeatBody) -> dict[str, Reader]:
    """Return how to read the temperature of every named place from nodal temperatures."""
    readers = part_means(mesh, body)
    zones = {each.name: each for each in mesh.interfaces if each.kind == "gasket"}
    line = zones[joint.gasket.sealing_zone.name]
    deck, head = surface(body, line.lower), surface(body, line.upper)
    whole = [surface(body, side) for each in zones.values() for side in (each.lower, each.upper)]
    area = sum(each.area for each in whole)
    readers["gasket mean"] = lambda T: sum(each.mean(T) * each.area for each in whole) / area
    readers["sealing line"] = lambda T: (deck.mean(T) + head.mean(T)) / 2.0
    readers["chamber face"] = surface(body, mesh.gas_facets).mean
    readers["block deck at the gasket"] = deck.mean
    readers.setdefault("washer mean", readers["head mean"])
    return readers
