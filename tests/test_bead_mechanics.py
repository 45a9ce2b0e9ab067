"""The mechanics of a pressed bead against closed forms: strain, plastic flow, bending, rings, beams on rolling feet."""

from __future__ import annotations

import math

import numpy as np
import pytest

from headjoint.cases.bead.decks import RIGID, STICKING, Deck, Tried, rubbed, touch
from headjoint.cases.bead.log_strain import log_strain
from headjoint.cases.bead.plasticity import stepped, virgin
from headjoint.cases.bead.pressing import Pace, Pressing, _solved, pressed_to, settled, untouched
from headjoint.cases.bead.sheet import Sheet
from headjoint.cases.elements.axisymmetric import isotropic_stiffness
from headjoint.meshes.bead.strip import strip
from headjoint.model.base.errors import InputError, MeshError
from headjoint.model.bead.hardening import Backstress, SpringSteel
from headjoint.model.bead.profile import arcs, cosine, through
from validation.bent_sheet import FLAT, banded, bent

ELASTIC = SpringSteel("elastic", 200_000.0, 0.3, None)
HARDENING = SpringSteel(
    "hardening", 190_000.0, 0.3, 700.0, 200.0, 30.0, 500.0, (Backstress(60_000.0, 200.0), Backstress(1000.0, 0.0))
)


def turned_and_strained(sheet: Sheet, stretch: float = 1.02, seed: int = 7) -> np.ndarray:
    """Displacements of a sheet strained by some per cent and turned by 17 degrees, uneven from node to node."""
    places, a = sheet.mesh.points, 0.3
    turn = np.array([[math.cos(a), -math.sin(a)], [math.sin(a), math.cos(a)]])
    strain = np.array([[stretch, 0.03], [0.0, 0.985]])
    noise = np.random.default_rng(seed).normal(size=places.shape) * 2e-4
    return (places @ (turn @ strain).T - places + noise).ravel()


# --- strain and stress


def test_logarithmic_strain_of_a_stretch_along_tilted_axes_is_the_logarithm():
    a = 0.4
    Q = np.array([[math.cos(a), -math.sin(a)], [math.sin(a), math.cos(a)]])
    U = Q @ np.diag([1.10, 0.95]) @ Q.T
    R = np.array([[math.cos(1.1), -math.sin(1.1)], [math.sin(1.1), math.cos(1.1)]])
    expected = Q @ np.diag([math.log(1.10), math.log(0.95)]) @ Q.T
    found = log_strain((R @ U)[None], np.array([1.03])).strain[0]
    assert found == pytest.approx([expected[0, 0], expected[1, 1], math.log(1.03), 2.0 * expected[0, 1]], abs=1e-14)


@pytest.mark.parametrize("ring", [None, 40.0])
@pytest.mark.parametrize("steel", [ELASTIC, HARDENING], ids=lambda steel: steel.name)
def test_stiffness_of_a_sheet_is_the_slope_of_its_forces(ring, steel):
    sheet = Sheet(strip(arcs("full", 0.25, 2.5, 1.0, 0.9), 0.25, 0.0, 1.5, size=0.2, through=2), steel, ring)
    # pulled, then pressed: every point flows, with backstresses from before
    memory = sheet.forces(turned_and_strained(sheet, 1.05), sheet.new()).after
    u = turned_and_strained(sheet, 0.97, seed=8)
    body = sheet.forces(u, memory)
    force, K = body.force, body.stiffness()
    direction = np.random.default_rng(3).normal(size=len(u)) * 1e-3
    errors = [
        np.linalg.norm(sheet.forces(u + h * direction, memory)[0] - force - h * banded(K, direction))
        for h in (1e-2, 1e-3)
    ]
    assert errors[1] < 0.02 * errors[0]  # falls as h squared, a hundredth
    assert errors[1] < 1e-4 * np.linalg.norm(1e-3 * banded(K, direction))


def test_a_turned_sheet_has_turned_forces():
    sheet = Sheet(strip(arcs("full", 0.25, 2.5, 1.0, 0.9), 0.25, 0.0, 1.5, size=0.2, through=2), HARDENING)
    u, places = turned_and_strained(sheet), sheet.mesh.points
    Q = np.array([[math.cos(2.0), -math.sin(2.0)], [math.sin(2.0), math.cos(2.0)]])
    turned = ((places + u.reshape(-1, 2)) @ Q.T - places).ravel()
    force = sheet.forces(u, sheet.new())[0].reshape(-1, 2)
    assert sheet.forces(turned, sheet.new())[0].reshape(-1, 2) == pytest.approx(force @ Q.T, abs=1e-8)


def test_even_strain_leaves_no_force_inside():
    sheet = Sheet(strip(arcs("full", 0.25, 2.5, 1.0, 0.9), 0.25, 0.0, 1.5, size=0.2, through=3), ELASTIC)
    mesh = sheet.mesh
    u = (mesh.points @ np.array([[0.01, 0.004], [0.007, -0.02]])).ravel()
    force = sheet.forces(u, sheet.new())[0].reshape(-1, 2)
    edge = np.concatenate([mesh.lower, mesh.upper, mesh.first, mesh.last])
    inside = np.setdiff1d(np.arange(len(mesh.points)), edge)
    assert np.abs(force[inside]).max() < 1e-10 * np.abs(force).max()


# --- plastic flow


def uniaxial(steel: SpringSteel, strains: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Stress and equivalent plastic strain of a bar pulled to given strains one after the other, nothing across it."""
    memory, strain, stresses, plastic = virgin(1, steel), np.zeros(4), [], []
    for along in strains:
        strain[0] = along
        for _ in range(30):
            stress, after, slopes = stepped(steel, strain[None], memory)
            if np.abs(stress[0, 1:3]).max() < 1e-9:
                break
            strain[1:3] -= np.linalg.solve(slopes()[0, 1:3, 1:3], stress[0, 1:3])
        memory = after
        stresses.append(stress[0, 0])
        plastic.append(after.equivalent[0])
    return np.array(stresses), np.array(plastic)


def test_first_tension_is_the_stated_hardening():
    stress, plastic = uniaxial(HARDENING, np.linspace(0.0, 0.03, 601))
    p = plastic[-1]
    # 700 + 500 p + 200 (1 - exp(-30 p)) + 60000/200 (1 - exp(-200 p)) + 1000 p, written out
    by_hand = 700 + 500 * p + 200 * (1 - math.exp(-30 * p)) + 300 * (1 - math.exp(-200 * p)) + 1000 * p
    assert stress[-1] == pytest.approx(by_hand, rel=5e-4)  # 600 implicit steps
    assert HARDENING.tension(p) == pytest.approx(by_hand, rel=1e-12)


def test_a_bar_pulled_and_pressed_yields_early_by_its_backstress():
    """Bauschinger: after the pull to plastic strain p1 the backstress is C/g (1 - e^(-g p1)), and yield in compression
    begins at 2 X - sigma_y below nothing."""
    steel = SpringSteel("kinematic", 200_000.0, 0.3, 500.0, backstresses=(Backstress(40_000.0, 100.0),))
    up = np.linspace(0.0, 0.02, 401)
    stress, plastic = uniaxial(steel, np.concatenate([up, up[::-1]]))
    p1 = plastic[400]
    X1 = 400.0 * (1.0 - math.exp(-100.0 * p1))
    assert stress[400] == pytest.approx(500.0 + X1, rel=2e-3)
    yields = int(np.argmax(plastic[401:] > p1 + 1e-7)) + 401
    assert stress[yields - 1] == pytest.approx(X1 - 500.0, abs=200_000.0 * 0.02 / 400)
    # from there the backstress goes from X1 towards -C/g: X = -400 + (400 + X1) e^(-g dp)
    back = -400.0 + (400.0 + X1) * math.exp(-100.0 * (plastic[-1] - p1))
    assert stress[-1] == pytest.approx(back - 500.0, rel=3e-3)


def test_a_strip_bent_far_past_yield_bears_its_fully_plastic_moment():
    """Plane strain, perfectly plastic: M_p = 2/sqrt(3) sigma_0 t^2/4 (R. Hill, The Mathematical Theory of Plasticity,
    1950, 4.7 has the factor of plane strain); let go, the curvature springs back by M_p/(E' I)."""
    t, sigma = 0.25, 500.0
    steel = SpringSteel("perfect", 200_000.0, 0.3, sigma, modulus=1.0)
    E, inertia = 200_000.0 / (1.0 - 0.09), t**3 / 12.0
    plastic = 2.0 / math.sqrt(3.0) * sigma * t**2 / 4.0
    curvature = 15.0 * plastic / 1.5 / (E * inertia)
    # back to the curvature at which the moment should have gone
    moments = bent(steel, t, [*np.linspace(0.0, curvature, 25)[1:], curvature - plastic / (E * inertia)])
    # the elastic core leaves 1/3 (1/15)^2
    assert moments[-2] == pytest.approx(plastic * (1.0 - (1.0 / 15.0) ** 2 / 3.0), rel=0.01)
    assert abs(moments[-1]) < 0.02 * plastic


# --- rings


def test_a_thick_ring_under_pressure_is_lames():
    """Displacement A r + B/r of a long tube (S. Timoshenko, J. N. Goodier, Theory of Elasticity, art. 28): no force
    inside, and on the inner face the pressure that goes with it."""
    E, nu, inner, outer, p = 200_000.0, 0.3, 2.0, 4.0, 1.0
    k = p * inner**2 / (outer**2 - inner**2)
    A, B = k * (1.0 + nu) * (1.0 - 2.0 * nu) / E, k * outer**2 * (1.0 + nu) / E
    sheet = Sheet(strip(FLAT, 0.5, 0.5, 2.5, size=0.1, through=2), ELASTIC, ring=1.5)
    mesh = sheet.mesh
    r = 1.5 + mesh.points[:, 0]
    u = np.column_stack([A * r + B / r, np.zeros_like(r)]).ravel()
    force = sheet.forces(u, sheet.new())[0].reshape(-1, 2)
    # forces are per length at the ring's own radius of 1.5 mm; the body pushes back against the pressure
    assert force[mesh.first, 0].sum() == pytest.approx(p * 0.5 * inner / 1.5, rel=2e-3)
    assert abs(force[mesh.last, 0].sum()) < 2e-3
    ends = np.concatenate([mesh.first, mesh.last])
    inside = np.setdiff1d(np.arange(len(r)), ends)
    assert np.abs(force[inside, 0]).max() < 2e-3 * p * 0.5


# --- contact


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("slip", [0.0, 5e-5, 2e-3, -2e-3], ids=["none", "sticking", "slipping", "the other way"])
@pytest.mark.parametrize("friction", [0.2, 0.0])
def test_stiffness_of_a_deck_is_the_slope_of_its_forces(side, slip, friction):
    deck = Deck(side, np.arange(4), np.array([0.1, 0.2, 0.1, 0.3]), RIGID, friction)
    y = -side * np.array([1e-5, 5e-5, 1e-4, -1e-4])  # soft, beyond, further, clear
    x, anchor, h = np.full(4, slip), np.zeros(4), 1e-10
    at = touch(deck, 0.0, y, x, anchor)
    by_y = (touch(deck, 0.0, y + h, x, anchor).force - touch(deck, 0.0, y - h, x, anchor).force) / (2.0 * h)
    by_x = (touch(deck, 0.0, y, x + h, anchor).force - touch(deck, 0.0, y, x - h, anchor).force) / (2.0 * h)
    # what is assembled is the derivative of the residual, minus that of the force
    assert at.normal == pytest.approx(-by_y[:, 1], rel=1e-4, abs=1e-2)
    assert at.by_y == pytest.approx(-by_y[:, 0], rel=1e-4, abs=1e-2)
    assert at.by_x == pytest.approx(-by_x[:, 0], rel=1e-4, abs=1e-2)
    assert np.all(side * at.force[:3, 1] > 0.0)
    assert at.force[3] == pytest.approx([0.0, 0.0])


def test_a_node_that_turned_round_has_the_slope_between_both_tries_until_it_goes_on_one_way():
    """Friction 0.1 of 100 MPa slips at 10 MPa, and it turned round over 0.01 mm: (10 + 10)/0.01 MPa/mm."""
    pressure, way = np.array([100.0]), 0.01 * STICKING
    first = rubbed(np.array([-way / 2.0]), 0.1, pressure, Tried())
    turned = rubbed(np.array([way / 2.0]), 0.1, pressure, Tried(rub=first))
    assert (first.shear[0], turned.shear[0]) == pytest.approx((-10.0, 10.0))
    assert (first.by_way[0], turned.by_way[0]) == pytest.approx((0.0, 20.0 / 0.01))
    onwards = turned
    for _ in range(6):
        onwards = rubbed(np.array([way]), 0.1, pressure, Tried(rub=onwards))
        assert onwards.shear[0] == pytest.approx(10.0)
    assert onwards.by_way[0] == 0.0


def test_a_bead_is_opened_at_once_by_far_more_than_its_decks_are_pressed_in():
    """By 2 um, of decks that are in by less than half of that: of the guess alone nothing would touch."""
    pressing = bead(arcs("full", 0.2, 2.0, 0.8, 0.8), ELASTIC, friction=0.1)
    top, _ = press(pressing, 0.1)
    assert max(touch.pressure.max() for touch in top.touches) / RIGID < 0.5 * 0.002
    *_, bit_by_bit = pressed_to(pressing, top, 0.098, Pace(1e-4, 1e-5))
    at_once = settled(pressing, top, 0.098, top.displacement)
    assert at_once.iterations <= 7
    assert at_once.line_load == pytest.approx(bit_by_bit.line_load, rel=2e-3)


def test_banded_systems_are_solved_in_place_and_say_where_there_is_no_solution():
    """[[2, 1, 0], [3, 4, 1], [0, 1, 2]] x = [4, 14, 8] by x = (1, 2, 3); rows of the band from above the diagonal."""
    K = np.array([[0.0, 1.0, 1.0], [2.0, 4.0, 2.0], [3.0, 1.0, 0.0]])
    assert _solved(K, np.array([4.0, 14.0, 8.0]), 1) == pytest.approx([1.0, 2.0, 3.0])
    assert np.isnan(_solved(np.zeros((3, 3)), np.ones(3), 1)).all()


# --- beads


def bead(profile, steel, *, thickness=0.2, legs=1.0, friction=0.0, size=0.1, through=2, held=False) -> Pressing:
    """One half of a straight full bead between rigid decks."""
    mesh = strip(profile, thickness, 0.0, profile.width / 2.0 + legs, size=size, through=through)
    hold = np.concatenate([2 * mesh.first, 2 * mesh.last]) if held else 2 * mesh.first
    below = Deck(1, mesh.lower, mesh.lower_weight, RIGID, friction)
    above = Deck(-1, mesh.upper, mesh.upper_weight, RIGID, friction)
    return Pressing(Sheet(mesh, steel), below, above, profile.height + thickness, hold)


def press(pressing: Pressing, *closures: float, steps: int = 12, opens: bool = False):
    """States at closures one after the other, and all on the way."""
    state, way = untouched(pressing), []
    for closure in closures:
        reach = abs(closure - state.closure)
        way += pressed_to(pressing, state, closure, Pace(reach / steps, reach / steps), opens)
        state = way[-1]
    return state, way


@pytest.mark.parametrize(("height", "thickness"), [(0.1, 0.2), (0.3, 0.3)])
def test_a_bead_on_rolling_feet_begins_as_a_beam(height, thickness):
    """Castigliano on the curved middle line: bending, shear (5/6) and normal force of half the load, feet free to slide.

    delta = F int (M^2/E'I + V^2/(5/6 G t) + N^2/E't) ds, M = (w/2 - |x|)/2, V = cos/2, N = sin/2 of the slope.
    """
    width, E, nu = 6.0, 200_000.0, 0.3
    x = np.linspace(0.0, width / 2.0, 4001)
    slope = -height / 2.0 * 2.0 * math.pi / width * np.sin(2.0 * math.pi * x / width)
    ds, cos2 = np.sqrt(1.0 + slope**2), 1.0 / (1.0 + slope**2)
    plane, G = E / (1.0 - nu**2), E / (2.0 * (1.0 + nu))
    M, V2, N2 = (width / 2.0 - x) / 2.0, cos2 / 4.0, (1.0 - cos2) / 4.0
    t = thickness
    density = M**2 / (plane * t**3 / 12.0) + V2 / (5.0 / 6.0 * G * t) + N2 / (plane * t)
    stiffness = 1.0 / (2.0 * np.trapezoid(density * ds, x))
    pressing = bead(cosine("full", height, width), ELASTIC, thickness=thickness, size=0.1)
    closure = 0.004 * height
    state, _ = press(pressing, closure, steps=2)
    assert 2.0 * state.line_load / closure == pytest.approx(stiffness, rel=0.015)


def test_both_decks_bear_the_same_and_friction_stays_within_its_limit():
    pressing = bead(arcs("full", 0.2, 2.0, 0.8, 0.8), HARDENING, friction=0.15)
    state, _ = press(pressing, 0.1)
    lower, upper = state.touches
    assert lower.force[:, 1].sum() == pytest.approx(-upper.force[:, 1].sum(), rel=1e-5)
    for one in state.touches:
        assert np.all(np.abs(one.rub.shear) <= 0.15 * one.pressure + 1e-9)
    assert np.abs(lower.rub.shear).max() > 1.0


def test_an_elastic_bead_gives_back_all_the_work_and_no_more():
    pressing = bead(arcs("full", 0.2, 2.0, 0.8, 0.8), ELASTIC)
    top, up = press(pressing, 0.12, steps=30)
    closures, loads = [0.0, *(s.closure for s in up)], [0.0, *(s.line_load for s in up)]
    work = np.trapezoid(loads, closures)
    weight = pressing.sheet._shape[2]
    # what is stored, with what the contact's own springs hold, p^2/2k
    held = sum(float((t.pressure**2 / (2.0 * RIGID)) @ d.weight) for t, d in
               zip(top.touches, (pressing.below, pressing.above), strict=True))  # fmt: skip
    compliance = np.linalg.inv(isotropic_stiffness(np.array([ELASTIC.E]), np.array([ELASTIC.nu]))[0])
    stored = float(weight.ravel() @ np.einsum("ni,ij,nj->n", top.stress, compliance, top.stress) / 2.0)
    assert stored + held == pytest.approx(work, rel=0.01)
    *_, state = pressed_to(pressing, top, 0.0, Pace(0.01, 0.01), True)
    assert state.closure < 1e-3


def test_what_an_elastic_bead_loses_in_a_closed_loop_is_the_work_of_its_friction():
    """Of the metal nothing is lost: the area of the loop of load over closure is friction times slip on both decks."""
    pressing = bead(arcs("full", 0.2, 2.0, 0.8, 0.8), ELASTIC, friction=0.3)
    _, way = press(pressing, 0.08, 0.05, 0.08, 0.05, 0.08, steps=24)
    turns = [number for number, state in enumerate(way) if abs(state.closure - 0.08) < 1e-9]
    loop = way[turns[1] : turns[2] + 1]
    closures, loads = np.array([(state.closure, state.line_load) for state in loop]).T
    lost = float(np.trapezoid(loads, closures))
    slipped = 0.0
    for before, after in zip(loop, loop[1:], strict=False):
        for i, deck in enumerate((pressing.below, pressing.above)):
            shear = (before.touches[i].rub.shear + after.touches[i].rub.shear) / 2.0
            slipped += float((shear * (after.anchors[i] - before.anchors[i])) @ deck.weight)
    assert loop[0].line_load == pytest.approx(loop[-1].line_load, rel=1e-3)  # it is closed
    assert lost > 0.02 * loads.max() * 0.03
    assert slipped == pytest.approx(lost, rel=0.03)


def test_a_plastic_bead_keeps_a_set_and_takes_work():
    pressing = bead(arcs("full", 0.2, 2.0, 0.8, 0.8), HARDENING, friction=0.1)
    top, _ = press(pressing, 0.15)
    path = [top, *pressed_to(pressing, top, 0.0, Pace(0.01, 0.002), True)]
    rest = path[-1]
    assert rest.line_load <= 1e-4 * top.line_load
    assert 0.02 < rest.closure < 0.145
    again = list(pressed_to(pressing, rest, 0.15, Pace(0.005, 0.002)))
    given = -np.trapezoid([s.line_load for s in path], [s.closure for s in path])
    taken = np.trapezoid([s.line_load for s in again], [s.closure for s in again])
    assert taken > given > 0.0


def test_meshes_agree_as_they_get_finer():
    profile = arcs("full", 0.2, 2.0, 0.8, 0.8)
    loads = [
        press(bead(profile, HARDENING, size=size, through=through), 0.08, 0.12)[0].line_load
        for size, through in ((0.1, 2), (0.05, 4))
    ]
    assert loads[0] == pytest.approx(loads[1], rel=0.03)


# --- profiles and meshes


@pytest.mark.parametrize("kind", ["full", "half"])
def test_arcs_meet_tangentially_at_the_stated_height_and_width(kind):
    profile = arcs(kind, 0.25, 2.4, 0.5, 0.7)
    x, y = profile.rows
    assert y.max() == pytest.approx(0.25)
    assert x[-1] - x[0] == pytest.approx(2.4)
    assert np.abs(np.diff(profile.slopes)).max() < 0.01
    side = x <= 0.0 if kind == "full" else slice(None)
    bend = np.gradient(profile.slopes[side], x[side]) / (1.0 + profile.slopes[side] ** 2) ** 1.5
    assert bend.max() == pytest.approx(1.0 / 0.5, rel=0.02)
    assert bend.min() == pytest.approx(-1.0 / 0.7, rel=0.02)


def test_measured_points_make_the_bead_they_came_from():
    true = cosine("full", 0.25, 2.5)
    x = np.linspace(-1.25, 1.25, 41)
    found = through("full", x + 3.0, true.at(x)[0] + 0.7)
    assert found.height == pytest.approx(0.25, abs=1e-6)
    assert found.at(np.array([0.4]))[0] == pytest.approx(true.at(np.array([0.4]))[0], abs=1e-3)


def test_arcs_too_large_for_their_bead_are_refused():
    with pytest.raises(InputError, match=r"has room for 3\.2"):
        arcs("full", 0.25, 2.5, 2.0, 1.5)


def test_a_sheet_that_folds_onto_itself_is_refused():
    with pytest.raises(MeshError, match="radius of the middle line"):
        strip(arcs("full", 0.25, 1.6, 0.1, 0.1), 0.3, 0.0, 1.5, size=0.03, through=2)


def test_faces_stand_for_their_whole_length_and_area_is_kept():
    mesh = strip(cosine("full", 0.2, 2.0), 0.25, 0.0, 2.0, size=0.1, through=3)
    length = float(
        cosine("full", 0.2, 2.0).along(np.array([2.0]))[0] - cosine("full", 0.2, 2.0).along(np.array([0.0]))[0]
    )
    sheet = Sheet(mesh, ELASTIC)
    assert sheet._shape[2].sum() == pytest.approx(0.25 * length, rel=1e-3)
    assert mesh.lower_weight.sum() + mesh.upper_weight.sum() == pytest.approx(2.0 * length, rel=2e-3)
