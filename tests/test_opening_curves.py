"""A zone that opens along curves: by hand, where rows meet, and what is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from headjoint.model.base.errors import InputError
from headjoint.model.gasket.law import check_law
from headjoint.model.gasket.loading import LoadingCurve
from headjoint.model.gasket.loop_energy import loop_energy
from headjoint.model.gasket.opening_curves import OpeningCurvesLaw
from headjoint.model.gasket.opening_grid import AT_ONCE

STRAIGHT = LoadingCurve(20.0, (0.0, 0.3), (0.0, 30.0))
OPENING = ((0.10, 0.0), (0.16, 4.0), (0.20, 20.0))
LAW = check_law(OpeningCurvesLaw("by hand", (STRAIGHT,), openings=(OPENING,)), "law")


def pressure_and_set(law: OpeningCurvesLaw, reached: float, closure: float) -> tuple[float, float]:
    kept = law.set_after(reached, 0.0, 20.0)
    (p,), _ = law.pressures(np.array([closure]), np.array([kept]), 20.0)
    assert law.pressure(closure, kept, 20.0) == pytest.approx(p, rel=1e-12)
    return p, kept


def test_an_opening_is_followed_as_it_is_stated():
    assert pressure_and_set(LAW, 0.2, 0.2) == pytest.approx((20.0, 0.10))
    assert pressure_and_set(LAW, 0.2, 0.18) == pytest.approx((12.0, 0.10))  # half the way from 4 to 20 MPa
    assert pressure_and_set(LAW, 0.2, 0.13) == pytest.approx((2.0, 0.10))
    assert pressure_and_set(LAW, 0.2, 0.09) == pytest.approx((0.0, 0.10))


def test_below_the_first_opening_a_zone_springs_back_by_its_share():
    """Opened wholly from 20 MPa the zone springs back by 0.1 mm of the 0.2 that loading took, half of it; so from 4 MPa
    at 0.04 mm it keeps 0.02 mm, and from 10 MPa at 0.1 mm it keeps 0.05 mm. It bears 4 MPa where it has come back by
    0.03/0.12 of the 0.06 mm that loading took, as from 20 to 8 MPa, so at 0.085 mm, and half the rest at 0.0925 mm. From
    4 MPa it comes back to 2 by a quarter, too, of 0.02 mm."""
    assert pressure_and_set(LAW, 0.1, 0.085) == pytest.approx((4.0, 0.05))
    assert pressure_and_set(LAW, 0.1, 0.0925) == pytest.approx((7.0, 0.05))
    assert pressure_and_set(LAW, 0.04, 0.035) == pytest.approx((2.0, 0.02))


def test_metal_that_yields_at_first_touch_is_not_taken_for_elastic_below_its_first_opening():
    """Elastic up to 50 MPa and 1 um, then plastic and hardening a little, so that some 1 um comes back from wherever it
    was pressed to: the law, of one opening from 0.1 mm, never gives more of it."""
    curve = LoadingCurve(20.0, (0.0, 0.001, 0.01, 0.03, 0.1), (0.0, 50.0, 50.2, 50.6, 52.0))
    law = check_law(OpeningCurvesLaw("soft", (curve,), openings=(((0.09896, 0.0), (0.1, 52.0)),)), "law")
    for closure in np.linspace(0.001, 0.1, 34):
        back = closure - law.set_after(float(closure), 0.0, 20.0)
        assert 0.0009 < back <= 0.001 * curve.at(float(closure)) / 50.0 + 1e-9


def test_between_two_openings_springback_is_linear_in_the_closure_reached():
    """0.1 mm come back from 0.2 mm, and 0.08 of 0.4: at 0.3 mm, half the way, 0.09. It bears 44 MPa there, as a row of
    the second opening does, which the loading curve is steeper to."""
    curve = LoadingCurve(20.0, (0.0, 0.2, 0.3, 0.4), (0.0, 20.0, 44.0, 100.0))
    law = OpeningCurvesLaw("steeper", (curve,), openings=(OPENING, ((0.32, 0.0), (0.38, 44.0), (0.4, 100.0))))
    assert check_law(law, "law").set_after(0.3, 0.0, 20.0) == pytest.approx(0.3 - 0.09)


def test_the_softest_opening_is_that_of_a_zone_pressed_less_than_any_that_is_stated():
    """Pressed to 4 MPa by 0.1 mm, a zone comes back by half of it: 80 MPa/mm where the stated opening has 200."""
    curve = LoadingCurve(20.0, (0.0, 0.1, 0.2), (0.0, 4.0, 20.0))
    law = check_law(OpeningCurvesLaw("soft at first", (curve,), openings=(OPENING,)), "law")
    assert law.softest == pytest.approx(4.0 / 0.05)
    # creep counts with springback, and so sets no further than that
    stiffness, _ = law.stiffness_at(np.linspace(0.01, 60.0, 2001))
    assert stiffness.min() == pytest.approx(law.softest)


def test_beyond_the_last_opening_zones_spring_back_in_proportion():
    """From 0.3 mm and 30 MPa half comes back, as from 0.2: 0.15 mm are kept. At 4 of 30 MPa, as at 2.67 of 20, it has
    opened 1.5 times as far as to 0.1 + 0.06 2.67/4 = 0.14 mm: by 0.09 mm."""
    assert pressure_and_set(LAW, 0.3, 0.21) == pytest.approx((4.0, 0.15))


def test_beyond_the_last_row_zones_open_alike():
    p, kept = pressure_and_set(LAW, 0.35, 0.26)
    q, less = pressure_and_set(LAW, 0.34, 0.26 - (kept - pressure_and_set(LAW, 0.34, 0.0)[1]))
    assert kept > less > 0.15
    assert p == pytest.approx(q)
    assert pressure_and_set(LAW, 0.35, 0.35)[0] == pytest.approx(35.0)


def test_where_loading_is_elastic_a_zone_comes_back_along_it():
    curve = LoadingCurve(20.0, (0.0, 0.1, 0.15, 0.25), (0.0, 20.0, 24.0, 60.0))
    elastic = ((0.0, 0.0), (0.1, 20.0))
    law = check_law(
        OpeningCurvesLaw("bead", (curve,), openings=(elastic, ((0.05, 0.0), (0.24, 30.0), (0.25, 60.0)))), ""
    )
    for closure in np.linspace(0.0, 0.1, 11):
        assert pressure_and_set(law, 0.1, float(closure)) == pytest.approx((200.0 * closure, 0.0), abs=1e-12)
    # 0.15 mm is a third of the way from 0.1 mm, of which all comes back, to 0.25 mm, of which 0.2: 0.1333 mm
    assert law.set_after(0.15, 0.0, 20.0) == pytest.approx(0.15 - 0.4 / 3.0)
    assert law.set_after(0.25, 0.0, 20.0) == pytest.approx(0.05, abs=2e-3)


def test_a_cycle_takes_what_lies_between_loading_and_opening():
    """Loading takes 0.2 20/2 = 2 N/mm, opening gives 0.06 4/2 + 0.04 12 = 0.6."""
    assert loop_energy(LAW, (0.0, 0.2, 0.0), 20.0) == pytest.approx(1.4)


def test_a_zone_pressed_less_never_opens_below_one_that_was_pressed_more():
    """Where a stated opening would cross the one before, it is put beside it; the set still tells them apart."""
    beside = ((0.1005, 0.0), (0.162, 4.0), (0.22, 20.5), (0.25, 25.0))
    law = check_law(OpeningCurvesLaw("beside", (STRAIGHT,), openings=(OPENING, beside)), "law")
    closures = np.linspace(0.05, 0.3, 301)
    before = np.full(301, np.inf)
    for reached in np.linspace(0.1, 0.28, 40):
        p, slope = law.pressures(closures, np.full(301, law.set_after(float(reached), 0.0, 20.0)), 20.0)
        assert np.all(p <= before + 1e-9)
        assert np.all(slope >= 0.0)
        before = p


@pytest.mark.parametrize(
    ("openings", "message"),
    [
        (((0.1, 1.0), (0.2, 20.0)), r"openings\[0\]\[0\]\[1\]: the first row must bear nothing"),
        (((0.1, 0.0), (0.1, 4.0), (0.2, 20.0)), r"openings\[0\]\[1\]: closure and pressure must rise"),
        (((0.1, 0.0), (0.2, 21.0)), r"must lie on the loading curve of the lowest temperature, 20 MPa"),
    ],
)
def test_an_opening_that_is_none_is_refused(openings, message):
    with pytest.raises(InputError, match=message):
        check_law(replace(LAW, openings=(openings,)), "law")


def test_openings_that_cross_are_refused_and_those_that_begin_too_low():
    with pytest.raises(InputError, match=r"openings\[1\]: would cross the opening of a zone pressed less"):
        check_law(replace(LAW, openings=(OPENING, ((0.05, 0.0), (0.25, 25.0)))), "law")
    with pytest.raises(InputError, match=r"openings\[1\]: must begin at a greater pressure"):
        check_law(replace(LAW, openings=(OPENING, ((0.05, 0.0), (0.15, 15.0)))), "law")


def test_hot_loading_above_the_coldest_or_steeper_than_openings_is_refused():
    harder = LoadingCurve(120.0, (0.0, 0.3), (0.0, 31.0))
    with pytest.raises(InputError, match="needs the curve of the lowest temperature to be the hardest"):
        check_law(replace(LAW, curves=(STRAIGHT, harder)), "law")
    # from 0.19 mm and 2 MPa up to the coldest curve: 320 MPa/mm where zones open along some 70
    steep = LoadingCurve(120.0, (0.0, 0.19, 0.24, 0.3), (0.0, 2.0, 18.0, 30.0))
    with pytest.raises(InputError, match="open more softly than the zone is loaded at"):
        check_law(replace(LAW, curves=(STRAIGHT, steep)), "law")
    check_law(replace(LAW, curves=(STRAIGHT, LoadingCurve(120.0, (0.0, 0.3), (0.0, 27.0)))), "law")


def test_few_points_and_many_are_found_in_the_same_rows_and_levels():
    """Few are compared with all rows and levels at once, many by halving."""
    grid = LAW._grid
    many = 2 * AT_ONCE // len(grid.level)
    drawn = np.random.default_rng(3)
    sets = drawn.uniform(0.0, 1.2 * grid.sets[-1], many)
    closures, pressures = (
        drawn.uniform(-0.02, 1.3 * grid.top[-1], many),
        drawn.uniform(0.0, 1.2 * grid.reached[-1], many),
    )
    parts = np.array_split(np.arange(many), 100)
    for found, pieces in (
        (np.stack(grid.borne(closures, sets)), [np.stack(grid.borne(closures[at], sets[at])) for at in parts]),
        (grid.sets_through(closures, pressures), [grid.sets_through(closures[at], pressures[at]) for at in parts]),
    ):
        assert np.array_equal(found, np.concatenate(pieces, axis=-1))


def two_branches(curve: LoadingCurve, closure: float, permanent_set: float) -> tuple[tuple[float, float], ...]:
    """An opening that falls by 800 MPa/mm from where it begins until it meets what rises by 100 MPa/mm from its set."""
    top = curve.at(closure)
    knee = (800.0 * closure - 100.0 * permanent_set - top) / 700.0
    return (permanent_set, 0.0), (knee, 100.0 * (knee - permanent_set)), (closure, top)


def test_between_openings_whose_knee_moves_a_zone_opens_along_the_branches_that_they_share():
    """Sets go in a straight line with closure, so all there is to know is where the branches meet: 4.3, 3.4 and 2.6 MPa.
    Along a straight line from the first opening to the third, at shares of their pressure, the knee of the second would
    be smeared over 0.12 to 0.71 of it, and it would bear a seventh more than it does."""
    curve = LoadingCurve(20.0, (0.0, 0.1, 0.14), (0.0, 6.0, 22.0))
    first, second, third = (two_branches(curve, *at) for at in ((0.1, 0.055), (0.12, 0.0725), (0.14, 0.09)))
    law = check_law(OpeningCurvesLaw("knees", (curve,), openings=(first, third)), "law")
    kept = law.set_after(0.12, 0.0, 20.0)
    assert kept == pytest.approx(0.0725, abs=1e-6)
    closure, pressure = np.array(second).T
    places = np.linspace(0.07, 0.12, 101)
    said = np.array([law.pressure(float(place), kept, 20.0) for place in places])
    # rows are straight between their levels, some 5 % of 22 MPa apart
    assert said == pytest.approx(np.interp(places, closure, pressure), abs=0.015 * 14.0)
    shares, (a, p), (b, q) = np.linspace(0.0, 1.0, 101), np.array(first).T, np.array(third).T
    opened = (0.1 - np.interp(shares, p / p[-1], a) + 0.14 - np.interp(shares, q / q[-1], b)) / 2.0
    straight = np.interp(places, (0.12 - opened), shares * 14.0)
    assert (straight - np.interp(places, closure, pressure)).max() > 0.14 * 14.0
