"""What a new file states: a value, how it is written, and whether the builder said it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from headjoint.model.base.unit_table import DIMENSIONS
from headjoint.model.base.units import parse

TYPICAL = "typical, not yours: check"
# steps (of the unit) to which a typical length is rounded, with the length in mm from which each is fine enough
STEPS = {"mm": ((20.0, 0.5), (3.0, 0.1), (0.0, 0.05)), "in": ((20.0, 0.01), (3.0, 0.005), (0.0, 0.001))}
SHOWN_UNITS = {
    "si": {"length": "mm", "torque": "N.m", "pressure": "bar", "angle": "deg"},
    "workshop": {"length": "in", "torque": "lbf.ft", "pressure": "psi", "angle": "deg"},
}


@dataclass(frozen=True)
class Written:
    """A value in internal units (or a name), its text, whether the builder said it, and where it is from if not."""

    value: float | str
    text: str
    yours: bool = False
    why: str = ""

    @property
    def number(self) -> float:
        """The value of a quantity."""
        assert not isinstance(self.value, str)
        return self.value

    @property
    def toml(self) -> str:
        """The text as TOML has it: bare where it is a plain number, else in quotes."""
        return self.text if isinstance(self.value, float) and is_bare(self.text) else f'"{self.text}"'

    @property
    def remark(self) -> str:
        """What the file says beside it."""
        return "yours" if self.yours else f"{TYPICAL} ({self.why})"

    def because(self, why: str) -> Written:
        """Return the same as a typical value, with where it is from."""
        return replace(self, yours=False, why=why)


def is_bare(text: str) -> bool:
    """Say whether a text is a number without a unit."""
    try:
        float(text)
    except ValueError:
        return False
    return True


def quantity(text: str, dimension: str, *, yours: bool = False, why: str = "") -> Written:
    """Return a quantity as a file states it; ValueError with a sentence for the user where it is none."""
    return Written(parse(text, dimension), text, yours, why)


@dataclass(frozen=True)
class Lengths:
    """Typical lengths in the builder's units, rounded so that nobody takes them for measured ones."""

    units: str

    def near(self, millimetres: float, why: str) -> Written:
        """Return a length about as long."""
        return self._rounded(millimetres, round, why)

    def up(self, millimetres: float, why: str) -> Written:
        """Return a length at least as long."""
        return self._rounded(millimetres, lambda x: math.ceil(x - 1e-9), why)

    def down(self, millimetres: float, why: str, *, fine: bool = False) -> Written:
        """Return a length at most as long; `fine` to the smallest step, whatever its size."""
        return self._rounded(millimetres, lambda x: math.floor(x + 1e-9), why, fine=fine)

    def _rounded(self, millimetres: float, whole: Callable[[float], int], why: str, *, fine: bool = False) -> Written:
        unit = SHOWN_UNITS[self.units]["length"]
        step = next(step for least, step in STEPS[unit] if millimetres >= least) if not fine else STEPS[unit][-1][1]
        size = DIMENSIONS["length"][2][unit]
        return quantity(f"{whole(millimetres / size / step) * step:.10g} {unit}", "length", why=why)


def half_of(length: Written) -> Written:
    """Return half a length in its own unit, to the last digit."""
    number, unit = length.text.split(maxsplit=1) if " " in length.text else (length.text, "mm")
    return quantity(f"{float(number) / 2.0:.15g} {unit}", "length", yours=length.yours, why=length.why)
