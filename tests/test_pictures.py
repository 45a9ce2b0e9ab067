"""Pictures show what was solved, whole and readable."""

from __future__ import annotations

import re
from functools import cache

import numpy as np
import pytest
from conftest import shipped_text, solved
from matplotlib.figure import Figure
from matplotlib.image import imread

from headjoint.cases.load_cases.solved import SolvedJoint, solve_joint
from headjoint.model.reading.reading import parse_joint
from headjoint.postproc.joint import joint_diagram, pictures
from headjoint.postproc.joint.fields import RecoveredState, recover
from headjoint.postproc.joint.findings import StateFindings, state_findings

JOINTS = ("boosted-four-steel", "iron-diesel-steel", "never fired")


@cache
def findings(name: str) -> tuple[SolvedJoint, tuple[StateFindings, ...], dict[str, RecoveredState]]:
    joint = never_fired() if name == "never fired" else solved(name)
    return joint, state_findings(joint.nominal, margins=False), recover(joint)


def never_fired() -> SolvedJoint:
    """Return a joint that is only tightened and warmed."""
    head, *cases = re.split(r"(?=\[\[load_cases\]\]|\[requirements\])", shipped_text("boosted-four-steel"))
    kept = [case for case in cases if 'kind = "firing"' not in case and 'kind = "cold"' not in case]
    return solve_joint(parse_joint(head + "".join(kept)))


@cache
def figures(name: str, units: str = "si") -> dict[str, Figure]:
    joint, states, fields = findings(name)
    return {
        "contact_pressure": pictures.contact_pressure(joint, states, units),
        "joint_diagram": pictures.joint_diagram(joint, states, fields[states[0].name], units),
        "clamp_history": pictures.clamp_history(joint, units),
        "section": pictures.section(joint, fields, units),
    }


@pytest.mark.parametrize("name", JOINTS)
def test_four_pictures_are_written_wide_enough_and_not_blank(name: str, tmp_path):
    joint, states, fields = findings(name)
    paths = pictures.draw_all(joint, states, fields, tmp_path)
    assert [path.name for path in paths] == [f"{kind}.png" for kind in figures(name)]
    for path in paths:
        image = imread(path)
        assert image.shape[1] >= 1200
        assert path.stat().st_size > 20_000
        assert 0.01 < np.mean(image[:, :, :3].min(axis=2) < 0.9) < 0.9


@pytest.mark.parametrize("units", ["si", "workshop"])
@pytest.mark.parametrize("name", JOINTS)
def test_no_word_is_cut_off_or_covers_another(name: str, units: str, words_of):
    for kind, figure in figures(name, units).items():
        assert len(words_of(figure, kind)) > 8


def test_each_reader_finds_only_units_of_his_own(words_of):
    si, workshop = {"kN", "MPa", "bar", "um", "mm", "degC"}, {"lbf", "ksi", "psi", "thou", "in", "degF"}
    for units, strange, own in (("si", workshop, si), ("workshop", si, workshop)):
        for kind, figure in figures("boosted-four-steel", units).items():
            said = set(re.findall(r"[A-Za-z]+", " ".join(words_of(figure, kind)))) - {"in"}
            assert said & own, (units, kind)
            assert not said & strange, (units, kind)


def test_a_curve_in_workshop_units_is_the_same_curve():
    si, workshop = (figures("boosted-four-steel", units)["contact_pressure"].axes[0] for units in ("si", "workshop"))
    for here, there in zip(si.get_lines()[:3], workshop.get_lines()[:3], strict=True):
        # 1 in is 25.4 mm, 1 lbf 4.4482216 N, so 1 ksi is 1000 * 4.4482216 / 25.4^2 = 6.894757 MPa
        assert np.asarray(here.get_xdata()) == pytest.approx(25.4 * np.asarray(there.get_xdata()))
        assert np.asarray(here.get_ydata()) == pytest.approx(6.894757 * np.asarray(there.get_ydata()), rel=1e-6)


@pytest.mark.parametrize("name", JOINTS)
def test_every_title_names_the_joint(name: str):
    joint, *_ = findings(name)
    for kind, figure in figures(name).items():
        assert joint.joint.name in " ".join(figure.get_suptitle().split()), kind


@pytest.mark.parametrize("name", JOINTS)
def test_no_two_states_share_colour_and_dashes(name: str):
    _, states, _ = findings(name)
    (axes,) = figures(name)["contact_pressure"].axes
    lines = {line.get_label(): line for line in axes.get_lines() if not line.get_label().startswith("_")}
    looks = {(lines[state.name].get_color(), str(lines[state.name]._dash_pattern)) for state in states}
    assert len(looks) == len(states)


@pytest.mark.parametrize("name", ["boosted-four-steel", "iron-diesel-steel"])
def test_firing_and_hot_are_told_apart_on_grey_paper(name: str):
    states = {state.name: state.kind for state in findings(name)[1]}
    (axes,) = figures(name)["contact_pressure"].axes
    dashes = {
        states[line.get_label()]: str(line._dash_pattern) for line in axes.get_lines() if line.get_label() in states
    }
    assert dashes["firing"] != dashes["hot"]


def test_the_tightening_curve_rises_to_the_assembly_of_the_history():
    joint, *_ = findings("boosted-four-steel")
    overlaps, forces = joint_diagram.tightening_curve(joint)
    assert (np.diff(overlaps) > 0.0).all()
    assert (np.diff(forces) > 0.0).all()
    assert forces[-1] == pytest.approx(joint.nominal.preload, rel=1e-12)
    assert overlaps[-1] == pytest.approx(joint.nominal.states[0].overlap, rel=1e-8)


def test_the_gas_curve_ends_at_the_fired_state_and_begins_without_gas():
    joint, states, _ = findings("boosted-four-steel")
    fired = next(state for state in states if state.gas_force > 0.0)
    force, gas = joint_diagram.gas_curve(joint, fired.name)
    assert gas[-1] == pytest.approx(fired.gas_force)
    assert force[-1] == pytest.approx(fired.fastener_force, rel=1e-8)
    assert force[-1] - force[0] == pytest.approx(fired.load_factor * gas[-1], rel=1e-6)
