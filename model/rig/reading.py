"""From a rig file, or a joint file with a [rig] table, to a `Rig`: read, check, build the rig as a joint."""

from __future__ import annotations

import dataclasses
import math
import os
from pathlib import Path

import numpy as np

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
from headjoint.model.files.kinds import JOINT, RIG, kind_of, refuse_other
from headjoint.model.files.rig_file import RigGasketTable, RigTable
from headjoint.model.files.table import Table
from headjoint.model.formulas.resilience import clamped_resilience, total
from headjoint.model.gasket.loading import LoadingCurve, curve_at
from headjoint.model.gasket.shipped_laws import gasket_law
from headjoint.model.joint import Joint
from headjoint.model.reading.joint_reading import resolve
from headjoint.model.reading.reading import checked, parse_toml, read_text
from headjoint.model.rig.rig import RAM_LAYER, Rig

RAM_LAYER_THICKNESS = 1.0  # mm of the ram's height that the layer of its stiffness takes
GASKET_FROM = 0.35  # of the load, from which angle is linear and its slope is fitted
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
            refuse_other(kind_of(content), (JOINT, RIG), "a rig file, or a joint file with a [rig] table,")
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
    joint = _as_joint(stated, rig.ram.stiffness / ring)
    if rig.gasket is None:
        return Rig(stated.name, stated.note, rig, joint)
    assert joint.tightening.preload is not None
    gasket = _gasket_stiffness(rig.gasket, joint.tightening.preload, rig.temperature)
    made = Rig(stated.name, stated.note, rig, joint, gasket)
    return dataclasses.replace(made, joint=_as_joint(stated, made.layer_stiffness / ring))


def _gasket_stiffness(stated: RigGasketTable, load: float, temperature: float) -> float:
    """Return the stiffness (N/mm) of a gasket from `GASKET_FROM` of a load to the load, loaded for the first time."""
    curve = _gasket_curve(stated, temperature)
    low, high = GASKET_FROM * load / stated.area, load / stated.area
    if high > curve.pressure[-1]:
        raise InputError(
            f"must be larger: {load / 1e3:.4g} kN press with {high:.4g} MPa, and the law ends at "
            f"{curve.pressure[-1]:.4g} MPa",
            field="rig.gasket.area",
            value=stated.area,
        )
    closures = np.interp([low, high], curve.pressure, curve.closure)
    return (high - low) * stated.area / float(closures[1] - closures[0])


def _gasket_curve(stated: RigGasketTable, temperature: float) -> LoadingCurve:
    """Return pressure over closure of a gasket at a temperature."""
    own = stated.closure is not None and stated.pressure is not None
    if own == (stated.law is not None):
        raise InputError("needs 'law', or 'closure' and 'pressure' of its own", field="rig.gasket")
    if stated.law is not None:
        return curve_at(gasket_law(stated.law, "rig.gasket.law").curves, temperature)
    closure, pressure = tuple(map(float, stated.closure or ())), tuple(map(float, stated.pressure or ()))
    rising = len(closure) > 1 and np.all(np.diff(closure) > 0.0) and np.all(np.diff(pressure) > 0.0)
    if len(closure) != len(pressure) or not rising:
        raise InputError("needs as many pressures as closures, two or more, both rising", field="rig.gasket.pressure")
    return LoadingCurve(temperature, closure, pressure)


def _as_joint(stated: RigFile, layer: float) -> Joint:
    """Return the rig as a joint; layer : MPa/mm of the ring that stands for what the ram gives."""
    rig = stated.rig
    law = LawTable(closure=[Length(0.0), Length(1.0)], pressure=[Pressure(0.0), Pressure(layer)])
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
        gasket=GasketTable(thickness=GasketThickness(RAM_LAYER_THICKNESS), zones=[zone], laws={RAM_LAYER: law}),
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
    return _with_load(_with_stated_stack(resolved, rig), rig)


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
