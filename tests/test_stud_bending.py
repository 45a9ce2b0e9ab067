"""Studs bend where their nuts stick to a head that grows across the block: beam theory, friction, and the cell."""

from __future__ import annotations

import gc
from dataclasses import replace
from functools import lru_cache
from types import SimpleNamespace

import numpy as np
import pytest
from conftest import bank_text
from scipy.integrate import quad, solve_bvp
from scipy.spatial import cKDTree

import headjoint
from headjoint.cases.condensed.cell_condensation import CellRecovery, cell_model, condense_cell
from headjoint.cases.condensed.face_rows import face_watch
from headjoint.cases.condensed.stud_rows import bending_by_recovery, thinner
from headjoint.cases.condensed.watched_cell import watched_cell
from headjoint.cases.elements.linear_solver import solver_name
from headjoint.cases.load_cases.load_history import run
from headjoint.cases.models.condensed import condensed_cell
from headjoint.meshes.solid.bore_cell import build_cell
from headjoint.model.base.errors import SolveError
from headjoint.model.cell import typical_mesh
from headjoint.model.formulas.stud_bending import (
    beam_bending,
    end_stud,
    friction_range,
    guided_beam,
    second_moment,
    section_modulus,
    stiffened,
    tension_stiffening,
)
from headjoint.model.joint import Segment
from headjoint.model.reading.reading import parse_cell
from headjoint.postproc.cell.answer import CellAnswer
from headjoint.postproc.cell.stuck_nuts import STICKS, StudBending, coulomb_shear, range_of_states, stud_bending
from headjoint.postproc.present.report import Paragraphs
from tests.test_cell import plain_ring

BANK = bank_text()
COARSE = '\n[mesh]\nring_size = "14 mm"\nstud_size = "14 mm"\nlargest = "10 mm"\n'
E, NU = 205_000.0, 0.3


def test_a_slender_stud_clamped_at_both_ends_bends_by_6_e_i_delta_over_l_squared():
    # d = 10, L = 200: I = pi 10^4/64 = 490.87 mm4, L^3/(12 E I) = 8e6/(12 x 205000 x 490.87) = 6.625e-3 mm/N;
    # shear adds 200/(0.9 x 78846 x 78.540) = 3.59e-5 mm/N
    beam = guided_beam((Segment(200.0, 10.0, False),), E, NU)
    assert beam.compliance == pytest.approx(6.625e-3 + 3.59e-5, rel=2e-4)
    assert beam.turning_point == pytest.approx(100.0)
    # delta = 0.1 mm: M = 6 E I delta/L^2 = 6 x 205000 x 490.87 x 0.1/40000 = 1509.4 N.mm, W = 98.17 mm3: 15.37 MPa
    assert 0.1 / beam.compliance * beam.arm == pytest.approx(15.37, rel=6e-3)  # less what shear gives
    assert section_modulus(10.0) == pytest.approx(98.175, rel=1e-5)


def test_segments_bend_as_the_integrals_of_their_moments_say():
    segments = (Segment(12.0, 9.4, True), Segment(60.0, 10.2, False), Segment(6.0, 8.0, True))
    beam = guided_beam(segments, E, NU)

    def at(x):
        return segments[0 if x < 12.0 else 1 if x < 72.0 else 2].diameter

    def integral(f):
        return sum(quad(f, a, b)[0] for a, b in ((0.0, 12.0), (12.0, 72.0), (72.0, 78.0)))

    middle = integral(lambda x: x / at(x) ** 4) / integral(lambda x: 1.0 / at(x) ** 4)
    bent = integral(lambda x: (x - middle) ** 2 / (E * np.pi / 64.0 * at(x) ** 4))
    sheared = integral(lambda x: 1.0 / (0.9 * E / 2.6 * np.pi / 4.0 * at(x) ** 2))
    assert beam.turning_point == pytest.approx(middle)
    assert beam.compliance == pytest.approx(bent + sheared)
    assert beam.arm == pytest.approx(max(middle, 78.0 - middle) / (np.pi / 32.0 * 8.0**3))


@pytest.mark.parametrize("force", [0.0, 1.0, 20e3, 60e3, 200e3])
def test_tension_raises_the_end_moment_as_the_beam_s_equation_says(force):
    length, stiffness, offset = 110.0, E * second_moment(10.2), 0.1
    k2 = force / stiffness

    def slope(x, y):
        return np.vstack([y[1], y[2], y[3], k2 * y[2]])

    ends = solve_bvp(
        slope,
        lambda a, b: np.array([a[0], a[1], b[0] - offset, b[1]]),
        np.linspace(0.0, length, 60),
        np.zeros((4, 60)),
        tol=1e-8,
    )
    moment = stiffness * ends.sol(0.0)[2]
    plain = 6.0 * stiffness * offset / length**2
    assert tension_stiffening(force, stiffness, length) == pytest.approx(moment / plain, rel=1e-5)


def test_a_nut_sticks_up_to_friction_and_then_bends_its_stud_no_further():
    joint = parse_cell(BANK).joint
    force, beam = 50e3, None
    beam = guided_beam(joint.fastener.segments, joint.fastener.material.E.at(20.0), joint.fastener.material.nu)
    # greatest friction of class B about 0.12: 0.16 x 50 kN = 8 kN
    assert friction_range(joint) == pytest.approx((0.08, 0.16))
    little, much = beam_bending(joint, 0.05, force), beam_bending(joint, 50.0, force)
    assert little.sticks
    assert not much.sticks
    assert little.friction == pytest.approx(8e3)
    assert little.stress == pytest.approx(stiffened(joint, force) * 0.05 / beam.compliance * beam.arm)
    # sliding: M = mu F h, h from the nut to where nothing bends or from there to the thread
    h = max(beam.turning_point, joint.fastener.clamped_length - beam.turning_point)
    smallest = min(one.diameter for one in joint.fastener.segments)
    assert much.stress == pytest.approx(8e3 * h / (np.pi / 32.0 * smallest**3))


def test_the_end_stud_of_a_longer_engine_bends_more():
    def at(bores):
        joint = parse_cell(BANK.replace('kind = "bank"', f'kind = "bank"\nin_row = {bores}')).joint
        hot = next(case for case in joint.load_cases if case.name == "hot")
        return joint, end_stud(joint, hot.temperatures, 60e3)

    joint, four = at(4)
    # from the middle of four bores to the end studs: 1.5 x 98 + 49 = 196 mm along, 48.5 mm across
    assert joint.from_middle == pytest.approx(np.hypot(196.0, 48.5))
    head, block = joint.head.material, joint.block.material
    apart = head.expansion.at(118.0) * 98.0 - block.expansion.at(104.0) * 84.0
    assert four.offset == pytest.approx(joint.from_middle * apart)
    _, six = at(6)
    assert six.sticking / four.sticking == pytest.approx(np.hypot(294.0, 48.5) / np.hypot(196.0, 48.5))
    assert end_stud(parse_cell(BANK).joint, {}, 60e3) is None


def test_friction_takes_what_it_bears_against_the_slip_and_no_more():
    flexibility, of, bears = np.diag([2e-3, 2e-3]), np.array([0, 0]), np.array([50.0])
    free = np.array([0.03, -0.04])  # sticking takes -15 and 20 N: 25 N
    shear, slip = coulomb_shear(flexibility, free, of, bears)
    assert shear == pytest.approx([-15.0, 20.0])
    assert slip == pytest.approx([0.0, 0.0])
    # 250 N wanted, 50 borne, along the slip: 200 N x 2 um/N are left
    shear, slip = coulomb_shear(flexibility, 10.0 * free, of, bears)
    assert shear == pytest.approx([-30.0, 40.0])
    assert slip == pytest.approx([0.24, -0.32])


def test_a_nut_that_slides_lets_another_that_sticks_feel_it():
    # two nuts on one beam: f11 = f22 = 2, f12 = 1 um/N; only the first may bear little
    flexibility, of = np.array([[2e-3, 1e-3], [1e-3, 2e-3]]), np.array([0, 1])
    shear, slip = coulomb_shear(flexibility, np.array([0.1, 0.0]), of, np.array([10.0, 1e6]))
    # 0.1 + 2e-3 x (-10) + 1e-3 x 5 = 0.085
    assert slip == pytest.approx([0.085, 0.0])
    assert shear == pytest.approx([-10.0, 5.0])  # 1e-3 x (-10) + 2e-3 x 5 = 0: the second has not moved


def test_nuts_alone_hold_a_head_that_is_loose_and_their_shears_are_in_balance():
    # three nuts in a row, 2 um/N each, that would slip by 30, 20 and 10 um: the head shifts by the mean of them and
    # the outer two bear 5 N against each other; held at its middle it would not be in balance
    flexibility, of, loose = np.diag([2e-3] * 3), np.arange(3), np.ones((3, 1))
    free, much = np.array([0.03, 0.02, 0.01]), np.full(3, 1e6)
    shear, slip = coulomb_shear(flexibility, free, of, much, loose)
    assert shear == pytest.approx([-5.0, 0.0, 5.0], abs=1e-9)
    assert slip == pytest.approx([0.0] * 3)
    held, _ = coulomb_shear(flexibility, free, of, much)
    assert held.sum() == pytest.approx(-30.0)
    # the first bears 3 N: it slides, and the two others bear as much together against it; they move with the head
    shear, slip = coulomb_shear(flexibility, free, of, np.array([3.0, 1e6, 1e6]), loose)
    assert shear == pytest.approx([-3.0, -1.0, 4.0])
    # the head stands where the others have not slipped: 0.02 - 2e-3 x 1 = 0.018; 0.03 - 0.006 - 0.018 are left
    assert slip == pytest.approx([0.006, 0.0, 0.0])


@lru_cache(maxsize=2)
def ring():
    """Four studs round one bore, slender ones: a head of 88 mm."""
    text = plain_ring().replace("EXTENT", "sector").replace('height = "40 mm"', 'height = "88 mm"') + COARSE
    cell = parse_cell(text)
    model = cell_model(cell, build_cell(cell))
    found = watched_cell(model)
    return model, found, run(condensed_cell(model, found.reduced))


@pytest.mark.long
@pytest.mark.slow
@pytest.mark.parametrize("name", ["boosted-four", "six-stud-ring"])
def test_no_node_that_is_not_watched_slides_further_than_those_that_are(name):
    """Over what lies opposite at the same place: the gasket's faces match in a mesh that is made here."""
    cell = replace(headjoint.read(name), mesh=replace(typical_mesh(86.0), ring_size=9.0, stud_size=9.0, largest=25.0))
    model = cell_model(cell, build_cell(cell))
    history, recovery, watched = (
        run(condensed_cell(model, condense_cell(model))),
        CellRecovery(model),
        face_watch(model),
    )
    pair, points = model.mesh.pair("gasket"), model.mesh.points
    upper, lower = np.unique(pair.upper), np.unique(pair.lower)
    away, at = cKDTree(points[:2, lower].T).query(points[:2, upper].T)
    assert away.max() < 1e-6
    for state in history.states:
        q, factors = state.equilibrium.q, history.model.factors(state.case)
        moved = recovery.displacement(q, factors).reshape(-1, 3)[:, :2]
        sliding, _ = watched.split(watched.on_all @ recovery.unknowns(q, factors))
        furthest = np.hypot(*(moved[upper] - moved[lower[at]]).T).max()
        assert np.hypot(*sliding).max() == pytest.approx(furthest, rel=1e-6), state.name


@pytest.mark.slow
def test_what_is_condensed_along_is_what_full_displacements_show():
    model, found, history = ring()
    state, recovery = history.states[-1], CellRecovery(model)
    q, factors = state.equilibrium.q, history.model.factors(state.case)
    watch = face_watch(model)
    told, shown = found.faces.at(q, factors), recovery.displacement(q, factors).reshape(-1, 3)
    sliding, (radial,) = watch.split(told)
    assert told == pytest.approx(watch.on_all @ recovery.unknowns(q, factors), abs=1e-9 * np.abs(told).max())
    (wall,) = watch.walls
    assert wall.places[:2] / 43.0 == pytest.approx(wall.places[:2] / np.hypot(*wall.places[:2]), rel=1e-4)
    outward = (shown[wall.nodes, :2] * wall.places[:2].T / 43.0).sum(axis=1)
    assert radial == pytest.approx(outward, rel=1e-3, abs=1e-8)
    # the gasket's faces match: what lies opposite a node of the one is the node of the other at the same place
    pair = model.mesh.pair("gasket")
    upper, lower = np.unique(pair.upper), np.unique(pair.lower)
    at = {tuple(np.round(model.mesh.points[:2, node], 5)): node for node in lower}
    moved = {node: shown[node, :2] - shown[at[tuple(np.round(model.mesh.points[:2, node], 5))], :2] for node in upper}
    node_at = {tuple(np.round(model.mesh.points[:2, node], 5)): node for node in moved}
    for number, place in enumerate(watch.partners.places.T):
        assert sliding[:, number] == pytest.approx(moved[node_at[tuple(np.round(place, 5))]], abs=1e-9)
    # some nodes are watched; none of the others slides further
    assert sliding.shape[1] < 0.6 * len(moved)
    assert np.hypot(*sliding).max() == pytest.approx(max(np.hypot(*travel) for travel in moved.values()), rel=1e-9)
    # bending rows: the same by back-substitution
    other = bending_by_recovery(model, recovery)
    (one,), (two,) = found.bending.bending, other.bending
    assert one.on_unknowns == pytest.approx(two.on_unknowns, abs=1e-8 * np.abs(two.on_unknowns).max())
    for name, load in two.on_loads.items():
        # of a free strain below 0.002: less than 1e-6 MPa at the surface of the shank
        assert one.on_loads[name] == pytest.approx(load, abs=1e-5)
    assert found.bending.flexibility == pytest.approx(other.flexibility, rel=1e-8)
    assert found.bending.by_shear[0] == pytest.approx(other.by_shear[0], rel=1e-7)


@pytest.mark.long  # a cell solved in a dozen seconds or more
@pytest.mark.skipif(not solver_name().startswith("MKL"), reason="only Pardiso leaves factors over")
@pytest.mark.slow
def test_factors_left_over_recover_what_new_ones_do_and_only_the_latest_are_there():
    model, _, history = ring()
    state = history.states[-1]
    q, factors = state.equilibrium.q, history.model.factors(state.case)
    first = watched_cell(model, keeps=True).factors
    assert first is not None
    found = CellRecovery(model, factors=first).displacement(q, factors)
    exact = CellRecovery(model).displacement(q, factors)
    assert found == pytest.approx(exact, abs=1e-9 * np.abs(exact).max())
    second = watched_cell(model, keeps=True).factors
    assert (first.released, second.released) == (True, False)
    with pytest.raises(SolveError, match="no longer kept"):
        first.solve(np.zeros(len(model.inner)))
    # they go with the answer that has them, for they take a gigabyte and more
    freed = second._freed
    del second
    gc.collect()
    assert not freed.alive
    # nothing is drawn, and faces are condensed along: nobody would ask for them
    assert watched_cell(model, keeps=True, drawn=False).factors is None


@pytest.mark.long
@pytest.mark.slow
def test_a_shear_at_the_nut_bends_the_meshed_stud_as_a_beam():
    model, found, _ = ring()
    rows = found.bending
    cell, (stud,) = model.cell, model.mesh.fasteners
    material, d = cell.joint.fastener.material, cell.shank_diameter
    modulus = material.E.at(20.0)
    free = 88.0 + 0.75 + 10.0  # from the first thread to the head's top
    at_thread, change = rows.by_shear[0][:, 0] * second_moment(d) * stud.share  # N.mm per N of the whole stud
    # the moment goes from one end to the other by V times the length; elements as tall as two diameters lock by 1 %
    assert abs(change) == pytest.approx(free, rel=0.015)
    # and turns its sign half-way, where neither end tilts: thread and nut are not equally stiff
    assert -at_thread / change == pytest.approx(0.5, abs=0.05)
    # neither end is rigid: half a diameter more at each, as VDI 2230 counts it, and some of the casting
    whole = (rows.flexibility[0, 0] - thinner(cell) / stud.share) * stud.share
    rigid, soft = (
        guided_beam((Segment(length, d, False),), modulus, material.nu).compliance for length in (free, free + 1.25 * d)
    )
    assert rigid < whole < soft


@pytest.mark.slow
def test_nuts_of_a_ring_slip_by_the_free_growth_of_the_head_and_bend_as_far_as_friction_holds():
    model, found, history = ring()
    rows, joint = found.bending, model.cell.joint
    names = [state.name for state in history.states]
    hot = history.states[names.index("hot")]
    slips = [rows.slip.at(s.equilibrium.q, history.model.factors(s.case))[0] for s in history.states]
    growth = [
        joint.part_material(part).free_strain(hot.case.temperatures[part], 20.0) * 71.0 for part in ("head", "block")
    ]
    # nut over head, along the stud's radius of 71 mm inward: the block takes the thread out, the head goes further;
    # and a greater clamp tilts stud and nut in proportion
    tilted = slips[0] * float(hot.force[0]) / float(history.states[0].force[0])
    assert slips[names.index("hot")] - tilted == pytest.approx(growth[0] - growth[1], rel=0.01)
    bent = stud_bending(rows, history, [None] * len(history.states))
    at_hot = bent[names.index("hot")]
    assert at_hot.nut == ("sticks",)
    assert at_hot.stress == pytest.approx(at_hot.sticking)
    assert bent[0].stress == pytest.approx(bent[0].sliding)
    force = float(hot.force[0])
    moved = abs(slips[names.index("hot")] - slips[0])
    assert at_hot.shear[0] * 0.5 == pytest.approx(stiffened(joint, force) * moved / rows.flexibility[0, 0])
    # a beam with rigid ends takes more, by as much as its ends yield
    assert at_hot.shear[0] < beam_bending(joint, moved, force).shear < 1.25 * at_hot.shear[0]

    def slippery(friction):
        tightening = replace(joint.tightening, bearing_friction=friction)
        cell = replace(model.cell, joint=replace(joint, tightening=tightening))
        return replace(history, model=replace(history.model, cell=cell))

    # friction that bears a quarter of that at most: it slides when hot
    little = 0.25 * at_hot.shear[0] / force / (4.0 / 3.0)
    slid = stud_bending(rows, slippery(little), [None] * len(history.states))
    assert slid[names.index("hot")].nut == ("slides",)
    free = rows.gradients(hot.equilibrium.q, history.model.factors(hot.case))[0]
    stuck = at_hot.gradients[0][0]
    most = rows.stress([free + 0.25 * (stuck - free)])
    assert slid[names.index("hot")].stress == pytest.approx(most, rel=1e-6)
    # and is bent the other way in the cold, where it sticks again: by as much as it slid, or as friction bears
    cold = names.index("cold again")
    back = slid[cold].gradients[1][0] - rows.gradients(history.states[cold].equilibrium.q, {})[0]
    there = slid[names.index("hot")].gradients[1][0] - free
    less = float(history.states[cold].force[0]) / force
    assert back == pytest.approx(-less * there, rel=1e-6)
    # over friction that never holds it is the sliding face again
    none = stud_bending(rows, slippery(1e-9), [None] * len(history.states))
    assert none[names.index("hot")].stress == pytest.approx(at_hot.sliding, rel=1e-4)
    # hot against cold: the whole swing
    swing = [one - two for one, two in zip(bent[names.index("firing")].gradients[0], bent[0].gradients[0], strict=True)]
    assert range_of_states(rows, bent) == pytest.approx(rows.stress(swing) / 2.0, rel=0.1)


@pytest.mark.long
@pytest.mark.slow
def test_the_far_stud_of_a_bank_bends_most():
    text = BANK.replace('kind = "bank"', 'kind = "bank"\nbores = 3')
    text += '\n[mesh]\nring_size = "14 mm"\nstud_size = "14 mm"\nlargest = "30 mm"\n'
    cell = parse_cell(text)
    model = cell_model(cell, build_cell(cell))
    found = watched_cell(model)
    rows, history = found.bending, run(condensed_cell(model, found.reduced))
    bent = stud_bending(rows, history, [None] * len(history.states))
    hot = next(one for state, one in zip(history.states, bent, strict=True) if state.name == "hot")
    along = [stud.x for stud in model.mesh.fasteners]
    assert along == pytest.approx([49.0, 147.0, 245.0])
    assert hot.stress[0] < hot.stress[1] < hot.stress[2]
    # in proportion to how far they are from the fixed middle, 68.9, 154.8 and 249.8 mm, but for tilts and squeezing
    assert hot.shear / hot.shear[0] == pytest.approx(np.hypot(along, 48.5) / np.hypot(49.0, 48.5), rel=0.08)


@pytest.mark.long
@pytest.mark.slow
def test_an_answer_of_several_studs_says_where_one_bends_most():
    text = BANK.replace('kind = "bank"', 'kind = "bank"\nextent = "half"')
    text += '\n[mesh]\nring_size = "14 mm"\nstud_size = "14 mm"\nlargest = "30 mm"\n'
    answer = headjoint.solve(parse_cell(text))
    told = [line for part in answer.report().sections if isinstance(part, Paragraphs) for line in part.texts]
    (said,) = [line for line in told if line.startswith("Bending of the studs")]
    stress = np.array([one.stress.max() for one in answer.findings.bending])
    assert f"greatest in '{answer.findings.states['nominal'][int(stress.argmax())].name}'" in said


def test_of_several_studs_the_state_and_the_stud_that_bend_most_are_named():
    def bent(*stress: float) -> StudBending:
        both = np.zeros(2)
        return StudBending(both, both, both, (both, both), (STICKS, STICKS), np.array(stress), None, both, ())

    states = [SimpleNamespace(name="assembly"), SimpleNamespace(name="hot"), SimpleNamespace(name="firing")]
    findings = SimpleNamespace(
        states={"nominal": states},
        bending=(bent(1.0, 1.0), bent(20.0, 41.0), bent(20.0, 35.0)),
        bending_range=np.array([10.0, 20.5]),
        cell=SimpleNamespace(joint=SimpleNamespace(from_middle=None), layout=None),
    )
    (said, *_) = CellAnswer(findings, None)._bending("si").texts
    assert "greatest in 'hot' at stud 2" in said
    assert "+-20.50 MPa" in said
