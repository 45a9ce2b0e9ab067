"""A warm-up: heat in time, its strain condensed at every stored instant, the clamp that makes.

In one fastener's joint heat enters through the gas ring of the head, leaves to the coolant through the outer cylinders
of head and block, and crosses gasket and bearing faces; `cell_heat` says where in a bore cell. Hole and shank exchange
none. Gasket and fastener remember set and yield on the way;
creep is left to `service_run`.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from headjoint.cases.cell import mesh_of
from headjoint.cases.cell_condensation import CellRecovery, cell_model, condense_cell
from headjoint.cases.cell_heat import cell_heat_problem, cell_strain_load, thermal_parts
from headjoint.cases.condensation import FieldRecovery, condense, full_model
from headjoint.cases.condensed_store import user_store
from headjoint.cases.conduction import HeatBody, axisymmetric_heat_body, looked_up
from headjoint.cases.heat import Contact, Film, HeatProblem
from headjoint.cases.heat_surfaces import contact, surface
from headjoint.cases.heat_transient import HeatHistory, transient
from headjoint.cases.memory import Memory, fresh
from headjoint.cases.service_model import ServiceModel, service_of_cell, service_of_joint
from headjoint.cases.service_steps import embedded_by_heat, settle
from headjoint.cases.service_tightening import tighten
from headjoint.meshes import single_stud
from headjoint.meshes.joint_mesh import JointMesh
from headjoint.meshes.solid_mesh import SolidMesh
from headjoint.model.cell import Cell
from headjoint.model.contact_heat import bearing_law, gasket_law
from headjoint.model.errors import InputError
from headjoint.model.joint import PARTS, Joint, LoadCase
from headjoint.model.materials import Material
from headjoint.model.service import Tighten

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
INSTANTS = 60  # stored over the warm-up, besides those added round the extremes
EARLY = (1 / 480, 1 / 240, 1 / 120)  # of the duration, when much happens at once
TOLERANCE = 0.5  # K, error in time
FINE = 6  # instants added on either side of an extreme
SAME_PLACE = 1e-6  # mm
USUAL_PRESSURE = {"gasket": 20.0, "bearing": 150.0}  # MPa


@dataclass(frozen=True)
class Instant:
    """One instant: time s, temperatures degC at named places, fastener force N without gas and with it, sealing MPa.

    plastic : greatest plastic strain of the fastener so far.
    """

    time: float
    temperatures: dict[str, float]
    force: float
    fired_force: float | None
    sealing: float
    fired_sealing: float | None
    plastic: float


@dataclass(frozen=True)
class WarmUp:
    """A warm-up: tightened clamp N (settled, cold), instants in order, the heat solve it follows from."""

    joint: Joint
    tightened: float
    instants: tuple[Instant, ...]
    heat: HeatHistory = field(repr=False)

    def extreme(self, value: Callable[[Instant], float]) -> Instant:
        """Return the instant at which `value` is greatest."""
        return max(self.instants, key=value)


def heat_problem(joint: Joint, mesh: JointMesh) -> HeatProblem:
    """Return the heat problem of a joint on the mesh of its elasticity.

    Raises InputError where a material's thermal properties are not known, or there is no gas ring.
    """
    if joint.gas is None:
        raise InputError("a warm-up needs the [gas] table that says where heat comes in", field="gas")
    body = axisymmetric_heat_body(mesh.mesh, *thermal_parts(mesh, joint.part_material))
    duty = joint.heat
    films = (
        Film(surface(body, mesh.gas_facets), duty.gas_film, duty.gas_temperature, "gas"),
        Film(surface(body, _coolant_facets(joint, mesh)), duty.coolant_film, duty.coolant_temperature, "coolant"),
        Film(surface(body, _top_facets(joint, mesh)), duty.ambient_film, duty.ambient_temperature, "ambient"),
    )
    contacts = tuple(
        Contact(
            contact(body, one.lower, one.upper),
            typical_conductance(joint, one.kind),
            one.name,
        )
        for one in mesh.interfaces
    )
    return HeatProblem(body, films, contacts)


def typical_conductance(joint: Joint, kind: str) -> float:
    """Return the conductance (W/(mm2 K)) of gasket or bearing faces at a usual pressure."""
    law = gasket_law(joint) if kind == "gasket" else bearing_law(joint, joint.head.material, joint.fastener.material)
    return float(law.conductance(np.array(USUAL_PRESSURE[kind]), np.array(0.0)))


def _coolant_facets(joint: Joint, mesh: JointMesh) -> NDArray[np.int64]:
    """Return the facets of the outer cylinders of head and block."""
    facets = mesh.mesh.boundary_facets()
    r = mesh.mesh.p[0][mesh.mesh.facets[:, facets]]
    z = mesh.mesh.p[1][mesh.mesh.facets[:, facets]].mean(axis=0)
    outer = np.where(z > 0.0, joint.head.outer_diameter, joint.block.outer_diameter) / 2.0
    return facets[(np.abs(r - outer) < SAME_PLACE).all(axis=0)]


def _top_facets(joint: Joint, mesh: JointMesh) -> NDArray[np.int64]:
    """Return the facets of the head's top, and of washer, nut and stud end above it."""
    facets = mesh.mesh.boundary_facets()
    z = mesh.mesh.p[1][mesh.mesh.facets[:, facets]].min(axis=0)
    inner = np.concatenate([one.lower for one in mesh.interfaces] + [one.upper for one in mesh.interfaces])
    top = joint.gasket.thickness + joint.head.height
    return np.setdiff1d(facets[z > top - SAME_PLACE], inner)


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


@dataclass(frozen=True)
class Heated:
    """A joint or cell ready to be heated: service model, heat problem, places to read, condensed strain of a field."""

    model: ServiceModel = field(repr=False)
    problem: HeatProblem = field(repr=False)
    places: dict[str, Callable[[FloatArray], float]] = field(repr=False)
    strain_load: Callable[[FloatArray], FloatArray] = field(repr=False)


def heated_joint(joint: Joint) -> Heated:
    """Return one fastener's joint, meshed and condensed; InputError where heat or yield cannot be known."""
    mesh = single_stud.build(joint)
    full = full_model(joint, mesh)
    model = service_of_joint(joint, condense(joint, full))
    recovery = FieldRecovery(full)
    problem = heat_problem(joint, mesh)

    def load(temperature: FloatArray) -> FloatArray:
        strain = free_strain(joint.part_material, joint.assembly_temperature, mesh, problem.body, temperature)
        return recovery.condensed(full.strain_load(strain))

    return Heated(model, problem, _named_places(joint, mesh, problem.body), load)


def heated_cell(cell: Cell) -> Heated:
    """Return a bore cell, meshed and condensed; InputError where heat or yield cannot be known."""
    mesh = mesh_of(cell)
    full = cell_model(cell, mesh)
    model = service_of_cell(full, condense_cell(full, user_store()))
    recovery = CellRecovery(full)
    problem = cell_heat_problem(cell, mesh)

    def load(temperature: FloatArray) -> FloatArray:
        reference = cell.joint.assembly_temperature
        strain = free_strain(cell.part_material, reference, mesh, problem.body, temperature)
        return recovery.condensed(cell_strain_load(full, problem.body, strain))

    return Heated(model, problem, _cell_places(cell, mesh, problem), load)


def warm_up(stated: Joint | Cell, stage: Callable[[str], None] = lambda name: None, *, refined: bool = True) -> WarmUp:
    """Return the warm-up of a joint or cell; `refined` looks closer round the extremes.

    Raises InputError where heat or yield cannot be known, SolveError where a solve does not converge or balance.
    """
    stage("mesh and condense")
    heated = heated_cell(stated) if isinstance(stated, Cell) else heated_joint(stated)
    return warmed_up(heated, stage, refined=refined)


def warmed_up(heated: Heated, stage: Callable[[str], None] = lambda name: None, *, refined: bool = True) -> WarmUp:
    """Return the warm-up of what is ready to be heated, tightened as [tightening] says."""
    model, joint, duty = heated.model, heated.model.joint, heated.model.joint.heat
    stage("tighten")
    tight = joint.tightening
    first = Tighten("tighten", (), (), None, None, None, tight.preload, tight.thread_friction, tight.bearing_friction)
    reached, _ = tighten(model, fresh(model), first)
    settled = embedded_by_heat(reached.memory)
    times = set(np.linspace(0.0, duty.duration, INSTANTS + 1)[1:].tolist())
    tables = (duty.gas_temperature, duty.gas_film, duty.coolant_temperature, duty.coolant_film)
    bends = {time for table in tables for time in table.times}
    times |= {time for time in bends | {share * duty.duration for share in EARLY} if 0.0 < time < duty.duration}
    cold = settle(model, settled, joint.load_cases[0], gas=False)
    for again in (False, True):
        stage("heat")
        history = transient(
            heated.problem, duty.start_temperature, duty.duration, TOLERANCE, output_times=sorted(times)
        )
        stage("clamp")
        instants = _instants(heated, history, settled)
        if again or not refined:
            break
        for value in (lambda one: one.force, lambda one: -one.force):
            at = max(range(len(instants)), key=lambda index, value=value: value(instants[index]))
            before, after = instants[max(at - 1, 0)].time, instants[min(at + 1, len(instants) - 1)].time
            times |= set(np.linspace(before, after, 2 * FINE + 1)[1:].tolist())
    return WarmUp(joint, model.mean(cold.force), instants, history)


def _instants(heated: Heated, history: HeatHistory, memory: Memory) -> tuple[Instant, ...]:
    """Return clamp and temperatures at every stored instant, gasket and fastener remembering."""
    model, joint = heated.model, heated.model.joint
    gas_case = next((case for case in joint.load_cases if case.gas_force > 0.0), None)
    found = []
    for time, temperature in zip(history.times, history.temperatures, strict=True):
        temperatures = {name: read(temperature) for name, read in heated.places.items()}
        burning = joint.heat.gas_film(float(time)) > 0.0 and gas_case is not None
        case = LoadCase(
            f"{time:.0f} s",
            "firing" if burning else "hot",
            {part: temperatures[f"{part} mean"] for part in PARTS},
            gas_case.gas_pressure if burning and gas_case is not None else 0.0,
            gas_case.gas_force if burning and gas_case is not None else 0.0,
        )
        load = heated.strain_load(temperature)
        rest = settle(model, memory, case, gas=False, heat=load, name=f"warm-up, {time:.0f} s")
        memory, fired = rest.memory, None
        if burning:
            fired = settle(model, memory, case, heat=load, name=f"warm-up, {time:.0f} s, firing")
            memory = fired.memory
        found.append(
            Instant(
                float(time),
                temperatures,
                model.mean(rest.force),
                None if fired is None else model.mean(fired.force),
                model.sealing(rest.equilibrium),
                None if fired is None else model.sealing(fired.equilibrium),
                float(memory.plastic.max()),
            )
        )
    return tuple(found)


def _part_means(mesh: JointMesh | SolidMesh, body: HeatBody) -> dict[str, Callable[[FloatArray], float]]:
    """Return how to read the mean temperature of every part that the mesh has."""
    used = np.unique(mesh.part)
    return {
        f"{mesh.parts[index]} mean": lambda T, number=number: body.mean(T, number) for number, index in enumerate(used)
    }


def _named_places(joint: Joint, mesh: JointMesh, body: HeatBody) -> dict[str, Callable[[FloatArray], float]]:
    """Return how to read the temperature of every named place from nodal temperatures."""
    readers = _part_means(mesh, body)
    zones = {one.name: one for one in mesh.interfaces if one.kind == "gasket"}
    line = zones[joint.gasket.sealing_zone.name]
    deck, head = surface(body, line.lower), surface(body, line.upper)
    whole = [surface(body, side) for one in zones.values() for side in (one.lower, one.upper)]
    area = sum(one.area for one in whole)
    readers["gasket mean"] = lambda T: sum(one.mean(T) * one.area for one in whole) / area
    readers["sealing line"] = lambda T: (deck.mean(T) + head.mean(T)) / 2.0
    readers["chamber face"] = surface(body, mesh.gas_facets).mean
    readers["block deck at the gasket"] = deck.mean
    readers.setdefault("washer mean", readers["head mean"])
    return readers


def _cell_places(cell: Cell, mesh: SolidMesh, problem: HeatProblem) -> dict[str, Callable[[FloatArray], float]]:
    """Return the same of a cell; the sealing line is what lies under and over the sealing ring of a fired bore."""
    body = problem.body
    readers = _part_means(mesh, body)
    pair = mesh.pair("gasket")
    zone = cell.sealing_zone
    bore = np.array(cell.bore_centres[cell.fired[0]])

    def within(faces: IntArray) -> IntArray:
        nodes = np.unique(faces)
        reach = np.hypot(*(mesh.points[:2, nodes] - bore[:, None]))
        return nodes[(reach > zone.inner_diameter / 2.0 - 1e-6) & (reach < zone.outer_diameter / 2.0 + 1e-6)]

    deck, head = within(pair.lower), within(pair.upper)
    gasket = np.concatenate([np.unique(pair.lower), np.unique(pair.upper)])
    chamber = problem.films[0].surface
    readers["gasket mean"] = lambda T: float(T[gasket].mean())
    readers["sealing line"] = lambda T: float(T[deck].mean() + T[head].mean()) / 2.0
    readers["chamber face"] = chamber.mean
    readers["hottest of the chamber face"] = lambda T: float((chamber.evaluate @ T).max())
    readers["block deck at the gasket"] = lambda T: float(T[deck].mean())
    readers.setdefault("washer mean", readers["head mean"])
    readers.setdefault("nut mean", readers["fastener mean"])
    return readers


def both_paces(stated: Joint | Cell, stage: Callable[[str], None] = lambda name: None) -> tuple[WarmUp, WarmUp | None]:
    """Return the warm-up, and that of one fastener's joint also at half the pace: a cell's would take minutes more."""
    if isinstance(stated, Cell):
        return warm_up(stated, stage, refined=False), None
    warmed = warm_up(stated, stage)
    stage("the same at half the pace")
    return warmed, warm_up(with_slower_warm_up(stated, 2.0), refined=False)


def with_slower_warm_up(joint: Joint, factor: float) -> Joint:
    """Return the joint with all times of its duty times a factor."""
    return dataclasses.replace(joint, heat=joint.heat.slower(factor))
