"""A value with its unit, and sentences that hold such values: written once, in the units of whoever reads.

Tables, sentences and pictures keep their figures in the table units of `WORKSHOP` (or without unit); `written` turns
them into words, in SI or in the units of a US workshop.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

from headjoint.model.base.units import convert

Units = Literal["si", "workshop"]

# table unit -> (what a workshop reads in its place, dimensions of it); powers of dimensions by their place in the unit
WORKSHOP: dict[str, tuple[str, tuple[str, ...]]] = {
    "kN": ("lbf", ("force",)),
    "N": ("lbf", ("force",)),
    "MPa": ("ksi", ("pressure",)),
    "bar": ("psi", ("pressure",)),
    "um": ("thou", ("length",)),
    "mm": ("in", ("length",)),
    "N.m": ("lbf.ft", ("torque",)),
    "N/mm": ("lbf/in", ("force", "length")),
    "um/kN": ("thou/klbf", ("length", "force")),
    "MPa/mm": ("ksi/thou", ("pressure", "length")),
    "N/K": ("lbf/degF", ("force", "difference")),
    "K": ("degF", ("difference",)),
    "degC": ("degF", ("temperature",)),
}
KELVIN_IN = {"K": 1.0, "degF": 1.0 / 1.8}  # temperature differences
FREEZING_F = 32.0  # degF at 0 degC


@cache
def unit_in(unit: str, units: str) -> tuple[str, float]:
    """Return the unit that `units` ("si" or "workshop") shows for a table unit, and the factor to it.

    A temperature has no factor alone; `shown` knows it.
    """
    if units == "si" or unit not in WORKSHOP or unit == "degC":
        return unit, 1.0
    wanted, dimensions = WORKSHOP[unit]
    factor = 1.0
    for power, dimension, here, there in zip((1, -1), dimensions, unit.split("/"), wanted.split("/"), strict=False):
        if dimension == "difference":
            ratio = KELVIN_IN[here] / KELVIN_IN[there]
        else:
            ratio = convert(1.0, here, dimension) / convert(1.0, there, dimension)
        factor *= ratio**power
    return wanted, factor


def shown(value: float, unit: str, units: str) -> tuple[float, str]:
    """Return a value of a table unit as `units` shows it, with the unit that it then has."""
    if unit == "degC" and units == "workshop":
        return value / KELVIN_IN["degF"] + FREEZING_F, "degF"
    name, factor = unit_in(unit, units)
    return value * factor, name


@dataclass(frozen=True)
class Figure:
    """A value in a table unit, and the digits (a format) with which SI readers are told it."""

    value: float
    unit: str = ""
    digits: str = ".1f"

    def written(self, units: str = "si") -> str:
        """Return the value with its unit in words; other units get as many significant digits."""
        value, unit = shown(self.value, self.unit, units)
        text = format(self.value, self.digits)
        if unit != self.unit:
            text = f"{value:.{decimals(text, value)}f}"
        return f"{text} {unit}" if unit else text


def decimals(text: str, value: float) -> int:
    """Return the decimals that show a value with as many significant digits as a text has."""
    mantissa = text.lower().partition("e")[0]
    digits = len("".join(one for one in mantissa if one.isdigit()).lstrip("0")) or 1
    size = 0 if value == 0.0 or not math.isfinite(value) else math.floor(math.log10(abs(value)))
    return max(0, digits - 1 - size)


@dataclass(frozen=True)
class Text:
    """Words with {} for every part: a figure, plain words or a text of its own."""

    words: str
    parts: tuple[Figure | Text | str, ...] = ()

    def written(self, units: str = "si") -> str:
        """Return the text, its figures in the units asked for."""
        return self.words.format(*(one if isinstance(one, str) else one.written(units) for one in self.parts))

    def __str__(self) -> str:
        return self.written()

    def plain(self) -> list[Any]:
        """Return words and parts as JSON knows them; `text_of` reads them."""
        parts = [
            one
            if isinstance(one, str)
            else [one.value, one.unit, one.digits]
            if isinstance(one, Figure)
            else one.plain()
            for one in self.parts
        ]
        return [self.words, parts]


def text_of(plain: list[Any]) -> Text:
    """Return the text that `Text.plain` wrote."""
    words, parts = plain
    return Text(
        words,
        tuple(one if isinstance(one, str) else text_of(one) if len(one) == 2 else Figure(*one) for one in parts),
    )


def said(words: str, *parts: Figure | Text | str) -> Text:
    """Return a text of words with {} for every part."""
    return Text(words, parts)


def plain_text(words: str) -> Text:
    """Return words that hold no figure, whatever they are."""
    return Text("{}", (words,))


def force(newtons: float, digits: str = ".1f") -> Figure:
    """Return a force (N), told in kN."""
    return Figure(newtons / 1e3, "kN", digits)


def pressure(megapascals: float, digits: str = ".1f") -> Figure:
    """Return a pressure or stress (MPa)."""
    return Figure(megapascals, "MPa", digits)


def small_length(millimetres: float, digits: str = ".2g") -> Figure:
    """Return a length (mm), told in um."""
    return Figure(1e3 * millimetres, "um", digits)


def temperature(celsius: float, digits: str = ".0f") -> Figure:
    """Return a temperature (degC)."""
    return Figure(celsius, "degC", digits)


def warming(kelvin: float, digits: str = ".0f") -> Figure:
    """Return a difference of temperatures (K)."""
    return Figure(kelvin, "K", digits)


def share(fraction: float, digits: str = ".2g") -> Figure:
    """Return a share, told in %."""
    return Figure(100.0 * fraction, "%", digits)


def factor(value: float, digits: str = ".2f") -> Figure:
    """Return a number without unit."""
    return Figure(value, "", digits)
