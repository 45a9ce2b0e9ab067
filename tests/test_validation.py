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
from validation.independent_heat import CONDUCTANCES, JOINT, OtherHeat
from validation.independent_heat import compared as compared_heat
from validation.independent_yield import SLENDER, compared, end_checks, slender_figures
from validation.joints import joint_files
from validation.waisted_stud import joint_of, own_service

HALF_A_MINUTE = (
    "Heat of a shipped joint by another",
    "Two bores of a bank",
    "Studies: probabilities",
    "Bore cell: elements",
    "A pressed",
    "What a one-dimensional law of yield",
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
    found = compared_heat("a film that is off", warm_up(joint), OtherHeat(felupe(), off, build(joint), 1))
    assert max(abs(check.difference) for check in found if check.unit == "degC") > 0.01
    assert sum(not check.passed for check in found) > 10


def _yields_later(fastener):
    return dataclasses.replace(fastener, flow=fastener.flow.times(1.005))


def _hardens_more(fastener):
    flow = fastener.flow
    steeper = tuple(flow.stresses[0] + 1.02 * (stress - flow.stresses[0]) for stress in flow.stresses)
    return dataclasses.replace(fastener, flow=dataclasses.replace(flow, stresses=steeper))


def _stays_strong_when_hot(fastener):
    proof = fastener.flow.proof
    stronger = dataclasses.replace(proof, values=tuple(proof.values[0] for _ in proof.values))
    return dataclasses.replace(fastener, flow=dataclasses.replace(fastener.flow, proof=stronger))


@pytest.mark.long  # the other library's service, and three of headjoint's: 4 s of processor time
@pytest.mark.slow
@pytest.mark.parametrize("change", [_yields_later, _hardens_more, _stays_strong_when_hot])
def test_the_solid_that_flows_sees_a_law_of_yield_that_is_a_little_off(change):
    joint = joint_of(SLENDER)
    off = dataclasses.replace(joint, fastener=change(joint.fastener))
    found = compared("off", "there", own_service(SLENDER, off).figures(), slender_figures(), (0.002, 0.002))
    assert sum(not check.passed for check in found) >= 3


@pytest.mark.long  # the same figures as the published checks of it
@pytest.mark.slow
def test_the_ends_of_a_waist_never_make_the_law_kinder_in_clamp_or_in_growth():
    found = [check for check in end_checks() if "elements of twice the size" not in check.quantity]
    assert len(found) == 22
    for check in found:
        if check.unit == "kN":
            kinder = check.difference if "lost" not in check.quantity else -check.difference
        elif check.unit == "mm":
            kinder = -check.difference
        else:  # strain half-way along the waist is the one that is, as the guide says
            continue
        assert kinder < 0.0, check.quantity
