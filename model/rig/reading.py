"""From a rig file, or a joint file with a [rig] table, to a `Rig`: read, check, build the rig as a joint."""

from __future__ import annotations

import dataclasses
import math
import os
from pathlib import Path

from headjoint.model.base.errors import InputError
from headjoint.model.base.property_table import PropertyTable
from headjoint.model.base.units import (
    GasketThickness,
    Length,
    PositiveForce,
    PositiveLength,
    Pressure,
    ZeroOrLength,
)
from headjoint.model.files.joint_file import (
    BlockTable,
    FastenerTable,
    GasketTable,
    HeadTable,
    JointFile,
    LawTable,
    LoadCaseTable,
    SeatTable,
    TighteningTable,
    WasherTable,
    ZoneTable,
)
from headjoint.model.files.rig_file import RigTable
from headjoint.model.files.table import Table
from headjoint.model.formulas.resilience import clamped_resilience, total
from headjoint.model.joint import Joint
from headjoint.model.reading.joint_reading import resolve
from headjoint.model.reading.reading import checked, parse_toml, read_text
from headjoint.model.rig.rig import RAM_LAYER, Rig

RAM_LAYER_THICKNESS = 1.0  # mm of the ram's height that the layer of its stiffness takes
SAFE_SHARE = 0.5  # of the yield force of the smallest section: load of the prediction where none is stated
BARE_STRENGTH = 300.0  # MPa where the fastener's yield is not known


class RigFile(Table, kw_only=True):
    """A rig file: the fastener with its nut or head and washer, as in a joint file, and [rig]."""

    name: str
    note: str = ""
    fastener: FastenerTable
    nut: SeatTable | None = None
    bolt_head: SeatTable | None = None
    washer: WasherTable | None = None
    rig: RigTable


def read_rig(path: str | os.PathLike[str]) -> Rig:
    """Read and check a rig file, or a joint file that has a [rig] table.

    Raises InputError naming file, field, value and what is allowed.
    """
    path = Path(path)
    try:
        content = parse_toml(read_text(path))
        if "rig" not in content:
            raise InputError("has no [rig] table, which states ram, stack, base and gauges", field="rig")
        if "head" in content:
            content = {name: content[name] for name in RigFile.__struct_fields__ if name in content}
        return resolve_rig(checked(content, RigFile))
    except InputError as error:
        error.file = error.file or path.name
        raise


def resolve_rig(stated: RigFile) -> Rig:
    """Return the rig with the joint that it is; InputError with the field that cannot be used."""
    rig = stated.rig
    if rig.gauges.pressure is None and rig.gauges.force is None:
        raise InputError("needs a [rig.gauges.pressure] or [rig.gauges.force]", field="rig.gauges")
    ring = math.pi / 4.0 * (rig.ram.outer_diameter**2 - rig.ram.hole_diameter**2)
    if ring <= 0.0:
        raise InputError("must be larger than the hole", field="rig.ram.outer_diameter", value=rig.ram.outer_diameter)
    layer = LawTable(closure=[Length(0.0), Length(1.0)], pressure=[Pressure(0.0), Pressure(rig.ram.stiffness / ring)])
    height = PositiveLength(rig.ram.height + rig.stack.height - RAM_LAYER_THICKNESS)
    zone = ZoneTable(
        name="ram", law=RAM_LAYER, inner_diameter=rig.ram.hole_diameter, outer_diameter=rig.ram.outer_diameter
    )
    outer = max(rig.stack.outer_diameter, rig.ram.outer_diameter)
    built = JointFile(
        name=f"{stated.name}, the rig as a joint",
        note=stated.note,
        fastener=stated.fastener,
        nut=stated.nut,
        bolt_head=stated.bolt_head,
        washer=stated.washer,
        head=HeadTable(
            height=height,
            outer_diameter=outer,
            hole_diameter=min(rig.stack.hole_diameter, rig.ram.hole_diameter),
            material=rig.stack.material,
        ),
        gasket=GasketTable(thickness=GasketThickness(RAM_LAYER_THICKNESS), zones=[zone], laws={RAM_LAYER: layer}),
        block=BlockTable(
            height=rig.base.height, outer_diameter=max(rig.base.outer_diameter, outer), material=rig.base.material
        ),
        tightening=TighteningTable(method="preload", preload=PositiveForce(1e3), embedding=ZeroOrLength(0.0)),
        load_cases=[LoadCaseTable(name="assembly", kind="assembly", temperature=rig.temperature)],
    )
    try:
        resolved = resolve(built)
    except InputError as error:
        error.field = _field_of_rig(error.field, rig)
        raise
    joint = _with_stated_stack(resolved, rig)
    return Rig(stated.name, stated.note, rig, _with_load(joint, rig))


def _field_of_rig(field: str, rig: RigTable) -> str:
    """Return where the rig file states what the rig as a joint was refused for."""
    narrow = "stack" if rig.stack.hole_diameter < rig.ram.hole_diameter else "ram"
    places = {"head.hole_diameter": f"rig.{narrow}.hole_diameter", "head": "rig.stack", "block": "rig.base"}
    for mine, theirs in places.items():
        if field == mine or field.startswith(f"{mine}."):
            return theirs + field.removeprefix(mine)
    return field


def _with_load(joint: Joint, rig: RigTable) -> Joint:
    """Return the joint tightened to the rig's load, or to a safe one where none is stated."""
    load: float | None = rig.load
    if load is None:
        strength = joint.fastener.yield_strength
        stress = BARE_STRENGTH if strength is None else SAFE_SHARE * strength.at(rig.temperature)
        load = stress * joint.fastener.smallest_area
    return dataclasses.replace(joint, tightening=dataclasses.replace(joint.tightening, preload=float(load)))


def _with_stated_stack(joint: Joint, rig: RigTable) -> Joint:
    """Return the joint with its stack as stiff as stated: the closed form's modulus is scaled to it."""
    if rig.stack.stiffness is None:
        return joint
    from_shape = total(tuple(term for term in clamped_resilience(joint) if term.name == "head"))
    factor = rig.stack.stiffness * from_shape
    material = joint.head.material
    scaled = PropertyTable(material.E.temperatures, tuple(factor * value for value in material.E.values))
    material = dataclasses.replace(material, E=scaled, sources=material.sources | {"E": "from the stated stiffness"})
    return dataclasses.replace(joint, head=dataclasses.replace(joint.head, material=material))
