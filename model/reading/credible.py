"""What a head joint can credibly be: one table of ranges, each with its reason. Beyond them a unit or a digit slipped.

The ranges are judgement, no source: wide enough for every engine, narrow enough to catch a power of ten.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from headjoint.model.base.errors import InputError
from headjoint.model.joint import PARTS, Joint


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
        Credible("load_cases.gas_pressure", 0.0, 60.0, "MPa", "the strongest engines fire at 30 MPa"),
        Credible("load_cases.temperatures", -100.0, 600.0, "degC", "no part of the joint works beyond"),
        Credible("requirements", 0.3, 20.0, "", "a factor near nought requires nothing"),
        Credible("requirements.clamp_kept", 0.05, 1.0, "", "a share of the clamp at assembly"),
    )
}
FACTORS = (
    "sealing_ratio", "separation_factor", "yield_factor", "fatigue_factor", "bearing_factor", "stripping_factor",
)  # fmt: skip


def incredible(joint: Joint) -> tuple[str, ...]:
    """Return a sentence for every value of a joint that is beyond what is credible, and for parts that melt."""
    found = [
        f"{field} is {value:.4g} {limit.unit}".rstrip() + f", credible are {limit.low:g} to {limit.high:g}: {limit.why}"
        for field, value, limit in _values(joint)
        if not limit.low <= value <= limit.high
    ]
    for case in joint.load_cases:
        for part in _parts(joint):
            solidus, hot = joint.part_material(part).solidus, case.temperatures[part]
            if solidus is not None and hot >= solidus:
                found.append(f"the {part} has {hot:.4g} degC in '{case.name}', and melts from {solidus:g} degC")
    return tuple(dict.fromkeys(found))


def check_credible(joint: Joint, accept: bool) -> tuple[str, ...]:
    """Return what is beyond what is credible where that is accepted; InputError naming it otherwise."""
    found = incredible(joint)
    if found and not accept:
        raise InputError("; ".join(found) + ". If that is meant, say so with --accept")
    return found


def _parts(joint: Joint) -> list[str]:
    return [part for part in PARTS if part != "gasket" and (part != "washer" or joint.washer is not None)]


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
    for number, case in enumerate(joint.load_cases):
        yield f"load_cases[{number}].gas_pressure", case.gas_pressure, RANGES["load_cases.gas_pressure"]
        for part, value in case.temperatures.items():
            if not math.isnan(value):
                yield f"load_cases[{number}].temperatures.{part}", value, RANGES["load_cases.temperatures"]
    # a sealing ratio of nought is how a file says that none is asked for
    asked = FACTORS if joint.requirements.sealing_ratio > 0.0 else FACTORS[1:]
    for name in asked:
        yield f"requirements.{name}", getattr(joint.requirements, name), RANGES["requirements"]
