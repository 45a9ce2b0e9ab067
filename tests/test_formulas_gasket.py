"""Gasket laws stacked, stopped and closed in loops, on straight lines whose sums and areas are done by hand."""

from __future__ import annotations

import dataclasses

import pytest
from hand_made import ELASTIC, LINEAR, rows

from headjoint.model.gasket.layers import at_least_steepest, in_series, with_stop
from headjoint.model.gasket.loading import LoadingCurve, curve_at
from headjoint.model.gasket.loop_energy import loop_energy
from headjoint.model.gasket.one_stiffness import OneStiffnessLaw
from headjoint.model.library.plasticity import Creep

# 100 MPa at 0.1 mm cold, 60 MPa hot; springs back at 2000 MPa/mm
COLD_AND_HOT = OneStiffnessLaw(
    "soft",
    (LoadingCurve(20.0, (0.0, 0.1), (0.0, 100.0)), LoadingCurve(120.0, (0.0, 0.2), (0.0, 120.0))),
    unloading_stiffness=2000.0,
)


def test_a_curve_between_two_temperatures_has_the_rows_of_both():
    middle = curve_at(COLD_AND_HOT.curves, 70.0)
    assert middle.closure == (0.0, 0.1, 0.2)
    # half of 1000 and half of 600 MPa/mm; beyond its last row the cold curve goes on
    assert middle.pressure == pytest.approx((0.0, 80.0, 160.0))
    assert curve_at(COLD_AND_HOT.curves, 500.0).pressure == (0.0, 120.0)
    assert curve_at(COLD_AND_HOT.curves, -40.0).pressure == (0.0, 100.0)
    quarter = curve_at(COLD_AND_HOT.curves, 45.0)
    assert quarter.at(0.1) == pytest.approx(0.75 * 100 + 0.25 * 60)


def test_closures_of_layers_add_and_so_do_their_compliances():
    found = in_series("pair", [LINEAR, COLD_AND_HOT])
    cold, hot = found.curves
    # under 50 MPa: 0.05 and 0.05 mm cold, 0.05 and 0.0833 mm hot
    assert cold.at(0.1) == pytest.approx(50.0)
    assert hot.at(0.05 + 50.0 / 600.0) == pytest.approx(50.0)
    assert found.unloading_stiffness == pytest.approx(1 / (1 / 4000 + 1 / 2000))
    # one that keeps no set counts with its loading slope
    assert in_series("pair", [LINEAR, ELASTIC]).unloading_stiffness == pytest.approx(1 / (1 / 4000 + 1 / 1000))
    assert in_series("pair", [ELASTIC, ELASTIC]).unloading_stiffness is None


def test_crush_is_the_least_and_the_range_the_greatest_of_the_layers():
    one = dataclasses.replace(LINEAR, crush_pressure=300.0, spread=0.2)
    other = dataclasses.replace(LINEAR, crush_pressure=200.0, spread=0.3)
    found = in_series("pair", [one, other, dataclasses.replace(one, crush_pressure=None)])
    assert (found.crush_pressure, found.spread) == (200.0, 0.3)
    assert in_series("pair", [one, LINEAR]).spread is None


def test_creep_sets_of_layers_add_under_one_pressure():
    # sets 0.08 p/4000 and 0.02 p/2000 make 0.00003 p: of 1333 MPa/mm a rate of 0.04
    one = dataclasses.replace(LINEAR, creep=Creep("logarithmic", rows((20, 0.08), (120, 0.16)), 10.0))
    other = dataclasses.replace(COLD_AND_HOT, creep=Creep("logarithmic", rows((20, 0.02)), 10.0))
    found = in_series("pair", [one, other]).creep
    assert found.rate.temperatures == (20.0, 120.0)
    assert found.rate.values == pytest.approx((4000 / 3 * (2e-5 + 1e-5), 4000 / 3 * (4e-5 + 1e-5)))
    assert (found.kind, found.onset) == ("logarithmic", 10.0)


def test_a_stop_takes_its_stiffness_times_what_is_closed_beyond_it():
    found = with_stop(LINEAR, 0.06, 5000.0)
    curve = found.curves[0]
    assert [curve.at(c) for c in (0.03, 0.06, 0.08, 0.1, 0.12)] == pytest.approx([30.0, 60.0, 180.0, 300.0, 420.0])
    assert found.unloading_stiffness == 9000.0
    # beyond the last row of the law another row shows the slope
    late = with_stop(LINEAR, 0.1, 5000.0).curves[0]
    assert late.at(0.15) == pytest.approx(150.0 + 250.0)
    assert with_stop(ELASTIC, 0.06, 5000.0).unloading_stiffness is None


def test_an_unloading_stiffness_is_lifted_over_rounding_only():
    curves = (LoadingCurve(20.0, (0.0, 0.1), (0.0, 100.0)),)
    assert at_least_steepest(999.99, curves) == pytest.approx(1000.0, abs=1e-9)
    assert at_least_steepest(999.0, curves) == 999.0
    assert at_least_steepest(1200.0, curves) == 1200.0
    assert at_least_steepest(None, curves) is None


def test_a_loop_costs_the_triangle_between_loading_and_springing_back():
    # up 0.1 x 100/2 = 5, back 0.025 x 100/2 = 1.25 N/mm
    assert loop_energy(LINEAR, [0.0, 0.1, 0.0], 20.0) == pytest.approx(3.75)
    # a second time it springs only: nothing more
    assert loop_energy(LINEAR, [0.0, 0.1, 0.0, 0.1, 0.0], 20.0) == pytest.approx(3.75)
    # on to 0.2 mm the second time: up 20 less back 5
    assert loop_energy(LINEAR, [0.0, 0.1, 0.0, 0.2, 0.0], 20.0) == pytest.approx(15.0)
    assert loop_energy(ELASTIC, [0.0, 0.1, 0.03, 0.0], 20.0) == pytest.approx(0.0, abs=1e-12)
    # half-way back and up again: only the way to the first corner costs
    assert loop_energy(LINEAR, [0.0, 0.1, 0.08, 0.1, 0.0], 20.0) == pytest.approx(3.75)


def test_a_zone_closed_cold_and_opened_hot_gives_back_less():
    # closed to 0.1 mm under 100 MPa: 5; at 120 degC it bears 60 MPa there, sets to 0.1 - 60/2000 = 0.07 and gives back
    # 60 x 0.03/2 = 0.9
    assert loop_energy(COLD_AND_HOT, [0.0, 0.1, 0.0], [20.0, 120.0]) == pytest.approx(5.0 - 0.9)
    # the elastic one closed hot (3) and opened cold (5) turns heat into work
    springy = dataclasses.replace(COLD_AND_HOT, unloading_stiffness=None)
    assert loop_energy(springy, [0.0, 0.1, 0.0], [120.0, 20.0]) == pytest.approx(-2.0)
