"""Whole joints by finite elements: what is stated comes back, limits hold, the gasket remembers."""

from __future__ import annotations

import pytest
from conftest import shipped_text, solved
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from headjoint.cases.load_cases.load_history import run
from headjoint.cases.load_cases.solved import joint_on_mesh, solve_joint
from headjoint.cases.models.condensed import seal_of
from headjoint.model.base.errors import InputError
from headjoint.model.formulas.sealing import seal_need
from headjoint.model.formulas.tightened import by_formula
from headjoint.model.reading.reading import parse_joint
from headjoint.postproc.joint.answer import JointAnswer
from headjoint.postproc.joint.assessment import assess
from headjoint.postproc.joint.findings import state_findings
from validation.joints import joint_files

STEEL = shipped_text("boosted-four-steel")
COARSE = "\n[mesh]\nelement_size = 1.0\n"


def nominal(text: str):
    return solve_joint(parse_joint(text + COARSE)).nominal


@pytest.mark.parametrize("name", joint_files())
def test_a_shipped_joint_is_believable(name):
    joint = solved(name)
    findings = assess(joint)
    hot = [state for state in findings.states["nominal"] if state.kind == "hot"]
    cold = [state for state in findings.states["nominal"] if state.kind == "cold"]
    first = findings.states["nominal"][0]
    # orientation only, from memory, low confidence: bolt load rises 0 to 40 % on warm-up, less than 30 % is lost
    # cold, the fastener takes 1 to 15 % of the gas force
    assert all(0.95 < state.fastener_force / first.fastener_force < 1.4 for state in hot)
    assert all(0.7 < state.fastener_force / first.fastener_force < 1.0 for state in cold)
    assert all(0.01 < s.load_factor < 0.15 for s in findings.states["nominal"] if s.load_factor is not None)
    assert 0.0 < findings.joint_figures[0].mesh_error < 0.01 * findings.joint_figures[0].finite_elements
    assert findings.rows[0].ratio[-1] == pytest.approx(1.0, abs=0.05)


def test_what_fails_says_what_to_change():
    findings = assess(solved("boosted-four-copper"))
    assert not findings.verdict.holds
    failing = [one for one in findings.verdict.criteria if not one.holds]
    assert "separation under combustion" in [one.name for one in failing]
    assert all(one.remedy.written() for one in failing)
    assert "fail" in findings.verdict.sentence.written()


def test_a_stated_preload_is_the_fastener_force_at_assembly():
    text = STEEL.replace('method = "torque"', 'method = "preload"').replace('torque = "85', 'torque = "68')
    text = text.replace('torque = "68 lbf.ft"', 'preload = "50 kN"')
    history = nominal(text)
    assert history.states[0].force == 50e3


def test_embedding_takes_its_depth_off_the_overlap():
    history = nominal(STEEL)
    assert history.states[0].overlap - history.states[1].overlap == pytest.approx(0.011)
    loss = history.states[0].force - history.states[1].force
    assert loss == pytest.approx(0.011 / history.relief_compliance, rel=0.01)


def test_without_embedding_there_is_no_settled_state():
    history = nominal(STEEL.replace('roughness = "Rz 10 to 40 um"', "embedding = 0"))
    assert [state.kind for state in history.states] == ["assembly", "hot", "firing", "cold"]


def test_thread_compliance_adds_to_the_joint_in_series():
    bonded, soft = (
        nominal(STEEL.replace('engagement = "22 mm"', f'engagement = "22 mm"\nthread_compliance = {value}'))
        for value in ('"bonded"', '"1.5 um/kN"')
    )
    assert soft.cut_compliance - bonded.cut_compliance == pytest.approx(1.5e-6, rel=1e-6)


def test_friction_free_and_tied_bearings_bracket_little():
    loose = nominal(STEEL)
    tied = nominal(
        STEEL.replace("[nut]\n", '[nut]\ncontact = "tied"\n').replace("[washer]\n", '[washer]\ncontact = "tied"\n')
    )
    assert tied.cut_compliance < loose.cut_compliance
    assert tied.cut_compliance == pytest.approx(loose.cut_compliance, rel=0.05)
    for state in tied.states:
        assert state.balance < 1e-8


def test_cold_again_is_below_settled_for_a_gasket_that_set_when_hot():
    history = solved("boosted-four-composite").nominal
    assert history.state("cold again").force < 0.96 * history.state("settled").force
    assert history.state("cold again").permanent_set.max() > history.state("settled").permanent_set.max()


def test_an_elastic_gasket_forgets():
    law = "\n[gasket.laws.elastic]\nclosure = [0, 0.2]\npressure = [0, 90]\n"
    text = STEEL
    for name in ("multi-layer steel body", "multi-layer steel bead", "multi-layer steel stopper"):
        text = text.replace(f'law = "{name}"', 'law = "elastic"')
    history = nominal(text + law)
    assert history.state("cold again").force == pytest.approx(history.state("settled").force, rel=1e-9)


def test_the_sealing_line_has_a_point_of_its_own_which_bears_what_the_law_says_there():
    history = nominal(shipped_text("boosted-four-copper"))
    state, model, zone = history.states[-2], history.model, history.joint.gasket.sealing_zone
    at = model.reduced.group(zone.name).points
    (on_line,) = at[model.reduced.radius[at] == zone.sealing_diameter / 2.0]
    assert model.reduced.weight[on_line] == 0.0
    (line,) = model.lines(state.equilibrium)
    assert line.pressure == state.equilibrium.pressure[on_line]
    assert line.closure == state.equilibrium.closure[on_line]


def test_the_force_of_a_fastener_swings_by_half_of_what_gas_adds_to_it():
    # VDI 2230-1 sec. 5.5.3: F_SAa = (F_SAo - F_SAu)/2, and F_SA = Phi F_A
    history = solved("boosted-four-steel").nominal
    firing = next(state for state in state_findings(history) if state.kind == "firing")
    hot = next(state for state in history.states if state.kind == "hot")
    assert firing.force_amplitude == pytest.approx((firing.fastener_force - float(hot.force[0])) / 2.0, rel=0.02)
    case = next(state.case for state in history.states if state.name == firing.name)
    assert firing.force_amplitude == pytest.approx(firing.load_factor * case.gas_force / 2.0, rel=1e-12)


def test_a_sealing_line_that_rounding_moves_off_the_edge_of_its_zone_is_that_edge():
    text = shipped_text("boosted-four-copper")
    inner = parse_joint(text).gasket.sealing_zone.inner_diameter

    def pressure(off):
        moved = text.replace('sealing_diameter = "43 mm"', f'sealing_diameter = "{inner + off:.7f} mm"')
        history = joint_on_mesh(parse_joint(moved), 0.5).nominal
        return float(history.model.lines(history.states[-2].equilibrium)[0].pressure[0])

    at_edge = pressure(0.0)
    assert pressure(1e-6) == pytest.approx(at_edge, rel=1e-5)  # mm
    assert pressure(3e-5) == pytest.approx(at_edge, rel=1e-4)


def test_copper_that_gas_nearly_relieves_hardly_knows_its_mesh():
    # interpolated between integration points, the line kept 6.9 MPa on twice the element size and 8.4 MPa in truth
    joint = parse_joint(shipped_text("boosted-four-copper"))
    fine, coarse = (
        float(found.model.lines(found.states[-2].equilibrium)[0].pressure[0])
        for found in (solved("boosted-four-copper").nominal, joint_on_mesh(joint, 0.5).nominal)
    )
    assert fine == pytest.approx(8.4, abs=0.1)
    assert coarse == pytest.approx(fine, rel=0.015)


def test_at_the_separation_factor_the_sealing_line_has_just_what_it_needs():
    history = solved("boosted-four-steel").nominal
    firing = next(state for state in state_findings(history) if state.kind == "firing")
    text = STEEL.replace('gas_pressure = "110 bar"', f'gas_pressure = "{110 * firing.separation_factor} bar"')
    again = solve_joint(parse_joint(text)).nominal
    seal = seal_of(again.model.lines(again.state("firing").equilibrium))
    assert seal_need(history.joint, 11.0 * firing.separation_factor).met(seal) == pytest.approx(1.0, rel=1e-3)


def test_ring_force_and_gas_pressure_say_the_same():
    by_pressure = nominal(STEEL)
    by_force = nominal(STEEL.replace('gas_pressure = "110 bar"', f'ring_force = "{11.0 * 2460.0} N"'))
    assert by_force.state("firing").force == pytest.approx(by_pressure.state("firing").force, rel=1e-12)


def test_twice_the_load_on_a_linear_joint_is_twice_the_answer():
    law = "\n[gasket.laws.elastic]\nclosure = [0, 1]\npressure = [0, 4000]\n"
    text = STEEL.replace('step = "0.105 mm"', "step = 0").replace('step = "0.10 mm"', "step = 0")
    for name in ("multi-layer steel body", "multi-layer steel bead", "multi-layer steel stopper"):
        text = text.replace(f'law = "{name}"', 'law = "elastic"')
    text = text.replace('contact = "frictionless"', "").replace("[nut]\n", '[nut]\ncontact = "tied"\n')
    text = text.replace("[washer]\n", '[washer]\ncontact = "tied"\n').replace(
        "[requirements]", law + "\n[requirements]"
    )
    solution = solve_joint(parse_joint(text + COARSE)).nominal
    joint = solution.model.joint
    once, twice = (run(solution.model, by_formula(joint, preload)).states[0] for preload in (20e3, 40e3))
    assert twice.overlap == pytest.approx(2 * once.overlap, rel=1e-9)
    assert solution.cut_compliance == pytest.approx(once.overlap / once.force, rel=1e-6)


@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck), phases=[Phase.generate])
@given(
    height=st.floats(40.0, 160.0),
    shank=st.floats(8.0, 11.3),
    outer=st.floats(60.0, 140.0),
    depth=st.just(0.0) | st.floats(1e-3, 25.0),
    preload=st.floats(5e3, 50e3),
    hot=st.floats(-30.0, 150.0),
    gas=st.floats(1.0, 250.0),
    contact=st.sampled_from(["tied", "frictionless"]),
)
def test_any_joint_that_reads_also_solves_in_balance(height, shank, outer, depth, preload, hot, gas, contact):
    text = (
        STEEL.replace('height = "88 mm"', f"height = {height}")
        .replace('diameter = "10.2 mm"', f"diameter = {shank}")
        .replace('outer_diameter = "72 mm"', f"outer_diameter = {outer}")
        .replace('counterbore_depth = "10 mm"', f"counterbore_depth = {depth}")
        .replace('method = "torque"', 'method = "preload"')
        .replace('torque = "68 lbf.ft"', f'preload = "{preload} N"')
        .replace('head = "118 degC"', f"head = {hot}")
        .replace('gas_pressure = "110 bar"', f'gas_pressure = "{gas} bar"')
        .replace('boost = "1.2 bar"', "")  # than which gas may be less here
        .replace("[nut]\n", f'[nut]\ncontact = "{contact}"\n')
    )
    assert_in_balance(nominal(text))


def assert_in_balance(history):
    for state in history.states:
        assert state.balance < 1e-8
        assert state.equilibrium.residual < 1e-8
        assert state.equilibrium.pressure.min() >= 0.0


@pytest.mark.parametrize("shank", [8.0, 9.0, 11.3])
def test_a_preload_near_yield_solves_in_balance_or_is_refused_for_its_yield(shank):
    text = (
        STEEL.replace('diameter = "10.2 mm"', f"diameter = {shank}")
        .replace('method = "torque"', 'method = "preload"')
        .replace('torque = "68 lbf.ft"', 'preload = "55 kN"')
    )
    # of 1170 MPa: a shank of 8 mm is pulled to 55e3 / (pi/4 8^2) = 1094 MPa and twisted besides, one of 9 mm to 865 MPa
    if shank == 8.0:
        with pytest.raises(InputError, match="yields the fastener"):
            nominal(text)
    else:
        assert_in_balance(nominal(text))


def test_the_document_gives_every_stated_figure_back():
    findings = assess(solved("boosted-four-steel"))
    document = JointAnswer(findings, solved("boosted-four-steel")).document()
    history = solved("boosted-four-steel").nominal
    parts = document["finite_elements"]
    assert (document["format"], document["version"]) == ("headjoint-result", 2)
    assert parts["cut_compliance"] == history.cut_compliance
    for state, shown in zip(history.states, parts["states"]["nominal"], strict=True):
        assert shown["fastener_force"] == state.force[0]
        assert shown["overlap"] == state.overlap[0]
        profile = shown["profile"]
        assert len(profile["radius"]) == len(profile["pressure"]) == len(history.reduced.gasket_points())
        assert profile["radius"] == sorted(profile["radius"])
    assert parts["states"]["nominal"][3]["load_factor"] == findings.states["nominal"][3].load_factor
