"""Zones that spring back the stiffer the harder they were pressed: by hand, drawn, read from files, and in a joint."""

from __future__ import annotations

import dataclasses
import math
import re

import numpy as np
import pytest
from conftest import shipped_text
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from headjoint.cases.condensed.condensation import condense, full_model
from headjoint.cases.condensed.gasket_creep import CreepStep, creep_growth, creeping_pressure, kept_in_rig
from headjoint.cases.condensed.interface_laws import PointGroup
from headjoint.cases.load_cases.solved import solve_joint
from headjoint.cases.models.condensed import OneFastener, chain_of
from headjoint.cases.service.model import service_of
from headjoint.cases.service.run import run_service
from headjoint.meshes.one_fastener.single_stud import build
from headjoint.model.base.errors import InputError
from headjoint.model.base.property_table import PropertyTable
from headjoint.model.formulas.estimate import estimate
from headjoint.model.gasket.law import check_law
from headjoint.model.gasket.layers import in_series
from headjoint.model.gasket.loading import LoadingCurve
from headjoint.model.gasket.loop_energy import loop_energy
from headjoint.model.gasket.one_stiffness import OneStiffnessLaw
from headjoint.model.gasket.shipped_laws import gasket_law
from headjoint.model.gasket.stiffness_by_pressure import StiffnessByPressureLaw
from headjoint.model.joint import Joint
from headjoint.model.library.plasticity import Creep
from headjoint.model.reading.reading import parse_joint
from headjoint.postproc.joint.listings import print_listing
from headjoint.postproc.law.pictures import law_picture
from headjoint.postproc.law.report import print_laws

COLD = LoadingCurve(20.0, (0.0, 0.1, 0.2), (0.0, 20.0, 60.0))
HOT = LoadingCurve(120.0, (0.0, 0.1, 0.2), (0.0, 10.0, 30.0))
ROWS = ((20.0, 500.0), (60.0, 1000.0))
SHEET = StiffnessByPressureLaw("sheet", (COLD,), ROWS)
HEATED = StiffnessByPressureLaw("heated", (COLD, HOT), ROWS)


# --- by hand: 200 then 400 MPa/mm of loading, 500 MPa/mm back from 20 MPa, 1000 from 60 MPa


def test_a_zone_springs_back_by_the_pressure_that_it_has_reached():
    for closure, pressure, stiffness in ((0.05, 10.0, 500.0), (0.1, 20.0, 500.0), (0.15, 40.0, 750.0), (0.3, 100.0, 1000.0)):  # fmt: skip
        kept = check_law(SHEET, "sheet").set_after(closure, 0.0, 20.0)
        assert kept == pytest.approx(closure - pressure / stiffness)
        assert SHEET.lift_off(kept) == kept
        assert SHEET.pressure(closure, kept, 20.0) == pytest.approx(pressure)
        assert SHEET.pressure(closure - 0.01, kept, 20.0) == pytest.approx(pressure - 0.01 * stiffness)
        assert SHEET.pressure(kept - 0.01, kept, 20.0) == 0.0


def test_a_zone_that_is_pressed_again_goes_on_loading_where_it_left():
    # 40 MPa at 0.15 mm, a set of 0.15 - 40/750; then 44 MPa at 0.16 mm, 800 MPa/mm back, a set of 0.16 - 0.055
    kept = SHEET.set_after(0.15, 0.0, 20.0)
    assert kept == pytest.approx(0.0966667, abs=1e-7)
    assert SHEET.set_after(0.12, kept, 20.0) == pytest.approx(kept, rel=1e-12)
    assert SHEET.pressure(0.16, kept, 20.0) == pytest.approx(44.0)
    assert SHEET.set_after(0.16, kept, 20.0) == pytest.approx(0.105)
    assert SHEET.corners(kept, 20.0) == pytest.approx([0.0, kept, 0.1, 0.15, 0.2])


def test_a_soft_line_ends_where_the_zone_goes_on_loading_though_it_lies_lower_further_on():
    curve = LoadingCurve(20.0, (0.0, 0.1, 0.2), (0.0, 5.0, 50.0))
    law = check_law(StiffnessByPressureLaw("foam", (curve,), ((0.0, 60.0), (5.0, 450.0))), "foam")
    # 2.5 MPa at 0.05 mm: 255 MPa/mm back, which on and on would come to 40.7 MPa at 0.2 mm only
    kept = law.set_after(0.05, 0.0, 20.0)
    assert kept == pytest.approx(0.05 - 2.5 / 255.0)
    assert 255.0 * (0.2 - kept) < 41.0
    assert law.pressure(0.2, kept, 20.0) == 50.0
    p, slope = law.pressures(np.array([0.2, 0.045]), np.full(2, kept), 20.0)
    assert p == pytest.approx([50.0, 2.5 - 0.005 * 255.0])
    assert slope == pytest.approx([450.0, 255.0])


def test_a_zone_loaded_hot_springs_back_like_one_that_keeps_its_set_in_the_cold():
    # 30 MPa at 0.2 mm hot. In the cold 80 MPa at 0.25 mm leave 0.25 - 80/1000 = 0.17 mm, and 1000 (0.2 - 0.17) = 30
    kept = check_law(HEATED, "heated").set_after(0.2, 0.0, 120.0)
    assert kept == pytest.approx(0.17)
    for temperature in (20.0, 120.0):
        assert HEATED.pressure(0.18, kept, temperature) == pytest.approx(10.0)
    # cold again it is on that line until 80 MPa, not on its loading curve
    assert HEATED.pressure(0.2, kept, 20.0) == pytest.approx(30.0)
    assert HEATED.pressure(0.25, kept, 20.0) == pytest.approx(80.0)
    assert HEATED.pressure(0.26, kept, 20.0) == pytest.approx(84.0)
    # 10 MPa at 0.1 mm hot: 0.1 + y/400 - (y + 10)/(500 + 12.5 y) = 0.1 after 20 + y MPa, 12.5 y^2 + 100 y = 4000
    y = (-100.0 + math.sqrt(10000.0 + 200000.0)) / 25.0
    assert HEATED.set_after(0.1, 0.0, 120.0) == pytest.approx(0.1 - 10.0 / (500.0 + 12.5 * y))


def test_beyond_all_rows_lines_are_parallel_and_a_hot_curve_may_rise_above_the_cold_one():
    hot = LoadingCurve(120.0, (0.0, 0.1, 0.2, 0.3), (0.0, 10.0, 30.0, 75.0))
    law = check_law(StiffnessByPressureLaw("long", (COLD, hot), ROWS), "long")
    # at 1 mm 60 + 0.8 400 = 380 MPa cold, 75 + 0.7 450 = 390 MPa hot; 1000 MPa/mm back
    kept = law.set_after(1.0, 0.0, 120.0)
    assert kept == pytest.approx(0.61)
    for temperature in (20.0, 120.0):
        assert law.pressure(0.98, kept, temperature) == pytest.approx(370.0)
        assert law.pressures(np.array([0.98]), np.array([kept]), temperature)[0] == pytest.approx(370.0)
    assert law.pressure(1.01, kept, 120.0) == pytest.approx(394.5)
    assert law.pressure(1.01, kept, 20.0) == pytest.approx(384.0)
    assert law.sets_after(np.array([1.0]), np.zeros(1), 120.0) == pytest.approx(0.61)


def test_a_loop_takes_what_lies_between_loading_and_its_own_line():
    # in to 40 MPa: 0.1 20/2 + 0.05 (20 + 40)/2 = 2.5; back 40^2/(2 750)
    assert loop_energy(SHEET, [0.0, 0.15, 0.0], 20.0) == pytest.approx(2.5 - 1600.0 / 1500.0)
    # pressed on to 60 MPa: 4.5 more of loading from there, less the triangle it came back by, and back 60^2/2000
    assert loop_energy(SHEET, [0.0, 0.15, 0.0, 0.2, 0.0], 20.0) == pytest.approx(2.5 + 2.5 - 1800.0 / 1000.0)


def test_a_law_scaled_keeps_its_sets():
    half = SHEET.scaled(0.5)
    assert half.unloading == ((10.0, 250.0), (30.0, 500.0))
    kept = half.set_after(0.15, 0.0, 20.0)
    assert kept == pytest.approx(0.15 - 40.0 / 750.0)
    assert half.pressure(0.14, kept, 20.0) == pytest.approx(0.5 * (40.0 - 7.5))


def creeping(law: StiffnessByPressureLaw, rate: float = 0.1) -> StiffnessByPressureLaw:
    return check_law(
        dataclasses.replace(law, creep=Creep("logarithmic", PropertyTable((20.0,), (rate,)), 60.0)), "creeping"
    )


def test_a_zone_creeps_by_the_stiffness_of_its_present_pressure_and_stiffens():
    law = creeping(SHEET)
    group = PointGroup("zone", "gasket", np.arange(2), law)
    # under 40 MPa 0.1 40/750 mm per e-fold of time, under 10 MPa 0.1 10/500; e^2 - 1 onsets are two e-folds
    duration = 60.0 * (math.e**2 - 1.0)
    growth, slope = creep_growth(group, np.array([40.0, 10.0]), np.zeros(2), 20.0, duration)
    assert growth == pytest.approx([0.2 * 40.0 / 750.0, 0.2 * 10.0 / 500.0])
    # d(p/k)/dp = (k - p k')/k^2 = (750 - 40 12.5)/750^2
    assert slope == pytest.approx([0.2 * 250.0 / 750.0**2, 0.2 / 500.0])
    # the set of 60 MPa is 0.14 mm, by loading or by creep: 1000 MPa/mm back from there
    assert law.pressure(0.15, 0.14, 20.0) == pytest.approx(10.0)
    # what has crept goes on where it stood
    half = creep_growth(group, np.full(2, 40.0), np.zeros(2), 20.0, 1800.0)[0]
    whole = creep_growth(group, np.full(2, 40.0), np.zeros(2), 20.0, 3600.0)[0]
    assert half + creep_growth(group, np.full(2, 40.0), half, 20.0, 1800.0)[0] == pytest.approx(whole, rel=1e-12)


def test_a_zone_held_closed_loses_pressure_by_its_growing_set_and_stiffness():
    law = creeping(SHEET)
    group = PointGroup("zone", "gasket", np.arange(1), law)
    kept = np.array([law.set_after(0.15, 0.0, 20.0)])
    step = CreepStep(np.zeros(1), 1e5)
    (p,), _ = creeping_pressure(group, np.array([0.15]), kept, 20.0, step)
    # by halving: under q for the whole time it sets by g(q) and bears what its line at kept + g(q) has at 0.15 mm
    low, high = 0.0, 40.0
    for _ in range(80):
        q = (low + high) / 2.0
        grown = float(kept[0]) + 0.1 * q / law.stiffness_after(q) * math.log1p(1e5 / 60.0)
        low, high = (low, q) if law.pressure(0.15, grown, 20.0) < q else (q, high)
    assert p == pytest.approx(q, rel=1e-10)
    assert 10.0 < p < 30.0


def test_a_ring_in_its_rig_loses_less_the_stiffer_it_grows():
    one = OneStiffnessLaw("one", (COLD,), 750.0, creep=creeping(SHEET).creep)
    # stiffness by pressure, but the same all along
    level = StiffnessByPressureLaw("level", (COLD,), ((20.0, 750.0), (60.0, 750.0)), creep=one.creep)
    assert kept_in_rig(level, 40.0, 20.0, 1e5) == pytest.approx(kept_in_rig(one, 40.0, 20.0, 1e5), rel=1e-12)
    assert kept_in_rig(one, 40.0, 20.0, 1e5) < kept_in_rig(creeping(SHEET), 40.0, 20.0, 1e5) < 1.0


def test_a_line_may_lie_on_the_loading_curve():
    # back along the 200 MPa/mm of loading, so no set, until 20 MPa; after 40 MPa 600 MPa/mm
    curve = LoadingCurve(20.0, (0.0, 0.07, 0.2), (0.0, 14.0, 40.0))
    law = check_law(StiffnessByPressureLaw("just", (curve,), ((20.0, 200.0), (40.0, 600.0))), "just")
    for closure in (0.03, 0.07, 0.09):
        kept = law.set_after(closure, 0.0, 20.0)
        assert kept == pytest.approx(0.0, abs=1e-9)
        for lower in (0.01, 0.02, closure):
            assert law.pressure(lower, kept, 20.0) == pytest.approx(200.0 * lower)
            assert law.pressures(np.array([lower]), np.array([kept]), 20.0)[0] == pytest.approx(200.0 * lower)
    assert law.set_after(0.2, 0.0, 20.0) == pytest.approx(0.2 - 40.0 / 600.0)
    assert loop_energy(law, [0.0, 0.09, 0.03, 0.0], 20.0) == pytest.approx(0.0, abs=1e-12)


def test_a_table_of_one_row_is_the_law_of_one_stiffness():
    one, table = OneStiffnessLaw("one", (COLD, HOT), 500.0), StiffnessByPressureLaw("one", (COLD, HOT), ((9.0, 500.0),))
    closures = np.linspace(-0.02, 0.4, 211)
    for temperature in (20.0, 77.0, 120.0):
        for permanent_set in (0.0, 0.06, 0.2):
            sets = np.full(211, permanent_set)
            for found, expected in zip(table.pressures(closures, sets, temperature), one.pressures(closures, sets, temperature), strict=True):  # fmt: skip
                assert found == pytest.approx(expected, rel=1e-12, abs=1e-12)
            expected = one.sets_after(closures, sets, temperature)
            assert table.sets_after(closures, sets, temperature) == pytest.approx(expected, rel=1e-12, abs=1e-15)


# --- drawn


@st.composite
def tables(draw) -> StiffnessByPressureLaw:
    """Draw a law that `check_law` accepts: level pieces, a first touch, up to three temperatures, rising or falling."""
    closure, pressure = [draw(st.sampled_from([0.0, 0.05]))], [0.0]
    for step in draw(st.lists(st.floats(1e-3, 0.2), min_size=1, max_size=6)):
        closure.append(closure[-1] + step)
        pressure.append(pressure[-1] + draw(st.one_of(st.just(0.0), st.floats(0.01, 200.0))))
    curves = [LoadingCurve(20.0, tuple(closure), tuple(pressure))]
    for temperature in (100.0, 200.0)[: draw(st.integers(0, 2))]:
        # softer, and touching later
        share, late = draw(st.floats(0.3, 1.0)), draw(st.sampled_from([0.0, 0.013]))
        before = curves[-1]
        later = tuple(one + late for one in before.closure)
        curves.append(LoadingCurve(temperature, later, tuple(share * one for one in before.pressure)))

    def needed(reached: float) -> float:
        steep = [
            slope
            for curve in curves
            for start, slope in zip(curve.closure, curve.slopes(), strict=False)
            if curves[0].at(start) <= reached
        ]
        return max(1.0, *steep)

    at = sorted(draw(st.sets(st.integers(0, 300), min_size=1, max_size=5)))
    rows = [
        (float(one), needed(after) * draw(st.sampled_from([1.0, 1.2, 3.0])))
        for one, after in zip(at, [*at[1:], math.inf], strict=True)
    ]
    try:
        return check_law(StiffnessByPressureLaw("drawn", tuple(curves), tuple(rows)), "drawn")
    except InputError as error:
        assert "keep less set" in str(error)
        assume(False)
        raise


SHARES, HEATS = st.floats(0.0, 1.3), st.floats(-30.0, 350.0)


def whole(law: StiffnessByPressureLaw) -> float:
    return max(curve.closure[-1] for curve in law.curves)


def rounding(law: StiffnessByPressureLaw, closures: list[float]) -> float:
    """Return the energy that rounding may feign: a part in 10^11 of the greatest pressure over the whole path."""
    return 1e-11 * (1.0 + law.loading(max(closures), 20.0)) * (1.0 + sum(closures))


@settings(max_examples=300, deadline=None)
@given(tables(), st.lists(SHARES, min_size=2, max_size=8), HEATS)
def test_no_closed_loop_gives_energy_back(law, shares, temperature):
    closures = [share * whole(law) for share in (*shares, shares[0])]
    assert loop_energy(law, closures, temperature) >= -rounding(law, closures)


@settings(max_examples=300, deadline=None)
@given(tables(), st.lists(st.tuples(SHARES, HEATS), min_size=2, max_size=8))
def test_none_is_given_back_through_any_history_of_temperature_from_first_touch(law, corners):
    closures = [0.0, *(share * whole(law) for share, _ in corners), 0.0]
    temperatures = [temperature for _, temperature in corners] + [20.0]
    assert loop_energy(law, closures, temperatures) >= -rounding(law, closures)


@settings(max_examples=200, deadline=None)
@given(tables(), st.lists(st.tuples(SHARES, HEATS), min_size=1, max_size=4), HEATS)
def test_the_law_of_many_points_is_the_scalar_law_and_falls_with_the_set(law, history, temperature):
    closures = np.linspace(-0.01, 1.3 * whole(law), 41)
    permanent_set, before = 0.0, np.full(41, np.inf)
    for share, hot in history:
        permanent_set = law.set_after(share * whole(law), permanent_set, hot)
        sets = np.full(41, permanent_set)
        p, slope = law.pressures(closures, sets, temperature)
        expected = [law.pressure(closure, permanent_set, temperature) for closure in closures]
        assert p == pytest.approx(expected, rel=1e-8, abs=1e-8)
        after = [law.set_after(closure, permanent_set, temperature) for closure in closures]
        assert law.sets_after(closures, sets, temperature) == pytest.approx(after, rel=1e-8, abs=1e-10)
        assert (np.diff(p) >= -1e-8).all()
        assert (slope >= -1e-9).all()  # rounding of rows that are level
        assert (p <= before + 1e-8 * (1.0 + p)).all()
        before = p


# --- stated in files

COMPOSITE = shipped_text("boosted-four-composite")
BODY = 'law = "fibre composite body"'
OWN = "closure = [0, 0.1, 0.2]\npressure = [0, 20, 60]\n"


def stated(rows: str) -> Joint:
    return parse_joint(COMPOSITE.replace(BODY, 'law = "mine"') + f"\n[gasket.laws.mine]\n{rows}\n", file="joint.toml")


def body(joint: Joint):
    return next(zone.law for zone in joint.gasket.zones if zone.name == "body")


def test_a_joint_file_states_the_table_in_its_own_units():
    law = body(stated(OWN + 'unloading = [["2900.75476 psi", "500 MPa/mm"], ["600 bar", "1 GPa/mm"]]'))
    assert type(law) is StiffnessByPressureLaw
    assert np.array(law.unloading) == pytest.approx(np.array(ROWS))
    assert law.set_after(0.15, 0.0, 20.0) == pytest.approx(0.15 - 40.0 / 750.0)


def test_a_series_states_the_table_of_the_whole():
    law = body(stated('series = ["solid copper", "solid copper"]\nunloading = [[0, 9000], [100, 30000]]\ncrush_pressure = 90'))  # fmt: skip
    assert type(law) is StiffnessByPressureLaw
    assert law.curves == in_series("two", [gasket_law("solid copper")] * 2).curves
    assert law.unloading == ((0.0, 9000.0), (100.0, 30000.0))
    assert law.crush_pressure == 90.0
    assert law.creep is not None


def test_a_layer_of_a_series_springs_back_with_its_stiffest_line_and_creeps_with_its_softest():
    sheet, bead = creeping(SHEET), gasket_law("multi-layer steel bead")
    stack = check_law(in_series("both", [sheet, dataclasses.replace(bead, creep=None)]), "both")
    assert type(stack) is OneStiffnessLaw
    assert stack.unloading_stiffness == pytest.approx(1.0 / (1.0 / 1000.0 + 1.0 / 900.0))
    assert stack.creep.rate.values[0] / stack.unloading_stiffness == pytest.approx(0.1 / 500.0)
    # it keeps no less set than its layers do under the same pressure
    for pressure, closure in ((10.0, 0.05), (40.0, 0.15), (60.0, 0.2)):
        alone = sheet.set_after(closure, 0.0, 20.0)
        with_bead = next(c for c in np.linspace(0.0, 0.6, 60001) if stack.loading(c, 20.0) >= pressure)
        beads = with_bead - closure - pressure / 900.0
        assert stack.set_after(with_bead, 0.0, 20.0) >= alone + beads - 2e-5


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        (OWN + "unloading = []", r"gasket\.laws\.mine\.unloading: needs at least 1 entry"),
        (OWN + "unloading = [[20]]", r"gasket\.laws\.mine\.unloading\[0\]: needs 2 entries"),
        (OWN + 'unloading = [["20 mm", 500]]', r"gasket\.laws\.mine\.unloading\[0\]\[0\]: unit 'mm' is no unit of pressure"),
        (OWN + "unloading = [[-1, 500]]", r"gasket\.laws\.mine\.unloading\[0\]\[0\]: must be at least 0 MPa"),
        (OWN + "unloading = [[20, 0]]", r"gasket\.laws\.mine\.unloading\[0\]\[1\]: must be greater than 0 MPa/mm"),
        (OWN + "unloading = [[20, 500], [20, 900]]", r"unloading\[1\]\[0\]: pressures must rise from row to row"),
        (OWN + "unloading = [[20, 500]]\nunloading_stiffness = 500", r"gasket\.laws\.mine: `unloading_stiffness` and `unloading` belong to different forms of a law; keep one"),
        # 400 MPa/mm of loading from 20 MPa on
        (OWN + "unloading = [[20, 300], [60, 1000]]", r"unloading: .*at least the steepest loading slope reached .*energy back\): 400 MPa/mm from 20 MPa on, at 20 degC \(got 300"),
        (OWN + "unloading = [[0, 900], [100, 390]]", r"unloading: .*energy back\): 400 MPa/mm from 20 MPa on"),
        # 150 MPa/mm of loading, from 40 to 42 MPa 1000 to 200 back: 200^2 < 150 (1000 + 400 40)
        ("closure = [0, 0.4]\npressure = [0, 60]\nunloading = [[40, 1000], [42, 200]]", r"unloading: falls so fast between 40 and 42 MPa that a zone pressed harder would keep less set"),
        ("curves = [{temperature = 20, closure = [0, 0.1], pressure = [0, 20]}, {temperature = 90, closure = [0, 0.1], pressure = [0, 21]}]\nunloading = [[20, 500]]", r"unloading: needs the curve of the lowest temperature to be the hardest: at a closure of 0\.1 mm the zone bears 21 MPa at 90 degC and 20 MPa at 20 degC"),
        ("curves = [{temperature = 20, closure = [0, 0.1, 0.2], pressure = [0, 20, 40]}, {temperature = 90, closure = [0, 0.1, 0.2], pressure = [0, 0, 39]}]\nunloading = [[20, 300]]", r"unloading: .*390 MPa/mm from 20 MPa on, at 90 degC \(got 300"),
        (OWN + "unloading = [[20, 450], [40, 1200]]\ncreep = {onset = '60 s', loss = [0.1]}", r"unloading\[1\]\[1\]: the stiffness of a law that creeps must not grow faster than in proportion to pressure, 900 MPa/mm here \(got 1200"),
    ],
)  # fmt: skip
def test_a_table_that_cannot_be_used_is_refused_with_the_reason(rows, expected):
    with pytest.raises(InputError) as caught:
        stated(rows)
    assert re.search(expected, str(caught.value)), str(caught.value)


def test_a_table_that_falls_slowly_is_a_law():
    law = body(stated(OWN + "unloading = [[0, 900], [100, 700]]"))
    # at 40 MPa 820 MPa/mm
    assert law.set_after(0.15, 0.0, 20.0) == pytest.approx(0.15 - 40.0 / 820.0)


# --- in a joint


def sheeted() -> Joint:
    """Return the shipped composite joint whose body is the sheet, as thick as before."""
    return parse_joint(COMPOSITE.replace(BODY, 'law = "compressed fibre sheet"'))


def test_a_joint_with_such_a_zone_comes_to_equilibrium_and_balances():
    solved = solve_joint(sheeted())
    assert type(body(solved.joint)) is StiffnessByPressureLaw
    for history in solved.histories.values():
        reduced = history.reduced
        at, zone = reduced.gasket_points(), reduced.group("body").points
        for state in history.states:
            assert state.equilibrium.residual < 1e-9
            gasket = float(reduced.weight[at] @ state.equilibrium.pressure[at])
            assert state.force == pytest.approx(gasket + state.case.gas_force, rel=1e-8)
        firing, hot = history.state("firing"), history.state("hot")
        assert (firing.equilibrium.closure[zone] < hot.equilibrium.closure[zone]).all()
        # relieved by the gas, every point goes back along the line of the pressure it had reached
        assert firing.equilibrium.slope[zone].min() > 1.2 * hot.equilibrium.slope[zone].min()
    forces = [state.fastener_force for state in estimate(solved.joint).states]
    assert forces == pytest.approx([float(state.force[0]) for state in solved.nominal.states], rel=0.05)


@pytest.mark.parametrize("closed_form", [False, True])
def test_such_a_zone_creeps_through_a_service(closed_form):
    joint = sheeted()
    by_elements = OneFastener(joint, condense(joint, full_model(joint, build(joint))))
    model = service_of(chain_of(joint) if closed_form else by_elements)
    records = run_service(model, joint.history).records
    forces = [float(record.force[0]) for record in records]
    zone = model.reduced.group("body").points
    crept = [record.memory.crept[zone].mean() for record in records]
    sets = [record.memory.permanent_set[zone].mean() for record in records]
    assert 0.5 * forces[0] < forces[-1] < forces[0]
    assert crept == sorted(crept)
    assert sets == sorted(sets)
    assert crept[-1] > 5e-3


# --- shown


def test_the_table_is_printed_in_the_units_asked_for(capsys):
    print_laws([dataclasses.replace(SHEET, title="a sheet")], "workshop", [])
    shown = " ".join(capsys.readouterr().out.split())
    # 20 and 60 MPa; 500 and 1000 MPa/mm in ksi per thousandth of an inch
    for words in ("Unloading stiffness, ksi/thou", "pressure reached ksi stiffness", "2.90 1.84", "8.70 3.68"):
        assert words in shown
    print_listing("laws", {})
    assert "350 to 2100" in capsys.readouterr().out


def test_the_picture_shows_lines_of_different_slopes():
    lines = law_picture(SHEET).axes[0].get_lines()
    back = [line for line in lines if len(line.get_xdata()) == 2 and line.get_linewidth() == 1.2]
    slopes = []
    for line in back:
        (foot, peak), (zero, pressure) = line.get_xdata(), line.get_ydata()
        assert zero == 0.0
        assert pressure == pytest.approx(SHEET.loading(peak, 20.0))
        slopes.append(pressure / (peak - foot))
    # from 0.4, 0.7 and 0.97 of 0.2 mm, which is 16, 36 and 57.6 MPa
    assert slopes == pytest.approx([500.0, 700.0, 970.0])
    assert any("along 500, 700, 970 MPa/mm" in str(line.get_label()) for line in lines)
