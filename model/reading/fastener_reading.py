"""From what a joint file states to the `Fastener` and the `Seat` of its nut or head."""

from __future__ import annotations

import dataclasses
import math

from headjoint.model.base.errors import InputError
from headjoint.model.base.property_table import PropertyTable
from headjoint.model.files.joint_file import FastenerTable, JointFile, MaterialTable, SeatTable, ThreadCompliance
from headjoint.model.joint import Block, Fastener, Seat, Segment
from headjoint.model.library import property_classes
from headjoint.model.library import threads as thread_library
from headjoint.model.library.threads import Thread
from headjoint.model.reading.material_reading import resolve_material
from headjoint.model.reading.service_reading import resolve_flow, resolve_relaxation, strength_by_heat

LENGTH_SLACK = 1e-6  # mm, rounding in a file's lengths

# what of delta_M a mesh with the thread bonded at its pitch cylinder still lacks: core and block (or nut) deform in it,
# by some 60 % of delta_G + delta_M in tapped holes and 80 % in a nut, on shipped joints (tests/test_thread_teeth.py)
TEETH_IN_HOLE, TEETH_IN_NUT = 0.8, 0.5


def resolve_fastener(stated: JointFile, thread: Thread, block: Block, grip: float) -> tuple[Fastener, Seat, str]:
    """Return the fastener, what it bears with, and the name of the table that states the latter.

    thread : the one in the block. grip : mm from the seat to the block's first thread.

    Raises InputError with the path of the field that cannot be used.
    """
    seat_table, seat_field = _seat_table(stated)
    top_thread = thread
    if stated.fastener.nut_thread is not None:
        top_thread = thread_library.thread(stated.fastener.nut_thread, "fastener.nut_thread")
    fastener = _fastener(stated.fastener, thread, top_thread, grip)
    seat = _seat(seat_table, seat_field, fastener)
    return _finish_ends(fastener, stated.fastener, seat, block), seat, seat_field


def _seat_table(stated: JointFile) -> tuple[SeatTable, str]:
    wanted, other = ("nut", "bolt_head") if stated.fastener.kind == "stud" else ("bolt_head", "nut")
    if getattr(stated, other) is not None:
        raise InputError(f"a {stated.fastener.kind} has a [{wanted}] table, not [{other}]", field=other)
    return getattr(stated, wanted) or SeatTable(), wanted


def _fastener(stated: FastenerTable, thread: Thread, top_thread: Thread, grip: float) -> Fastener:
    if stated.kind == "bolt" and stated.nut_thread is not None:
        raise InputError("a bolt has no nut thread", field="fastener.nut_thread", value=stated.nut_thread)
    material = resolve_material(stated.material, "fastener.material")
    yield_strength, ultimate, elongation = material.yield_strength, material.ultimate_strength, material.elongation
    if stated.property_class is not None:
        strengths = property_classes.property_class(stated.property_class, "fastener.property_class")
        yield_strength, ultimate = strengths.yield_strength, PropertyTable((20.0,), (strengths.ultimate,))
        elongation = strengths.elongation
    if isinstance(stated.material, MaterialTable):
        # strengths stated for this very fastener go before those of its class
        yield_strength = material.yield_strength if stated.material.yield_strength is not None else yield_strength
        ultimate = material.ultimate_strength if stated.material.ultimate_strength is not None else ultimate
    yield_strength = strength_by_heat(stated.flow, yield_strength)
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
        run_out=_run_out(stated, thread),
    )


def _run_out(stated: FastenerTable, thread: Thread) -> float:
    """Return how much (mm) of the engagement has no full threads: a pitch at its end, a pitch in the hole's chamfer."""
    if stated.run_out is None:
        return 2.0 * thread.pitch
    if stated.run_out >= stated.engagement:
        raise InputError(
            f"must be less than the engagement ({stated.engagement:g} mm)",
            field="fastener.run_out",
            value=stated.run_out,
        )
    return stated.run_out


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
        diameter: float | None = segment.diameter
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


def _finish_ends(fastener: Fastener, stated: FastenerTable, seat: Seat, block: Block) -> Fastener:
    """Fill in the compliances of both threads and the protrusion; check a stated overall length."""
    d, d_nut = fastener.thread.nominal_diameter, fastener.nut_thread.nominal_diameter
    # delta_M = l_M/(E A_N) with l_M = 0.33 d for a tapped hole, 0.4 d for a nut (VDI 2230-1 sec. 5.1.1); E is that of
    # 20 degC, whatever the temperature of assembly: the teeth's share of the resilience is small
    block_term = 0.33 * d / (block.material.E.at(20.0) * math.pi / 4.0 * d**2)
    nut_term = 0.4 * d_nut / (seat.material.E.at(20.0) * math.pi / 4.0 * d_nut**2)
    is_bolt = fastener.kind == "bolt"
    protrusion: float | None = stated.protrusion
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
        thread_teeth=_compliance(stated.thread_compliance, TEETH_IN_HOLE * block_term),
        nut_teeth=0.0 if is_bolt else _compliance(stated.nut_compliance, TEETH_IN_NUT * nut_term),
    )


def _compliance(stated: ThreadCompliance | None, standard: float) -> float:
    if stated is None:
        return standard
    if isinstance(stated.value, str):
        return standard if stated.value == "standard" else 0.0
    return float(stated.value)
