"""Quantities with units at the border; plain floats in the internal units inside.

Internal units: N, mm, MPa, N.mm, degC (K for differences), 1/K, MPa/mm, mm/N. A quantity in a joint file
is a bare number (internal unit) or text such as ``"90 lbf.ft"``. The spellings that workshops use are in
the table below, so that reading a joint needs no unit library at start-up; every other spelling goes
through pint, and a test holds the table against pint.
"""

from __future__ import annotations

import math
import re
from functools import cache
from typing import TYPE_CHECKING, Any, ClassVar, Self

if TYPE_CHECKING:
    import pint

POUND_FORCE = 4.4482216152605  # N, exact by definition of the pound and standard gravity
INCH = 25.4  # mm, exact
PSI = POUND_FORCE / INCH**2  # MPa

# dimension -> (internal unit as written to users, pint spelling of it, {spelling: factor to internal})
DIMENSIONS: dict[str, tuple[str, str, dict[str, float]]] = {
    "length": (
        "mm",
        "mm",
        {
            "mm": 1.0,
            "cm": 10.0,
            "m": 1e3,
            "um": 1e-3,
            "µm": 1e-3,
            "in": INCH,
            "inch": INCH,
            "thou": INCH / 1e3,
        },
    ),
    "area": ("mm2", "mm**2", {"mm2": 1.0, "mm^2": 1.0, "cm2": 100.0, "in2": INCH**2, "in^2": INCH**2}),
    "force": (
        "N",
        "N",
        {"N": 1.0, "kN": 1e3, "MN": 1e6, "lbf": POUND_FORCE, "klbf": 1e3 * POUND_FORCE, "kip": 1e3 * POUND_FORCE},
    ),
    "torque": (
        "N.mm",
        "N*mm",
        {
            "N.mm": 1.0,
            "N.m": 1e3,
            "Nm": 1e3,
            "N*m": 1e3,
            "lbf.ft": POUND_FORCE * INCH * 12.0,
            "ft.lbf": POUND_FORCE * INCH * 12.0,
            "lbf.in": POUND_FORCE * INCH,
        },
    ),
    "pressure": (
        "MPa",
        "MPa",
        {
            "MPa": 1.0,
            "GPa": 1e3,
            "kPa": 1e-3,
            "Pa": 1e-6,
            "bar": 0.1,
            "psi": PSI,
            "ksi": 1e3 * PSI,
            "N/mm2": 1.0,
        },
    ),
    "temperature": ("degC", "degC", {"degC": 1.0, "°C": 1.0}),
    "expansion": (
        "1/K",
        "1/K",
        {"1/K": 1.0, "/K": 1.0, "1/degC": 1.0, "um/m/K": 1e-6, "1/degF": 1.8, "/degF": 1.8},
    ),
    "stiffness per area": (
        "MPa/mm",
        "MPa/mm",
        {"MPa/mm": 1.0, "GPa/mm": 1e3, "N/mm3": 1.0, "psi/in": PSI / INCH},
    ),
    "compliance": ("mm/N", "mm/N", {"mm/N": 1.0, "um/N": 1e-3, "um/kN": 1e-6, "mm/kN": 1e-3}),
    "force per length": ("N/mm", "N/mm", {"N/mm": 1.0, "kN/mm": 1e3, "kN/m": 1.0, "lbf/in": POUND_FORCE / INCH}),
    "time": ("s", "s", {"s": 1.0, "min": 60.0, "h": 3600.0, "day": 86400.0, "days": 86400.0, "d": 86400.0}),
    "angle": ("rad", "rad", {"rad": 1.0, "deg": math.pi / 180.0, "°": math.pi / 180.0}),
    "heat transfer coefficient": (
        "W/(m2 K)",
        "W/m**2/K",
        {"W/m2K": 1.0, "W/(m2 K)": 1.0, "W/m2/K": 1.0, "W/(m2.K)": 1.0, "kW/m2K": 1e3, "W/(m^2 K)": 1.0},
    ),
    "energy per amount": ("J/mol", "J/mol", {"J/mol": 1.0, "kJ/mol": 1e3}),
    "rotational speed": ("1/min", "rpm", {"1/min": 1.0, "rpm": 1.0, "rev/min": 1.0, "1/s": 60.0}),
    "thermal conductivity": (
        "W/(m K)",
        "W/m/K",
        {"W/mK": 1.0, "W/(m K)": 1.0, "W/m/K": 1.0, "W/(m.K)": 1.0},
    ),
}

_EXAMPLE = {
    "length": "'1.2 mm' or '0.047 in'",
    "area": "'2400 mm2' or '3.7 in2'",
    "force": "'65 kN' or '14600 lbf'",
    "torque": "'120 N.m' or '90 lbf.ft'",
    "pressure": "'110 GPa', '90 bar' or '1300 psi'",
    "temperature": "'118 degC' or '245 degF'",
    "expansion": "'12e-6 1/K'",
    "stiffness per area": "'4000 MPa/mm'",
    "compliance": "'0.5 um/kN'",
    "force per length": "'120 N/mm'",
    "time": "'24 h' or '10 min'",
    "angle": "'90 deg'",
    "heat transfer coefficient": "'400 W/m2K'",
    "energy per amount": "'40 kJ/mol'",
    "rotational speed": "'6000 1/min' or '6000 rpm'",
    "thermal conductivity": "'0.03 W/mK'",
}

_NUMBER = re.compile(r"^\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*$")
_LARGEST = 1e15  # nothing about a joint is larger in internal units; catches slips of many powers of ten


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
    internal, pint_unit, table = DIMENSIONS[dimension]
    if unit in table:
        return number * table[unit]
    import pint

    wanted = f"a {dimension} such as {_EXAMPLE[dimension]}"
    try:
        quantity = _registry().Quantity(number, unit.replace("°", "deg").replace("^", "**"))
        return float(quantity.to(pint_unit).magnitude)
    except pint.UndefinedUnitError:
        raise ValueError(f"unknown unit '{unit}'; give {wanted} (bare number: {internal})") from None
    except pint.DimensionalityError:
        raise ValueError(f"unit '{unit}' is no unit of {dimension}; give {wanted}") from None
    except Exception:  # the library's parser raises many kinds on damaged text
        raise ValueError(f"cannot read the unit '{unit}'; give {wanted}") from None


def parse(value: object, dimension: str) -> float:
    """Read a quantity as a user writes it: a bare number in the internal unit, or number and unit.

    Parameters
    ----------
    value : int, float or text.
    dimension : key of `DIMENSIONS`.

    Raises
    ------
    ValueError : one sentence saying what is allowed.
    """
    internal = DIMENSIONS[dimension][0]
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        raise ValueError(f"give a {dimension} such as {_EXAMPLE[dimension]} (bare number: {internal})")
    if isinstance(value, (int, float)):
        number = float(value)
    else:
        match = _NUMBER.match(value)
        if match is None:
            raise ValueError(f"no number found; give a {dimension} such as {_EXAMPLE[dimension]}")
        number, unit = float(match[1]), match[2]
        if unit:
            number = convert(number, unit, dimension)
    if not math.isfinite(number) or abs(number) > _LARGEST:
        raise ValueError(f"outside the credible range of a {dimension}; give one such as {_EXAMPLE[dimension]}")
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
        return {
            "anyOf": [
                {"type": "number", **{key: bound for key, bound in bounds.items() if bound is not None}},
                {"type": "string"},
            ],
            "description": f"{cls.dimension}; a bare number is in {internal}",
            "examples": re.findall(r"'(.*?)'", _EXAMPLE[cls.dimension]),
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
