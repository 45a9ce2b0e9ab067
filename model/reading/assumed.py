"""What a file does not state and what stands in its place, so that a reader of an answer knows what was assumed."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from functools import cache
from typing import Any, get_args, get_type_hints

import msgspec
from msgspec import NODEFAULT, Meta, Struct

from headjoint.model.cell import Cell
from headjoint.model.files.cell_file import CellFile
from headjoint.model.files.joint_file import JointFile, MaterialTable, SeatTable
from headjoint.model.joint import Assumed, Joint

# tables that say what a joint is; those of its service, heat and studies have their own defaults, told where they count
TABLES = ("layout", "fastener", "nut", "bolt_head", "washer", "head", "exhaust_side", "block", "liner", "gasket", "gas",
          "tightening", "requirements", "estimate", "mesh")  # fmt: skip
SKIPPED = ("flow", "relaxation", "laws", "peaks", "holes", "lubricant", "base")
# what means something only beside another key
BESIDE = {
    "layout.end_wall": "end_length",
    "tightening.order": "passes",
    "tightening.snug": "passes",
    "tightening.snug_force": "angle",
    "mesh.unit": "file",
}
OF_STUDS = ("fastener.nut_bonded_diameter", "fastener.protrusion", "fastener.nut_compliance")
Resolved = Callable[[Joint], tuple[float | str, str]]

# what a key came to that the file leaves out, with its table unit
RESOLVED: dict[str, Resolved] = {
    "fastener.bonded_diameter": lambda joint: (joint.fastener.bonded_diameter, "mm"),
    "fastener.nut_bonded_diameter": lambda joint: (joint.fastener.nut_bonded_diameter, "mm"),
    "fastener.protrusion": lambda joint: (joint.fastener.protrusion, "mm"),
    "fastener.run_out": lambda joint: (joint.fastener.run_out, "mm"),
    "seat.height": lambda joint: (joint.seat.height, "mm"),
    "seat.outer_diameter": lambda joint: (joint.seat.outer_diameter, "mm"),
    "seat.bearing_outer_diameter": lambda joint: (joint.seat.bearing_outer_diameter, "mm"),
    "seat.bearing_inner_diameter": lambda joint: (joint.seat.bearing_inner_diameter, "mm"),
    "seat.material": lambda joint: (joint.seat.material.name, ""),
    "block.counterbore_diameter": lambda joint: (joint.block.counterbore_diameter, "mm"),
    "block.hole_below": lambda joint: (joint.block.hole_below, "mm"),
    "gas.force_area": lambda joint: (0.0 if joint.gas is None else joint.gas.force_area, "mm2"),
    "tightening.scatter": lambda joint: (joint.tightening.tightening_factor, ""),
    "tightening.embedding": lambda joint: (1e3 * joint.tightening.embedding, "um"),
    "requirements.sealing_ratio": lambda joint: (joint.requirements.sealing_ratio, ""),
    "requirements.sealing_minimum": lambda joint: (joint.requirements.sealing_minimum, "MPa"),
    "mesh.element_size": lambda joint: (joint.mesh_size.element_size, "mm"),
    "mesh.largest": lambda joint: (joint.mesh_size.largest, "mm"),
}
UNITS = {"gasket.expansion": "1/K"}
WHY = re.compile(r"default:? ([^;]*)")


def assumed(content: dict[str, Any], stated: Joint | Cell) -> tuple[Assumed, ...]:
    """Return what parsed TOML leaves out of the tables that say what a joint is, with what was taken in its place."""
    table = CellFile if isinstance(stated, Cell) else JointFile
    joint = stated.joint if isinstance(stated, Cell) else stated
    found: list[Assumed] = []
    for name, kind, _, _ in _fields(table):
        if name in ("nut", "bolt_head"):
            if (joint.fastener.kind == "stud") == (name == "nut"):
                found += _left_out(content.get(name, {}), SeatTable, name, joint)
        elif name in TABLES and kind is not None and (name in content or _always(table, name)):
            found += _left_out(content.get(name, {}), kind, name, joint)
    return tuple(found)


@cache
def _always(table: type[Struct], name: str) -> bool:
    """Say whether a table that is not stated stands there with its defaults."""
    return any(one.name == name and one.default_factory is not NODEFAULT for one in msgspec.structs.fields(table))


def _left_out(content: Any, table: type[Struct], place: str, joint: Joint) -> Iterator[Assumed]:
    if not isinstance(content, dict):
        return  # named in place of a table
    for name, kind, words, default in _fields(table):
        field = f"{place}.{name}"
        no_nut = joint.fastener.kind == "bolt" and field in OF_STUDS
        if name in SKIPPED or no_nut or BESIDE.get(field, name) not in (name, *content):
            continue
        if name in content:
            if kind is not None and isinstance(content[name], dict):
                yield from _left_out(content[name], kind, field, joint)
            continue
        resolved = RESOLVED.get(re.sub(r"^(nut|bolt_head)\.", "seat.", field))
        why = match[1] if (match := WHY.search(words)) else ""
        if default is not None and default is not NODEFAULT:
            unit = UNITS.get(field, "")
            yield Assumed(field, default if isinstance(default, (float, int)) else str(default), unit, why or words)
        elif resolved is not None:
            yield Assumed(field, *resolved(joint), why or words)
        elif why:
            yield Assumed(field, "", "", why)


@cache
def _fields(table: type[Struct]) -> tuple[tuple[str, type[Struct] | None, str, Any], ...]:
    """Return name, table (None for a value), description and default of every key of a table."""
    hints = get_type_hints(table, include_extras=True)
    found = []
    for one in msgspec.structs.fields(table):
        kinds = list(_parts(hints[one.name]))
        tables = [kind for kind in kinds if isinstance(kind, type) and issubclass(kind, Struct)]
        words = next((kind.description for kind in kinds if isinstance(kind, Meta) and kind.description), "")
        own = tables[0] if len(tables) == 1 and tables[0] is not MaterialTable else None
        found.append((one.name, own, words, one.default))
    return tuple(found)


def _parts(hint: Any) -> Iterator[Any]:
    yield hint
    for one in (*get_args(hint), *getattr(hint, "__metadata__", ())):
        yield from _parts(one)
