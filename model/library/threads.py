"""Screw threads by designation: geometry and stress areas by formula, library of sizes by table.

ISO metric basic profile (ISO 68-1, ISO 724) and ASME B1.1 unified threads; lengths mm, areas mm2. Formulas
from memory, high confidence; checked against printed stress areas in tests and validation.
"""

from __future__ import annotations

import math
import re
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources

from headjoint.model.base.errors import unknown_name

INCH = 25.4


@dataclass(frozen=True)
class Thread:
    """One thread size.

    designation : as in the standard. nominal_diameter d, pitch P. series : "metric" or "unified".
    width_across_flats, nut_height : of the matching hexagon nut. clearance_hole : medium fit.
    """

    designation: str
    nominal_diameter: float
    pitch: float
    series: str
    width_across_flats: float
    nut_height: float
    clearance_hole: float
    source: str

    @property
    def pitch_diameter(self) -> float:
        """d2 = d - 0.649519 P (ISO 724; the same basic profile in ASME B1.1)."""
        return self.nominal_diameter - 0.649519 * self.pitch

    @property
    def minor_diameter_external(self) -> float:
        """d3 = d - 1.226869 P, root of the external thread (ISO 898-1; ASME B1.1 d - 1.226869/n)."""
        return self.nominal_diameter - 1.226869 * self.pitch

    @property
    def minor_diameter_internal(self) -> float:
        """D1 = d - 1.082532 P (ISO 724, ASME B1.1)."""
        return self.nominal_diameter - 1.082532 * self.pitch

    @property
    def stress_area(self) -> float:
        """A_S = pi/4 ((d2 + d3)/2)^2 (ISO 898-1); unified: pi/4 (d - 0.9743/n)^2 (ASME B1.1), mm2."""
        if self.series == "unified":
            return math.pi / 4.0 * (self.nominal_diameter - 0.9743 * self.pitch) ** 2
        return math.pi / 4.0 * ((self.pitch_diameter + self.minor_diameter_external) / 2.0) ** 2

    @property
    def core_area(self) -> float:
        """A_d3 = pi/4 d3^2, mm2."""
        return math.pi / 4.0 * self.minor_diameter_external**2

    @property
    def stress_diameter(self) -> float:
        """d_S, diameter of a circle of area A_S, mm."""
        return math.sqrt(4.0 * self.stress_area / math.pi)


def _plain(designation: str) -> str:
    """Reduce a designation to what tells sizes apart: 'M10 X 1.25' -> 'm10x1.25', '7/16-20 UNF' -> '7/16-20'."""
    text = re.sub(r"\s+", "", designation.lower()).replace("×", "x").replace("*", "x")
    text = re.sub(r"(unc|unf)(-?[23][ab])?$", "", text).rstrip("-")
    return re.sub(r"(\.\d*?)0+$", r"\1", text).rstrip(".") if "." in text else text


@cache
def library() -> dict[str, Thread]:
    """Return every thread of the library by designation."""
    text = resources.files("headjoint.model").joinpath("data/threads.toml").read_text("utf-8")
    data = tomllib.loads(text)
    threads: dict[str, Thread] = {}
    for row in data["metric"]:
        d, coarse = float(row["d"]), float(row["coarse"])
        for pitch in [coarse, *map(float, row["fine"])]:
            name = f"M{d:g}" if pitch == coarse else f"M{d:g}x{pitch:g}"
            threads[name] = Thread(name, d, pitch, "metric", row["flats"], row["nut"], row["hole"], row["source"])
    for row in data["unified"]:
        d = row["inch"] * INCH
        for series in ("UNC", "UNF"):
            name = f"{row['size']}-{row[series]} {series}"
            threads[name] = Thread(
                name,
                d,
                INCH / row[series],
                "unified",
                row["flats"] * INCH,
                row["nut"] * INCH,
                d + INCH / 32.0,
                row["source"],
            )
    return threads


@cache
def _by_plain_name() -> dict[str, Thread]:
    found = {}
    for name, thread in library().items():
        found[_plain(name)] = thread
        if thread.series == "metric":
            found[_plain(f"M{thread.nominal_diameter:g}x{thread.pitch:g}")] = thread
    return found


def names() -> list[str]:
    """Return the designations of the library."""
    return list(library())


def thread(designation: str, field: str = "") -> Thread:
    """Return the thread of a designation such as 'M11x1.25', 'M10' or '7/16-20 UNF'.

    Raises InputError naming the nearest sizes for one outside the library.
    """
    try:
        return _by_plain_name()[_plain(designation)]
    except KeyError:
        raise unknown_name("thread", designation, library(), field=field) from None
