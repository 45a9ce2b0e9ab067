"""Units, tables and roots: factors by definition, values between rows, roots that are known."""

from __future__ import annotations

import math

import numpy as np
import pytest

from headjoint.model.base import units
from headjoint.model.base.property_table import PropertyTable, between, looked_up
from headjoint.model.base.roots import rising_bracket, rising_root
from headjoint.model.base.time_table import TimeTable
from headjoint.model.base.unit_table import DIMENSIONS


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("1 thou", "length", 0.0254),  # exact: 25.4 mm / 1000
        ("25.4 um", "length", 0.0254),
        ("2.5 cm", "length", 25.0),
        ("1/2", "length", None),
        ("0.5 in2", "area", 322.58),  # 0.5 x 645.16
        ("10 kip", "force", 44482.216),  # 1 lbf = 4.4482216152605 N
        ("90 lbf.ft", "torque", 122023.6),  # 1 lbf.ft = 1.3558179 N.m
        ("12 lbf.in", "torque", 1355.8179),
        ("1 ksi", "pressure", 6.894757),
        ("145.0377 psi", "pressure", 1.0),
        ("90 bar", "pressure", 9.0),
        ("10 1/degF", "expansion", 18.0),  # a kelvin is 1.8 degF
        ("12 um/m/K", "expansion", 12e-6),
        ("1 psi/in", "stiffness per area", 0.006894757 / 25.4),
        ("0.5 um/kN", "compliance", 0.5e-6),
        ("2 mm/kN", "compliance", 2e-3),
        ("10 lbf/in", "force per length", 1.75127),  # 4.44822/25.4 N/mm = 0.175127
        ("2 h", "time", 7200.0),
        ("1.5 days", "time", 129600.0),
        ("90 deg", "angle", math.pi / 2),
        ("2 kW/m2K", "heat transfer coefficient", 2000.0),
        ("40 kJ/mol", "energy per amount", 40e3),
        ("100 1/s", "rotational speed", 6000.0),
        ("-40 degF", "temperature", -40.0),
        ("300 kelvin", "temperature", 26.85),
        ("-5e-2 mm", "length", -0.05),
        (".5 mm", "length", 0.5),
    ],
)
def test_a_quantity_is_its_number_in_millimetres_newtons_and_degrees_celsius(text, dimension, value):
    if value is None:
        with pytest.raises(ValueError, match="unknown unit|cannot read|no unit"):
            units.parse(text, dimension)
    else:
        assert units.parse(text, dimension) == pytest.approx(value, rel=1e-6)


def test_bounds_are_included_or_left_out_as_they_are_said():
    assert units.GasketThickness.read(20.0) == 20.0
    for refused in (20.1, 0.0):
        with pytest.raises(ValueError, match="must be"):
            units.GasketThickness.read(refused)
    assert units.ZeroOrLength.read(0.0) == 0.0
    with pytest.raises(ValueError, match="at least 0 mm"):
        units.ZeroOrLength.read(-1e-9)
    with pytest.raises(ValueError, match="greater than -273.15 degC"):
        units.Temperature.read(-273.15)
    assert units.Temperature.read(-273.0) == -273.0
    with pytest.raises(ValueError, match="outside the credible range"):
        units.parse(1.1e15, "length")


def read(kind: type[units.Quantity], value: float) -> units.Quantity:
    """The value with the internal unit of its kind, for a bare number is not enough everywhere."""
    return kind.read(f"{value!r} {DIMENSIONS[kind.dimension][0]}")


KINDS = [kind for kind in vars(units).values() if isinstance(kind, type) and issubclass(kind, units.Quantity)]


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind is not units.Quantity], ids=lambda kind: kind.__name__)
def test_a_kind_of_quantity_keeps_the_bounds_that_its_name_says(kind):
    name = kind.__name__
    if name.startswith(("Positive", "Gasket", "Cylinder")):
        with pytest.raises(ValueError, match="greater than 0|at least 0"):
            read(kind, 0.0)
    if name.startswith("ZeroOr") or name == "GasPressure":
        assert read(kind, 0.0) == 0.0
        with pytest.raises(ValueError, match="at least 0"):
            read(kind, -1e-6)
    if name in ("Length", "Force", "Pressure"):
        assert read(kind, -1e6) == -1e6
    # a thermometer begins at nought kelvin; engines meet 1200 degC, burning gas 3500
    hottest = {"Temperature": 1200.0, "GasTemperature": 3500.0}
    if name in hottest:
        assert read(kind, hottest[name]) == hottest[name]
        for refused in (-273.15, hottest[name] + 0.1):
            with pytest.raises(ValueError, match="must be"):
                read(kind, refused)


@pytest.mark.parametrize(
    ("kind", "most"),
    [
        (units.PositiveLength, 1e4), (units.ZeroOrLength, 1e4), (units.GasketThickness, 20.0), (units.GasPressure, 100.0),
        (units.CylinderPressure, 100.0), (units.Expansion, 1e-3), (units.PositiveTime, 3.2e10), (units.StepTime, 3.2e7),
        (units.PositiveAngle, 62.9), (units.ZeroOrEnergy, 1e6), (units.ZeroOrFilm, 1e7), (units.PositiveSpeed, 3e4),
        (units.ZeroOrConductivity, 5000.0), (units.PositiveConductivity, 5000.0), (units.ZeroOrTime, 3.2e10),
    ],
)  # fmt: skip
def test_a_slip_of_units_is_beyond_the_greatest_value(kind, most):
    assert read(kind, most) == most
    with pytest.raises(ValueError, match="must be at most"):
        read(kind, 1.001 * most)


TABLE = PropertyTable((0.0, 100.0, 200.0), (10.0, 20.0, 5.0))


@pytest.mark.parametrize(
    ("at", "value"),
    [(-50.0, 10.0), (0.0, 10.0), (25.0, 12.5), (100.0, 20.0), (150.0, 12.5), (200.0, 5.0), (900.0, 5.0)],
)
def test_a_table_is_linear_between_its_rows_and_held_beyond(at, value):
    assert TABLE.at(at) == pytest.approx(value)
    assert between(at, TABLE.temperatures, TABLE.values) == pytest.approx(value)
    assert TimeTable(TABLE.temperatures, TABLE.values)(at) == pytest.approx(value)
    assert looked_up(TABLE, np.array([at]))[0] == pytest.approx(value)


def test_a_table_of_one_number_holds_everywhere():
    one = PropertyTable.from_rows(7)
    assert (one.temperatures, one.at(-100.0), looked_up(one, np.array([500.0]))) == ((20.0,), 7.0, 7.0)
    assert PropertyTable.from_rows([[20, 1], [40, 3]]).at(30.0) == 2.0


@pytest.mark.parametrize(
    ("rising", "low", "high", "root"),
    [
        (lambda x: x**3 - 8.0, 0.0, 5.0, 2.0),
        (lambda x: math.exp(x) - 1e6, 0.0, 100.0, math.log(1e6)),
        (lambda x: 3.0 * x - 1.0, -1.0, 1.0, 1.0 / 3.0),
        (lambda x: x, 1.0, 2.0, 1.0),  # not negative at low
    ],
)
def test_the_root_of_a_rising_function_is_found(rising, low, high, root):
    assert rising_root(rising, low, high) == pytest.approx(root, abs=1e-12)


def test_a_root_costs_few_evaluations_and_is_met_within_the_accuracy():
    asked = []

    def rising(x: float) -> float:
        asked.append(x)
        return x**2 - 2.0

    assert rising_root(rising, 0.0, 2.0) == pytest.approx(math.sqrt(2.0), abs=1e-12)
    assert len(asked) < 15
    asked.clear()
    rough = rising_root(rising, 0.0, 2.0, 1e-3)
    assert abs(rough - math.sqrt(2.0)) < 1e-3
    assert len(asked) < 10


def test_a_step_is_found_by_halving_where_the_secant_cannot_help():
    assert rising_root(lambda x: -1.0 if x < 1.7 else 1e-30, 0.0, 4.0) == pytest.approx(1.7, abs=1e-12)
    assert rising_root(lambda x: -1e-30 if x < 1.7 else 1.0, 0.0, 4.0) == pytest.approx(1.7, abs=1e-12)


def test_a_bracket_opens_by_halves_as_far_as_it_may():
    assert rising_bracket(lambda x: x - 0.5, 20.0) == (0.0, 1.0)
    assert rising_bracket(lambda x: x - 2.0, 20.0) == (1.5, 2.25)
    assert rising_bracket(lambda x: x - 19.9, 20.0) == (pytest.approx(1.5**7), 20.0)
    assert rising_bracket(lambda x: x - 20.1, 20.0) is None
