"""Tightening by every method: its preload by hand, its torsion by one rule, its scatter, and each in every command."""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path

import pytest
from test_cli import headjoint
from test_estimate import RIGID_LAW, STEEL, plain_joint

from headjoint import history
from headjoint.cases.condensed.condensation import condense, full_model
from headjoint.cases.load_cases.load_history import run
from headjoint.cases.models.condensed import OneFastener, chain_of
from headjoint.cases.service.model import service_of
from headjoint.cases.service.run import run_service
from headjoint.cases.service.scatter import at_scatter
from headjoint.cases.service.tightened import assembled, closed_form, cold_and_settled, strengthened, tightened
from headjoint.cases.warm_up.warm_up import warm_up
from headjoint.meshes.one_fastener.single_stud import build
from headjoint.model.base.errors import InputError
from headjoint.model.formulas.how_tight import how_tight
from headjoint.model.formulas.resilience import clamped_resilience, total
from headjoint.model.formulas.tightened import Tightened
from headjoint.model.joint import Joint
from headjoint.model.library.tightening import METHODS, TIGHTENING_FACTORS
from headjoint.model.reading.reading import parse_content, parse_joint
from headjoint.postproc.designs.outcome import Source, Task
from headjoint.postproc.designs.run import Workers, run_study
from headjoint.postproc.joint.estimate_answer import assess_estimate
from headjoint.postproc.joint.tightened import method_words
from headjoint.postproc.studies.compare import Asked, run_comparison
from headjoint.postproc.studies.scatter import run_scatter
from headjoint.postproc.studies.size import run_size
from headjoint.postproc.studies.sweep import run_sweep

# what turns, pulls or states the shipped stud tight
WAYS = {
    "torque": {"torque": "68 lbf.ft"},
    "torque and angle": {"torque": ["10 N.m", "20 N.m"], "angle": ["45 deg", "45 deg"]},
    "angle": {"angle": "90 deg", "snug_torque": "10 N.m"},
    "yield control": {"yield_slope": 0.67},
    "stretch": {"stretch": "0.33 mm"},
    "tensioner": {"pull": "55 kN"},
    "preload": {"preload": "50 kN"},
}
ELASTIC = [method for method in WAYS if method != "yield control"]
TWISTED = set(WAYS) - {"tensioner"}  # a stated preload counts as turned


def stud(method: str, **more) -> Source:
    """The shipped stud tightened by a method."""
    content = {key: value for key, value in parse_content(STEEL).items() if key != "variants"}
    plain = {key: content["tightening"][key] for key in ("thread_friction", "bearing_friction", "roughness")}
    content["tightening"] = {"method": method} | WAYS[method] | plain
    return Source(content | {"name": f"stud, {method}"} | more, "stud.toml", Path())


def joint_of(method: str) -> Joint:
    joint = stud(method).design({})
    assert isinstance(joint, Joint)
    return joint


@cache
def finite_elements() -> OneFastener:
    joint = joint_of("torque")
    return OneFastener(joint, condense(joint, full_model(joint, build(joint))))


def model(method: str) -> OneFastener:
    return OneFastener(joint_of(method), finite_elements().reduced)


@cache
def found(method: str) -> Tightened:
    return tightened(model(method))


def plain_bolt(ways: str) -> Joint:
    """The M10 bolt of the constructed example, of class 10.9, on a gasket that does not give."""
    text = plain_joint(RIGID_LAW).replace('method = "preload"\npreload = "30 kN"', ways)
    return parse_joint(text.replace("engagement = 15", 'engagement = 15\nproperty_class = "10.9"'))


def by_chain(ways: str) -> Tightened:
    return tightened(chain_of(plain_bolt(ways)))


# --- preload by hand

# mm/N of the constructed bolt, tested on their own: head, shank, free thread, engaged core, tapped thread
DELTA_S = (0.3105 + 2.4844 + 1.8657 + 0.4664 + 0.3820) * 1e-6
# M10: d2 = 9.026 mm, P = 1.5 mm, tan phi = 1.5/(pi 9.026) = 0.05290, tan rho' = 0.12/cos 30 = 0.13856,
# tan(phi + rho') = 0.19287; thread 4.513 mm 0.19287 = 0.8704 mm, face (16 + 10)/4 mm 0.12 = 0.7800 mm
THREAD_ARM, FACE_ARM = 0.8704, 0.7800


def chain_resilience() -> float:
    return DELTA_S + total(clamped_resilience(plain_bolt('method = "preload"\npreload = "20 kN"')))


def test_an_angle_from_snug_gives_travel_over_resilience():
    # 30 deg of a pitch of 1.5 mm are 0.125 mm of travel
    preload = 5e3 + 0.125 / chain_resilience()
    assert by_chain('method = "angle"\nangle = "30 deg"\nsnug_force = "5 kN"').preload == pytest.approx(
        preload, rel=2e-3
    )


def test_a_torque_and_then_an_angle_add_up():
    preload = 10e3 / (THREAD_ARM + FACE_ARM) + 0.125 / chain_resilience()
    stages = 'method = "torque and angle"\ntorque = "10 N.m"\nangle = ["10 deg", "20 deg"]'
    assert by_chain(stages).preload == pytest.approx(preload, rel=2e-3)


def test_snug_that_is_not_stated_is_a_tenth_of_the_force_at_yield():
    # class 10.9: 940 MPa; the smallest section of the M10 bolt is its stress area, 57.99 mm2
    snug = 0.1 * 940.0 * 57.99
    joint = plain_bolt('method = "angle"\nangle = "30 deg"')
    assert joint.tightening.step.snug == pytest.approx(snug, rel=0.11)
    assert tightened(chain_of(joint)).preload == pytest.approx(
        joint.tightening.step.snug + 0.125 / chain_resilience(), rel=2e-3
    )
    assert "a tenth of that at yield" in method_words(joint, "si")


def test_a_stretch_is_force_times_the_resilience_of_the_free_lengths():
    # a micrometer reads shank, free thread and half a diameter of engaged core, not head and teeth
    preload = 0.1 / ((2.4844 + 1.8657 + 0.4664) * 1e-6)
    assert by_chain('method = "stretch"\nstretch = "0.1 mm"').preload == pytest.approx(preload, rel=2e-3)


def test_a_tensioner_loses_what_the_nut_sinks_in_over_resilience():
    # the head of a bolt has no teeth to give: the 10 um of a seat run down by hand alone
    let_go = by_chain('method = "tensioner"\npull = "30 kN"')
    assert let_go.peak == 30e3
    assert let_go.preload == pytest.approx(30e3 - 0.010 / chain_resilience(), rel=2e-3)


def test_yield_control_stops_where_tension_and_torsion_together_have_reached_the_flow_stress():
    control = by_chain('method = "yield control"\nyield_slope = 0.3')
    # A_S = 57.99 mm2, d_s = 8.593 mm, W_P = pi d_s^3/12 = 166.1 mm3 (VDI 2230-1 sec. 5.4.2):
    # sigma_red/F = sqrt((1/57.99)^2 + 3 (0.8704/166.1)^2) = 0.019487 1/mm2
    combined = 0.019487 * control.preload
    # Ramberg and Osgood of class 10.9, ISO 898-1: R_p0.2 = 940, R_m = 1040 MPa, A = 9 %, half of it uniform
    n = math.log(0.045 / 0.002) / math.log(1040.0 / 940.0)
    assert combined == pytest.approx(940.0 * (control.strain / 0.002) ** (1.0 / n), rel=2e-3)
    assert control.past_yield


# --- torsion by one rule


@pytest.mark.parametrize("method", WAYS)
def test_turning_twists_and_half_of_it_stays_but_a_tensioner_leaves_none(method):
    chain = chain_of(joint_of(method))
    at_once = tightened(chain)
    service = strengthened(service_of(chain), at_once)
    on, loose = assembled(service, at_once.as_one())
    in_load_cases_and_warm_up = cold_and_settled(service, at_once)
    in_a_service = run_service(service_of(chain), (chain.joint.tightening.step,)).records[0]
    assert bool(at_once.torsion > 0.0) is (method in TWISTED)
    assert on.memory.torsion[0] == pytest.approx(at_once.torsion, rel=1e-6)
    for memory in (loose.memory, in_load_cases_and_warm_up.memory, in_a_service.memory):
        assert memory.torsion[0] == pytest.approx(at_once.torsion_left, rel=1e-3)
    # M11x1.25, d2 = 10.188 mm: 5.094 mm tan(2.238 + 7.889 deg) = 0.9098 mm, k_tau = 0.5
    twist = 0.9098 * at_once.preload if method in TWISTED else 0.0
    assert at_once.torsion == pytest.approx(twist, rel=1e-3)
    assert at_once.torsion_left == pytest.approx(0.5 * twist, rel=1e-3)


def test_the_words_of_yield_say_what_torsion_is_left():
    for method in ELASTIC:
        (one,) = [c for c in assess_estimate(joint_of(method)).verdict.criteria if c.name == "fastener yield"]
        assert bool("and the torsion left" in str(one.detail)) is (method in TWISTED)


def test_a_preload_that_is_pulled_leaves_no_torsion_and_only_a_preload_may_say_so():
    pulled = plain_bolt('method = "preload"\npreload = "30 kN"\ntwisted = false')
    assert tightened(chain_of(pulled)).torsion == 0.0
    with pytest.raises(InputError, match="tightening.twisted: does not belong to method 'tensioner'"):
        plain_bolt('method = "tensioner"\npull = "30 kN"\ntwisted = false')


# --- scatter


@pytest.mark.parametrize("method", WAYS)
def test_each_method_scatters_by_its_own_class_unless_another_is_stated(method):
    least, greatest = TIGHTENING_FACTORS[METHODS[method].scatter]
    levels = found(method).over(joint_of(method).tightening)
    # alpha_A = F_Mmax/F_Mmin, of a class the middle of its range
    assert levels["greatest"].preload / levels["least"].preload == pytest.approx((least + greatest) / 2.0)
    assert (levels["greatest"].preload + levels["least"].preload) / 2.0 == pytest.approx(levels["nominal"].preload)
    stated = parse_joint(STEEL.replace('scatter = "torque wrench, tested on the joint"', "scatter = 1.2"))
    assert stated.tightening.scatter == pytest.approx(0.2 / 2.2)


def test_past_yield_the_greatest_preload_is_that_of_the_strongest_fastener():
    levels = found("yield control").over(joint_of("yield control").tightening)
    assert levels["greatest"].strength == pytest.approx(levels["greatest"].preload / levels["nominal"].preload)
    assert levels["least"].strength < 1.0
    assert found("angle").over(joint_of("angle").tightening)["greatest"].strength == 1.0


# --- in every command


@pytest.mark.parametrize("method", WAYS)
def test_the_closed_form_is_tightened_alike(method):
    closed = closed_form(joint_of(method), tightened(chain_of(joint_of(method))))
    assert closed.preload == pytest.approx(found(method).preload, rel=0.06)
    assert assess_estimate(joint_of(method)).estimates["nominal"].preload == closed.preload


@pytest.mark.parametrize("method", WAYS)
def test_solve_history_and_studies_tighten_to_the_same_preload(method):
    preload = found(method).preload
    service = run_service(service_of(model(method)), (joint_of(method).tightening.step,)).records[0]
    last = service.turning.force[-1]
    assert last == pytest.approx(preload, rel=1e-6)
    designed, drawn = run_study(stud(method), [Task({}), Task({}, {"gas pressure": 1.0})], None, Workers(1)).outcomes
    assert designed.figures["preload"] == pytest.approx(preload, rel=1e-6)
    assert drawn.figures["preload"] == pytest.approx(preload, rel=1e-6)


AT_ONCE = [{"do": "tighten"}, {"do": "heat", "case": "hot"}, {"do": "run", "case": "firing"}]


@pytest.mark.parametrize("method", WAYS)
def test_a_service_has_the_least_and_greatest_preload_of_the_load_cases_at_the_same_instant(method):
    joint = stud(method, history=AT_ONCE).design({})
    base, scatter = OneFastener(joint, finite_elements().reduced), joint.tightening.scatter
    nominal = run_service(service_of(base), joint.history)
    for name, factor in (("least", 1.0 - scatter), ("greatest", 1.0 + scatter)):
        tight, firing = run_service(*at_scatter(nominal, factor)).records[0::2]
        loaded = run(base, found(method).over(joint.tightening)[name])
        assert tight.turning.force[-1] == pytest.approx(factor * found(method).preload, rel=1e-6)
        assert tight.turning.force[-1] == pytest.approx(loaded.preload, rel=1e-6)
        fired = float(loaded.state("firing").force[0])
        if name == "least" or found(method).past_yield:
            assert firing.fired_force[0] == pytest.approx(fired, rel=1e-6)
        else:  # near yield a service lets the fastener flow a little, a load case does not: that is on the safe side
            assert 0.97 * fired < firing.fired_force[0] <= (1.0 + 1e-6) * fired


def test_what_a_service_says_of_yield_on_purpose_is_what_load_cases_say():
    verdict = history(stud("yield control", history=AT_ONCE).design({})).verdict
    assert verdict.criterion("yield") is None
    assert "past yield on purpose" in next(one.why for one in verdict.not_judged if one.key == "yield")
    assert verdict.criterion("necking") is not None


def test_yield_control_that_does_not_end_within_two_turns_is_refused():
    # two turns of a pitch of 1.25 mm are 2.5 mm on some 100 mm of stud: short of the strain at which it necks, and its
    # hardening still adds more than a thousandth of the elastic slope
    content = dict(stud("yield control").content)
    content["tightening"] = content["tightening"] | {"yield_slope": 0.001}
    joint = Source(content, "stud.toml", Path()).design({})
    with pytest.raises(InputError, match="has not ended after 2 turns") as caught:
        tightened(chain_of(joint))
    assert caught.value.field == "tightening.yield_slope"


def test_ways_to_tighten_stand_beside_each_other():
    methods = ("torque", "angle", "tensioner")
    compared = run_comparison([stud(method) for method in methods], Asked(), None, Workers(1))
    preloads = [one.figures["preload"] for one in compared.outcomes]
    assert preloads == pytest.approx([found(method).preload for method in methods], rel=1e-6)


@pytest.mark.long
@pytest.mark.slow
@pytest.mark.parametrize("method", WAYS)
def test_what_decides_how_tight_can_be_swept_sized_and_scattered(method):
    path, name, own, unit = how_tight(joint_of(method).tightening)
    low, high = (0.9 * own, 1.1 * own) if method != "yield control" else (0.5, 0.8)
    sweep = run_sweep(stud(method), [f"{path}={low!r}..{high!r} {unit} in 3".replace("  ", " ")], None, Workers(1))
    preloads = [one.figures["preload"] for one in sweep.outcomes]
    tighter = sorted(preloads) if method != "yield control" else sorted(preloads, reverse=True)
    assert preloads == tighter
    assert preloads[0] != preloads[-1]
    (answer,) = run_size(stud(method), ["torque"], None, Workers(1)).answers
    assert answer.question == name
    assert answer.unit == unit
    scattered = run_scatter(stud(method), 16, 1, None, Workers(1))
    assert not scattered.unsolved
    assert scattered.figures["preload"].std() > 0.0


@pytest.mark.long
@pytest.mark.slow
@pytest.mark.parametrize("method", WAYS)
def test_a_warm_up_begins_with_the_same_clamp_as_the_load_cases(method):
    duty = [{"step": "part load", "duration": "20 s"}]
    joint = stud(method, heat={"duty": duty}).design({})
    warmed = warm_up(joint)
    assert warmed.found.preload == pytest.approx(found(method).preload, rel=1e-6)
    cold = cold_and_settled(strengthened(service_of(model(method)), found(method)), found(method))
    assert warmed.tightened == pytest.approx(float(cold.force[0]), rel=1e-6)


# --- what a method does not take


@pytest.mark.parametrize(
    ("ways", "field", "allowed"),
    [
        ('method = "torque"\ntorque = "60 N.m"\nangle = "90 deg"', "angle", "'torque', which takes torque"),
        ('method = "angle"\nangle = "90 deg"\ntorque = "60 N.m"', "torque", "takes angle, snug_torque, snug_force"),
        ('method = "torque and angle"\ntorque = "60 N.m"', "angle", "is required"),
        ('method = "yield control"\ntorque = "60 N.m"', "yield_slope", "is required"),
        ('method = "stretch"\nstretch = "0.2 mm"\npreload = "50 kN"', "preload", "takes stretch"),
        ('method = "tensioner"\npreload = "50 kN"', "preload", "takes pull"),
        ('method = "preload"\npreload = "50 kN"\nsnug_force = "5 kN"', "snug_force", "takes preload"),
        ('method = "angle"\nangle = "9 deg"\nsnug_force = "5 kN"\nsnug_torque = "5 N.m"', "snug_force", "give one of"),
        ('method = "torque"\ntorque = ["60 N.m", "30 N.m"]', "torque", "must rise"),
        ('method = "tensioner"\npull = "200 kN"', "pull", "at most"),
    ],
)
def test_a_key_that_the_method_does_not_take_is_refused_by_name(ways, field, allowed):
    with pytest.raises(InputError) as caught:
        plain_bolt(ways)
    assert caught.value.field == f"tightening.{field}"
    assert allowed in str(caught.value)


def test_the_command_refuses_it_with_exit_code_2(tmp_path):
    path = tmp_path / "stud.toml"
    path.write_text(STEEL.replace('torque = "68 lbf.ft"', 'torque = "68 lbf.ft"\nangle = "90 deg"'))
    told = headjoint("solve", str(path), folder=tmp_path)
    assert told.returncode == 2
    for word in ("stud.toml", "tightening.angle", "takes torque"):
        assert word in told.stderr


def test_an_angle_that_breaks_the_fastener_is_refused():
    with pytest.raises(InputError, match="breaks a fastener while it is tightened"):
        by_chain('method = "torque and angle"\ntorque = "20 N.m"\nangle = "900 deg"')


@pytest.mark.long
@pytest.mark.slow
@pytest.mark.parametrize("method", ["angle", "yield control", "tensioner"])
def test_a_history_that_says_only_tighten_is_told_and_judged_by_the_method(method):
    steps = [{"do": "tighten"}, {"do": "run", "case": "firing", "duration": "1 h", "cycles": 90000}, {"do": "cool"}]
    answer = history(stud(method, history=steps).design({}))
    assert answer.report().sections
    yields = [one for one in answer.findings.verdict.not_judged if one.name == "fastener yield"]
    assert bool(yields) is (method == "yield control")
