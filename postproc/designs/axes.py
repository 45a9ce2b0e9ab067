"""What `--over` and `--vary` say: quantities by path, over a range or a list."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from headjoint.model.base.errors import InputError
from headjoint.model.base.figure import WORKSHOP, shown
from headjoint.model.base.units import convert
from headjoint.model.reading.overrides import (
    BOOST,
    GAS,
    SIZE,
    Content,
    Value,
    bare_unit,
    dimension,
    number,
    stated,
    unit_of,
)

RANGE = re.compile(
    r"^\s*([-+]?[\d.]+(?:[eE][-+]?\d+)?)\s*\.\.\s*([-+]?[\d.]+(?:[eE][-+]?\d+)?)\s*(.*?)\s*(?:\bin\s+(\d+))?\s*$"
)
# what readers are told a quantity of a study in, turned into a workshop's units where they want those
TABLE_UNITS = {
    "force": "kN",
    "pressure": "bar",
    "length": "mm",
    "torque": "N.m",
    "temperature": "degC",
    "angle": "deg",
}
ALSO_WORKSHOP = ("ft", "lbf.in", "kip")
MOST_POINTS = 1000
USUAL_POINTS = {1: 21, 2: 15}  # by the number of quantities


@dataclass(frozen=True)
class Axis:
    """One quantity of a study. values : as set in the file. numbers : in `unit`, None for names. own : the file's.

    dimension : of the numbers, "" where they have none.
    """

    path: str
    unit: str
    values: tuple[Value, ...]
    numbers: tuple[float, ...] | None
    own: float | None
    dimension: str = ""

    def shown(self, units: str) -> Axis:
        """Return the axis as a reader of `units` is told it; what was typed in such units stays as it is."""
        table = TABLE_UNITS.get(self.dimension)
        workshop = any(self.unit == name for name, _ in WORKSHOP.values()) or self.unit in ALSO_WORKSHOP
        if table is None or self.numbers is None or workshop == (units == "workshop"):
            return self
        unit = shown(0.0, table, units)[1]

        def turned(value: float) -> float:
            return float(f"{_in_unit(convert(value, self.unit, self.dimension), unit, self.dimension):.6g}")

        numbers, own = tuple(map(turned, self.numbers)), None if self.own is None else turned(self.own)
        return dataclasses.replace(
            self, unit=unit, numbers=numbers, own=own, values=tuple(f"{x:.4g} {unit}" for x in numbers)
        )

    @property
    def name(self) -> str:
        """The last word of the path, or the whole where that says little."""
        if self.path == SIZE:
            return "thread size"
        if self.path == BOOST:
            return "boost (gauge)"
        if self.path == GAS:
            return "gas pressure over the file's"
        last = self.path.rpartition(".")[2].replace("_", " ")
        return last if "[" not in last else self.path

    @property
    def label(self) -> str:
        """Name with unit."""
        return f"{self.name} [{self.unit}]" if self.unit else self.name


def axis_of(content: Content, text: str, count: int, field: str) -> Axis:
    """Return the axis that 'path=low..high unit in 20' or 'path=a, b, c' says; `count` axes there are in all.

    Raises InputError for what cannot be read, or is no quantity of the file.
    """
    path, equals, rest = (part.strip() for part in text.partition("="))
    if not equals or not rest:
        raise InputError(
            'give PATH=LOW..HIGH UNIT, such as "torque=60..110 N.m" or "torque=60..110 N.m in 20", or a list, such as '
            '"fastener.thread=M10x1.25, M11x1.25"',
            field=field,
            value=text,
        )
    wanted = dimension(content, path)
    found = RANGE.match(rest)
    own = stated(content, path)
    if found is None:
        return _listed(content, path, [part.strip() for part in rest.split(",") if part.strip()], own)
    if wanted is None:
        raise InputError("is a name and has no range; give a list: a, b, c", field=path, value=rest)
    unit = found[3] or (unit_of(own) if own is not None else "") or bare_unit(content, path)
    points = int(found[4]) if found[4] else USUAL_POINTS.get(count, USUAL_POINTS[2])
    if not 2 <= points <= MOST_POINTS:
        raise InputError(f"takes 2 to {MOST_POINTS} points", field=path, value=points)
    low, high = float(found[1]), float(found[2])
    if low == high:
        raise InputError("the range has no width", field=path, value=rest)
    numbers = tuple(float(f"{x:.12g}") for x in np.linspace(low, high, points))
    return _numeric(content, path, numbers, unit, own)


def _listed(content: Content, path: str, parts: Sequence[str], own: Value | None) -> Axis:
    if dimension(content, path) is None:
        return Axis(path, "", tuple(parts), None, None)
    units = [unit_of(part) for part in parts]
    unit = next((one for one in reversed(units) if one), "") or (unit_of(own) if own is not None else "")
    values = []
    for part in parts:
        try:
            values.append(float(re.sub(r"[^-+\d.eE].*$", "", part)))
        except ValueError:
            raise InputError("is no number", field=path, value=part) from None
    return _numeric(content, path, tuple(values), unit or bare_unit(content, path), own)


def _numeric(content: Content, path: str, numbers: tuple[float, ...], unit: str, own: Value | None) -> Axis:
    values: tuple[Value, ...] = tuple(f"{x:.12g} {unit}" if unit else x for x in numbers)
    for value in values:
        number(content, path, value)  # refused before any work
    here = None
    if own is not None:
        inside = number(content, path, own)
        here = inside if inside is None or not unit else _in_unit(inside, unit, dimension(content, path) or "")
    return Axis(path, unit, values, numbers, here, dimension(content, path) or "")


def _in_unit(inside: float, unit: str, wanted: str) -> float:
    """Return a number of internal units in `unit`; temperatures have zeros of their own."""
    zero = convert(0.0, unit, wanted)
    return (inside - zero) / (convert(1.0, unit, wanted) - zero)


def check_names(axes: Sequence[Axis], field: str) -> None:
    """Refuse a quantity that is named twice."""
    paths = [axis.path for axis in axes]
    for path in paths:
        if paths.count(path) > 1:
            raise InputError("is named twice", field=field, value=path)
