"""The condensed joint on two and three unknowns: springs in a row, whose forces and compliances are worked out by hand.

Unknowns are the closure x under the head and the overlap u of the fastener; the elastic parts are a spring of
100 kN/mm between them, the gasket 100 mm2 of 1000 MPa/mm: another 100 kN/mm.
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
import scipy.sparse as sp
from hand_made import ELASTIC, IRON, JOINT, LINEAR, STEEL, case, joint, rows, zone

from headjoint.cases.condensed.gasket_creep import CreepStep, creep_growth, creeping_pressure, kept_in_rig
from headjoint.cases.condensed.interface_laws import BEARING, PointGroup
from headjoint.cases.condensed.load_vectors import (
    checked_balance,
    demand_under,
    gasket_growth,
    load_under,
    solve_balanced,
)
from headjoint.cases.condensed.newton_step import Tangent, TangentSolver, _held_apart, point_products, solve_symmetric
from headjoint.cases.condensed.reduced_batch import nearby_of, solve_many
from headjoint.cases.condensed.reduced_joint import (
    Demand,
    ReducedJoint,
    grown_set,
    interface_stiffness,
    overlap_compliance,
    solve,
    unloading_slope,
)
from headjoint.cases.condensed.rising_roots import rising_roots
from headjoint.cases.condensed.stiffness_key import fitted, stiffness_key
from headjoint.model.base.errors import SolveError
from headjoint.model.gasket.law import GasketLaw
from headjoint.model.gasket.loading import LoadingCurve
from headjoint.model.gasket.one_stiffness import OneStiffnessLaw
from headjoint.model.library.plasticity import Creep

KE = 1e5  # N/mm


def pair(law: GasketLaw = ELASTIC, series: float = 0.0, share: float = 1.0, step: float = 0.0) -> ReducedJoint:
    return ReducedJoint(
        K=np.array([[KE, -KE], [-KE, KE]]),
        loads={"head": np.array([2.0, -2.0]), "gas": np.array([-1.0, 0.0])},
        B=sp.csr_matrix(np.array([[1.0, 0.0]])),
        weight=np.array([100.0]),
        radius=np.array([5.0]),
        groups=(PointGroup("seal", "gasket", np.array([0]), law, step),),
        overlaps=np.array([1]),
        series_compliance=np.array([series]),
        share=np.array([share]),
    )


def asked(load=(0.0, 0.0), growth: float = 0.0, **ways) -> Demand:
    return Demand(np.array(load), np.array([growth]), 20.0, 10e3, **ways)


NOTHING = np.zeros(1)


def test_tightening_stretches_the_parts_and_closes_the_gasket():
    state = solve(pair(series=1e-6), asked(force=np.array([10e3])), NOTHING)
    assert state.closure[0] == pytest.approx(0.1)  # 10 kN on 100 kN/mm
    assert state.pressure[0] == pytest.approx(100.0)
    assert state.q == pytest.approx([0.1, 0.2])
    assert state.overlap[0] == pytest.approx(0.2 + 0.01)  # the teeth give 1e-6 mm/N besides
    assert state.force[0] == pytest.approx(10e3)


@pytest.mark.parametrize(("series", "force"), [(0.0, 10.5e3), (1e-6, 10e3)])
def test_a_locked_overlap_is_shared_by_parts_gasket_and_teeth(series, force):
    state = solve(pair(series=series), asked(overlap=np.array([0.21])), NOTHING)
    assert state.force[0] == pytest.approx(force)  # 0.21 mm over 10 + 10 (+ 1) um/kN
    assert state.overlap[0] == pytest.approx(0.21)


def test_gas_and_growth_change_a_locked_joint_as_springs_do():
    # 2 kN lift the head: half of it goes off the gasket, half on to the fastener; 0.02 mm of growth add 1 kN to both
    fired = solve(pair(), asked(load=(-2e3, 0.0), overlap=np.array([0.2])), NOTHING)
    assert fired.force[0] == pytest.approx(11e3)
    assert fired.pressure[0] * 100.0 == pytest.approx(9e3)
    grown = solve(pair(), asked(growth=0.02, overlap=np.array([0.2])), NOTHING)
    assert grown.force[0] == pytest.approx(11e3)
    assert grown.closure[0] == pytest.approx(0.11)
    lower = solve(pair(step=0.02), asked(overlap=np.array([0.2])), NOTHING)
    assert lower.force[0] == pytest.approx(9e3)


def test_half_a_fastener_on_a_plane_of_symmetry_bears_half_its_force():
    state = solve(pair(series=1e-6, share=0.5), asked(force=np.array([20e3])), NOTHING)
    assert state.closure[0] == pytest.approx(0.1)  # 10 kN are modelled
    assert state.overlap[0] == pytest.approx(0.2 + 0.02)  # the teeth bear all 20 kN
    locked = solve(pair(series=1e-6, share=0.5), asked(overlap=np.array([0.22])), NOTHING)
    assert locked.force[0] == pytest.approx(20e3)


def test_a_zone_that_has_set_loses_more_and_sets_no_more_on_its_way_back():
    joint_ = pair(LINEAR)  # springs back at 4000 MPa/mm: 400 kN/mm
    tight = solve(joint_, asked(force=np.array([10e3])), NOTHING)
    after = grown_set(joint_, tight, NOTHING, 20.0)
    assert after[0] == pytest.approx(0.1 - 100.0 / 4000.0)
    assert NOTHING[0] == 0.0
    lower = solve(joint_, asked(overlap=np.array([0.19])), after)
    assert lower.force[0] == pytest.approx(10e3 - 0.01 / (1e-5 + 0.25e-5))
    assert unloading_slope(joint_, tight, after, 20.0)[0] == pytest.approx(4000.0)
    assert unloading_slope(joint_, tight, NOTHING, 20.0)[0] == pytest.approx(1000.0)


def test_compliance_of_the_cut_is_parts_gasket_and_teeth_in_a_row():
    assert overlap_compliance(pair(series=1e-6), np.array([1000.0]))[0, 0] == pytest.approx(1e-5 + 1e-5 + 1e-6)
    assert overlap_compliance(pair(), np.array([4000.0]))[0, 0] == pytest.approx(1e-5 + 0.25e-5)
    # of half a fastener, per force of the whole one: half of the model's, and all of the teeth
    assert overlap_compliance(pair(series=1e-6, share=0.5), np.array([1000.0]))[0, 0] == pytest.approx(1e-5 + 1e-6)
    # an open point keeps a thousandth of a megapascal per millimetre, so that something holds
    assert interface_stiffness(pair(), np.array([0.0]))[0, 0] == pytest.approx(0.1)
    assert interface_stiffness(pair(), np.array([1000.0])) == pytest.approx(np.diag([1e5, 0.0]))


def triple(series: tuple[float, float] = (0.0, 0.0)) -> ReducedJoint:
    """Two fasteners of 100 and 50 kN/mm on one head."""
    return dataclasses.replace(
        pair(),
        K=np.array([[1.5e5, -1e5, -0.5e5], [-1e5, 1e5, 0.0], [-0.5e5, 0.0, 0.5e5]]),
        loads={"head": np.zeros(3)},
        B=sp.csr_matrix(np.array([[1.0, 0.0, 0.0]])),
        overlaps=np.array([1, 2]),
        series_compliance=np.array(series),
        share=np.ones(2),
    )


def test_tightening_one_fastener_unloads_its_neighbour():
    # one locked at 0.2 mm, the other pulled to 5 kN: 100 x = 100 (0.2 - x) + 5, x = 0.125
    demand = Demand(np.zeros(3), NOTHING, 20.0, 10e3, np.array([np.nan, 5e3]), np.array([0.2, np.nan]))
    state = solve(triple(), demand, NOTHING)
    assert state.closure[0] == pytest.approx(0.125)
    assert state.force == pytest.approx([7.5e3, 5e3])
    assert state.overlap == pytest.approx([0.2, 0.125 + 0.1])
    with pytest.raises(ValueError, match="either tightened"):
        solve(triple(), dataclasses.replace(demand, overlap=np.array([0.2, 0.1])), NOTHING)


def test_compliances_of_two_fasteners_couple_through_the_gasket():
    # a newton in either presses the gasket by 10 um/kN under both
    found = overlap_compliance(triple((1e-6, 3e-6)), np.array([1000.0]))
    assert found == pytest.approx(np.array([[2e-5 + 1e-6, 1e-5], [1e-5, 3e-5 + 3e-6]]))


def test_a_nonlinear_spring_stands_for_the_teeth():
    # F = 1e6 d^2 behind an overlap of 0.3 mm: with 20 um/kN of parts and gasket F 2e-5 + sqrt(F/1e6) = 0.3
    def spring(length):
        return 1e6 * np.maximum(length, 0.0) ** 2, 2e6 * np.maximum(length, 0.0)

    state = solve(pair(series=1e-6), asked(overlap=np.array([0.3]), series=spring), NOTHING)
    root = (-1.0 + math.sqrt(1.0 + 4 * 20.0 * 0.3)) / (2 * 20.0)  # 20 d^2 + d = 0.3
    assert state.force[0] == pytest.approx(1e6 * root**2)
    assert state.overlap[0] == 0.3


def test_many_columns_are_solved_as_one_by_one():
    joints = [pair(series=s) for s in (1e-6, 2e-6)]
    joints[1] = dataclasses.replace(joints[1], K=joints[0].K, B=joints[0].B)
    demands = [asked(overlap=np.array([0.21])), asked(load=(-1e3, 0.0), overlap=np.array([0.22]))]
    near = nearby_of(joints[0], demands[0], solve(joints[0], demands[0], NOTHING))
    found = solve_many(joints, demands, [NOTHING] * 2, [np.zeros(2)] * 2, near)
    # 0.22 mm over 10 + 10 + 2 um/kN, and of 1 kN of gas 10/22
    assert [one.force[0] for one in found] == pytest.approx([10e3, 10e3 + 1e3 * 10 / 22])


# --- loads and balance


def test_loads_are_their_factors_times_unit_loads():
    loads = pair().loads
    assert load_under(loads, {"head": 3.0, "gas": 10.0, "nobody": 5.0}) == pytest.approx([-4.0, -6.0])


def test_a_gasket_grows_from_assembly_by_its_thickness():
    hot = case("hot", "hot", gasket=90.0)
    assert gasket_growth(JOINT, hot) == pytest.approx(30e-6 * 1.0 * 70.0)
    warm = joint(load_cases=(case(**dict.fromkeys(("fastener", "nut", "washer", "head", "gasket", "block"), 50.0)),))
    assert gasket_growth(warm, hot) == pytest.approx(30e-6 * 40.0)


def test_a_demand_asks_for_loads_growth_and_the_preload_as_measure():
    made = demand_under(JOINT, pair(share=0.5), case("hot", "hot", gasket=90.0), {"head": 2.0}, None, np.array([0.1]))
    assert made.load == pytest.approx([4.0, -4.0])
    assert made.growth == pytest.approx([0.0021])
    assert (made.gasket_temperature, made.reference_force) == (90.0, 15e3)
    both = dataclasses.replace(
        pair(),
        B=sp.csr_matrix(np.array([[1.0, 0.0], [1.0, 0.0]])),
        weight=np.array([100.0, 50.0]),
        groups=(*pair().groups, PointGroup("seat", "bearing", np.array([1]), BEARING)),
    )
    assert demand_under(JOINT, both, case("hot", "hot", gasket=90.0), {}, None, None).growth == pytest.approx(
        [0.0021, 0.0]
    )


def test_bolts_carry_gasket_and_gas_and_an_error_is_measured_by_the_largest():
    demand = asked(load=(-2e3, 0.0), overlap=np.array([0.2]))
    state, error = solve_balanced(pair(), demand, NOTHING, None, 2e3, "")
    assert error < 1e-8
    off = dataclasses.replace(state, force=state.force + 1e-3)
    with pytest.raises(SolveError, match=r"^here: bolts, gasket and gas do not balance, 9\.1e-08"):  # of 11 kN
        checked_balance(pair(), demand, off, 2e3, "here: ")
    near = dataclasses.replace(state, force=state.force + 1e-5)
    assert checked_balance(pair(), demand, near, 2e3, "") == pytest.approx(1e-5 / 11e3, rel=1e-3)
    loose = dataclasses.replace(state, force=np.array([1e-5]), pressure=np.zeros(1))
    assert checked_balance(pair(), demand, loose, 0.0, "") == pytest.approx(1e-9)  # of the preload, 10 kN
    halves = dataclasses.replace(state, force=np.array([18e3 + 4e3]))
    assert checked_balance(pair(share=0.5), demand, halves, 2e3, "") < 1e-8


# --- the linear solve


def tangent(free=(0, 1, 2)) -> Tangent:
    K = np.array([[4.0, -1.0, 0.0], [-1.0, 3.0, -1.0], [0.0, -1.0, 2.0]])
    B = sp.csr_matrix(np.array([[1.0, 0.0, -1.0], [0.0, 2.0, 0.0]]))
    return Tangent(K, B, B.T.tocsr(), np.array([10.0, 5.0]), np.array([0.0, 0.0, 7.0]), np.array(free))


def test_a_tangent_is_its_parts_and_their_springs():
    # B' diag(10, 5) B = [[10, 0, -10], [0, 20, 0], [-10, 0, 10]], and 7 on the last
    whole = np.array([[14.0, -1.0, -10.0], [-1.0, 23.0, -1.0], [-10.0, -1.0, 19.0]])
    assert tangent().matrix() == pytest.approx(whole)
    assert tangent().matrix(point_products(tangent().B)) == pytest.approx(whole)
    assert tangent().times(np.array([1.0, 2.0, 3.0])) == pytest.approx([-18.0, 42.0, 45.0])


def test_only_free_unknowns_move():
    # without the middle one: [[14, -10], [-10, 19]] x = (1, 2), determinant 166
    found = TangentSolver().solve(tangent((0, 2)), np.array([1.0, 2.0]), 1.0)
    assert found == pytest.approx([39.0 / 166.0, 38.0 / 166.0])
    apart = _held_apart(tangent().matrix(), np.array([0, 2]))
    assert apart == pytest.approx(np.array([[14.0, 0.0, -10.0], [0.0, 1.0, 0.0], [-10.0, 0.0, 19.0]]))
    assert solve_symmetric(np.array([[4.0, 2.0], [2.0, 3.0]]), np.array([2.0, 5.0])) == pytest.approx([-0.5, 2.0])
    with pytest.raises(SolveError, match="not held"):
        solve_symmetric(np.array([[1.0, -1.0], [-1.0, 1.0]]), np.ones(2))


def test_a_large_tangent_is_iterated_with_the_factors_of_an_earlier_one():
    n = 720
    K = np.diag(np.linspace(2.0, 50.0, n)) + np.diag(np.full(n - 1, -0.9), 1) + np.diag(np.full(n - 1, -0.9), -1)
    B = sp.csr_matrix((np.ones(n - 2), (np.arange(n - 2), np.arange(n - 2))), shape=(n - 2, n))

    def at(slope: float) -> Tangent:
        return Tangent(K, B, B.T.tocsr(), np.full(n - 2, slope), np.zeros(n), np.arange(1, n))

    solver, right = TangentSolver(), np.sin(np.arange(1.0, n))
    for slope in (3.0, 3.3):  # the second one by the factors of the first
        found = solver.solve(at(slope), right, 1e-9)
        left = at(slope).matrix()[1:, 1:] @ found - right
        assert np.linalg.norm(left) < 1.1e-5 * np.linalg.norm(right)
    assert solver.factorisations == 1
    rough = solver.solve(at(3.3), right, 1.0)
    assert np.linalg.norm(at(3.3).matrix()[1:, 1:] @ rough - right) < 1.1e-2 * np.linalg.norm(right)
    # one that is nothing like it is factorised anew
    far = solver.solve(at(4e4), right, 1e-9)
    assert np.linalg.norm(at(4e4).matrix()[1:, 1:] @ far - right) < 1.1e-5 * np.linalg.norm(right)
    solver.forget()
    solver.solve(at(3.0), right, 1e-9)
    assert solver.factorisations >= 2


def test_many_roots_are_found_at_once():
    aims = np.array([0.0, 8.0, 1e-6, 900.0])

    def cubes(x):
        return x**3 - aims, 3.0 * x**2 + 1e-30

    assert rising_roots(cubes, np.full(4, 10.0), 1e-12, "it") == pytest.approx(np.cbrt(aims), abs=1e-6)

    def steep(x):
        return x**40 - 0.5, 40.0 * x**39

    assert rising_roots(steep, np.array([10.0]), 1e-13, "it")[0] == pytest.approx(0.5**0.025, rel=1e-12)
    with pytest.raises(SolveError, match="the ghost was not found"):
        rising_roots(lambda x: (np.full_like(x, np.nan), np.ones_like(x)), np.ones(1), 1e-12, "the ghost")


# --- interface laws and creep


def test_pressure_follows_the_curve_up_and_the_spring_down():
    bent = OneStiffnessLaw(
        "bent", (LoadingCurve(20.0, (0.02, 0.1, 0.2), (0.0, 80.0, 280.0)),), unloading_stiffness=4000.0
    )
    c = np.array([0.01, 0.06, 0.15, 0.25])
    p, slope = bent.pressures(c, np.zeros(4), 20.0)
    # slopes 1000 and 2000 MPa/mm; beyond the last row the last goes on
    assert p == pytest.approx([0.0, 40.0, 180.0, 380.0])
    assert slope == pytest.approx([0.0, 1000.0, 2000.0, 2000.0])
    p, slope = bent.pressures(c, np.full(4, 0.13), 20.0)
    assert p == pytest.approx([0.0, 0.0, 80.0, 380.0])
    assert slope == pytest.approx([0.0, 0.0, 4000.0, 2000.0])
    assert bent.sets_after(c, np.full(4, 0.04), 20.0) == pytest.approx([0.04, 0.05, 0.105, 0.155])


def test_metal_on_metal_bears_where_it_touches_and_nowhere_else():
    # 1e8 MPa/mm: 300 MPa press in by 3e-6 mm
    p, slope = BEARING.pressures(np.array([-1e-6, 0.0, 3e-6]), np.zeros(3), 20.0)
    assert p == pytest.approx([0.0, 0.0, 300.0])
    assert slope[[0, 2]] == pytest.approx([0.0, 1e8])


CREEPING = dataclasses.replace(LINEAR, creep=Creep("logarithmic", rows((20, 0.08), (120, 0.16)), 10.0))
GROUP = PointGroup("seal", "gasket", np.array([0]), CREEPING)


def test_a_zone_creeps_with_the_logarithm_of_time_in_proportion_to_its_pressure():
    # a = 0.12 x 60/4000 = 1.8 um at 70 degC; over 1000 s with onset 10 s: a ln 101
    growth, _ = creep_growth(GROUP, np.array([60.0]), np.zeros(1), 70.0, 1000.0)
    assert growth[0] == pytest.approx(1.8e-3 * math.log(101.0))
    # it carries on from where it stands: ln(1 + 2000/10) in all
    more, _ = creep_growth(GROUP, np.array([60.0]), growth, 70.0, 1000.0)
    assert growth[0] + more[0] == pytest.approx(1.8e-3 * math.log(201.0))
    h = 1e-4
    above, below = (creep_growth(GROUP, np.array([60.0 + d]), growth, 70.0, 1000.0)[0][0] for d in (h, -h))
    assert creep_growth(GROUP, np.array([60.0]), growth, 70.0, 1000.0)[1][0] == pytest.approx(
        (above - below) / (2 * h), rel=1e-6
    )
    assert creep_growth(GROUP, np.array([0.0]), np.zeros(1), 70.0, 1000.0)[0][0] == 0.0
    assert creep_growth(GROUP, np.array([60.0]), np.zeros(1), 70.0, 0.0)[0][0] == 0.0


def test_a_zone_may_creep_by_a_power_of_time_that_heat_speeds_up():
    power = Creep("power", rows((20, 0.1)), 50.0, 0.4, 40e3)
    group = dataclasses.replace(GROUP, law=dataclasses.replace(LINEAR, creep=power))
    growth, _ = creep_growth(group, np.array([80.0]), np.zeros(1), 20.0, 500.0)
    assert growth[0] == pytest.approx(0.1 * 80 / 4000 * 10.0**0.4)
    hot, _ = creep_growth(group, np.array([80.0]), np.zeros(1), 100.0, 500.0)
    shift = math.exp(40e3 / 8.314462618 * (1 / 293.15 - 1 / 373.15))
    assert hot[0] == pytest.approx(0.1 * 80 / 4000 * (10.0 * shift) ** 0.4)
    more, slope = creep_growth(group, np.array([80.0]), growth, 20.0, 500.0)
    assert growth[0] + more[0] == pytest.approx(0.1 * 80 / 4000 * 20.0**0.4)
    h = 1e-4
    above, below = (creep_growth(group, np.array([80.0 + d]), growth, 20.0, 500.0)[0][0] for d in (h, -h))
    assert slope[0] == pytest.approx((above - below) / (2 * h), rel=1e-6)


def test_the_pressure_after_a_creep_is_the_one_it_has_crept_under():
    # closed by 0.06 mm with a set of 0.045: p = 4000 (0.015 - 0.08 p/4000 ln 101) = 60/(1 + 0.08 ln 101)
    step = CreepStep(np.zeros(1), 1000.0)
    p, slope = creeping_pressure(GROUP, np.array([0.06]), np.array([0.045]), 20.0, step)
    assert p[0] == pytest.approx(60.0 / (1.0 + 0.08 * math.log(101.0)))
    assert slope[0] == pytest.approx(4000.0 / (1.0 + 0.08 * math.log(101.0)))
    # on its way up it follows the curve, whatever time does
    p, slope = creeping_pressure(GROUP, np.array([0.06]), np.array([-1.0]), 20.0, step)
    assert (p[0], slope[0]) == pytest.approx((60.0, 1000.0))
    still = creeping_pressure(GROUP, np.array([0.06]), np.array([0.045]), 20.0, CreepStep(np.zeros(1), 0.0))
    assert still[0][0] == pytest.approx(60.0)


def test_a_ring_in_a_stiff_rig_keeps_what_its_creep_leaves():
    # a short time: s = 0.08 p/4000 ln(1 + 1/10) after 1 s, p falls by s/(1/4000 + A/K)
    softness = 1 / 4000 + 1000.0 / 200e3
    kept = kept_in_rig(CREEPING, 50.0, 20.0, 1.0, area=1000.0, stiffness=200e3)
    assert 1.0 - kept == pytest.approx(0.08 / 4000 * math.log(1.1) / softness, rel=1e-6)
    # in a rig as soft as that, a day's creep hardly moves the pressure it creeps under
    day = kept_in_rig(CREEPING, 50.0, 20.0, 86400.0, area=1000.0, stiffness=2000.0)
    assert 1.0 - day == pytest.approx(0.08 / 4000 * math.log(8641.0) / (1 / 4000 + 0.5), rel=1e-3)
    # 92 x 49 mm of EN 13555: 4762 mm2 on 500 kN/mm
    assert kept_in_rig(CREEPING, 50.0, 20.0, 600.0) == kept_in_rig(
        CREEPING, 50.0, 20.0, 600.0, area=math.pi / 4 * (92**2 - 49**2), stiffness=500e3
    )


# --- whose stiffness is shared


@pytest.mark.parametrize(
    ("changed", "shared"),
    [
        ({"tightening__preload": 1.0}, True),
        ({"fastener__thread_compliance": 1e-6}, True),
        ({"fastener__yield_strength": None}, True),
        ({"gasket__expansion": 1e-5}, True),
        ({"gasket__zones": (zone("body", 12.0, 40.0, ELASTIC, 0.01), zone("seal", 40.0, 50.0, sealing=True))}, True),
        ({"head__material": dataclasses.replace(IRON, E=rows((20, 70e3), (120, 60e3)), nu=0.3)}, True),
        ({"head__material": dataclasses.replace(IRON, E=rows((20, 71e3)), nu=0.3)}, False),
        ({"fastener__material": dataclasses.replace(STEEL, nu=0.31)}, False),
        ({"gasket__thickness": 1.1}, False),
        ({"gasket__zones": (zone("body", 12.0, 41.0), zone("seal", 41.0, 50.0, sealing=True))}, False),
        ({"gas": dataclasses.replace(JOINT.gas, force_area=1.0)}, True),
        ({"gas": dataclasses.replace(JOINT.gas, inner_diameter=51.0)}, False),
        ({"seat__bearing_outer_diameter": 17.0}, False),
        ({"mesh_size": dataclasses.replace(JOINT.mesh_size, growth=0.2)}, False),
    ],
)
def test_only_what_shapes_the_mesh_or_its_stiffness_asks_for_a_condensation(changed, shared):
    assert (stiffness_key(joint(**changed)) == stiffness_key(JOINT)) == shared


def test_a_shared_joint_gets_the_laws_steps_and_teeth_of_the_design():
    made = joint(gasket__zones=(zone("body", 12.0, 40.0), zone("seal", 40.0, 50.0, ELASTIC, 0.02, True)),
                 fastener__nut_compliance=0.3e-6)  # fmt: skip
    found = fitted(pair(LINEAR), made)
    assert (found.groups[0].law, found.groups[0].step) == (ELASTIC, 0.02)
    assert found.series_compliance == pytest.approx([0.7e-6])
