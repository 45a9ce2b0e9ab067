"""Quantities: the table of workshop spellings agrees with pint, and nonsense is refused."""

from __future__ import annotations

import re

import pytest

from headjoint.model.base import units
from headjoint.model.files.stated_units import units_of_file


@pytest.mark.parametrize("dimension", units.DIMENSIONS)
def test_every_spelling_of_the_table_agrees_with_pint(dimension):
    internal, pint_unit, table = units.DIMENSIONS[dimension]
    registry = units._registry()
    spelt = {
        "Nm": "N*m",
        "kNm": "kN*m",
        "/K": "1/K",
        "/degF": "1/delta_degF",
        "1/degF": "1/delta_degF",
        "1/degC": "1/delta_degC",
    }
    spelt |= {"mm2": "mm^2", "cm2": "cm^2", "in2": "in^2", "N/mm2": "N/mm^2", "N/mm3": "N/mm^3", "°C": "degC"}
    per_area = {"W/m2K": "W/m^2/K", "W/(m2 K)": "W/m^2/K", "W/m2/K": "W/m^2/K", "W/(m2.K)": "W/m^2/K"}
    spelt |= per_area | {"kW/m2K": "kW/m^2/K", "W/(m^2 K)": "W/m^2/K"}
    spelt |= dict.fromkeys(("W/mK", "W/(m K)", "W/(m.K)"), "W/m/K")
    spelt |= {"1/min": "turn/min", "rev/min": "turn/min", "1/s": "turn/s"} if dimension == "rotational speed" else {}
    spelt |= {"degC": "delta_degC", "°C": "delta_degC", "degF": "delta_degF"} if "difference" in dimension else {}
    for spelling, factor in table.items():
        written = spelt.get(spelling, spelling).replace("^", "**").replace(".", "*")  # some versions refuse a dot
        quantity = registry.Quantity(1.0, written)
        assert factor == pytest.approx(float(quantity.to(pint_unit).magnitude), rel=1e-12), spelling
    assert table[internal] == 1.0


def test_units_outside_the_table_are_left_to_pint():
    assert units.parse("245 degF", "temperature") == pytest.approx(118.3333, abs=1e-4)
    assert units.parse("0.5 yard", "length") == pytest.approx(457.2)
    assert units.parse("90 foot*force_pound", "torque") == pytest.approx(90 * 1355.8179, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "dimension", "stands_for"),
    [
        ("1.5 kN.m", "torque", 1.5e6),
        ("1.5kN.m", "torque", 1.5e6),
        ("2. kN . m", "torque", 2e6),
        ("1.2 kNm", "torque", 1.2e6),
        ("1.2 kN-m", "torque", 1.2e6),
        ("12 daN.m", "torque", 12e4),
        ("10 kgf.m", "torque", 98066.5),  # standard gravity, exact
        ("90. lbf.ft", "torque", 90 * 4.4482216152605 * 304.8),
        ("90 lbf .ft.", "torque", 90 * 4.4482216152605 * 304.8),
        ("3.5 in.", "length", 88.9),
        ("1 1/8 in.", "length", 28.575),
        (".5 yard", "length", 457.2),
        ("1.5 mm^1.0", "length", 1.5),
        ("0.9 bar", "pressure", 0.09),
        ("3 N.mm^-2", "pressure", 3.0),
        ("30 mW/(mm.K)", "thermal conductivity", 30.0),
        ("0.3 W.m^-1.K^-1", "thermal conductivity", 0.3),
        ("0.4 kW/(m^2.K)", "heat transfer coefficient", 400.0),
        ("12 um/(m.K)", "expansion", 12e-6),
    ],
)
def test_a_dot_between_units_multiplies_and_one_in_a_number_divides_by_ten(text, dimension, stands_for):
    """Whichever version of the unit library reads the rest: some take the dot for a product, others refuse it."""
    assert units.parse(text, dimension) == pytest.approx(stands_for, rel=1e-9)


@pytest.mark.parametrize(
    ("unit", "dimension", "told"),
    [
        ("x.y", "length", "unknown unit 'x.y'"),
        ("N.m", "length", "'N.m' is no unit of length"),
        ("lbf.ft.", "force", "'lbf.ft.' is no unit of force"),
        ("W/m.K", "thermal conductivity", "'W/m.K' is no unit"),  # W K/m as it stands
        ("MPa.mm3", "torque", "unknown unit 'MPa.mm3'"),
        ("kN.1.5m", "torque", "cannot read the unit 'kN.1.5m'"),
        ("%", "length", "'%' is no unit of length"),
    ],
)
def test_a_bad_unit_with_a_dot_is_told_as_it_was_written(unit, dimension, told):
    with pytest.raises(ValueError, match=re.escape(told)):
        units.parse(f"3 {unit}", dimension)


@pytest.mark.parametrize(
    "unit",
    ["mm^9 ^9 ^9", "mm^(9) ^9^9", "mm^9 **9**9", "9^(1+9^9) mm", "mm*9^9_999_999_99", "mm^9 . ^9 . ^9", "mm^9^9^9",
     "mm ^ (9 ^9^9)", "mm*9**99999999", "9**9.9e9 mm", "mm^(1e9)"],
)  # fmt: skip
def test_no_number_in_a_unit_is_reckoned_out(unit, monkeypatch):
    """A power of powers has more digits than a memory holds: what is no spelling never reaches the unit library."""
    monkeypatch.setattr(units, "_registry", lambda: pytest.fail("asked the unit library"))
    with pytest.raises(ValueError, match="cannot read the unit"):
        units.parse(f"3 {unit}", "length")


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
