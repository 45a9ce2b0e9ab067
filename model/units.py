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
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import GetJsonSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

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
    "force": ("N", "N", {"N": 1.0, "kN": 1e3, "MN": 1e6, "lbf": POUND_FORCE, "kip": 1e3 * POUND_FORCE}),
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
    "force per length": ("N/mm", "N/mm", {"N/mm": 1.0, "kN/m": 1.0, "lbf/in": POUND_FORCE / INCH}),
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
}

_NUMBER = re.compile(r"^\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*$")
_LARGEST = 1e15  # nothing about a joint is larger in internal units; catches slips of many powers of ten


@cache
def _registry() -> pint.UnitRegistry:
    import pint

    registry = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
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
        raise ValueError(f"not a finite {dimension} of this world; give one such as {_EXAMPLE[dimension]}")
    return number


class _Dimension:
    """Pydantic annotation that reads a quantity and describes it in the JSON schema."""

    def __init__(self, dimension: str) -> None:
        self.dimension = dimension

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> CoreSchema:
        def read(value: object) -> float:
            try:
                return parse(value, self.dimension)
            except ValueError as error:
                # the text goes in as a parameter: it may hold braces that a user typed
                raise PydanticCustomError("quantity", "{problem}", {"problem": str(error)}) from None

        return core_schema.no_info_before_validator_function(read, handler(source))

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        internal = DIMENSIONS[self.dimension][0]
        bounds = {k: v for k, v in handler(schema).items() if k in ("exclusiveMinimum", "minimum", "maximum")}
        return {
            "anyOf": [{"type": "number", **bounds}, {"type": "string"}],
            "description": f"{self.dimension}; a bare number is in {internal}",
            "examples": [text.strip() for text in re.findall(r"'(.*?)'", _EXAMPLE[self.dimension])],
        }


Length = Annotated[float, _Dimension("length")]
Area = Annotated[float, _Dimension("area")]
Force = Annotated[float, _Dimension("force")]
Torque = Annotated[float, _Dimension("torque")]
Pressure = Annotated[float, _Dimension("pressure")]
Temperature = Annotated[float, _Dimension("temperature")]
Expansion = Annotated[float, _Dimension("expansion")]
StiffnessPerArea = Annotated[float, _Dimension("stiffness per area")]
Compliance = Annotated[float, _Dimension("compliance")]
