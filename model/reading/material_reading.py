"""From what a file states of a material to the `Material`."""

from __future__ import annotations

import dataclasses
from typing import Any

import msgspec

from headjoint.model.base.errors import InputError
from headjoint.model.base.property_table import PropertyTable
from headjoint.model.files.joint_file import MaterialSpec
from headjoint.model.library import materials
from headjoint.model.library.materials import Material


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
    changes: dict[str, Any] = {
        name: PropertyTable((20.0,), (value,)) if name in tabular else value for name, value in direct.items()
    }
    sources = base.sources | dict.fromkeys(direct, "stated in the joint file")
    return dataclasses.replace(base, **changes, sources=sources)
