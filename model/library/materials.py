"""Materials by standard designation, each property against temperature where known, with its source."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import Any

from headjoint.model.base.errors import unknown_name
from headjoint.model.base.property_table import PropertyTable


@dataclass(frozen=True)
class Material:
    """Elastic, thermal and strength data of one material.

    E MPa; expansion: mean coefficient from 20 degC, 1/K; conductivity W/(m K); density kg/m3; heat_capacity
    J/(kg K); yield_strength (R_p0.2, of grey iron R_p0.1) and ultimate_strength MPa; bearing_limit: limit
    surface pressure p_G, MPa; shear_ratio: tau_B/R_m; elongation: A after fracture, 1; bearing_set: mm per tenfold
    time that a face at p_G sinks in; solidus: where it begins to melt, degC. None where not known. sources: property
    -> text.
    """

    name: str
    title: str
    uses: tuple[str, ...]
    E: PropertyTable
    nu: float
    expansion: PropertyTable
    conductivity: PropertyTable | None = None
    density: float | None = None
    heat_capacity: PropertyTable | None = None
    yield_strength: PropertyTable | None = None
    ultimate_strength: PropertyTable | None = None
    bearing_limit: float | None = None
    shear_ratio: float | None = None
    elongation: float | None = None
    bearing_set: PropertyTable | None = None
    solidus: float | None = None
    sources: dict[str, str] = field(default_factory=dict, compare=False)

    def free_strain(self, temperature: float, reference: float) -> float:
        """Return the free thermal strain between two temperatures (degC), both counted from 20 degC."""
        return self.expansion.at(temperature) * (temperature - 20.0) - self.expansion.at(reference) * (reference - 20.0)


TABULAR = ("E", "expansion", "conductivity", "heat_capacity", "yield_strength", "ultimate_strength", "bearing_set")
PLAIN = ("nu", "density", "bearing_limit", "shear_ratio", "elongation", "solidus")


@cache
def library() -> dict[str, Material]:
    """Return every material of the library by designation."""
    text = resources.files("headjoint.model").joinpath("data/materials.toml").read_text("utf-8")
    materials = {}
    for name, row in tomllib.loads(text).items():
        values: dict[str, Any] = {key: PropertyTable.from_rows(row[key]) for key in TABULAR if key in row}
        values |= {key: row[key] for key in PLAIN if key in row}
        materials[name] = Material(
            name=name, title=row["title"], uses=tuple(row["uses"]), sources=row["sources"], **values
        )
    return materials


def names() -> list[str]:
    """Return the designations of the library."""
    return list(library())


def material(name: str, field: str = "") -> Material:
    """Return the material of a designation; spaces and case do not matter; InputError otherwise."""
    wanted = name.lower().replace(" ", "")
    for known, found in library().items():
        if known.lower().replace(" ", "") == wanted:
            return found
    raise unknown_name("material", name, library(), field=field)


def bare_material(name: str, E: float, nu: float, expansion: float) -> Material:
    """Return a material of stated elastic constants alone (MPa, 1/K), with no strength known."""
    return Material(name, name, (), PropertyTable((20.0,), (E,)), nu, PropertyTable((20.0,), (expansion,)))
