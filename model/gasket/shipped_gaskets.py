"""The complete gaskets that ship with headjoint, by name, made to fit any bore: typical of their kind, invented."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from itertools import pairwise
from typing import Any

from headjoint.model.base.errors import unknown_name

BEGINS = 0.15  # share of the band at which the first ring begins
SOURCE = "from memory, low confidence"


@dataclass(frozen=True)
class GasketRing:
    """A ring round a bore. ends : share of the band at which it ends. step : as files state it, "" for none."""

    name: str
    law: str
    ends: float
    step: str = ""


@dataclass(frozen=True)
class ShippedGasket:
    """A complete gasket; quantities as files state them. rings : from the bore outwards, the last one seals."""

    name: str
    title: str
    thickness: str
    expansion: str
    rings: tuple[GasketRing, ...]
    body_law: str
    body_step: str

    def edges(self, bore: float, band: float) -> list[float]:
        """Return the diameters (mm) at which the first ring begins and each ends, in a band (mm) round a bore (mm)."""
        return [bore + 2.0 * share * band for share in (BEGINS, *(ring.ends for ring in self.rings))]

    def table(self, bore: float, band: float) -> dict[str, Any]:
        """Return the `[gasket]` of an engine file, its rings in a band (mm) round a bore (mm)."""
        edges = [f"{edge:.10g} mm" for edge in self.edges(bore, band)]
        rings: list[dict[str, Any]] = [
            {"name": ring.name, "law": ring.law, "inner_diameter": inner, "outer_diameter": outer} | _step(ring.step)
            for ring, (inner, outer) in zip(self.rings, pairwise(edges), strict=True)
        ]
        rings[-1]["sealing"] = True
        body = {"law": self.body_law} | _step(self.body_step)
        return {"thickness": self.thickness, "expansion": self.expansion, "rings": rings, "body": body}


def _step(step: str) -> dict[str, str]:
    return {"step": step} if step else {}


@cache
def gaskets() -> dict[str, ShippedGasket]:
    """Return the complete gaskets that ship with headjoint, by name."""
    text = resources.files("headjoint.model").joinpath("data/gaskets.toml").read_text("utf-8")
    return {
        name: ShippedGasket(
            name,
            row["title"],
            row["thickness"],
            row["expansion"],
            tuple(GasketRing(**ring) for ring in row["rings"]),
            row["body"]["law"],
            row["body"].get("step", ""),
        )
        for name, row in tomllib.loads(text).items()
    }


def shipped_gasket(name: str, field: str = "") -> ShippedGasket:
    """Return the gasket called `name`, hyphens as good as spaces; InputError with the nearest name otherwise."""
    alike = {one.replace("-", " "): one for one in gaskets()}
    plain = name.strip().replace("-", " ")
    if plain not in alike:
        raise unknown_name("gasket", name, gaskets(), field=field)
    return gaskets()[alike[plain]]
