"""One joint out of a batch: what scatter does to a resolved joint or cell. Nothing here changes mesh or stiffness.

A draw gives, by the names below, a factor on what the file states, an absolute friction coefficient, an error of angle
in degrees, or a length in mm. Tool and friction act through the method of tightening: where the elastic joint decides
the preload, what is turned is drawn, and the preload found from that.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from typing import TypeVar

from headjoint.model.cell import Cell, PlanZone
from headjoint.model.joint import Fastener, Joint, Tightening, Zone
from headjoint.model.library.materials import Material
from headjoint.model.library.tightening import torque_per_preload
from headjoint.model.load_case import LoadCase
from headjoint.model.service import Tighten

TORQUE, ANGLE, PRELOAD = "torque", "angle", "preload"
THREAD_FRICTION, BEARING_FRICTION = "thread friction", "bearing friction"
EMBEDDING, YIELD, GAS = "embedding", "yield strength", "gas pressure"
BEAD, FLATNESS = "bead height", "deck unevenness"
EXPANSION, RISE = "expansion of ", "temperature rise of "
LAW = "gasket pressure, "
HEATED = ("head", "block", "fastener")
# the others are factors: frictions, an error of angle in degrees, lengths in mm
ABSOLUTE = (THREAD_FRICTION, BEARING_FRICTION, ANGLE, BEAD, FLATNESS)

AnyZone = TypeVar("AnyZone", Zone, PlanZone)


def drawn_joint(joint: Joint, draw: Mapping[str, float]) -> Joint:
    """Return the joint that a draw makes of the nominal one; its preload stands in `tightening`, or is to be found."""
    materials = {part: _expanding(joint.part_material(part), draw.get(EXPANSION + part, 1.0)) for part in HEATED}
    seat = joint.seat
    if seat.material == joint.fastener.material:
        seat = dataclasses.replace(seat, material=materials["fastener"])
    found = dataclasses.replace(
        joint,
        fastener=dataclasses.replace(_stronger(joint.fastener, draw.get(YIELD, 1.0)), material=materials["fastener"]),
        seat=seat,
        head=dataclasses.replace(joint.head, material=materials["head"]),
        block=dataclasses.replace(joint.block, material=materials["block"]),
        tightening=_tightened(joint, draw),
        load_cases=tuple(_case(case, joint.assembly_temperature, draw) for case in joint.load_cases),
    )
    zones = _zones(joint.gasket.zones, _under_gas(joint), draw)
    return dataclasses.replace(found, gasket=dataclasses.replace(joint.gasket, zones=tuple(zones)))


def drawn_cell(cell: Cell, draw: Mapping[str, float]) -> Cell:
    """Return the cell that a draw makes of the nominal one: every stud alike."""
    rings = [zone.outer_diameter < float("inf") for zone in cell.zones]
    return dataclasses.replace(cell, joint=drawn_joint(cell.joint, draw), zones=tuple(_zones(cell.zones, rings, draw)))


def preload_per_torque(joint: Joint, thread_friction: float, bearing_friction: float) -> float:
    """Return F_M/M_A (1/mm) at the nut or bolt head."""
    bearing = (joint.seat.bearing_outer_diameter + joint.seat.bearing_inner_diameter) / 2.0
    return 1.0 / torque_per_preload(joint.fastener.nut_thread, thread_friction, bearing_friction, bearing)


def _tightened(joint: Joint, draw: Mapping[str, float]) -> Tightening:
    tight = joint.tightening
    thread = draw.get(THREAD_FRICTION, tight.thread_friction)
    bearing = draw.get(BEARING_FRICTION, tight.bearing_friction)
    preload, torque, share = tight.preload, tight.torque, draw.get(PRELOAD, 1.0)
    step = dataclasses.replace(tight.step, thread_friction=thread, bearing_friction=bearing)
    if preload is None:
        step = _turned(step, draw, preload_per_torque(joint, thread, bearing) / _nominal_preload_per_torque(joint))
    else:
        preload *= share
    if preload is not None and torque is not None:
        if PRELOAD in draw:  # something else sets the preload, torque is what it takes
            torque = preload / preload_per_torque(joint, thread, bearing)
        else:
            torque *= draw.get(TORQUE, 1.0)
            preload = torque * preload_per_torque(joint, thread, bearing)
    return dataclasses.replace(
        tight,
        step=step,
        preload=preload,
        share=1.0 if preload is not None else tight.share * share,
        torque=torque,
        thread_friction=thread,
        bearing_friction=bearing,
        embedding=tight.embedding * max(0.0, draw.get(EMBEDDING, 1.0)),
    )


def _nominal_preload_per_torque(joint: Joint) -> float:
    return preload_per_torque(joint, joint.tightening.thread_friction, joint.tightening.bearing_friction)


def _turned(step: Tighten, draw: Mapping[str, float], more: float) -> Tighten:
    """Return what a draw's tool does: torques by a factor, the force at snug besides by `more` force per torque."""
    tool = draw.get(TORQUE, 1.0)
    angles = step.angles
    if angles:
        angles = (max(0.0, angles[0] + math.radians(draw.get(ANGLE, 0.0))), *angles[1:])
    return dataclasses.replace(
        step,
        torques=tuple(tool * torque for torque in step.torques),
        snug=None if step.snug is None else tool * more * step.snug,
        angles=angles,
    )


def _stronger(fastener: Fastener, factor: float) -> Fastener:
    table, flow = fastener.yield_strength, fastener.flow
    return dataclasses.replace(
        fastener,
        yield_strength=None if table is None else table.times(factor),
        flow=None if flow is None else flow.times(factor),
    )


def _expanding(material: Material, factor: float) -> Material:
    return material if factor == 1.0 else dataclasses.replace(material, expansion=material.expansion.times(factor))


def _case(case: LoadCase, assembly: float, draw: Mapping[str, float]) -> LoadCase:
    rise = {part: draw.get(RISE + part, 1.0) for part in HEATED}
    rise |= {"nut": rise["fastener"], "washer": rise["head"], "gasket": (rise["head"] + rise["block"]) / 2.0}
    temperatures = {part: assembly + rise[part] * (t - assembly) for part, t in case.temperatures.items()}
    gas = max(0.0, draw.get(GAS, 1.0))
    return LoadCase(case.name, case.kind, temperatures, case.gas_pressure * gas, case.gas_force * gas, case.heat)


def _under_gas(joint: Joint) -> list[bool]:
    """Say which zones lie at the gas: the sealing zone and those between it and the gas."""
    seal, gas = joint.gasket.sealing_zone, joint.gas
    outside = gas is None or gas.inner_diameter >= seal.inner_diameter
    return [
        zone.inner_diameter >= seal.inner_diameter if outside else zone.outer_diameter <= seal.outer_diameter
        for zone in joint.gasket.zones
    ]


def _zones(zones: Sequence[AnyZone], at_gas: Sequence[bool], draw: Mapping[str, float]) -> list[AnyZone]:
    """Return zones with scaled laws; a higher bead touches earlier, a hollow deck lets all rings touch later."""
    found = []
    for zone, ring in zip(zones, at_gas, strict=True):
        law, step, sealing = zone.law, zone.step, zone.sealing
        step += (draw.get(FLATNESS, 0.0) if ring else 0.0) - (draw.get(BEAD, 0.0) if sealing else 0.0)
        found.append(dataclasses.replace(zone, law=law.scaled(draw.get(LAW + law.name, 1.0)), step=step))
    return found
