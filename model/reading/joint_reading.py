"""From what a joint file states to the `Joint`: names looked up, defaults filled in, geometry checked."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import msgspec

from headjoint.model.base.errors import InputError
from headjoint.model.files.joint_file import (
    GasketTable,
    GasTable,
    HeadTable,
    InsertTable,
    JointFile,
    WasherTable,
)
from headjoint.model.gasket.shipped_laws import gasket_law
from headjoint.model.joint import (
    Block,
    Gas,
    Gasket,
    Head,
    Insert,
    Joint,
    MeshSize,
    Requirements,
    Washer,
    Zone,
)
from headjoint.model.library import threads as thread_library
from headjoint.model.library.threads import Thread
from headjoint.model.peak_cycles import greatest_peak
from headjoint.model.reading.fastener_reading import resolve_fastener
from headjoint.model.reading.geometry_checks import check_geometry
from headjoint.model.reading.heat_reading import resolve_heat
from headjoint.model.reading.load_cases import check_boost, in_duty, resolve_load_cases, resolve_peaks
from headjoint.model.reading.material_reading import resolve_material
from headjoint.model.reading.service_reading import resolve_ageing, resolve_history
from headjoint.model.reading.stated_laws import laws_of
from headjoint.model.reading.tightening_reading import check_strength, resolve_tightening

# what is asked of a sealing line that no bead limits: common practice, no source
SEALING_RATIO, SEALING_MINIMUM = 1.5, 5.0  # over gas pressure; MPa in every case


def resolve(stated: JointFile, folder: Path = Path(), *, past_yield: bool = False) -> Joint:
    """Return the joint with every default filled in; files it names lie in `folder`.

    past_yield : accept a tightening that yields the fastener; for studies, where its yield factor says so.

    Raises InputError with the path of the field that cannot be used.
    """
    thread = thread_library.thread(stated.fastener.thread, "fastener.thread")
    head = _head(stated.head)
    block = _block(stated, thread, head)
    washer = _washer(stated.washer)
    gasket = _gasket(stated.gasket, folder)
    grip = head.height + gasket.thickness + block.counterbore_depth + (washer.thickness if washer else 0.0)
    fastener, seat, seat_field = resolve_fastener(stated, thread, block, grip)
    gas = _gas(stated.gas)
    d = thread.nominal_diameter
    load_cases = resolve_load_cases(stated.load_cases, gas)
    fired = next((case.gas_pressure for case in load_cases if case.gas_force > 0.0), 0.0)
    greatest = greatest_peak(None if gas is None else gas.peaks)
    heat = resolve_heat(stated.heat, load_cases[0].temperatures["head"], fired / greatest, greatest)
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
        tightening=resolve_tightening(
            stated.tightening,
            fastener,
            seat,
            washer=washer is not None,
            insert=block.insert is not None,
            temperature=load_cases[0].temperatures["head"],
        ),
        load_cases=in_duty(load_cases, stated.load_cases, stated.heat, heat, gas),
        requirements=_requirements(stated, gasket.sealing_zone),
        mesh_size=MeshSize(stated.mesh.element_size or 0.025 * d, stated.mesh.growth, stated.mesh.largest or 0.6 * d),
        load_introduction_factor=stated.estimate.load_introduction_factor,
        history=(),
        ageing=resolve_ageing(stated),
        heat=heat,
    )
    joint = dataclasses.replace(joint, history=resolve_history(stated.history, joint))
    check_geometry(joint, seat_field)
    if not past_yield:
        check_boost(stated.gas, load_cases)  # studies take gas down to nothing
        check_strength(joint)
    return joint


def _requirements(stated: JointFile, sealing: Zone) -> Requirements:
    """Return what the joint must hold; a bead that is judged by line loads is asked for a pressure only if stated."""
    values = msgspec.structs.asdict(stated.requirements)
    for name, typical in (("sealing_ratio", SEALING_RATIO), ("sealing_minimum", SEALING_MINIMUM)):
        if values[name] is None:
            values[name] = typical if sealing.law.limits is None else 0.0
    return Requirements(**values)


def _head(stated: HeadTable) -> Head:
    material = resolve_material(stated.material, "head.material")
    return Head(stated.height, stated.outer_diameter, stated.hole_diameter, material)


def _washer(stated: WasherTable | None) -> Washer | None:
    if stated is None:
        return None
    material = resolve_material(stated.material, "washer.material")
    return Washer(stated.inner_diameter, stated.outer_diameter, stated.thickness, material, stated.contact)


def _gas(stated: GasTable | None) -> Gas | None:
    if stated is None:
        return None
    peaks = resolve_peaks(stated.peaks)
    ring = Gas(stated.inner_diameter, stated.outer_diameter, 0.0, stated.faces == "head and block", peaks)
    return dataclasses.replace(ring, force_area=stated.force_area or ring.ring_area)


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
        _insert(table.insert, thread, stated.fastener.engagement),
    )


def _insert(stated: InsertTable | None, thread: Thread, engagement: float) -> Insert | None:
    if stated is None:
        return None
    field = "block.insert.outer_thread"
    outer = thread_library.thread(stated.outer_thread, field)
    if outer.minor_diameter_external <= thread.nominal_diameter:
        raise InputError(
            f"must have room for the fastener's {thread.designation} inside it", field=field, value=stated.outer_thread
        )
    return Insert(outer, stated.length or engagement)


IN_RANGE = {"low": -1.0, "middle": 0.0, "high": 1.0}  # ranges of laws are plus-minus shares of their pressures


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
                law.scaled(1.0 + IN_RANGE[stated.laws_at] * (law.spread or 0.0)),
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
