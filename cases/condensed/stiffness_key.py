"""Which changes of a joint leave its mesh and stiffness as they are, and the condensed joint fitted to those that do.

A condensed joint follows from geometry, mesh sizes, contacts and the elastic constants at assembly temperature. All
else - tightening, load cases, gasket laws and steps, strengths, expansion, requirements - comes in afterwards. What is
taken out below is a list of the harmless: a field that nobody thought of costs a condensation, never a wrong answer.
"""

from __future__ import annotations

import dataclasses
import hashlib
from typing import Any

import numpy as np

from headjoint.cases.condensed.reduced_joint import ReducedJoint
from headjoint.model.cell import Bank, Cell
from headjoint.model.joint import Joint
from headjoint.model.library.materials import Material
from headjoint.model.library.plasticity import SteelRelaxation


def stiffness_key(stated: Joint | Cell) -> str:
    """Return a name for all that shapes mesh and stiffness; equal for two designs that may share a condensed joint."""
    bare = _bare_cell(stated) if isinstance(stated, Cell) else _bare_joint(stated)
    return hashlib.blake2b(repr(bare).encode(), digest_size=16).hexdigest()


def _bare_joint(joint: Joint) -> Any:
    temperature = joint.assembly_temperature

    def elastic(material: Material) -> tuple[float, float]:
        return material.E.at(temperature), material.nu

    def part(stated: Any) -> Any:
        return None if stated is None else (stated, elastic(stated.material))

    fastener = dataclasses.replace(
        joint.fastener,
        yield_strength=None,
        ultimate_strength=None,
        flow=None,
        relaxation=SteelRelaxation(),
        property_class=None,
        rolled="",
        run_out=0.0,
        thread_compliance=0.0,
        nut_compliance=0.0,
        thread_teeth=None,
        nut_teeth=None,
    )
    zones = [
        (zone.name, zone.inner_diameter, zone.outer_diameter, zone.sealing and zone.sealing_diameter)
        for zone in joint.gasket.zones
    ]
    gas = joint.gas
    if gas is not None:
        gas = dataclasses.replace(gas, force_area=0.0, peaks=None)
    block = dataclasses.replace(joint.block, insert=None)
    parts = [_no_material(part(one)) for one in (fastener, joint.seat, joint.washer, joint.head, block)]
    return parts, joint.gasket.thickness, zones, gas, joint.mesh_size


def _no_material(with_elastic: Any) -> Any:
    """Return the fields of a part but its material, and what is elastic of that."""
    if with_elastic is None:
        return None
    part, elastic = with_elastic
    fields = [(one.name, getattr(part, one.name)) for one in dataclasses.fields(part) if one.name != "material"]
    return fields, elastic


def _bare_cell(cell: Cell) -> Any:
    liner = None
    if cell.liner is not None:
        material = cell.liner.material
        E = material.E.at(cell.joint.assembly_temperature)
        liner = (cell.liner.outer_diameter, cell.liner.protrusion, cell.liner.length, E, material.nu)
    zones = [(zone.name, zone.inner_diameter, zone.outer_diameter, zone.sealing) for zone in cell.zones]
    # the cell does not have what closes the row
    layout = dataclasses.replace(cell.layout, end=None) if isinstance(cell.layout, Bank) else cell.layout
    geometry = (layout, cell.head, cell.block, liner, zones, cell.holes, cell.wall_depth, cell.mesh)
    asked = cell.asked.places  # each is an interface point
    own = None
    if cell.mesh.file is not None:
        own = hashlib.blake2b(cell.mesh.file.read_bytes(), digest_size=16).hexdigest()
    return _bare_joint(cell.joint), geometry, asked, own


def fitted(reduced: ReducedJoint, stated: Joint | Cell) -> ReducedJoint:
    """Return the condensed joint of a design with an equal `stiffness_key`, with its own laws and series compliance."""
    if isinstance(stated, Cell):
        liner = 0.0 if stated.liner is None else stated.liner.protrusion
        laws = {zone.name: (zone.law, zone.step) for zone in stated.zones}
        laws |= {f"{zone.name} on liner": (zone.law, zone.step - liner) for zone in stated.zones}
        series = stated.series_compliance
    else:
        laws = {zone.name: (zone.law, zone.step) for zone in stated.gasket.zones}
        series = stated.fastener.meshed_compliance
    groups = []
    for group in reduced.groups:
        if group.kind == "gasket":
            law, step = laws[group.name]
            group = dataclasses.replace(group, law=law, step=step)
        groups.append(group)
    return dataclasses.replace(reduced, groups=tuple(groups), series_compliance=np.full(len(reduced.overlaps), series))
