"""Films, contacts and surfaces by numbers put into the published formulas and by integrals done by hand."""

from __future__ import annotations

import dataclasses
import math
from types import SimpleNamespace

import numpy as np
import pytest
import scipy.sparse as sp
from hand_made import ALUMINIUM, ELASTIC, HEAT, IRON, JOINT, LINEAR, STEEL, joint

from headjoint.cases.condensed.interface_laws import BEARING, PointGroup
from headjoint.cases.condensed.reduced_joint import ReducedJoint
from headjoint.cases.heat.conduction import _integrated
from headjoint.cases.heat.contacts import FOLLOWED, Face, Faces, gap_contact, moved
from headjoint.cases.heat.gap_round_shank import ShankGap, _search, _unrolled
from headjoint.cases.heat.problem import Contact, EnergyBalance, named_sums
from headjoint.cases.heat.surfaces import SurfacePoints, contact, surface
from headjoint.cases.heat.transient import _extrapolated
from headjoint.model.base.property_table import PropertyTable
from headjoint.model.formulas.contact_heat import conductance_of_bearing, conductance_of_gasket, shank_gap_conductance
from headjoint.model.heat.duty import DutyStep, RoughFaces
from headjoint.model.heat.transfer import (
    IdealCycle,
    RoughContact,
    film,
    gas_film,
    hohenberg,
    properties,
    thermal_properties,
    woschni,
)
from validation.bore_cell_limits import polar_plan
from validation.heat_bodies import at, cuboid, faces_where, ring, stacked_body

# --- units


def test_properties_per_metre_become_properties_per_millimetre():
    found = properties(40.0, 8000.0, PropertyTable((0.0, 100.0), (500.0, 600.0)))
    assert found.conductivity.values == pytest.approx((0.04,))  # W/(m K) in W/(mm K)
    assert found.capacity.values == pytest.approx((4.0e-3, 4.8e-3))  # 8e-6 kg/mm3 x 500 J/(kg K)
    assert thermal_properties(STEEL) == properties(STEEL.conductivity, 8000.0, STEEL.heat_capacity)
    assert film(400.0) == pytest.approx(4e-4)


# --- the gas side of an ideal cycle: 80 x 90 mm, 10 : 1, 3000/min, 1 bar and 300 K at the start, 60 bar at the top

CYCLE = IdealCycle(80.0, 90.0, 10.0, 3000.0, 0.1, 300.0 - 273.15, 6.0, 0.1, 1.3, 0.25)
SWEPT = math.pi / 4 * 80**2 * 90  # 452 389 mm3


def test_volumes_over_the_stroke():
    assert CYCLE.swept_volume == pytest.approx(452389.0, abs=1.0)
    assert CYCLE.piston_speed == pytest.approx(9.0)  # 2 x 0.09 m x 50/s
    assert CYCLE.volume(0.0) == pytest.approx(SWEPT / 9)
    assert CYCLE.volume(math.pi) == pytest.approx(SWEPT / 9 * 10)
    # at right angles the rod of 180 mm stands askew: 45 + 180 (1 - sqrt(1 - 0.25^2)) = 50.716 mm below the top
    assert CYCLE.volume(math.pi / 2) == pytest.approx(SWEPT / 9 + math.pi / 4 * 6400 * 50.7157, rel=1e-6)
    # at 60 degrees: 22.5 + 180 (1 - sqrt(1 - 0.0625 x 0.75)) = 26.7694 mm
    assert CYCLE.volume(-math.pi / 3) == pytest.approx(SWEPT / 9 + math.pi / 4 * 6400 * 26.76938, rel=1e-6)


def test_pressures_and_temperatures_of_the_four_strokes():
    intake = CYCLE.gas(-1.5 * math.pi)
    assert intake == pytest.approx((0.1, 300.0, 0.1))
    V = CYCLE.volume(-1.0) / CYCLE.volume(math.pi)
    assert CYCLE.gas(-1.0) == pytest.approx((0.1 * V**-1.3, 300.0 * V**-0.3, 0.1 * V**-1.3))
    # heat at constant volume: 300 x 10^0.3 x 6/(0.1 x 10^1.3) = 300 x 60/10 = 1800 K
    assert CYCLE.gas(0.0) == pytest.approx((6.0, 1800.0, 0.1 * 10**1.3))
    V = CYCLE.volume(1.0) / CYCLE.volume(0.0)
    assert CYCLE.gas(1.0)[:2] == pytest.approx((6.0 * V**-1.3, 1800.0 * V**-0.3))
    assert CYCLE.gas(1.0)[2] == CYCLE.gas(-1.0)[0]
    exhaust = CYCLE.gas(1.5 * math.pi)
    assert exhaust == pytest.approx((0.1, 1800.0 * (0.1 / 6.0) ** (0.3 / 1.3), 0.1))


def test_woschni_s_film_under_compression_combustion_and_gas_exchange():
    # top: w = 2.28 x 9 + 3.24e-3 x 0.9 x 300/0.1 x (6 - 1.99526) = 20.52 + 35.03 m/s
    w = 20.52 + 3.24e-3 * 0.9 * 3000.0 * (6.0 - 0.1 * 10**1.3)
    assert w == pytest.approx(55.55, abs=0.01)
    assert woschni(CYCLE, 0.0) * 1e6 == pytest.approx(3.26 * 0.08**-0.2 * 6000**0.8 * 1800**-0.55 * w**0.8)
    p, T, _ = CYCLE.gas(-1.0)
    assert woschni(CYCLE, -1.0) * 1e6 == pytest.approx(3.26 * 0.08**-0.2 * (1e3 * p) ** 0.8 * T**-0.55 * 20.52**0.8)
    p, T, _ = CYCLE.gas(4.0)
    assert woschni(CYCLE, 4.0) * 1e6 == pytest.approx(3.26 * 0.08**-0.2 * 100**0.8 * T**-0.55 * (6.18 * 9.0) ** 0.8)
    assert woschni(CYCLE, -4.0) * 1e6 == pytest.approx(3.26 * 0.08**-0.2 * 100**0.8 * 300**-0.55 * 55.62**0.8)
    # late in the expansion the motored pressure is that of the same volume
    p, T, motored = CYCLE.gas(2.0)
    w = 20.52 + 3.24e-3 * 0.9 * 3000.0 * (p - motored)
    assert woschni(CYCLE, 2.0) * 1e6 == pytest.approx(3.26 * 0.08**-0.2 * (1e3 * p) ** 0.8 * T**-0.55 * w**0.8)


def test_hohenberg_s_film():
    V = SWEPT / 9 * 1e-9  # m3
    assert hohenberg(CYCLE, 0.0) * 1e6 == pytest.approx(130 * V**-0.06 * 60**0.8 * 1800**-0.4 * 10.4**0.8)


def test_the_mean_film_weighs_the_gas_temperature_with_the_film():
    # four midpoints: -270, -90, 90 and 270 degrees
    angles = [(-1.5 + number) * math.pi for number in range(4)]
    h = [woschni(CYCLE, angle) for angle in angles]
    T = [CYCLE.gas(angle)[1] for angle in angles]
    found = gas_film(CYCLE, "woschni", steps=4)
    assert found.coefficient == pytest.approx(sum(h) / 4)
    assert found.temperature == pytest.approx(sum(a * b for a, b in zip(h, T, strict=True)) / sum(h) - 273.15)
    assert gas_film(CYCLE, "hohenberg", steps=2).coefficient == pytest.approx(
        (hohenberg(CYCLE, -math.pi) + hohenberg(CYCLE, math.pi)) / 2
    )
    assert gas_film(CYCLE) == gas_film(CYCLE, "woschni", 1440)


# --- contacts

ROUGH = RoughContact(1e-3, 0.1, 2000.0, 0.050, 0.150, 3e-5, 2e-4)


def test_the_gap_of_rough_faces():
    # Y = 1.53 sigma (p/H)^-0.097: at p/H = 0.01 1.53 um x 1.5631, jump distance 0.2 um
    assert ROUGH.gap(20.0) == pytest.approx(3e-5 / (1.53e-3 * 0.01**-0.097 + 2e-4))
    assert ROUGH.gap(20.0, 0.05) == pytest.approx(3e-5 / (1.53e-3 * 0.01**-0.097 + 2e-4 + 0.05))
    assert ROUGH.gap(20.0, -0.05) == ROUGH.gap(20.0)
    assert ROUGH.gap(0.0) == pytest.approx(3e-5 / (1.53e-3 * 1e-5**-0.097 + 2e-4))
    assert ROUGH.conductance(20.0) == pytest.approx(ROUGH.spots(20.0) + ROUGH.gap(20.0))
    assert ROUGH.spots(-1.0) == ROUGH.spots(0.0) == 0.0


def test_faces_of_the_joint_conduct_by_their_metals_at_a_hundred_degrees():
    still, p = np.zeros(1), np.array([20.0])
    # bearing: aluminium 160 and steel 40 W/(m K): k_s = 2 x 160 x 40/200 = 64
    spots = 1.25 * 0.064 * 0.1 / 1.5e-3 * 0.02**0.95
    gap = 0.1e-3 / (1.53 * 1.5e-3 * 0.02**-0.097)
    assert conductance_of_bearing(JOINT, ALUMINIUM, STEEL).conductance(p, still)[0] == pytest.approx(spots + gap)
    hot = dataclasses.replace(ALUMINIUM, conductivity=PropertyTable((20.0, 180.0), (140.0, 180.0)))
    assert conductance_of_bearing(JOINT, hot, STEEL).conductance(p, still)[0] == pytest.approx(spots + gap)
    # gasket: iron 50 below, aluminium 160 above, its body of 2 W/(m K) and 1 mm between
    x = 20.0 / 300.0
    gap = 0.03e-3 / (1.53 * 3e-3 * x**-0.097)
    faces = [1.25 * 2 * 0.002 * k / (0.002 + k) * 0.2 / 3e-3 * x**0.95 + gap for k in (0.050, 0.160)]
    resistance = 1 / faces[0] + 1 / faces[1] + 1.0 / 2e-3
    assert conductance_of_gasket(JOINT).conductance(p, still)[0] == pytest.approx(1 / resistance)
    thick = joint(gasket__thickness=2.0)
    assert conductance_of_gasket(thick).conductance(p, still)[0] == pytest.approx(1 / (resistance + 500.0))


def test_the_gap_round_a_shank_is_a_hollow_cylinder():
    # k/(r ln(R/r)) = 0.03/(4e-3 x ln 1.5) = 18.5 W/(m2 K) of an 8 mm shank in a 12 mm hole
    assert shank_gap_conductance(0.03e-3, 4.0, 6.0) * 1e6 == pytest.approx(0.03 / (4e-3 * math.log(1.5)))
    points = SurfacePoints(sp.csr_matrix(np.eye(1)), np.ones(1), np.zeros((2, 1)))
    made = gap_contact(JOINT, ShankGap(points, np.array([4.0]), np.array([6.0])))
    assert made.conductance * 1e6 == pytest.approx([18.5], abs=0.01)


# --- surfaces: a ring of 10 to 20 mm radius and 12 mm height, a brick of 12 x 7 x 5 mm

RING = ring(np.linspace(10.0, 20.0, 3), np.linspace(0.0, 12.0, 3), properties(40.0, 8000.0, 500.0))
BRICK = cuboid(*(np.linspace(0.0, side, 3) for side in (12.0, 7.0, 5.0)), properties(40.0, 8000.0, 500.0))


def test_rings_and_cylinders_have_their_areas():
    top = surface(RING, faces_where(RING, lambda r, z: at(12.0)(z)))
    bore = surface(RING, faces_where(RING, lambda r, z: at(10.0)(r)))
    assert top.area == pytest.approx(math.pi * (20**2 - 10**2))
    assert bore.area == pytest.approx(2 * math.pi * 10 * 12)
    assert bore.places[0] == pytest.approx(np.full(len(bore.weight), 10.0))
    # points go outwards and upwards along every facet, as the mechanical ones do
    assert (np.diff(top.places[0].reshape(-1, 3), axis=1) > 0.0).all()
    assert (np.diff(bore.places[1].reshape(-1, 3), axis=1) > 0.0).all()
    end = surface(BRICK, faces_where(BRICK, lambda x, y, z: at(12.0)(x)))
    assert end.area == pytest.approx(35.0)


def test_means_loads_and_exchange_are_integrals_over_the_surface():
    top = surface(RING, faces_where(RING, lambda r, z: at(12.0)(z)))
    r, z = RING.places
    # mean radius of the ring 2/3 (20^3 - 10^3)/(20^2 - 10^2) = 15.556 mm, mean square (20^4 - 10^4)/(2 x 300)
    assert top.mean(r) == pytest.approx(2 / 3 * 7000 / 300)
    assert top.mean(r**2) == pytest.approx(150000 / 600)
    assert top.mean(3.0 * z) == pytest.approx(36.0)
    assert top.load(0.02) @ r == pytest.approx(0.02 * top.area * 2 / 3 * 7000 / 300)
    assert top.load(np.full(len(top.weight), 0.02)).sum() == pytest.approx(0.02 * top.area)
    exchange = top.exchange_matrix(0.5)
    assert r @ exchange @ r == pytest.approx(0.5 * top.area * 250.0)
    per_point = top.exchange_matrix(top.places[0])
    assert np.ones(RING.count) @ per_point @ np.ones(RING.count) == pytest.approx(top.area * 2 / 3 * 7000 / 300)
    end = surface(BRICK, faces_where(BRICK, lambda x, y, z: at(12.0)(x)))
    assert end.mean(BRICK.places[1] ** 2) == pytest.approx(49 / 3)


def test_a_contact_feels_the_difference_of_its_faces():
    low, high = (faces_where(RING, lambda r, z, h=h: at(h)(z)) for h in (0.0, 12.0))
    between = contact(RING, low, high)
    assert between.mean(RING.places[1]) == pytest.approx(-12.0)  # lower less upper
    assert between.area == pytest.approx(math.pi * 300)
    low, high = (faces_where(BRICK, lambda x, y, z, h=h: at(h)(z)) for h in (0.0, 5.0))
    assert contact(BRICK, low, high).mean(BRICK.places[2]) == pytest.approx(-5.0)


def test_a_ring_holds_the_heat_of_its_volume_and_a_table_s_integral_bends_where_it_does():
    assert pytest.approx(math.pi * 300 * 12) == RING.volume
    assert RING.heat(np.full(RING.count, 70.0)).sum() == pytest.approx(4e-3 * math.pi * 3600 * 50.0)  # above 20 degC
    assert RING.source(np.full(RING.cells.shape[1], 0.1)).sum() == pytest.approx(360 * math.pi)
    assert RING.mean(RING.places[0]) == pytest.approx(2 / 3 * 7000 / 300)
    table = PropertyTable((0.0, 100.0, 200.0), (2.0, 4.0, 1.0))
    # 0 to 50: 125; to 100: 300; to 150: 300 + 50 (4 + 2.5)/2; beyond 200: 550 + 1 a kelvin; below 0: 2 a kelvin
    assert _integrated(table, np.array([50.0, 100.0, 150.0, 230.0, -10.0])) == pytest.approx(
        [125.0, 300.0, 462.5, 580.0, -20.0]
    )


# --- faces between two states


def faces_of(groups: tuple[PointGroup, ...]) -> Faces:
    bare = SurfacePoints(sp.csr_matrix(np.eye(2)), np.ones(2), np.zeros((2, 2)))
    made = (
        Face("seal", "gasket", bare, JOINT, IRON, ALUMINIUM),
        Face("seat", "bearing", bare, JOINT, ALUMINIUM, STEEL),
    )
    reduced = ReducedJoint(
        K=np.zeros((1, 1)), loads={}, B=sp.csr_matrix((4, 1)), weight=np.ones(4), radius=np.zeros(4), groups=groups,
        overlaps=np.array([0]), series_compliance=np.zeros(1),
    )  # fmt: skip
    return Faces(made, reduced)


def test_faces_conduct_by_pressure_where_they_bear_and_by_their_opening_where_not():
    groups = (
        PointGroup("seal", "gasket", np.array([0, 1]), LINEAR),
        PointGroup("seat", "bearing", np.array([2, 3]), BEARING),
    )
    state = SimpleNamespace(pressure=np.array([20.0, 0.0, 20.0, 0.0]), closure=np.array([0.05, 0.01, 1e-6, -0.03]))
    permanent_set = np.array([0.0, 0.04, 0.0, 0.0])
    seal, seat = faces_of(groups).contacts(permanent_set, state)
    # the zone has set by 0.04 mm and is closed by 0.01: open by 0.03; the nut stands off by 0.03
    one = conductance_of_gasket(JOINT)
    assert seal.conductance == pytest.approx(one.conductance(np.array([20.0, 0.0]), np.array([0.0, 0.03])))
    other = conductance_of_bearing(JOINT, ALUMINIUM, STEEL)
    assert seat.conductance == pytest.approx(other.conductance(np.array([20.0, 0.0]), np.array([0.0, 0.03])))
    # a zone that keeps no set is open from its first touch
    springy = (PointGroup("seal", "gasket", np.array([0, 1]), ELASTIC), groups[1])
    state.closure = np.array([0.05, -0.02, 1e-6, -0.03])
    seal, _ = faces_of(springy).contacts(permanent_set, state)
    assert seal.conductance == pytest.approx(one.conductance(np.array([20.0, 0.0]), np.array([0.0, 0.02])))


def test_heat_is_told_when_a_face_s_conductance_has_moved_by_more_than_its_limit():
    points = SurfacePoints(sp.csr_matrix(np.eye(2)), np.array([3.0, 1.0]), np.zeros((2, 2)))
    before = (Contact(points, np.array([1.0, 1.0])),)
    # the mean over the area moves by 3/4 of what the larger point does
    assert FOLLOWED == 0.05
    assert moved(before, (Contact(points, np.array([1.068, 1.0])),))
    assert not moved(before, (Contact(points, np.array([1.065, 1.0])),))
    assert moved(before, (Contact(points, np.array([0.93, 1.0])),))


def test_the_arc_of_an_unrolled_hole():
    arc, radius = _unrolled(np.array([0.0, -3.0]), np.array([2.0, 0.0]), 6.0)
    assert arc == pytest.approx([6 * math.pi / 2, 6 * math.pi])
    assert radius == pytest.approx([2.0, 3.0])


@pytest.mark.parametrize("turned", [0.0, 0.4, 2.0, math.pi])
def test_a_shank_finds_its_hole_all_round_wherever_the_angle_jumps(turned):
    # a whole tube of twelve hexahedra, 6 to 8 mm, 4 mm high, round an axis at (3, -2); its bore is the hole of a shank
    plan = polar_plan(6.0, 8.0, 1, 12, 2 * math.pi)
    tube = stacked_body(plan, np.linspace(0.0, 4.0, 3), properties(40.0, 8000.0, 500.0))
    bore = faces_where(tube, lambda x, y, z: np.abs(np.hypot(x, y) - 6.0) < 1e-6)
    x, y, z = tube.places
    cos, sin = math.cos(turned), math.sin(turned)
    places = np.stack([3.0 + cos * x - sin * y, -2.0 + sin * x + cos * y, z])
    tube = dataclasses.replace(tube, places=places)
    angle = np.linspace(-math.pi, math.pi, 73)
    wanted = np.stack([6.0 * angle, np.full(73, 1.3)])
    operator, met, outer = _search(tube, bore, 3.0, -2.0, 6.0, wanted)
    assert met.all()
    assert outer == pytest.approx(np.full(73, 6.0))
    # a field that is the height, and one that is the place itself, to what a quadratic edge makes of a circle
    assert operator @ places[2] == pytest.approx(np.full(73, 1.3))
    assert operator @ places[0] == pytest.approx(3.0 + 6.0 * np.cos(angle), abs=0.02)
    assert operator @ places[1] == pytest.approx(-2.0 + 6.0 * np.sin(angle), abs=0.02)


# --- balance, parabola, slower duty


def test_a_balance_is_what_came_in_less_what_is_stored():
    assert named_sums(("gas", "coolant", "gas"), np.array([5.0, -3.0, 2.0])) == {"gas": 7.0, "coolant": -3.0}
    assert EnergyBalance({"gas": 7.0, "coolant": -3.0}, 1.0, 4.0, 20.0).error == pytest.approx(0.05)


def test_a_parabola_goes_through_three_temperatures():
    known = [(time, np.array([2.0 * time**2 - 3.0 * time + 1.0])) for time in (0.0, 1.0, 4.0)]
    assert _extrapolated(known, 2.0)[0] == pytest.approx(3.0)
    assert _extrapolated(known[:2], 2.0)[0] == pytest.approx(-1.0)
    assert _extrapolated(known[:1], 2.0)[0] == 1.0


def test_a_slower_duty_is_the_same_later():
    one = dataclasses.replace(HEAT, gas_film=HEAT.gas_film.from_rows([[0, 0], [30, 4e-4]]),
                              steps=(DutyStep("a", "idle", 10.0, 40.0),))  # fmt: skip
    slow = one.slower(3.0)
    assert slow.gas_film.times == (0.0, 90.0)
    assert slow.gas_film.values == one.gas_film.values
    assert (slow.duration, slow.steps[0].start, slow.steps[0].end) == (1800.0, 30.0, 120.0)
    assert isinstance(slow.bearing_contact, RoughFaces)
