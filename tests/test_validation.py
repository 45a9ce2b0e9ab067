"""Every published check holds, names its source, and can fail."""

from __future__ import annotations

import dataclasses
import math

import pytest

from headjoint.cases.warm_up.warm_up import warm_up
from headjoint.meshes.one_fastener.single_stud import build
from headjoint.model.reading.reading import parse_joint
from validation import GROUPS
from validation.check import Check
from validation.first_hand import from_memory, how
from validation.heat_limits import half_space
from validation.independent_cell import felupe
from validation.independent_heat import CONDUCTANCES, JOINT, OtherHeat, compared
from validation.joints import joint_files

HALF_A_MINUTE = (
    "Heat of a shipped joint by another",
    "Two bores of a bank",
    "Studies: probabilities",
    "Bore cell: elements",
    "A pressed",
)


@pytest.mark.parametrize(
    "title",
    [
        pytest.param(one, marks=[pytest.mark.slow, pytest.mark.long] if one.startswith(HALF_A_MINUTE) else [])
        for one in GROUPS
    ],
)
def test_published_checks_hold(title):
    checks = GROUPS[title]()
    assert checks
    failed = [f"{c.quantity}: {c.computed:.6g} against {c.published:.6g}" for c in checks if not c.passed]
    assert not failed
    assert all(check.source for check in checks)
    assert [check.source for check in checks if from_memory(check) and not how(check)] == []


@pytest.mark.parametrize("face", [0.05, math.inf])  # h/k in 1/mm
def test_the_half_space_fulfils_the_equation_of_conduction_its_face_and_its_start(face):
    alpha, time, step = 15.0, 20.0, 1e-3  # mm2/s, s, mm

    def T(x: float, t: float = time) -> float:
        return half_space(x, t, alpha, face)

    for x in (2.0, 5.0, 20.0):
        in_time = (T(x, time + step) - T(x, time - step)) / (2.0 * step)
        curvature = (T(x + 0.1) - 2.0 * T(x) + T(x - 0.1)) / 0.01
        assert in_time == pytest.approx(alpha * curvature, rel=1e-3)
        assert T(x, 1e-6) == pytest.approx(0.0, abs=1e-9)
    if math.isinf(face):
        assert T(0.0) == pytest.approx(1.0)
    else:
        # of second order from the face inwards
        slope = (-3.0 * T(0.0) + 4.0 * T(step) - T(2.0 * step)) / (2.0 * step)
        assert -slope == pytest.approx(face * (1.0 - T(0.0)), rel=1e-5)


def test_a_check_fails_when_the_figure_is_wrong_or_missing():
    check = Check("x", "here", 2.0, 2.0, 0.01)
    assert check.passed
    assert not dataclasses.replace(check, computed=2.03).passed
    assert not dataclasses.replace(check, computed=float("nan")).passed


def test_there_are_at_least_25_published_checks():
    assert sum(len(group()) for title, group in GROUPS.items() if title.startswith("Closed form")) >= 25


@pytest.mark.long
@pytest.mark.slow
def test_the_independent_heat_of_a_joint_sees_a_film_that_is_off_by_five_per_cent():
    joint = parse_joint(joint_files()[JOINT].read_text("utf-8") + CONDUCTANCES)
    film = joint.heat.coolant_film
    more = dataclasses.replace(film, values=tuple(1.05 * value for value in film.values))
    off = dataclasses.replace(joint, heat=dataclasses.replace(joint.heat, coolant_film=more))
    found = compared("a film that is off", warm_up(joint), OtherHeat(felupe(), off, build(joint), 1))
    assert max(abs(check.difference) for check in found if check.unit == "degC") > 0.01
    assert sum(not check.passed for check in found) > 10
