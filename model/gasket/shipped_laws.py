"""The named gasket laws that ship with headjoint.

No published pressure-closure table with units was found for head gaskets: the named laws are typical shapes from
memory, each with the range that a comparison should carry.
"""

from __future__ import annotations

import math
import tomllib
from functools import cache
from importlib import resources
from typing import Any

from headjoint.model.base.errors import unknown_name
from headjoint.model.base.property_table import PropertyTable
from headjoint.model.gasket.bead_limits import BeadLimits
from headjoint.model.gasket.forms import stated_form
from headjoint.model.gasket.law import GasketLaw, check_law
from headjoint.model.gasket.loading import LoadingCurve
from headjoint.model.library.plasticity import Creep


@cache
def library() -> dict[str, GasketLaw]:
    """Return the named laws that ship with headjoint."""
    text = resources.files("headjoint.model").joinpath("data/gasket_laws.toml").read_text("utf-8")
    laws = {}
    for name, row in tomllib.loads(text).items():
        field = f"gasket_laws.toml: {name}"
        curves = tuple(
            LoadingCurve(float(c["temperature"]), tuple(map(float, c["closure"])), tuple(map(float, c["pressure"])))
            for c in row["curves"]
        )
        form, values = stated_form(row, field)
        law = form(
            name,
            curves,
            crush_pressure=row.get("crush_pressure"),
            title=row["title"],
            spread=row["spread"],
            source=row["source"],
            creep=_creep(row.get("creep")),
            limits=_limits(row.get("limits")),
            **values,
        )
        laws[name] = check_law(law, field)
    return laws


def _limits(row: dict[str, Any] | None) -> BeadLimits | None:
    if row is None:
        return None
    return BeadLimits(row["line_load_least"], row["line_load_per_gas"], row["stroke"], row["source"])


def _creep(row: dict[str, Any] | None) -> Creep | None:
    if row is None:
        return None
    rates = PropertyTable.from_rows([[temperature, loss / math.log(10.0)] for temperature, loss in row["per_decade"]])
    return Creep("logarithmic", rates, row["onset"], source=row["source"])


def gasket_law(name: str, field: str = "") -> GasketLaw:
    """Return the shipped law called `name`; raises InputError with the nearest name otherwise."""
    try:
        return library()[name]
    except KeyError:
        raise unknown_name("gasket law", name, library(), field=field) from None
