"""Measured values carried from a rig into a joint: what counts is clear, and where it holds is checked."""

from __future__ import annotations

import pytest
from conftest import shipped_text

from headjoint.cases.command.stated_files import shipped_files
from headjoint.cases.rig.evaluation import evaluate
from headjoint.model.base.errors import InputError
from headjoint.model.reading.reading import read_input, read_joint
from headjoint.model.rig.log import read_log
from headjoint.model.rig.reading import read_rig
from headjoint.postproc.rig.fragment import fragment_text

JOINT = shipped_text("boosted-four-steel")
BARE = "\n".join(line for line in JOINT.splitlines() if "_friction = " not in line)
HEAT = """
[[load_cases]]
name = "warming up"
kind = "hot"
heat = { time = "20 s" }

[[heat.duty]]
step = "cold start"
duration = "30 s"
"""


@pytest.fixture(scope="module")
def fragments():
    rig = read_rig(shipped_files("rigs")["hollow-ram-m11-stud"])
    logs = shipped_files("logs")
    return {name: fragment_text([evaluate(read_log(logs[name]), rig)]) for name in ("stud-oiled", "stud-pulled")}


@pytest.fixture
def joint_with(tmp_path, fragments):
    for name, text in fragments.items():
        (tmp_path / f"{name}.toml").write_text(text, encoding="utf-8")

    def read(include, text=BARE):
        (tmp_path / "joint.toml").write_text(f"include = {include}\n{text}", encoding="utf-8")
        return read_joint(tmp_path / "joint.toml")

    return read


def test_measured_friction_becomes_the_joints_own(joint_with):
    joint = joint_with('"stud-oiled.toml"')
    assert joint.tightening.thread_friction == pytest.approx(0.117, abs=0.02)
    assert joint.measured[0].carried == ("tightening.thread_friction", "tightening.bearing_friction")
    assert "stud-oiled.csv" in joint.measured[0].source


def test_what_is_stated_twice_is_refused(joint_with):
    with pytest.raises(InputError, match=r"tightening\.thread_friction: is stated here and in 'stud-oiled.toml'"):
        joint_with('"stud-oiled.toml"', JOINT)


def test_friction_of_another_thread_is_refused_unless_accepted(joint_with):
    other = BARE.replace("M11x1.25", "M10x1.25")
    with pytest.raises(InputError, match=r"measured with thread M11x1.25, this joint has M10x1.25"):
        joint_with('"stud-oiled.toml"', other)
    joint = joint_with("{ file = 'stud-oiled.toml', accept = ['thread'] }", other)
    assert "accepted" in joint.measured[0].cautions[0]


def test_another_lubricant_is_refused_and_the_same_is_not(joint_with):
    def lubricated(name):
        return BARE.replace("[tightening]\n", f'[tightening]\nlubricant = "{name}"\n')

    with pytest.raises(InputError, match="lubricant engine oil, this joint has wax"):
        joint_with('"stud-oiled.toml"', lubricated("wax"))
    assert joint_with('"stud-oiled.toml"', lubricated("Engine oil")).measured[0].cautions == ()


def test_a_joint_outside_temperature_and_force_gets_a_caution(joint_with):
    cold = BARE.replace('temperature = "20 degC"', 'temperature = "-20 degC"')
    assert any(
        "tightened at -20 degC" in caution for caution in joint_with('"stud-oiled.toml"', cold).measured[0].cautions
    )
    more = BARE.replace('torque = "68 lbf.ft"', 'torque = "98 lbf.ft"')
    assert any("tightened to" in caution for caution in joint_with('"stud-oiled.toml"', more).measured[0].cautions)


def test_measured_strength_goes_with_its_material_only(joint_with):
    with pytest.raises(InputError, match="measured on AISI H11"):
        joint_with('"stud-pulled.toml"')
    joint = joint_with('["stud-oiled.toml", "stud-pulled.toml"]', BARE.replace("AISI 8740", "AISI H11"))
    assert joint.fastener.yield_strength.at(20.0) == pytest.approx(1544.0, rel=0.01)
    assert joint.fastener.ultimate_strength > joint.fastener.yield_strength.at(20.0)
    assert any("taken to be the same" in caution for caution in joint.measured[1].cautions)


@pytest.mark.parametrize(
    ("include", "said"),
    [
        ('"nothere.toml"', "no such fragment"),
        ("3", "must name a fragment"),
        ("{ file = 'stud-oiled.toml', accept = ['everything'] }", "must name a fragment"),
        ('"joint.toml"', "is no fragment"),
    ],
)
def test_a_mistake_in_the_include_is_said(joint_with, include, said):
    with pytest.raises(InputError, match=said):
        joint_with(include)


def test_a_fragment_may_not_carry_what_a_rig_cannot_know(joint_with, tmp_path):
    text = (tmp_path / "stud-oiled.toml").read_text("utf-8") + '\n[head]\nheight = "3 mm"\n'
    (tmp_path / "odd.toml").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match="carries only tightening and fastener"):
        joint_with('"odd.toml"')


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("\nthread_friction", "\nthread_fricton", "odd.toml: tightening.thread_fricton: unknown key"),
        ("\nlog = ", "\nlogs = ", "odd.toml: measured.logs: unknown key; did you mean 'log'"),
        ("[measured]", "[measured", "odd.toml: is not valid TOML"),
    ],
)
def test_a_mistake_in_a_fragment_is_said_to_be_there(joint_with, tmp_path, old, new, said):
    text = (tmp_path / "stud-oiled.toml").read_text("utf-8")
    assert old in text
    (tmp_path / "odd.toml").write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError) as raised:
        joint_with('"odd.toml"')
    assert said in str(raised.value)


def test_two_fragments_that_state_the_same_are_refused(joint_with):
    with pytest.raises(InputError, match=r"stated here or in 'stud-oiled.toml' and in 'stud-oiled.toml'"):
        joint_with('["stud-oiled.toml", "stud-oiled.toml"]')


def test_a_bore_cell_includes_a_fragment_too(joint_with, tmp_path):
    text = shipped_files("cells")["boosted-four"].read_text("utf-8")
    bare = "\n".join(line for line in text.splitlines() if "_friction = " not in line)
    (tmp_path / "cell.toml").write_text('include = "stud-oiled.toml"\n' + bare, encoding="utf-8")
    joint_with('"stud-oiled.toml"')
    cell = read_input(tmp_path / "cell.toml")
    assert cell.joint.measured
    assert cell.joint.tightening.thread_friction == joint_with('"stud-oiled.toml"').tightening.thread_friction


def test_strength_measured_cold_is_cautioned_where_heat_finds_how_hot_the_fastener_gets(joint_with):
    hotter = BARE.replace("AISI 8740", "AISI H11") + HEAT
    joint = joint_with('["stud-oiled.toml", "stud-pulled.toml"]', hotter)
    assert any("the fastener is as hot as heat is found to make it" in one for one in joint.measured[1].cautions)
