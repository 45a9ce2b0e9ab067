"""A bead stamped between dies: what springs back, what stays in it, what it bears then."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from test_bead import COARSE, stated

from headjoint.cases.bead import start as start_module
from headjoint.cases.bead.dies import Die, die_rows
from headjoint.cases.bead.history import pressed
from headjoint.cases.bead.pressing import Pace, pressed_to
from headjoint.cases.bead.sheet import POINTS
from headjoint.cases.bead.start import ACCURACY, Formed, formed_of, start_of, struck, warmed
from headjoint.meshes.solid.hexahedra import face_functions
from headjoint.model.base.errors import SolveError
from headjoint.model.bead.hardening import SpringSteel
from headjoint.model.bead.profile import arcs
from headjoint.model.bead.steels import named_steel
from headjoint.postproc.bead.answer import BeadAnswer
from headjoint.postproc.bead.findings import find
from headjoint.postproc.bead.law import law_of

STAMPED = COARSE.replace("[bead]\n", "[bead]\nstamped = true\n")


@pytest.mark.parametrize("side", [1, -1])
def test_stiffness_of_a_die_is_the_slope_of_its_forces(side):
    rows = die_rows(arcs("full", 0.2, 2.0, 1.0, 1.0), 0.1)
    # so soft that pressure times the bend of the curve counts, too
    die = Die(side, np.arange(3), np.array([0.1, 0.2, 0.3]), 1e3, rows)
    x = np.array([-0.301, 0.2003, 0.7001])
    places = np.column_stack([x, np.interp(x, rows[0], rows[1]) - side * np.array([0.02, 0.03, -0.02])])
    nothing, h = np.zeros(3), 1e-6
    at = die.touched(0.0, places, nothing, nothing)

    def by(axis: int):
        way = h * np.eye(2)[axis]
        ahead, behind = (die.touched(0.0, places + sign * way, nothing, nothing).force for sign in (1.0, -1.0))
        return -(ahead - behind) / (2.0 * h)

    for found, (row, axis) in ((at.by_x, (0, 0)), (at.by_y, (0, 1)), (at.lean, (1, 0)), (at.normal, (1, 1))):
        # the curve is straight between rows a thousandth of its width apart, its slope is not
        assert found == pytest.approx(by(axis)[:, row], rel=0.01, abs=1e-3)
    # square on the curve, into the sheet, and nothing where the die stands clear
    along = np.column_stack([np.ones(3), np.interp(x, rows[0], rows[2])])
    assert np.abs((at.force * along).sum(axis=1)).max() < 1e-9 * np.abs(at.force).max()
    assert np.all(side * at.force[:2, 1] > 0.0)
    assert at.force[2] == pytest.approx([0.0, 0.0])


def test_a_die_lies_square_to_the_middle_line_at_half_the_thickness():
    profile = arcs("full", 0.3, 2.0, 0.8, 0.8)
    x, y, slope, bend = die_rows(profile, 0.1)
    assert y[len(y) // 2] == pytest.approx(0.4)  # crown, 0.3 and 0.1
    # a crown of 0.8 mm radius seen 0.1 mm further out bends to 0.9 mm
    middle = np.abs(x) < 0.1
    assert -bend[middle] / (1.0 + slope[middle] ** 2) ** 1.5 == pytest.approx(1.0 / 0.9, rel=2e-3)


def test_dies_that_would_fold_are_refused():
    with pytest.raises(SolveError, match="dies that stamp this bead would fold"):
        die_rows(arcs("full", 0.3, 2.0, 0.8, 0.2), -0.21)


def test_a_crown_springs_back_by_the_moment_that_was_in_it():
    """Let go, curvature goes back by M/(E' I), with E' I = E t^3/(12 (1 - nu^2)) of plane strain and M the moment in
    the dies, at most M_p = 2/sqrt(3) sigma_0 t^2/4 (R. Hill, The Mathematical Theory of Plasticity, 1950, 4.7)."""
    sigma, t = 400.0, 0.2
    text = COARSE.replace('height = "0.2 mm"', 'height = "0.3 mm"').replace('width = "2 mm"', 'width = "4 mm"')
    bead = stated(text.replace('radius = "1 mm"', 'radius = "3 mm"'))
    press, closed, free = struck(bead, bead.profile, SpringSteel("perfect", 200_000.0, 0.3, sigma, modulus=1.0))
    mesh = press.sheet.mesh
    columns = 12  # of nodes, six elements beside the middle
    within = np.flatnonzero(mesh.cells.max(axis=1) <= mesh.upper[columns])
    length = float(mesh.points[mesh.upper[columns], 0])
    # 2 x 2 Gauss points of an element, each a quarter of its area; stress is that of the flat sheet's directions
    values, _ = face_functions(POINTS, 8)
    heights = mesh.points[mesh.cells[within]][:, :, 1] @ values.T - t / 2.0
    area = length * t / len(within) / 4.0

    def moment(state) -> float:
        return float((state.stress[:, 0].reshape(-1, 4)[within] * heights).sum()) * area / length

    def curvature(state) -> float:
        now = mesh.points + state.displacement.reshape(-1, 2)
        across = now[mesh.upper[columns]] - now[mesh.lower[columns]]
        return math.atan2(across[0], across[1]) / length

    assert curvature(closed) == pytest.approx(1.0 / 3.0, rel=0.05)
    assert 0.0 < moment(closed) < 2.0 / math.sqrt(3.0) * sigma * t**2 / 4.0
    back = (moment(closed) - moment(free)) / (200_000.0 / 0.91 * t**3 / 12.0)
    assert curvature(closed) - curvature(free) == pytest.approx(back, rel=0.03)


def test_closed_dies_lie_on_both_sides_of_the_middle_line_of_the_sheet():
    bead = stated(STAMPED)
    t, (x, y) = bead.thickness, bead.profile.rows
    press, *_ = struck(bead, bead.profile, bead.steel)
    below, above = (die.rows[:2, 1:-1] for die in (press.below, press.above))
    assert (below + above) / 2.0 == pytest.approx(np.array([x, y + t / 2.0]), abs=1e-12)
    assert np.hypot(*(above - below)) == pytest.approx(1.01 * t)


def test_a_bead_so_low_that_its_sheet_springs_back_flat_is_refused():
    with pytest.raises(SolveError, match="a bead 0.001 mm high springs back flat"):
        formed_of(stated(re.sub(r"(?s)\[path\].*?(?=\n\[|$)", "", STAMPED).replace('"0.2 mm"', '"1 um"', 1)))


@pytest.fixture(scope="module")
def stamped():
    bead = stated(STAMPED)
    return bead, start_of(bead, bead.steel)


def test_a_stamped_bead_is_as_high_as_stated_by_higher_dies(stamped):
    bead, start = stamped
    assert start.pressing.top - bead.thickness == pytest.approx(bead.height, rel=ACCURACY)
    assert start.dies > 1.05 * bead.height


def test_what_stays_in_a_stamped_bead_balances_itself(stamped):
    """Nothing presses on it, so its inner forces vanish, though its stress does not."""
    _, start = stamped
    sheet, state = start.pressing.sheet, start.state
    force = sheet.forces(state.displacement, state.metal)[0]
    force[start.pressing.held] = 0.0
    yields = sheet.steel.yield_strength
    assert np.abs(state.stress).max() > 0.5 * yields
    assert np.abs(force).max() < 1e-5 * yields * 0.2


def test_backstresses_of_a_warmed_sheet_go_with_their_modulus_and_the_rest_stays(stamped):
    """EN 1.4310 +C1300 at 200 degC has 0.88 of its strengths, the moduli of its backstresses among them."""
    bead, start = stamped
    cold, hot = start.state.metal, named_steel("EN 1.4310 +C1300", 200.0, "")
    warm = warmed(cold, bead.steel, hot)
    assert np.abs(cold.back).max() > 100.0
    assert warm.back == pytest.approx(0.88 * cold.back)
    assert np.array_equal(warm.strain, cold.strain)
    assert np.array_equal(warm.equivalent, cold.equivalent)


def test_a_bead_is_stamped_once_for_all_temperatures(monkeypatch):
    bead = stated(STAMPED.replace("cycles = 2", 'cycles = 1\ntemperatures = ["20 degC", "200 degC"]'))
    formed, hot = formed_of(bead), bead.steels[1][1]
    monkeypatch.setattr(start_module, "struck", lambda *asked: pytest.fail("stamped again"))
    cold, warm = (start_of(bead, steel, formed) for _, steel in bead.steels)
    assert cold.dies == warm.dies == formed.dies
    # what was left in it is relieved by the softer elasticity alone, or a little more where it yields
    shares = np.abs(warm.state.stress).max() / np.abs(cold.state.stress).max()
    assert 0.7 < shares < hot.E / bead.steel.E + 0.02


def let_go(bead):
    """What dies of the stated height leave: the sheet between them, height over a plate (mm), greatest stress (MPa)."""
    press, closed, free = struck(bead, bead.profile, bead.steel)
    y = press.sheet.mesh.points[:, 1] + free.displacement[1::2]
    return press, closed, free, float(np.ptp(y)) - bead.thickness, float(np.abs(free.stress).max())


def test_a_full_bead_is_stamped_about_its_crown_though_its_ends_are_unlike():
    """Both sides are meshed then, and each is the half of a bead whose ends are alike."""
    half, whole = (stated(STAMPED.replace("[bead]\n", f'[bead]\nends = "{one}"\n')) for one in ("held", "inner held"))
    (_, closed, _, height, stress), (_, shut, _, stands, kept) = let_go(half), let_go(whole)
    assert stands == pytest.approx(height, rel=1e-5)
    assert kept == pytest.approx(stress, rel=1e-3)
    assert shut.line_load == pytest.approx(2.0 * closed.line_load, rel=1e-4)


def test_a_ring_pressed_flat_and_let_go_does_not_dish_and_lean_on_the_decks():
    """Free of stress at first, of 42 mm radius: its edges stay equally high, and it keeps the set of a straight bead
    within two hundredths of its height; a dish would lean on the decks until they are as far apart as at first."""
    bead = stated()
    found = []
    for one in (bead, replace(bead, ring=42.0)):
        start = start_of(one, one.steel)
        *_, deep = pressed_to(start.pressing, start.state, 0.16, Pace(0.01, 0.005))
        *_, light = pressed_to(start.pressing, deep, 0.0, Pace(0.01, 0.001), opens=True)
        found.append((deep.line_load / start.share, light.closure))
    (straight, left), (around, kept) = found
    assert around == pytest.approx(straight, rel=0.02)
    assert kept == pytest.approx(left, abs=0.02 * bead.height)
    edges = 2 * np.array(start.pressing.level) + 1
    assert np.ptp(light.displacement[edges]) < 1e-8


def test_around_a_ring_let_go_nothing_is_left_over_and_its_edges_lie_equally_high():
    """Nothing presses on it across its axis: hoop stress over its section makes no force, though it is not nothing."""
    bead = stated(STAMPED.replace("[bead]\n", '[bead]\nring_radius = "20 mm"\n'))
    press, _, free, _, _ = let_go(bead)
    sheet = press.sheet
    # second Piola-Kirchhoff hoop stress over the first section, by the weights of a ring's radius, is what acts around
    moved = free.displacement[sheet.dofs].reshape(-1, 8, 2)[:, :, 0]
    over_radius, _, weight = sheet._shape
    hoop = free.stress[:, 2].reshape(weight.shape) / (1.0 + np.einsum("mqa,ma->mq", over_radius, moved))
    area = weight * over_radius.sum(axis=2) * bead.ring
    assert np.abs(hoop).max() > 100.0
    assert abs(float((hoop * area).sum())) < 1e-4 * float((np.abs(hoop) * area).sum())
    edges = press.sheet.mesh.lower[[0, -1]]
    assert np.ptp(press.sheet.mesh.points[edges, 1] + free.displacement[2 * edges + 1]) < 1e-12


HALF = STAMPED.replace("[bead]\n", '[bead]\nkind = "half"\nends = "inner held"\n').replace(
    'width = "2 mm"', 'width = "1.4 mm"'
)


def test_a_half_bead_let_go_carries_no_force_and_no_moment_through_any_of_its_sections():
    """Held at one end alone, it has nothing to lean on; yet stress is left in it, as it was bent past yield."""
    bead = stated(HALF)
    press, closed, free, height, stress = let_go(bead)
    assert height < 0.97 * bead.height
    assert stress > 200.0
    sheet = press.sheet

    def ends(state):
        """Force (N/mm) and moment (N) at the end that stays."""
        force = sheet.forces(state.displacement, state.metal)[0].reshape(-1, 2)[sheet.mesh.first]
        y = sheet.mesh.points[sheet.mesh.first, 1] + state.displacement[2 * sheet.mesh.first + 1]
        return float(np.linalg.norm(force.sum(axis=0))), abs(float((force[:, 0] * (y - y.mean())).sum()))

    moment = bead.steel.yield_strength * bead.thickness**2 / 6.0  # at which it would yield
    assert ends(free)[0] < 1e-5 * bead.steel.yield_strength * bead.thickness
    assert ends(free)[1] < 1e-5 * moment
    # while the dies close on it, it leans on that end
    assert ends(closed)[0] > 0.1


def test_the_end_of_a_half_bead_that_stays_is_the_inner_one_unless_the_outer_alone_is_held():
    for name, outer in (("held", False), ("inner held", False), ("outer held", True)):
        bead = stated(HALF.replace("inner held", name))
        mesh = start_module._blank(bead, bead.profile)
        stays, goes = (mesh.last, mesh.first) if outer else (mesh.first, mesh.last)
        where = bead.profile.width / 2.0 + bead.legs
        assert np.abs(mesh.points[stays, 0]) == pytest.approx(where)
        # the other one is drawn in by what the step is longer than wide
        longer = float(bead.profile.along(bead.profile.rows[0, -1:])[0]) - bead.profile.width
        assert longer > 0.01
        assert np.abs(mesh.points[goes, 0]) == pytest.approx(where + longer)
        assert np.array_equal(start_module._kept_in_dies(bead, mesh), 2 * stays)
        assert bead.outer_stays is outer


@pytest.mark.slow
@pytest.mark.long  # two beads stamped, two pressed
@pytest.mark.parametrize("text", [HALF, STAMPED], ids=["half", "full"])
def test_a_ring_of_great_radius_bears_what_the_straight_bead_does_out_of_the_same_dies(text):
    """Stamped, let go and pressed far: half a bead, or one that is held, beside a ring that is hardly bent. Dies that are
    searched for a height leave it within 0.002 of it, by which loads that rise steeply move by 2 %; so they are the same
    here."""
    bead, found = stated(text), []
    for one in (bead, replace(bead, ring=1e5)):
        press, _, let_go = struck(one, one.profile, one.steel)
        start = start_of(one, one.steel, Formed(press.sheet, let_go, one.height))
        state, loads = start.state, []
        for closure in (0.05, 0.1, 0.14):
            *_, state = pressed_to(start.pressing, state, closure, Pace(0.01, 0.002))
            loads.append(state.line_load / start.share)
        found.append((start.pressing.top, *loads))
    assert found[1] == pytest.approx(found[0], rel=0.001)


@pytest.mark.slow
@pytest.mark.long
def test_a_stamped_bead_yields_at_once_when_it_is_bent_back(stamped):
    """Bent one way, it yields early the other way; free of stress and never bent, it is elastic at first."""
    bead, _ = stamped
    path = replace(bead.path, open_from=(), cycles=1)
    bead = replace(bead, path=path)
    virgin = pressed(replace(bead, stamped_in=None), 20.0, bead.steel)
    found = find(bead, lambda name: None)
    at = found.at[0]
    assert at.line_load[-1] < 0.95 * virgin.legs[0].loads[-1]
    assert at.stamping.dies == at.history.start.dies
    assert at.stamping.plastic_strain > 0.02
    answer = BeadAnswer(found, law_of(found))
    said = " ".join(str(one) for one in answer.report().sections)
    assert "springs back by" in said
    assert "its edges lie equally high" in said.replace("Its", "its")
    assert "stamping is not followed" not in said
    assert answer.document()["temperatures"][0]["stamping"]["dies"] == at.stamping.dies
    assert "stamped full bead" in answer.fragment
