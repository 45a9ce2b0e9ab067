"""From what a joint file states to the `Joint`: names looked up, defaults filled in, geometry checked."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import msgspec

from headjoint.model.base.errors import InputError
from headjoint.model.base.property_table import Table
from headjoint.model.files.joint_file import (
    FastenerTable,
    GasketTable,
    JointFile,
    MaterialSpec,
    MaterialTable,
    SeatTable,
    ThreadCompliance,
)
from headjoint.model.gasket.shipped_laws import gasket_law
from headjoint.model.joint import (
    Block,
    Fastener,
    Gas,
    Gasket,
    Head,
    Joint,
    MeshSize,
    Requirements,
    Seat,
    Segment,
    Tightening,
    Washer,
    Zone,
)
from headjoint.model.library import materials, property_classes, tightening
from headjoint.model.library import threads as thread_library
from headjoint.model.library.materials import Material
from headjoint.model.library.threads import Thread
from headjoint.model.reading.geometry_checks import check_geometry
from headjoint.model.reading.heat_reading import resolve_heat
from headjoint.model.reading.load_cases import resolve_load_cases
from headjoint.model.reading.service_reading import resolve_ageing, resolve_flow, resolve_history, resolve_relaxation
from headjoint.model.reading.stated_laws import laws_of

LENGTH_SLACK = 1e-6  # mm, rounding in a file's lengths


def resolve(stated: JointFile, folder: Path = Path(), *, past_yield: bool = False) -> Joint:
    """Return the joint with every default filled in; files it names lie in `folder`.

    past_yield : accept a tightening that yields the fastener; for studies, where its yield factor says so.

    Raises InputError with the path of the field that cannot be used.
    """
    fastener_thread = thread_library.thread(stated.fastener.thread, "fastener.thread")
    head = Head(
        stated.head.height,
        stated.head.outer_diameter,
        stated.head.hole_diameter,
        resolve_material(stated.head.material, "head.material"),
    )
    block = _block(stated, fastener_thread, head)
    washer = None
    if stated.washer is not None:
        table = stated.washer
        washer = Washer(
            table.inner_diameter,
            table.outer_diameter,
            table.thickness,
            resolve_material(table.material, "washer.material"),
            table.contact,
        )
    gasket = _gasket(stated.gasket, folder)
    grip = head.height + gasket.thickness + block.counterbore_depth + (washer.thickness if washer else 0.0)
    seat_table, seat_field = _seat_table(stated)
    top_thread = fastener_thread
    if stated.fastener.nut_thread is not None:
        top_thread = thread_library.thread(stated.fastener.nut_thread, "fastener.nut_thread")
    fastener = _fastener(stated.fastener, fastener_thread, top_thread, block, grip)
    seat = _seat(seat_table, seat_field, fastener)
    fastener = _finish_ends(fastener, stated.fastener, seat_table, seat, block)
    gas = None
    if stated.gas is not None:
        ring = Gas(stated.gas.inner_diameter, stated.gas.outer_diameter, 0.0)
        gas = dataclasses.replace(ring, force_area=stated.gas.force_area or ring.ring_area)
    d = fastener_thread.nominal_diameter
    load_cases = resolve_load_cases(stated.load_cases, gas)
    fired = next((case.gas_pressure for case in load_cases if case.gas_force > 0.0), 0.0)
    joint = Joint(
        name=stated.name,
        note=stated.note,
        fastener=fastener,
        seat=seat,
        washer=washer,
        head=head,
        gasket=gasket,
        block=block,
        gas=gas,
        tightening=_tightening(stated, fastener, seat, washer),
        load_cases=load_cases,
        requirements=Requirements(**msgspec.structs.asdict(stated.requirements)),
        mesh_size=MeshSize(stated.mesh.element_size or 0.05 * d, stated.mesh.growth, stated.mesh.largest or 0.6 * d),
        load_introduction_factor=stated.estimate.load_introduction_factor,
        history=(),
        ageing=resolve_ageing(stated),
        heat=resolve_heat(stated.heat, load_cases[0].temperatures["head"], fired),
    )
    joint = dataclasses.replace(joint, history=resolve_history(stated.history, joint))
    check_geometry(joint, seat_field)
    if not past_yield:
        _check_tightening(joint)
    return joint


def resolve_material(stated: MaterialSpec, field: str) -> Material:
    """Return the library material `base` with the directly stated values in place of its own."""
    if isinstance(stated, str):
        return materials.material(stated, field)
    direct = {
        name: value for name, value in msgspec.structs.asdict(stated).items() if name != "base" and value is not None
    }
    if stated.base is not None:
        base = materials.material(stated.base, field)
    else:
        missing = [name for name in ("E", "nu", "expansion") if name not in direct]
        if missing:
            raise InputError(f"names no `base`, so it must state {', '.join(missing)} directly", field=field)
        base = materials.bare_material("stated in the joint file", direct["E"], direct["nu"], direct["expansion"])
    tabular = {"E", "expansion", "yield_strength", "ultimate_strength"}
    changes = {name: Table((20.0,), (value,)) if name in tabular else value for name, value in direct.items()}
    sources = base.sources | dict.fromkeys(direct, "stated in the joint file")
    return dataclasses.replace(base, **changes, sources=sources)


def _block(stated: JointFile, thread: Thread, head: Head) -> Block:
    table = stated.block
    hole_below = table.hole_below if table.hole_below is not None else 0.5 * thread.nominal_diameter
    return Block(
        table.height,
        table.outer_diameter,
        table.counterbore_diameter or head.hole_diameter,
        table.counterbore_depth,
        hole_below,
        resolve_material(table.material, "block.material"),
    )


def _gasket(stated: GasketTable, folder: Path) -> Gasket:
    own = laws_of(stated.laws, folder)
    sealing = [index for index, zone in enumerate(stated.zones) if zone.sealing]
    if len(stated.zones) == 1:
        sealing = [0]
    if len(sealing) != 1:
        raise InputError(f"exactly one zone must have sealing = true, {len(sealing)} have", field="gasket.zones")
    zones = []
    for index, zone in enumerate(stated.zones):
        field = f"gasket.zones[{index}]"
        if zone.law in own:
            law = own[zone.law]
        else:
            try:
                law = gasket_law(zone.law, f"{field}.law")
            except InputError as error:
                if own:
                    error.problem += f"; stated in this file: {', '.join(own)}"
                    error.args = (error.problem,)
                raise
        middle = (zone.inner_diameter + zone.outer_diameter) / 2.0
        zones.append(
            Zone(
                zone.name,
                zone.inner_diameter,
                zone.outer_diameter,
                law,
                zone.step,
                index in sealing,
                zone.sealing_diameter or middle,
            )
        )
    names = [zone.name for zone in zones]
    for index, name in enumerate(names):
        if name in names[:index]:
            raise InputError("zone names must differ", field=f"gasket.zones[{index}].name", value=name)
    return Gasket(stated.thickness, tuple(sorted(zones, key=lambda zone: zone.inner_diameter)), stated.expansion)


def _seat_table(stated: JointFile) -> tuple[SeatTable, str]:
    wanted, other = ("nut", "bolt_head") if stated.fastener.kind == "stud" else ("bolt_head", "nut")
    if getattr(stated, other) is not None:
        raise InputError(f"a {stated.fastener.kind} has a [{wanted}] table, not [{other}]", field=other)
    return getattr(stated, wanted) or SeatTable(), wanted


def _fastener(stated: FastenerTable, thread: Thread, top_thread: Thread, block: Block, grip: float) -> Fastener:
    if stated.kind == "bolt" and stated.nut_thread is not None:
        raise InputError("a bolt has no nut thread", field="fastener.nut_thread", value=stated.nut_thread)
    material = resolve_material(stated.material, "fastener.material")
    yield_strength, ultimate, elongation = material.yield_strength, material.ultimate_strength, material.elongation
    if stated.property_class is not None:
        strengths = property_classes.property_class(stated.property_class, "fastener.property_class")
        yield_strength, ultimate = strengths.yield_strength, Table((20.0,), (strengths.ultimate,))
        elongation = strengths.elongation
    if isinstance(stated.material, MaterialTable):
        # strengths stated for this very fastener go before those of its class
        yield_strength = material.yield_strength if stated.material.yield_strength is not None else yield_strength
        ultimate = material.ultimate_strength if stated.material.ultimate_strength is not None else ultimate
    return Fastener(
        kind=stated.kind,
        thread=thread,
        nut_thread=top_thread,
        material=material,
        yield_strength=yield_strength,
        ultimate_strength=None if ultimate is None else ultimate.at(20.0),
        segments=_segments(stated, thread, top_thread, grip),
        engagement=stated.engagement,
        bonded_diameter=stated.bonded_diameter or thread.pitch_diameter,
        nut_bonded_diameter=stated.nut_bonded_diameter or top_thread.pitch_diameter,
        thread_compliance=0.0,
        nut_compliance=0.0,
        protrusion=0.0,
        rolled=stated.rolled,
        flow=resolve_flow(stated, yield_strength, None if ultimate is None else ultimate.at(20.0), elongation),
        relaxation=resolve_relaxation(stated.relaxation),
        property_class=stated.property_class,
    )


def _segments(stated: FastenerTable, thread: Thread, top_thread: Thread, grip: float) -> tuple[Segment, ...]:
    open_ended = [index for index, segment in enumerate(stated.segments) if segment.length is None]
    total = sum(segment.length or 0.0 for segment in stated.segments)
    if len(open_ended) > 1:
        raise InputError(
            "only one segment may leave its length out", field=f"fastener.segments[{open_ended[1]}].length"
        )
    rest = grip - total
    if open_ended and rest <= LENGTH_SLACK:
        raise InputError(
            f"no length is left for this segment: the others take {total:g} mm of a grip of {grip:g} mm",
            field=f"fastener.segments[{open_ended[0]}].length",
        )
    if not open_ended and abs(rest) > 1e-3:
        raise InputError(
            f"the segments add up to {total:g} mm, but the grip (washer + head + gasket + counterbore) is "
            f"{grip:g} mm; leave one length out to let it take the rest",
            field="fastener.segments",
        )
    segments = []
    for index, segment in enumerate(stated.segments):
        diameter = segment.diameter
        if diameter is None:
            if not segment.thread:
                raise InputError("a shank needs its diameter", field=f"fastener.segments[{index}].diameter")
            own = top_thread if index == 0 else thread
            diameter = own.minor_diameter_external
        segments.append(Segment(segment.length or rest, diameter, segment.thread))
    return tuple(segments)


def _seat(table: SeatTable, field: str, fastener: Fastener) -> Seat:
    thread = fastener.nut_thread
    flats = thread.width_across_flats
    # equal area of the hexagon: s^2 sqrt(3)/2 = pi d^2/4
    hexagon = flats * math.sqrt(2.0 * math.sqrt(3.0) / math.pi)
    height = table.height or (thread.nut_height if fastener.kind == "stud" else 0.65 * thread.nominal_diameter)
    bearing_outer = table.bearing_outer_diameter or min(0.95 * flats, table.outer_diameter or math.inf)
    return Seat(
        height=height,
        outer_diameter=table.outer_diameter or max(hexagon, bearing_outer),
        bearing_inner_diameter=table.bearing_inner_diameter or thread.nominal_diameter,
        bearing_outer_diameter=bearing_outer,
        material=fastener.material if table.material is None else resolve_material(table.material, f"{field}.material"),
        contact=table.contact,
    )


def _finish_ends(
    fastener: Fastener, stated: FastenerTable, seat_table: SeatTable, seat: Seat, block: Block
) -> Fastener:
    """Fill in the compliances of both threads and the protrusion; check a stated overall length."""
    d, d_nut = fastener.thread.nominal_diameter, fastener.nut_thread.nominal_diameter
    # delta_M = l_M/(E A_N) with l_M = 0.33 d for a tapped hole, 0.4 d for a nut (VDI 2230-1 sec. 5.1.1)
    block_term = 0.33 * d / (block.material.E.at(20.0) * math.pi / 4.0 * d**2)
    nut_term = 0.4 * d_nut / (seat.material.E.at(20.0) * math.pi / 4.0 * d_nut**2)
    is_bolt = fastener.kind == "bolt"
    protrusion = stated.protrusion
    fixed = fastener.clamped_length + fastener.engagement + (0.0 if is_bolt else seat.height)
    if stated.length is not None:
        if stated.engagement >= stated.length:
            raise InputError(
                f"the engagement is longer than the fastener itself ({stated.length:g} mm)",
                field="fastener.engagement",
                value=stated.engagement,
            )
        spare = stated.length - fixed - (protrusion or 0.0)
        if spare < -1e-3 or ((is_bolt or protrusion is not None) and spare > 1e-3):
            need = fixed + (protrusion or 0.0)
            raise InputError(
                f"the stack (grip, engagement{'' if is_bolt else ', nut'}) takes {need:g} mm, "
                f"but the {fastener.kind} is stated as {stated.length:g} mm long",
                field="fastener.length",
            )
        protrusion = max(0.0, stated.length - fixed)
    elif protrusion is None:
        protrusion = 0.0 if is_bolt else 2.0 * fastener.nut_thread.pitch
    if is_bolt and protrusion > LENGTH_SLACK:
        raise InputError("a bolt does not stand out above its head", field="fastener.protrusion", value=protrusion)
    return dataclasses.replace(
        fastener,
        protrusion=0.0 if is_bolt else protrusion,
        thread_compliance=_compliance(stated.thread_compliance, block_term),
        nut_compliance=0.0 if is_bolt else _compliance(stated.nut_compliance, nut_term),
    )


def _compliance(stated: ThreadCompliance | None, standard: float) -> float:
    if stated is None:
        return standard
    if isinstance(stated.value, str):
        return standard if stated.value == "standard" else 0.0
    return float(stated.value)


def _tightening(stated: JointFile, fastener: Fastener, seat: Seat, washer: Washer | None) -> Tightening:
    table = stated.tightening
    for method, other in (("torque", "preload"), ("preload", "torque")):
        if table.method == method:
            if getattr(table, method) is None:
                raise InputError("is required but missing", field=f"tightening.{method}")
            if getattr(table, other) is not None:
                raise InputError(f"method is '{method}', so this must be left out", field=f"tightening.{other}")
    factor, scatter_name = tightening.tightening_factor(table.scatter, "tightening.scatter")
    preload = table.preload
    if table.torque is not None:
        # D_Km = (d_W + D_Ki)/2, VDI 2230-1
        bearing = (seat.bearing_outer_diameter + seat.bearing_inner_diameter) / 2.0
        preload = table.torque / tightening.torque_per_preload(
            fastener.nut_thread, table.thread_friction, table.bearing_friction, bearing
        )
    assert preload is not None
    embedding, source = table.embedding, "stated in the joint file"
    if embedding is None:
        embedding = tightening.embedding(
            table.roughness,
            threads=2 if fastener.kind == "stud" else 1,
            bearing_faces=1,
            inner_interfaces=1 if washer is not None else 0,
        )
        source = f"VDI 2230-1 table 5, {table.roughness}"
    return Tightening(
        method=table.method,
        preload=preload,
        torque=table.torque,
        thread_friction=table.thread_friction,
        bearing_friction=table.bearing_friction,
        tightening_factor=factor,
        scatter_name=scatter_name,
        embedding=embedding,
        embedding_source=source,
    )


def _check_tightening(joint: Joint) -> None:
    """Refuse a nominal tightening that yields the fastener."""
    fastener, tight = joint.fastener, joint.tightening
    if fastener.yield_strength is None:
        return
    strength = fastener.yield_strength.at(joint.assembly_temperature)
    by_torque = tight.method == "torque"
    stress = tightening.tightening_stress(
        tight.preload, fastener.nut_thread, tight.thread_friction, fastener.smallest_area, twisted=by_torque
    )
    if stress.combined <= strength:
        return
    allowed = strength / stress.combined
    most = f"{tight.torque * allowed / 1e3:.4g} N.m" if tight.torque else f"{tight.preload * allowed / 1e3:.4g} kN"
    raise InputError(
        f"this {tight.method} yields the fastener: combined stress {stress.combined:.0f} MPa in its smallest "
        f"section against a yield strength of {strength:.0f} MPa; at most {most}",
        field=f"tightening.{tight.method}",
        value=f"{tight.torque / 1e3:.4g} N.m" if tight.torque else f"{tight.preload / 1e3:.4g} kN",
    )
