"""Quantities: the table of workshop spellings agrees with pint, and nonsense is refused."""

from __future__ import annotations

import pytest

from headjoint.model.base import units


@pytest.mark.parametrize("dimension", units.DIMENSIONS)
def test_every_spelling_of_the_table_agrees_with_pint(dimension):
    internal, pint_unit, table = units.DIMENSIONS[dimension]
    registry = units._registry()
    spelt = {"Nm": "N*m", "/K": "1/K", "/degF": "1/delta_degF", "1/degF": "1/delta_degF", "1/degC": "1/delta_degC"}
    spelt |= {"mm2": "mm^2", "cm2": "cm^2", "in2": "in^2", "N/mm2": "N/mm^2", "N/mm3": "N/mm^3", "°C": "degC"}
    per_area = {"W/m2K": "W/m^2/K", "W/(m2 K)": "W/m^2/K", "W/m2/K": "W/m^2/K", "W/(m2.K)": "W/m^2/K"}
    spelt |= per_area | {"kW/m2K": "kW/m^2/K", "W/(m^2 K)": "W/m^2/K"}
    spelt |= dict.fromkeys(("W/mK", "W/(m K)", "W/(m.K)"), "W/m/K")
    spelt |= {"1/min": "turn/min", "rev/min": "turn/min", "1/s": "turn/s"} if dimension == "rotational speed" else {}
    for spelling, factor in table.items():
        quantity = registry.Quantity(1.0, spelt.get(spelling, spelling).replace("^", "**"))
        assert factor == pytest.approx(float(quantity.to(pint_unit).magnitude), rel=1e-12), spelling
    assert table[internal] == 1.0


def test_units_outside_the_table_are_left_to_pint():
    assert units.parse("245 degF", "temperature") == pytest.approx(118.3333, abs=1e-4)
    assert units.parse("0.5 yard", "length") == pytest.approx(457.2)
    assert units.parse("90 foot*force_pound", "torque") == pytest.approx(90 * 1355.8179, rel=1e-6)


def test_a_bare_number_is_in_the_internal_unit():
    assert units.parse(3, "length") == 3.0
    assert units.parse("3", "length") == 3.0


@pytest.mark.parametrize(
    "text", ["12 kg", "", "mm", "three mm", "1 mm mm[", "1e400 mm", "nan", "{0} mm", "1 __class__"]
)
def test_nonsense_is_refused_with_an_example(text):
    with pytest.raises(ValueError, match="'1.2 mm' or '0.047 in'"):
        units.parse(text, "length")


@pytest.mark.parametrize("value", [True, None, [1.0], {"a": 1}])
def test_what_is_no_quantity_is_refused(value):
    with pytest.raises(ValueError, match="give a length"):
        units.parse(value, "length")
