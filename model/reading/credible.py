"""What a head joint can credibly be: one table of ranges, each with its reason. Beyond them a unit or a digit slipped.

The ranges are judgement, no source: wide enough for every engine, narrow enough to catch a power of ten.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from headjoint.model.base.errors import InputError
from headjoint.model.cell import Bank, Cell
from headjoint.model.joint import PARTS, Joint
from headjoint.model.load_case import LoadCase
from headjoint.model.service import Hold, Repeat


@dataclass(frozen=True)
class Credible:
    """A quantity by its field in the file, the range in which it is credible, its unit, and why."""

    field: str
    low: float
    high: float
    unit: str
    why: str


RANGES = {
    one.field: one
    for one in (
        Credible("material.E", 5e3, 450e3, "MPa", "castings begin at magnesium with 40 GPa, steel has 210 GPa"),
        Credible(
            "material.yield_strength", 10.0, 3000.0, "MPa", "soft copper has 30 MPa, the strongest studs 2000 MPa"
        ),
        Credible("material.ultimate_strength", 20.0, 3500.0, "MPa", "the strongest studs have 2000 MPa"),
        Credible("material.expansion", 1e-7, 4e-5, "1/K", "steel has 12e-6, magnesium 26e-6"),
        Credible("material.conductivity", 0.05, 500.0, "W/(m K)", "copper has 400, fibre 0.3"),
        Credible("nut.height", 2.0, 60.0, "mm", "a nut is about as high as its thread is wide"),
        Credible("washer.thickness", 0.3, 20.0, "mm", "washers are some millimetres thick"),
        Credible("head.height", 5.0, 600.0, "mm", "heads are 60 to 200 mm high"),
        Credible("block.height", 5.0, 2000.0, "mm", "blocks are some hundreds of millimetres high"),
        Credible("gasket.thickness", 0.05, 10.0, "mm", "gaskets are 0.3 to 3 mm thick"),
        Credible("gasket.expansion", -1e-5, 5e-4, "1/K", "steel has 16e-6, fibre some times as much"),
        Credible("tightening.preload", 1e3, 2e6, "N", "head bolts clamp with 20 to 300 kN each"),
        Credible("tightening.torque", 1e3, 5e6, "N.mm", "head bolts take 20 to 1000 N.m"),
        Credible("tightening.friction", 0.03, 0.5, "", "the best lubricants have 0.04, dry steel 0.2 to 0.35"),
        Credible("gas.force_area over the ring's", 0.1, 20.0, "", "both are shares of one bore's area"),
        Credible("gasket closure", 0.0, 1.0, "", "a gasket cannot be closed by more than its thickness"),
        Credible("layout.bore", 8.0, 1000.0, "mm", "bores are 40 to 200 mm wide, of ships some hundreds"),
        Credible("head.fire_deck", 2.5, 300.0, "mm", "fire decks are 6 to 25 mm thick"),
        Credible("head.upper_deck", 1.5, 300.0, "mm", "castings are some millimetres thick"),
        Credible("head.side_wall", 1.5, 300.0, "mm", "castings are some millimetres thick"),
        Credible("block.wall", 1.0, 200.0, "mm", "bore walls are 4 to 12 mm thick"),
        Credible("block.deck_thickness", 2.0, 400.0, "mm", "decks are 8 to 20 mm thick"),
        Credible("liner.protrusion", 0.0, 0.5, "mm", "liners stand 0.02 to 0.15 mm above the deck"),
        Credible("load_cases.gas_pressure", 0.3, 60.0, "MPa", "engines idle at 0.7 and fire at up to 30 MPa"),
        Credible("load_cases.temperatures", -100.0, 600.0, "degC", "no part of the joint works beyond"),
        Credible("requirements", 0.3, 20.0, "", "a factor near nought requires nothing"),
        Credible("requirements.clamp_kept", 0.05, 1.0, "", "a share of the clamp at assembly"),
    )
}
COOL = 60.0  # degC, beyond which nothing is cold
FACTORS = (
    "sealing_ratio", "separation_factor", "yield_factor", "fatigue_factor", "bearing_factor", "stripping_factor",
)  # fmt: skip


def incredible(stated: Joint | Cell) -> tuple[str, ...]:
    """Return a sentence for every value of a joint or engine that is beyond what is credible, for parts that melt, and
    for load cases that are not what their kinds say.
    """
    joint = stated if isinstance(stated, Joint) else stated.joint
    found = [
        f"{field} is {value:.4g} {limit.unit}".rstrip() + f", credible are {limit.low:g} to {limit.high:g}: {limit.why}"
        for field, value, limit in (*_values(joint), *_values_of_its_own(stated))
        if not limit.low <= value <= limit.high
    ]
    for case in (*joint.load_cases, *(case for _, case in _held(joint))):
        for part in _parts(joint):
            solidus, hot = joint.part_material(part).solidus, case.temperatures[part]
            if solidus is not None and hot >= solidus:
                found.append(f"the {part} has {hot:.4g} degC in '{case.name}', and melts from {solidus:g} degC")
    return tuple(dict.fromkeys([*found, *_unlike_their_kinds(joint)]))


def _unlike_their_kinds(joint: Joint) -> Iterator[str]:
    """Yield a sentence for every hot load case that is nowhere warmer than assembly, and cold one that is hot."""
    known = [case for case in joint.load_cases if not any(math.isnan(one) for one in case.temperatures.values())]
    warmest = {case.name: max(case.temperatures.values()) for case in known}
    coldest = {case.name: min(case.temperatures.values()) for case in known}
    first = joint.load_cases[0]
    hot = [case for case in known if case.kind == "hot"]
    for case in hot:
        if warmest[case.name] < coldest[first.name]:
            yield f"'{case.name}' is a hot load case, and all of it is colder than '{first.name}'"
    for case in known:
        if case.kind == "cold" and hot and coldest[case.name] >= max(warmest[one.name] for one in hot) > COOL:
            yield f"'{case.name}' is a cold load case, and all of it is as hot as '{hot[-1].name}'"
    for place, hold in _holds(joint):
        if hold.kind == "cold start" and min(hold.case.temperatures.values()) > COOL:
            yield f"{place} is a cold start, and all of it is hotter than {COOL:g} degC"


def check_credible(joint: Joint | Cell, accept: bool) -> tuple[str, ...]:
    """Return what is beyond what is credible where that is accepted; InputError naming it otherwise."""
    found = incredible(joint)
    if found and not accept:
        raise InputError("; ".join(found) + ". If that is meant, say so with --accept")
    return found


def _parts(joint: Joint) -> list[str]:
    return [part for part in PARTS if part != "gasket" and (part != "washer" or joint.washer is not None)]


def _held(joint: Joint) -> Iterator[tuple[str, LoadCase]]:
    """Yield every state that the service holds, with its place."""
    for place, hold in _holds(joint):
        yield place, hold.case


def _holds(joint: Joint) -> Iterator[tuple[str, Hold]]:
    """Yield every step of the service that keeps a state, with its place."""
    for number, step in enumerate(joint.history):
        place = f"history[{number}]"
        for at, one in enumerate(step.steps if isinstance(step, Repeat) else (step,)):
            if isinstance(one, Hold):
                yield place if one is step else f"{place}.steps[{at}]", one


def _values(joint: Joint) -> Iterator[tuple[str, float, Credible]]:
    """Yield field, value and range of all that is looked at and stated."""
    for part in _parts(joint):
        material = joint.part_material(part)
        for name in ("E", "yield_strength", "ultimate_strength", "expansion", "conductivity"):
            table = getattr(material, name)
            if table is not None:
                yield f"{name} of {material.name} ({part})", table.at(20.0), RANGES[f"material.{name}"]
    single = [
        ("nut.height", joint.seat.height),
        ("head.height", joint.head.height),
        ("block.height", joint.block.height),
        ("gasket.thickness", joint.gasket.thickness),
        ("gasket.expansion", joint.gasket.expansion),
        ("tightening.preload", joint.tightening.preload),
        ("tightening.torque", joint.tightening.torque),
        ("requirements.clamp_kept", joint.requirements.clamp_kept),
    ]
    if joint.washer is not None:
        single.append(("washer.thickness", joint.washer.thickness))
    for field, value in single:
        if value is not None:
            yield field, value, RANGES[field]
    for name in ("thread_friction", "bearing_friction"):
        yield f"tightening.{name}", getattr(joint.tightening, name), RANGES["tightening.friction"]
    for zone in joint.gasket.zones:
        deepest = max(curve.closure[-1] for curve in zone.law.curves)
        name = f"closure of '{zone.law.name}' over the thickness of '{zone.name}'"
        yield name, deepest / (joint.gasket.thickness - zone.step), RANGES["gasket closure"]
    stated = [(f"load_cases[{number}]", case) for number, case in enumerate(joint.load_cases)]
    for place, case in (*stated, *_held(joint)):
        if case.gas_pressure > 0.0:
            yield f"{place}.gas_pressure", case.gas_pressure, RANGES["load_cases.gas_pressure"]
        for part, value in case.temperatures.items():
            if not math.isnan(value):
                yield f"{place}.temperatures.{part}", value, RANGES["load_cases.temperatures"]
    # a sealing ratio of nought is how a file says that none is asked for
    asked = FACTORS if joint.requirements.sealing_ratio > 0.0 else FACTORS[1:]
    for name in asked:
        yield f"requirements.{name}", getattr(joint.requirements, name), RANGES["requirements"]


def _values_of_its_own(stated: Joint | Cell) -> Iterator[tuple[str, float, Credible]]:
    """Yield field, value and range of what only a joint of one fastener states, or only an engine."""
    if isinstance(stated, Joint):
        if stated.gas is not None:
            share = stated.gas.force_area / stated.gas.ring_area
            yield "gas.force_area over the area of its ring", share, RANGES["gas.force_area over the ring's"]
        return
    single = [
        ("layout.bore", stated.layout.bore),
        ("head.fire_deck", stated.head.fire_deck),
        ("head.upper_deck", stated.head.upper_deck),
        ("block.wall", stated.block.wall),
    ]
    if isinstance(stated.layout, Bank):
        single.append(("head.side_wall", stated.head.side_wall))
    if stated.block.deck_thickness > 0.0:
        single.append(("block.deck_thickness", stated.block.deck_thickness))
    if stated.liner is not None:
        single.append(("liner.protrusion", stated.liner.protrusion))
    for field, value in single:
        yield field, value, RANGES[field]
