"""Strength of fasteners by property class: ISO 898-1 and SAE J429."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources

from headjoint.model.base.errors import unknown_name
from headjoint.model.base.property_table import PropertyTable


@dataclass(frozen=True)
class PropertyClass:
    """Proof stress S_p, yield (R_p0.2) by temperature and ultimate R_m, MPa; elongation A after fracture, 1."""

    name: str
    proof: float
    yield_strength: PropertyTable
    ultimate: float
    elongation: float
    source: str


@cache
def library() -> dict[str, PropertyClass]:
    """Return every property class by name."""
    text = resources.files("headjoint.model").joinpath("data/property_classes.toml").read_text("utf-8")
    return {
        name: PropertyClass(
            name, row["proof"], PropertyTable.from_rows(row["yield"]), row["ultimate"], row["elongation"], row["source"]
        )
        for name, row in tomllib.loads(text).items()
    }


def names() -> list[str]:
    """Return the names of the library."""
    return list(library())


def property_class(name: str, field: str = "") -> PropertyClass:
    """Return the class called `name`, such as '12.9' or 'SAE J429 grade 8'; InputError otherwise."""
    wanted = " ".join(name.lower().split())
    for known, found in library().items():
        if wanted in (known.lower(), known.lower().replace("sae j429 ", ""), f"iso 898-1 {known.lower()}"):
            return found
    raise unknown_name("property class", name, library(), field=field)
