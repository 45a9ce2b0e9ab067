"""Quantities with units at the border; plain floats in the internal units inside.

Internal units: N, mm, MPa, N.mm, degC (K for differences), 1/K, MPa/mm, mm/N. A quantity in a file is text such
as ``"90 lbf.ft"``, or a bare number where the internal unit is the one that people mean: a length in mm, a pressure
in MPa, a temperature in degC. Nobody means N.mm, N, s or rad by a bare number: those need their unit. The spellings
that workshops use are in `unit_table`, so that reading a joint needs no unit library at start-up; every other
spelling goes through pint, and a test holds the table against pint.
"""

from __future__ import annotations

import math
import re
from functools import cache
from typing import TYPE_CHECKING, Any, ClassVar, Self

from headjoint.model.base.unit_table import ALSO_WRITTEN, DIMENSIONS, EXAMPLE, NEEDS_UNIT

if TYPE_CHECKING:
    import pint

_NUMBER = re.compile(r"^\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*$")
_FRACTION = re.compile(r"\s*(?:(\d+)[\s-]+)?(\d+)/([1-9]\d*)(?:\s*([a-zA-Z\"].*?))?\s*")  # 3/8 in, 1 1/8 in
_BETWEEN = re.compile(r"[\s.*·-]+")
LONGEST_UNIT = 40  # characters
_DOT = re.compile(r"\.(?!\d)|(?<!\d)\.")  # between or after units, "lbf.ft" and "in.", not within a number
# names, signs between them, powers of one digit and none of a power: the library would reckon others out, however
# long that takes; of numbers only the 1 of "1/K"
_SPELT = re.compile(
    r"(?:[^\W\d]\w*+|1(?![\w.])|[\s%/()·⋅-]|\*(?!\*)"
    r"|(?:\^|\*\*)\s*(?>\(\s*[-+]?\d(?:\.\d+)?\s*\)|[-+]?\d(?:\.\d+)?)\s*+(?![\d.^]|\*\*))++"
)
_LARGEST = 1e15  # nothing about a joint is larger in internal units; catches slips of many powers of ten
_SMALLEST = 1e-25  # nor smaller, of what must be more than nothing: powers of it would vanish


@cache
def _registry() -> pint.UnitRegistry:
    import pint

    registry: pint.UnitRegistry = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    registry.define("thou = 0.001 * inch")
    return registry


def convert(number: float, unit: str, dimension: str) -> float:
    """Return `number` `unit` in the internal unit of `dimension`.

    Raises ValueError with a sentence for the user when the unit is unknown or of another dimension.
    """
    _, pint_unit, table = DIMENSIONS[dimension]
    if unit not in table:
        plain = _BETWEEN.sub("-", unit.replace("°", "deg ").strip().casefold())
        unit = ALSO_WRITTEN.get(dimension, {}).get(plain, unit)
    if unit in table:
        return number * table[unit]
    wanted = f"a {dimension} such as {EXAMPLE[dimension]}"
    spelt = _DOT.sub(" ", unit.replace("°", "deg"))  # not every version of the library reads a dot
    if len(unit) > LONGEST_UNIT or not _SPELT.fullmatch(spelt):
        raise ValueError(f"cannot read the unit '{unit[:LONGEST_UNIT]}'; give {wanted}")
    import pint

    try:
        quantity = _registry().Quantity(number, spelt.strip().replace("^", "**"))
        return float(quantity.to(pint_unit).magnitude)
    except pint.UndefinedUnitError:
        raise ValueError(f"unknown unit '{unit}'; give {wanted}{_bare_hint(dimension)}") from None
    except pint.DimensionalityError:
        raise ValueError(f"unit '{unit}' is no unit of {dimension}; give {wanted}") from None
    except Exception:  # the library's parser raises many kinds on damaged text
        raise ValueError(f"cannot read the unit '{unit}'; give {wanted}") from None


def fraction(text: str) -> tuple[float, str] | None:
    """Return number and unit of a fraction as inches are written, "1 1/8 in", else None."""
    parts = _FRACTION.fullmatch(text)
    return parts and (float(parts[1] or 0) + float(parts[2]) / float(parts[3]), parts[4] or "")


def _bare_hint(dimension: str) -> str:
    return "" if dimension in NEEDS_UNIT else f" (bare number: {DIMENSIONS[dimension][0]})"


def parse(value: object, dimension: str) -> float:
    """Read a quantity as a user writes it: number and unit, or a bare number where `NEEDS_UNIT` does not refuse it.

    Parameters
    ----------
    value : int, float or text.
    dimension : key of `DIMENSIONS`.

    Raises
    ------
    ValueError : one sentence saying what is allowed.
    """
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        raise ValueError(f"give a {dimension} such as {EXAMPLE[dimension]}{_bare_hint(dimension)}")
    if isinstance(value, (int, float)):
        number, unit = float(value) if abs(value) < _LARGEST else math.inf, ""
    elif dimension == "length" and (parts := fraction(value)) is not None:
        number, unit = parts
        if not unit:  # whoever writes fractions means inches, a bare number is in mm
            raise ValueError(f"has no unit: write {value.strip()} in")
    else:
        match = _NUMBER.match(value)
        if match is None:
            raise ValueError(f"no number found; give a {dimension} such as {EXAMPLE[dimension]}")
        number, unit = float(match[1]), match[2]
    if unit:
        number = convert(number, unit, dimension)
    elif number != 0.0 and dimension in NEEDS_UNIT:
        *others, last = (f"{number:.12g} {one}" for one in NEEDS_UNIT[dimension])
        raise ValueError(f"a bare number says no {dimension}: {', '.join(others)} or {last}?")
    if not math.isfinite(number) or abs(number) > _LARGEST:
        raise ValueError(f"outside the credible range of a {dimension}; give one such as {EXAMPLE[dimension]}")
    return number


class Quantity(float):
    """A float that was read as a quantity: its dimension, and the bounds that a joint file must keep.

    Subclasses name the dimension; `above` and `below` are excluded bounds, `least` and `most` included ones, all in
    the internal unit.
    """

    dimension: ClassVar[str]
    above: ClassVar[float | None] = None
    least: ClassVar[float | None] = None
    most: ClassVar[float | None] = None

    @classmethod
    def read(cls, value: object) -> Self:
        """Return the quantity that `value` states; ValueError with a sentence for the user otherwise."""
        number = parse(value, cls.dimension)
        unit = DIMENSIONS[cls.dimension][0]
        if cls.above is not None and number <= cls.above:
            raise ValueError(f"must be greater than {cls.above:g} {unit}")
        if cls.above == 0.0 and number < _SMALLEST:
            raise ValueError(
                f"outside the credible range of a {cls.dimension}; give one such as {EXAMPLE[cls.dimension]}"
            )
        if cls.least is not None and number < cls.least:
            raise ValueError(f"must be at least {cls.least:g} {unit}")
        if cls.most is not None and number > cls.most:
            raise ValueError(f"must be at most {cls.most:g} {unit}")
        return cls(number)

    @classmethod
    def schema(cls) -> dict[str, Any]:
        """Return the JSON schema of this quantity."""
        internal = DIMENSIONS[cls.dimension][0]
        bounds = {"exclusiveMinimum": cls.above, "minimum": cls.least, "maximum": cls.most}
        number = {"type": "number", **{key: bound for key, bound in bounds.items() if bound is not None}}
        said = f"a bare number is in {internal}"
        if cls.dimension in NEEDS_UNIT:
            number, said = {"const": 0}, "with its unit"
        return {
            "anyOf": [number, {"type": "string"}],
            "description": f"{cls.dimension}; {said}",
            "examples": re.findall(r"'(.*?)'", EXAMPLE[cls.dimension]),
        }


class Length(Quantity):
    """Any length."""

    dimension = "length"


# A joint's parts lie between nothing and ten metres; anything else is a slip of units.
class PositiveLength(Length):
    """A length that something has."""

    above, most = 0.0, 1e4


class GasketThickness(Length):
    """A distance of the faces that a gasket fills, at most 20 mm."""

    above, most = 0.0, 20.0


class ZeroOrLength(Length):
    """A length that may be nothing."""

    least, most = 0.0, 1e4


class PositiveArea(Quantity):
    """An area."""

    dimension, above = "area", 0.0


class Force(Quantity):
    """Any force."""

    dimension = "force"


class PositiveForce(Quantity):
    """A force that pulls or presses."""

    dimension, above = "force", 0.0


class ZeroOrForce(Quantity):
    """A force that may be nothing."""

    dimension, least = "force", 0.0


class PositiveTorque(Quantity):
    """A torque."""

    dimension, above = "torque", 0.0


class ZeroOrTorque(Quantity):
    """A torque that may be nothing."""

    dimension, least = "torque", 0.0


class PositiveLineStiffness(Quantity):
    """A stiffness, force per length."""

    dimension, above = "force per length", 0.0


class ZeroOrLineLoad(Quantity):
    """A force per length of a bead."""

    dimension, least = "force per length", 0.0


class Pressure(Quantity):
    """Any pressure or stress."""

    dimension = "pressure"


class PositivePressure(Pressure):
    """A modulus, strength or limit."""

    above = 0.0


class ZeroOrPressure(Pressure):
    """A pressure that may be nothing."""

    least = 0.0


class GasPressure(ZeroOrPressure):
    """A pressure in a cylinder, at most a thousand bar."""

    most = 100.0


class Temperature(Quantity):
    """A temperature that engines meet."""

    dimension, above, most = "temperature", -273.15, 1200.0


class TemperatureRise(Quantity):
    """By how much something is hotter than something else."""

    dimension, least, most = "temperature difference", 0.0, 300.0


class Expansion(Quantity):
    """A mean thermal expansion coefficient; rubber has some 3e-4 1/K."""

    dimension, least, most = "expansion", -1e-4, 1e-3


class PositiveStiffnessPerArea(Quantity):
    """A stiffness of a gasket zone."""

    dimension, above = "stiffness per area", 0.0


class ZeroOrCompliance(Quantity):
    """A compliance that may be nothing."""

    dimension, least = "compliance", 0.0


class ZeroOrTime(Quantity):
    """A duration that may be nothing, at most a thousand years."""

    dimension, least, most = "time", 0.0, 3.2e10


class PositiveTime(Quantity):
    """A duration."""

    dimension, above, most = "time", 0.0, 3.2e10


class PositiveAngle(Quantity):
    """An angle turned, at most ten turns."""

    dimension, above, most = "angle", 0.0, 62.9


class AngleRound(Quantity):
    """An angle round a bore, within one turn."""

    dimension, least, most = "angle", 0.0, 6.2831854


class ZeroOrEnergy(Quantity):
    """An activation energy, at most that of breaking strong bonds."""

    dimension, least, most = "energy per amount", 0.0, 1e6


class ZeroOrFilm(Quantity):
    """A film coefficient or conductance, in W/(m2 K) as everybody writes it."""

    dimension, least, most = "heat transfer coefficient", 0.0, 1e7


class CylinderPressure(GasPressure):
    """A pressure of gas that is there."""

    above = 0.0


class StepTime(PositiveTime):
    """How long a step of a duty or a change within it lasts, at most a year."""

    least, most = 0.01, 3.2e7


class PositiveSpeed(Quantity):
    """A speed of an engine."""

    dimension, above, most = "rotational speed", 0.0, 3e4


class ZeroOrConductivity(Quantity):
    """A thermal conductivity, in W/(m K) as everybody writes it; that of diamond is some 2000."""

    dimension, least, most = "thermal conductivity", 0.0, 5000.0


class PositiveConductivity(ZeroOrConductivity):
    """A thermal conductivity of something."""

    above = 0.0


class GasTemperature(Quantity):
    """A temperature of burning gas."""

    dimension, above, most = "temperature", -273.15, 3500.0
