"""What every gasket law keeps, whatever its form: each is held to it by standing in the list of forms."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from headjoint.cases.condensed.gasket_creep import CreepStep, creep_growth, creeping_pressure
from headjoint.cases.condensed.interface_laws import BEARING, PointGroup
from headjoint.model.base.errors import InputError
from headjoint.model.gasket.forms import FORMS, stated_form
from headjoint.model.gasket.law import GasketLaw
from headjoint.model.gasket.loading import LoadingCurve
from headjoint.model.gasket.one_stiffness import OneStiffnessLaw
from headjoint.model.gasket.shipped_laws import library

SHIPPED = {name: [law for law in library().values() if type(law) is form] for name, form in FORMS.items()}
BY_NAME = [pytest.param(law, id=f"{name}: {law.name}") for name, laws in SHIPPED.items() for law in laws]
KEEPING = [one for one in BY_NAME if one.values[0].keeps_set]
TEMPERATURES = [-20.0, 20.0, 85.0, 400.0]
every_law = pytest.mark.parametrize("law", [*BY_NAME, pytest.param(BEARING, id="metal on metal")])
every_law_with_a_set = pytest.mark.parametrize("law", KEEPING)
at_temperatures = pytest.mark.parametrize("temperature", TEMPERATURES)


def reach(law: GasketLaw) -> float:
    """Return a closure (mm) somewhat beyond the law's table."""
    return 1.3 * max(curve.closure[-1] for curve in law.curves)


def sets_of(law: GasketLaw, temperature: float) -> list[float]:
    """Return the sets (mm) that closures over the whole table leave, none to begin with."""
    return [law.set_after(share * reach(law), 0.0, temperature) for share in (0.0, 0.2, 0.5, 0.8, 1.0)]


@pytest.mark.parametrize("form", FORMS)
def test_every_form_has_a_shipped_law_on_which_it_is_tried(form):
    assert SHIPPED[form]


@every_law
@at_temperatures
def test_the_law_of_many_points_is_the_scalar_law(law, temperature):
    closures = np.linspace(-0.05, reach(law), 301)
    for permanent_set in (*sets_of(law, temperature), 0.3):
        sets = np.full(301, permanent_set)
        found, _ = law.pressures(closures, sets, temperature)
        expected = [law.pressure(closure, permanent_set, temperature) for closure in closures]
        assert found == pytest.approx(expected, rel=1e-12, abs=1e-9)
        after = law.sets_after(closures, sets, temperature)
        expected = [law.set_after(closure, permanent_set, temperature) for closure in closures]
        assert after == pytest.approx(expected, rel=1e-12, abs=1e-13)
        assert law.lift_offs(sets) == pytest.approx(law.lift_off(permanent_set))


@every_law
@at_temperatures
def test_the_slope_is_the_derivative_on_both_sides_of_every_switch(law, temperature):
    h = 1e-7
    for permanent_set in sets_of(law, temperature):
        corners = np.array(law.corners(permanent_set, temperature))
        for side in (-1.0, 1.0):
            # no two switches lie within 1e-6 mm of each other
            at = corners + side * 3.0 * h
            sets = np.full(len(at), permanent_set)
            p, slope = law.pressures(at, sets, temperature)
            for step in (-2.0 * h, -h, h):
                nearby, _ = law.pressures(at + step, sets, temperature)
                assert nearby == pytest.approx(p + slope * step, rel=1e-11, abs=1e-11)


@every_law
@at_temperatures
def test_pressure_is_continuous_and_straight_between_its_corners(law, temperature):
    for permanent_set in sets_of(law, temperature):
        corners = [-0.1, *law.corners(permanent_set, temperature), reach(law) + 0.1]
        for a, b in zip(corners, corners[1:], strict=False):
            ends = law.pressure(a, permanent_set, temperature), law.pressure(b, permanent_set, temperature)
            for share in (1e-9, 0.3, 0.7, 1.0 - 1e-9):
                between = law.pressure(a + share * (b - a), permanent_set, temperature)
                assert between == pytest.approx((1.0 - share) * ends[0] + share * ends[1], rel=1e-9, abs=1e-9)


@every_law
@at_temperatures
def test_pressure_rises_with_closure_and_falls_with_the_set(law, temperature):
    closures = np.linspace(-0.01, reach(law), 400)
    before = np.full(400, np.inf)
    for permanent_set in np.linspace(0.0, 1.1 * sets_of(law, temperature)[-1], 60):
        p, slope = law.pressures(closures, np.full(400, permanent_set), temperature)
        assert (np.diff(p) >= -1e-9).all()
        assert (slope >= 0.0).all()
        assert (p <= before + 1e-9 * (1.0 + p)).all()
        before = p


@every_law
@at_temperatures
def test_a_zone_comes_back_to_where_it_was_loaded_and_then_goes_on_loading(law, temperature):
    for share in (0.1, 0.4, 0.9):
        peak = share * reach(law)
        kept = law.set_after(peak, 0.0, temperature)
        assert law.pressure(peak, kept, temperature) == pytest.approx(law.loading(peak, temperature), rel=1e-9)
        assert law.pressure(law.lift_off(kept), kept, temperature) == pytest.approx(0.0, abs=1e-9)
        for lower in np.linspace(-0.01, peak, 23):
            assert law.set_after(lower, kept, temperature) == pytest.approx(kept, rel=1e-9, abs=1e-12)
        further = 1.1 * peak
        assert law.pressure(further, kept, temperature) == pytest.approx(law.loading(further, temperature), rel=1e-9)


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.floats(-0.05, 0.6), min_size=2, max_size=12),
    st.sampled_from([law for laws in SHIPPED.values() for law in laws]),
    st.floats(-30.0, 200.0),
)
def test_no_path_back_to_its_start_gives_energy(path, law, temperature):
    permanent_set, work, at = 0.0, 0.0, 0.0
    for target in [*path, -0.05, 0.0]:
        steps = np.linspace(at, target, 200)
        for a, b in zip(steps, steps[1:], strict=False):
            before = law.pressure(a, permanent_set, temperature)
            permanent_set = law.set_after(b, permanent_set, temperature)
            work += (b - a) * (before + law.pressure(b, permanent_set, temperature)) / 2.0
        at = target
    assert work >= -1e-3


@every_law
@at_temperatures
def test_a_law_scaled_presses_so_many_times_as_hard_and_sets_alike(law, temperature):
    scaled = law.scaled(1.3)
    for permanent_set in sets_of(law, temperature):
        for closure in np.linspace(0.0, reach(law), 37):
            expected = 1.3 * law.pressure(closure, permanent_set, temperature)
            assert scaled.pressure(closure, permanent_set, temperature) == pytest.approx(expected, rel=1e-9, abs=1e-9)
            expected = law.set_after(closure, permanent_set, temperature)
            assert scaled.set_after(closure, permanent_set, temperature) == pytest.approx(expected, abs=1e-12)
    assert law.scaled(1.0) == law


# --- creep of laws that keep a set


@every_law_with_a_set
def test_creep_under_a_pressure_counts_with_a_stiffness_no_less_than_the_softest(law):
    pressure = np.linspace(0.01, 1.3, 500) * law.curves[0].at(reach(law))
    stiffness, _ = law.stiffness_at(pressure)
    assert np.min(stiffness) >= law.softest * (1.0 - 1e-12)


@every_law_with_a_set
def test_set_and_springback_are_the_closure_at_which_the_zone_bears_a_pressure(law):
    temperature = law.curves[0].temperature
    for permanent_set in sets_of(law, temperature)[1:]:
        for closure in np.linspace(permanent_set, reach(law), 40)[1:]:
            p = law.pressure(closure, permanent_set, temperature)
            grown = law.set_after(closure, permanent_set, temperature)
            back, _, _ = law.springback(np.array([p]), np.array([grown]))
            assert grown + back[0] == pytest.approx(closure, rel=1e-9)


@every_law_with_a_set
def test_springback_has_its_slopes_and_is_bounded(law):
    temperature, h = law.curves[0].temperature, 1e-7
    rng = np.random.default_rng(5)
    sets = rng.uniform(0.0, sets_of(law, temperature)[-1], 300)
    pressure = rng.uniform(0.0, law.loading(reach(law), temperature), 300)
    _, by_pressure, by_set = law.springback(pressure, sets)
    for change, slope in (((h, 0.0), by_pressure), ((0.0, h), by_set)):
        ends = [law.springback(pressure + sign * change[0], sets + sign * change[1])[0] for sign in (-1.0, 1.0)]
        # no random point lies within 1e-7 of a switch
        assert (ends[1] - ends[0]) / (2.0 * h) == pytest.approx(np.full(300, 1.0) * slope, rel=1e-4, abs=1e-6)
    assert (np.asarray(by_pressure) >= 0.0).all()
    assert (1.0 + np.asarray(by_set) >= -1e-12).all()
    closures = rng.uniform(0.0, reach(law), 300)
    for hot in TEMPERATURES:
        assert (law.bound(closures, sets) >= law.pressures(closures, sets, hot)[0] - 1e-9).all()


@every_law_with_a_set
def test_creep_grows_no_less_under_more_pressure_and_has_its_slope(law):
    group = PointGroup("zone", "gasket", np.arange(200), law)
    pressure = np.linspace(0.5, 1.2 * law.loading(reach(law), 20.0), 200)
    h = 1e-6
    for crept in (0.0, 1e-3, 1e-2):
        growth, slope = creep_growth(group, pressure, np.full(200, crept), 100.0, 3600.0)
        ends = [creep_growth(group, pressure + step, np.full(200, crept), 100.0, 3600.0)[0] for step in (-h, h)]
        assert (ends[1] - ends[0]) / (2.0 * h) == pytest.approx(slope, rel=1e-4, abs=1e-9)
        assert (np.diff(growth) >= -1e-15).all()
    stiffness, _ = law.stiffness_at(pressure)
    assert (np.diff(pressure / stiffness) >= 0.0).all()


@every_law_with_a_set
@pytest.mark.parametrize("temperature", [20.0, 110.0])
def test_a_creeping_zone_bears_what_the_law_says_of_the_set_that_has_grown_meanwhile(law, temperature):
    closures = np.linspace(0.0, reach(law), 120)
    group = PointGroup("zone", "gasket", np.arange(120), law)
    for before, crept, duration in ((0.0, 0.0, 60.0), (0.3, 1e-4, 1e5), (0.8, 2e-3, 3e7)):
        sets = np.full(120, law.set_after(before * reach(law), 0.0, temperature) + crept)
        step = CreepStep(np.full(120, crept), duration)
        p, slope = creeping_pressure(group, closures, sets, temperature, step)
        growth, _ = creep_growth(group, p, step.crept, temperature, duration)
        expected = [law.pressure(c, s, temperature) for c, s in zip(closures, sets + growth, strict=True)]
        assert p == pytest.approx(expected, rel=1e-8, abs=1e-8)
        assert (np.diff(p) >= -1e-9).all()
        h = 1e-8
        ends = [creeping_pressure(group, closures + sign * h, sets, temperature, step)[0] for sign in (-1.0, 1.0)]
        by_difference = (ends[1] - ends[0]) / (2.0 * h)
        off = np.abs(by_difference - slope) > 1e-3 * (1.0 + slope)
        # only where a switch lies within 1e-8 mm of one of the closures
        assert off.sum() <= 2


# --- one unloading stiffness


def test_a_zone_of_one_unloading_stiffness_by_hand():
    curve = LoadingCurve(20.0, (0.0, 0.1, 0.2), (0.0, 20.0, 60.0))
    law = OneStiffnessLaw("by hand", (curve,), 1000.0)
    # closed to 0.15 mm it bears 20 + 0.05 400 = 40 MPa and keeps 0.15 - 40/1000 = 0.11 mm
    assert law.pressure(0.15, 0.0, 20.0) == pytest.approx(40.0)
    assert law.set_after(0.15, 0.0, 20.0) == pytest.approx(0.11)
    # opened to 0.12 mm it bears 1000 0.01; it lifts off at 0.11 mm
    assert law.pressure(0.12, 0.11, 20.0) == pytest.approx(10.0)
    assert law.lift_off(0.11) == 0.11
    assert law.pressure(0.10, 0.11, 20.0) == 0.0
    # closed again it is back at 40 MPa and goes on along 400 MPa/mm
    assert law.pressure(0.15, 0.11, 20.0) == pytest.approx(40.0)
    assert law.pressure(0.16, 0.11, 20.0) == pytest.approx(44.0)
    assert law.corners(0.11, 20.0) == pytest.approx([0.0, 0.1, 0.11, 0.15, 0.2])
    scaled = law.scaled(0.5)
    assert scaled.pressure(0.12, 0.11, 20.0) == pytest.approx(5.0)
    assert scaled.unloading_stiffness == 500.0


def test_hot_softening_sets_a_zone_and_cooling_does_not_mend_it():
    cold, hot = LoadingCurve(20.0, (0.0, 0.2), (0.0, 40.0)), LoadingCurve(120.0, (0.0, 0.2), (0.0, 30.0))
    law = OneStiffnessLaw("soft", (cold, hot), 1000.0)
    first = law.set_after(0.1, 0.0, 20.0)
    then = law.set_after(0.1, first, 120.0)
    again = law.set_after(0.1, then, 20.0)
    assert first < then == again
    assert law.pressure(0.1, again, 20.0) < law.pressure(0.1, first, 20.0)


def test_a_law_is_of_the_form_whose_keys_it_states(monkeypatch):
    @dataclasses.dataclass(frozen=True)
    class Other(OneStiffnessLaw):
        other: float = 0.0
        KEYS = {"other": float}  # noqa: RUF012

    monkeypatch.setitem(FORMS, "other", Other)
    assert stated_form({}, "mine") == (OneStiffnessLaw, {})
    assert stated_form({"unloading_stiffness": 3.0, "other": None}, "mine") == (
        OneStiffnessLaw,
        {"unloading_stiffness": 3.0},
    )
    assert stated_form({"other": [[1, 2]]}, "mine") == (Other, {"other": ((1, 2),)})
    with pytest.raises(InputError, match=r"mine: `unloading_stiffness` and `other` belong to different forms"):
        stated_form({"unloading_stiffness": 3.0, "other": 1.0}, "mine")
