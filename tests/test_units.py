"""Quantities: the table of workshop spellings agrees with pint, and nonsense is refused."""

from __future__ import annotations

import pytest

from headjoint.model.base import units
from headjoint.model.files.stated_units import units_of_file


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
    spelt |= {"degC": "delta_degC", "°C": "delta_degC", "degF": "delta_degF"} if "difference" in dimension else {}
    for spelling, factor in table.items():
        quantity = registry.Quantity(1.0, spelt.get(spelling, spelling).replace("^", "**"))
        assert factor == pytest.approx(float(quantity.to(pint_unit).magnitude), rel=1e-12), spelling
    assert table[internal] == 1.0


def test_units_outside_the_table_are_left_to_pint():
    assert units.parse("245 degF", "temperature") == pytest.approx(118.3333, abs=1e-4)
    assert units.parse("0.5 yard", "length") == pytest.approx(457.2)
    assert units.parse("90 foot*force_pound", "torque") == pytest.approx(90 * 1355.8179, rel=1e-6)


@pytest.mark.parametrize("unit", ["degC", "degc", "deg C", "c", "°C", "k"])
def test_a_rise_may_be_spelt_as_a_temperature(unit):
    """A rise of 15 degC is one of 15 K, and 27 degF are 27/1.8 = 15 K."""
    assert units.parse(f"15 {unit}", "temperature difference") == pytest.approx(15.0)
    assert units.parse("27 degf", "temperature difference") == pytest.approx(15.0)


@pytest.mark.parametrize("dimension", ["length", "area", "pressure", "temperature", "expansion", "stiffness per area"])
def test_a_bare_number_is_in_the_unit_that_everybody_means(dimension):
    assert units.parse(3, dimension) == 3.0
    assert units.parse("3", dimension) == 3.0


@pytest.mark.parametrize(
    ("dimension", "value", "meant"),
    [
        ("torque", 90, "90 N.m or 90 lbf.ft?"),
        ("torque", "90", "90 N.m or 90 lbf.ft?"),
        ("force", 62.5, "62.5 N, 62.5 kN or 62.5 lbf?"),
        ("time", 24, "24 s or 24 h?"),
        ("angle", 90, "90 deg or 90 rad?"),
        ("compliance", 1e-6, "1e-06 um/kN or 1e-06 mm/N?"),
        ("force per length", 600, "600 kN/mm or 600 lbf/in?"),
        ("energy per amount", 40, "40 kJ/mol or 40 J/mol?"),
    ],
)
def test_a_bare_number_that_nobody_means_in_the_internal_unit_is_refused_with_the_units_it_needs(
    dimension, value, meant
):
    with pytest.raises(ValueError, match="a bare number says no") as caught:
        units.parse(value, dimension)
    assert meant in str(caught.value)


@pytest.mark.parametrize("dimension", units.DIMENSIONS)
def test_nothing_is_nothing_in_any_unit(dimension):
    assert units.parse(0, dimension) == 0.0
    assert units.parse("0", dimension) == 0.0


def test_a_schema_asks_for_text_where_a_bare_number_is_refused():
    assert units.PositiveTorque.schema()["anyOf"] == [{"const": 0}, {"type": "string"}]
    assert units.PositiveLength.schema()["anyOf"][0] == {"type": "number", "exclusiveMinimum": 0.0, "maximum": 1e4}


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('a = "76 lbf.ft"\nb = "3.39 in"\nc = "14 mm"', "workshop"),
        ('a = "76 lbf.ft"\nb = "86 mm"\nc = "14 mm"', "si"),
        ('a = "76 lbf.ft"\nb = "86 mm"', "si"),  # as many of one as of the other
        ('a = ["1300 psi", "245 degF"]\n[[b.c]]\nd = { e = "9 um", f = "3 thou" }', "workshop"),
        ('a = "24 h"\nb = "90 deg"\nc = "6000 rpm"\nd = "3 in"', "workshop"),  # those of everybody do not count
        ("a = 3", "si"),
        ('name = "M11x1.25 in 4 bores"\nthread = "7/16-20 UNF"', "si"),
        ("this is no TOML 3 in", "si"),
    ],
)
def test_a_file_is_answered_in_the_units_that_most_of_it_is_written_in(text, told):
    assert units_of_file(text) == told


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
