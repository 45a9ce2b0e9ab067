"""How a fastener steel flows and relaxes, and what that does to its lengths: by the formulas with numbers put in.

Ramberg-Osgood through R_p0.2 and A_g; von Mises with torsion; EN 1992-1-1 eq. (3.30) for relaxation; Arrhenius.
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hand_made import FASTENER, FLOW, JOINT, RELAXATION, joint

from headjoint.cases.service.fastener_law import (
    FastenerLaw,
    Strains,
    Twist,
    at_rest,
    flow_stress,
    lengths_of,
    plastic_strain,
    turned,
)
from headjoint.model.library.plasticity import FlowCurve, SteelRelaxation, time_shift

CORE, STRESS = math.pi / 4 * 8.1596965**2, math.pi / 4 * ((9.0257215 + 8.1596965) / 2) ** 2
SHANK = 16 * math.pi
N = math.log(25.0) / math.log(1000.0 / 900.0)  # ln(0.05/0.002)/ln(1000/900) = 30.55


def law(compliance: float = 2e-6, relaxation: SteelRelaxation = RELAXATION, made=JOINT) -> FastenerLaw:
    return FastenerLaw(lengths_of(made), FLOW, relaxation, 200e3, np.array([compliance]))


def fresh(of: FastenerLaw) -> Strains:
    nothing = np.zeros((1, len(of.lengths.length)))
    return Strains(nothing, nothing, nothing)


# --- the flow curve


def test_the_flow_curve_goes_through_proof_stress_and_ultimate():
    assert pytest.approx(N, abs=1e-3) == FLOW.exponent
    strain, slope = plastic_strain(FLOW, np.array([900.0, 1000.0, 450.0, -10.0]))
    assert strain == pytest.approx([0.002, 0.05, 0.002 * 0.5**N, 0.0])
    assert slope[:2] == pytest.approx([N * 0.002 / 900.0, N * 0.05 / 1000.0])
    assert flow_stress(FLOW, np.array([0.002, 0.05, 0.01])) == pytest.approx([900.0, 1000.0, 900.0 * 5.0 ** (1 / N)])


def test_heat_scales_the_flow_curve_with_the_proof_stress():
    assert FLOW.hot(20.0) == 1.0
    assert FLOW.hot(70.0) == pytest.approx(850.0 / 900.0)


def test_a_measured_flow_curve_is_read_between_its_rows():
    measured = FlowCurve(FLOW.proof, 1000.0, 0.06, (0.0, 0.01, 0.06), (800.0, 900.0, 1000.0))
    strain, slope = plastic_strain(measured, np.array([700.0, 850.0, 950.0, 1100.0]))
    assert strain == pytest.approx([0.0, 0.005, 0.035, 0.11])
    assert slope == pytest.approx([0.0, 1e-4, 5e-4, 5e-4])
    assert flow_stress(measured, np.array([0.005, 0.035, 0.085])) == pytest.approx([850.0, 950.0, 1050.0])


# --- the lengths of a fastener


def test_the_lengths_of_a_bolt_are_its_segments_and_half_a_diameter_of_engaged_core():
    found = lengths_of(JOINT)
    assert found.names == ("shank 1", "free thread 2", "thread in the block")
    assert found.length == pytest.approx([60.0, 40.0, 5.0])
    assert found.area == pytest.approx([SHANK, STRESS, STRESS])
    # W_P = pi d0^3/12: 134.0 mm3 for the 8 mm shank
    d_S = (9.0257215 + 8.1596965) / 2
    assert found.torsion_modulus == pytest.approx([math.pi * 512 / 12, math.pi * d_S**3 / 12, math.pi * d_S**3 / 12])
    assert found.elastic == pytest.approx([60 / (200e3 * SHANK), 40 / (200e3 * CORE), 5 / (200e3 * CORE)])


def test_a_stud_has_the_nut_s_engaged_core_too_and_a_thinner_thread_its_own_strength():
    fine = dataclasses.replace(FASTENER.nut_thread, nominal_diameter=8.0, pitch=1.0)
    stud = dataclasses.replace(FASTENER, kind="stud", nut_thread=fine)
    found = lengths_of(joint(fastener=stud))
    assert found.names[-2:] == ("thread in the block", "thread in the nut")
    assert found.length[-2:] == pytest.approx([5.0, 4.0])
    assert found.area[-1] == pytest.approx(math.pi / 4 * (8.0 - (0.649519 + 1.226869) / 2) ** 2)
    thin = dataclasses.replace(
        FASTENER, segments=(FASTENER.segments[0], dataclasses.replace(FASTENER.segments[1], diameter=7.0))
    )
    assert lengths_of(joint(fastener=thin)).area[1] == pytest.approx(math.pi / 4 * 49.0)


# --- tension with torsion


def test_combined_stress_is_von_mises_of_tension_and_torsion():
    one = law()
    tension, combined = one.stress(np.array([30e3]), Twist(np.array([10e3]), np.array([0.5])))
    # torque 10 N.m left and 0.5 mm x 30 kN being turned: 25 N.m on W_P = 134.04 mm3 is 186.5 MPa
    assert tension[0, 0] == pytest.approx(30e3 / SHANK)
    assert combined[0, 0] == pytest.approx(math.hypot(30e3 / SHANK, math.sqrt(3) * 25e3 * 12 / (math.pi * 512)))
    assert at_rest(np.array([7.0])).at(np.array([1e3])) == 7.0
    assert turned(0.5, 1).at(np.array([1e3])) == 500.0


def test_a_shank_pulled_to_its_proof_stress_is_two_thousandths_longer_for_good():
    one = law()
    force = np.array([900.0 * SHANK])
    after = one.yielded(force, fresh(one), at_rest(np.zeros(1)), 20.0)
    assert after.axial[0, 0] == pytest.approx(0.002)
    assert after.equivalent[0, 0] == pytest.approx(0.002)
    threads = 0.002 * (SHANK / STRESS) ** N  # under 900 x 50.27/57.99 = 780 MPa
    assert after.axial[0, 1:] == pytest.approx([threads, threads])
    assert one.permanent(after)[0] == pytest.approx(60 * 0.002 + 45 * threads)
    # at 70 degC it is 850/900 as strong, so the same force strains it (900/850)^n times as much
    hot = one.yielded(force, fresh(one), at_rest(np.zeros(1)), 70.0)
    assert hot.axial[0, 0] == pytest.approx(0.002 * (900.0 / 850.0) ** N)


def test_torsion_makes_it_yield_earlier_and_takes_its_part_of_the_flow():
    one = law()
    force, torque = np.array([600.0 * SHANK]), np.array([300.0 * math.pi * 512 / 12])
    combined = math.sqrt(600.0**2 + 3 * 300.0**2)
    after = one.yielded(force, fresh(one), at_rest(torque), 20.0)
    equivalent = 0.002 * (combined / 900.0) ** N
    assert after.equivalent[0, 0] == pytest.approx(equivalent)
    assert after.axial[0, 0] == pytest.approx(equivalent * 600.0 / combined)
    # what has flowed once does not flow again at the same stress
    again = one.yielded(force, after, at_rest(torque), 20.0)
    assert again.axial == pytest.approx(after.axial)
    assert again.equivalent == pytest.approx(after.equivalent)


def test_elongation_adds_teeth_and_what_is_permanent_and_knows_its_slope():
    one = law(compliance=2e-6)
    before = Strains(np.full((1, 3), 1e-6), np.full((1, 3), 1e-3), np.full((1, 3), 2e-4))
    twist = Twist(np.array([5e3]), np.array([0.4]))
    for force in (20e3, 38e3, 44e3):
        length, slope = one.elongation(np.array([force]), before, twist, 20.0)
        added = one.yielded(np.array([force]), before, twist, 20.0).axial[0] - 1e-3
        assert length[0] == pytest.approx(2e-6 * force + 105 * 1.2e-3 + added @ [60.0, 40.0, 5.0])
        more, less = (one.elongation(np.array([force + h]), before, twist, 20.0)[0][0] for h in (1.0, -1.0))
        assert slope[0] == pytest.approx((more - less) / 2.0, rel=1e-5)


@pytest.mark.parametrize("distance", [0.02, 0.08, 0.3, 1.0])
def test_the_spring_bears_the_force_at_which_it_is_as_long_as_it_is_pulled(distance):
    one = law()
    twist = at_rest(np.array([8e3]))
    spring = one.series(fresh(one), twist, 70.0)
    force, stiffness = spring(np.array([distance]))
    assert one.elongation(force, fresh(one), twist, 70.0)[0][0] == pytest.approx(distance, rel=1e-9)
    h = 1e-6
    more, less = (spring(np.array([distance + d]))[0][0] for d in (h, -h))
    assert stiffness[0] == pytest.approx((more - less) / (2 * h), rel=1e-3)


def test_a_spring_pushed_together_bears_nothing_and_one_without_teeth_is_almost_rigid():
    one = law()
    spring = one.series(Strains(np.zeros((1, 3)), np.full((1, 3), 1e-3), np.zeros((1, 3))), at_rest(np.zeros(1)), 20.0)
    assert [float(part[0]) for part in spring(np.array([0.105]))] == [0.0, 0.0]  # as long as it is for good
    assert spring(np.array([0.107]))[0][0] == pytest.approx(0.002 / 2e-6, rel=1e-6)
    bonded = law(compliance=0.0).series(fresh(one), at_rest(np.zeros(1)), 20.0)
    assert bonded(np.array([1e-7]))[0][0] == pytest.approx(1000.0, rel=1e-6)  # 1e-10 mm/N


# --- relaxation


def test_time_runs_by_arrhenius():
    # 40 kJ/mol, 100 against 20 degC: exp(40000/8.314463 (1/293.15 - 1/373.15)) = exp(3.5183) = 33.7
    assert time_shift(40e3, 100.0) == pytest.approx(33.7, abs=0.1)
    assert time_shift(40e3, 20.0) == 1.0
    assert time_shift(0.0, 100.0) == 1.0
    assert time_shift(40e3, -20.0) < 0.15


def test_relaxation_is_the_eurocode_s_formula():
    # class 3 at mu = 0.7 after 1000 h: 1.98 x 4 exp(8 x 0.7) 1e-5 = 2.142 % of the stress
    one = law()
    force = np.array([700.0 * SHANK])
    nothing = np.zeros((1, 3))
    after = one.relaxed(force, fresh(one), nothing, nothing, 20.0, 3.6e6)
    assert 1.98 * 4.0 * math.exp(5.6) * 1e-5 == pytest.approx(0.02142, abs=1e-5)
    assert after.creep[0, 0] == pytest.approx(0.02142 * 700.0 / 200e3, rel=1e-3)
    # threads of 57.99 mm2 stand under 606.8 MPa
    mu = 0.7 * SHANK / STRESS
    assert after.creep[0, 1] == pytest.approx(1.98 * 4 * math.exp(8 * mu) * 1e-5 * 1000 * mu / 200e3)
    # a hundredth of the time: (0.01)^(0.75 x 0.3)
    early = one.relaxed(force, fresh(one), nothing, nothing, 20.0, 3.6e4)
    assert early.creep[0, 0] == pytest.approx(0.02142 * 700 / 200e3 * 0.01 ** (0.75 * 0.3), rel=1e-3)
    hot = one.relaxed(force, fresh(one), nothing, nothing, 100.0, 3.6e4)
    assert hot.creep[0, 0] == pytest.approx(early.creep[0, 0] * time_shift(40e3, 100.0) ** (0.75 * 0.3))


def test_relaxation_carries_on_where_it_stands():
    one = law()
    nothing = np.zeros((1, 3))
    whole = one.relaxed(np.array([700.0 * SHANK]), fresh(one), nothing, nothing, 20.0, 3.6e6)
    half = one.relaxed(np.array([700.0 * SHANK]), fresh(one), nothing, nothing, 20.0, 1.8e6)
    # at fixed length the stress that drives is what is left plus what has relaxed: E times the creep strain
    left = np.array([700.0 * SHANK - 200e3 * half.creep[0, 0] * SHANK])
    rest = one.relaxed(left, half, nothing, nothing, 20.0, 1.8e6)
    assert rest.creep[0, 0] == pytest.approx(whole.creep[0, 0], rel=1e-9)
    # retightened: what crept before drives no more, and (yielded anew) hardens no more
    anew = one.relaxed(np.array([700.0 * SHANK]), half, half.creep, half.creep, 20.0, 1.8e6)
    assert (anew.creep - half.creep)[0] == pytest.approx(half.creep[0])
    again = one.relaxed(np.array([700.0 * SHANK]), half, half.creep, nothing, 20.0, 1.8e6)
    assert again.creep[0] == pytest.approx(whole.creep[0])


def test_relaxation_never_runs_backwards_and_is_capped_near_the_ultimate():
    one = law()
    nothing = np.zeros((1, 3))
    crept = Strains(nothing, nothing, np.full((1, 3), 1e-3))
    assert one.relaxed(np.array([10e3]), crept, crept.creep, nothing, 20.0, 60.0).creep == pytest.approx(crept.creep)
    capped = one.relaxed(np.array([1000.0 * SHANK]), fresh(one), nothing, nothing, 20.0, 3.6e6).creep[0, 0]
    assert capped == pytest.approx(1000 / 200e3 * 1.98 * 4 * math.exp(8 * 0.95) * 1e-5)
    for still in (SteelRelaxation(loss_1000h=0.0), SteelRelaxation(A=0.0)):
        none = law(relaxation=still)
        assert none.relaxed(np.array([40e3]), crept, nothing, nothing, 20.0, 1e6) is crept
    assert one.relaxed(np.array([40e3]), crept, nothing, nothing, 20.0, 0.0) is crept
