"""Warm-up and cooling: heat drives clamp, and where it is hot when decides how much."""

from __future__ import annotations

import dataclasses
import itertools
import json
import re
from functools import cache

import meshio
import numpy as np
import pytest
from conftest import guide_example, shipped_text
from test_cli import files_in, headjoint

from headjoint.cases.condensed.condensation import FieldRecovery, condense, full_model
from headjoint.cases.heat.gap_round_shank import joint_gap
from headjoint.cases.heat.problem import steady
from headjoint.cases.models.condensed import free_strains
from headjoint.cases.service.memory import fresh
from headjoint.cases.service.steps import settle
from headjoint.cases.warm_up.heated_joint import Heated, free_strain, heated_joint
from headjoint.cases.warm_up.over_scatter import both_paces
from headjoint.cases.warm_up.warm_up import WarmUp
from headjoint.meshes.one_fastener.single_stud import build
from headjoint.model.base.errors import InputError, SolveError
from headjoint.model.base.property_table import PropertyTable
from headjoint.model.joint import PARTS
from headjoint.model.load_case import LoadCase
from headjoint.model.reading.reading import parse_joint
from headjoint.postproc.warm_up.answer import WarmUpAnswer
from headjoint.postproc.warm_up.chosen_instants import shown
from headjoint.postproc.warm_up.findings import WarmUpFindings, assess_warm_up, judged_warm_up
from headjoint.postproc.warm_up.pictures import over_time, sections
from headjoint.postproc.warm_up.series import write_series
from headjoint.postproc.warm_up.words import moments

# twice the element size: what is said here of heat and clamp does not hang on it, and a warm-up takes half the time
STEEL = shipped_text("boosted-four-steel") + '\n[mesh]\nelement_size = "0.55 mm"\n'
SHORT = '\n[[heat.duty]]\nstep = "part load"\nduration = "20 s"\n'


@cache
def findings() -> WarmUpFindings:
    return assess_warm_up(*both_paces(parse_joint(STEEL)))


def warmed() -> WarmUp:
    return findings().warmed


def slower() -> WarmUp:
    return findings().slower


@cache
def ready() -> Heated:
    return heated_joint(parse_joint(STEEL))


def test_a_uniform_temperature_condenses_to_the_unit_loads_of_the_parts():
    joint = parse_joint(STEEL)
    mesh = build(joint)
    full = full_model(joint, mesh)
    reduced = condense(joint, full)
    body = ready().body
    field = free_strain(joint.part_material, joint.assembly_temperature, mesh, body, np.full(body.count, 118.0))
    load = FieldRecovery(full).condensed(full.strain_load(field))
    strains = free_strains(joint, LoadCase("hot", "hot", dict.fromkeys(PARTS, 118.0), 0.0, 0.0))
    expected = sum(strain * reduced.loads[part] for part, strain in strains.items())
    assert load == pytest.approx(expected, abs=1e-9 * np.abs(expected).max())


def test_a_gradient_up_the_stack_lengthens_it_by_the_mean_of_its_strain():
    # linear in z in all parts: bodies bend nowhere, the clamp follows the mean temperatures
    joint = parse_joint(STEEL)
    mesh = build(joint)
    full = full_model(joint, mesh)
    reduced = condense(joint, full)
    body = ready().body
    linear = 20.0 + 0.3 * (body.places[1] - body.places[1].min())
    load = FieldRecovery(full).condensed(
        full.strain_load(free_strain(joint.part_material, joint.assembly_temperature, mesh, body, linear))
    )
    used = np.unique(mesh.part)
    means = {}
    for part in PARTS:
        if part in mesh.parts and mesh.parts.index(part) in used:
            means[part] = body.mean(linear, int(np.searchsorted(used, mesh.parts.index(part))))
    means |= {part: 20.0 for part in PARTS if part not in means}
    strains = free_strains(joint, LoadCase("hot", "hot", means, 0.0, 0.0))
    expected = sum(strain * reduced.loads[part] for part, strain in strains.items())
    # the overlap feels the head's and the fastener's mean strain; lengths inside nut and block differ a little
    assert load[-1] == pytest.approx(expected[-1], rel=0.15)


def test_clamp_is_greatest_while_the_fastener_lags_and_least_while_it_is_still_hot():
    greatest, least = warmed().extreme(lambda one: one.force), warmed().extreme(lambda one: -one.force)
    assert greatest.temperatures["head mean"] - greatest.temperatures["fastener mean"] > 15.0
    assert least.temperatures["fastener mean"] - least.temperatures["head mean"] > 5.0
    assert greatest.time < 600.0 < least.time
    warm = min(warmed().instants, key=lambda one: abs(one.time - 880.0))
    assert greatest.force > 1.02 * warm.force
    assert least.force < 0.99 * warmed().tightened


def test_at_the_end_all_is_cold_again_and_only_the_gasket_remembers():
    end = warmed().instants[-1]
    assert all(abs(value - 20.0) < 0.5 for value in end.temperatures.values())
    assert 0.98 < end.force / warmed().tightened < 1.0


def test_a_slower_warm_up_strains_the_joint_less():
    assert slower().extreme(lambda one: one.force).force < warmed().extreme(lambda one: one.force).force


def test_heat_is_kept_and_its_error_in_time_stays_within_half_a_kelvin():
    assert warmed().heat.balance.error < 1e-6
    assert warmed().heat.estimated_error < 0.5


def test_a_gasket_that_conducts_badly_leaves_the_block_colder():
    joint = parse_joint(STEEL)
    at = []
    for conductance in (joint.heat.gasket_contact, 1e-5):
        stated = dataclasses.replace(joint, heat=dataclasses.replace(joint.heat, gasket_contact=conductance))
        hot = heated_joint(stated)
        problem = hot.problem(stated.heat, settle(hot.model, fresh(hot.model), stated.load_cases[0], gas=False))
        at.append(hot.places["block deck at the gasket"](steady(problem, 800.0).temperature))
    assert at[1] < at[0] - 5.0


def test_faces_under_pressure_pass_more_heat_than_loose_ones():
    model = ready().model
    loose = settle(model, fresh(model), model.joint.load_cases[0], gas=False)
    tight = warmed().checkpoints[0].rest
    h = [{one.name: one for one in ready().contacts(state)} for state in (loose, tight)]
    for name in ("nut on washer", "washer on head", "bead", "stopper"):
        before, after = (float(np.mean(one[name].conductance)) for one in h)
        assert after > 1.5 * before, name
    gaps = [one["shank and hole"].conductance for one in h]
    assert np.array_equal(*gaps)


def test_the_gap_between_shank_and_hole_runs_over_the_clear_length_of_the_hole():
    joint = parse_joint(STEEL)
    gap = joint_gap(ready().body, ready().mesh)
    heights = gap.surface.places[1]
    top = joint.gasket.thickness + joint.head.height + joint.washer.thickness
    assert -joint.block.counterbore_depth <= heights.min() < heights.max() <= top
    assert (gap.hole > gap.shank).all()
    # heat that crosses it is kept: what one side gives the other takes
    assert np.abs(gap.surface.load(1.0).sum()) < 1e-9 * gap.surface.area
    without = heated_joint(dataclasses.replace(joint, heat=dataclasses.replace(joint.heat, shank_gap=0.0)))
    assert without.gap is None


def test_stiffness_at_temperature_is_interpolated_to_a_tenth_of_what_it_does():
    assert -0.05 < warmed().stiffness_effect < -0.005
    assert abs(warmed().stiffness_error) < 0.1 * abs(warmed().stiffness_effect)


def test_a_joint_as_soft_as_all_of_it_at_one_temperature_is_that_of_its_materials_there():
    # a uniform field condensed anew: the joint whose materials have the moduli of that temperature
    joint = parse_joint(STEEL)
    full = full_model(joint, ready().mesh, np.full(len(ready().mesh.part), 150.0))

    def hot(material):
        return dataclasses.replace(material, E=PropertyTable((20.0,), (material.E.at(150.0),)))

    softer = dataclasses.replace(
        joint,
        fastener=dataclasses.replace(joint.fastener, material=hot(joint.fastener.material)),
        seat=dataclasses.replace(joint.seat, material=hot(joint.seat.material)),
        washer=dataclasses.replace(joint.washer, material=hot(joint.washer.material)),
        head=dataclasses.replace(joint.head, material=hot(joint.head.material)),
        block=dataclasses.replace(joint.block, material=hot(joint.block.material)),
    )
    anew = full_model(softer, ready().mesh)
    assert abs(full.matrix - anew.matrix).max() < 1e-12 * abs(anew.matrix).max()
    assert pytest.approx(condense(softer, anew).K, rel=1e-9, abs=1.0) == condense(joint, full).K


def test_the_estimate_follows_the_finite_elements_through_the_whole_warm_up():
    for one in warmed().instants:
        assert one.estimate == pytest.approx(one.force, rel=0.02)


def test_requirements_are_judged_at_the_ends_of_the_scatter_of_tightening():
    tight = findings().joint.tightening
    least, greatest = warmed().least, warmed().greatest
    assert greatest.preload / least.preload == pytest.approx(tight.tightening_factor)
    worst = {one.name: one.where.written() for one in findings().verdict.criteria}
    assert "least preload" in worst["sealing-line pressure"]
    for name in ("fastener yield", "bearing pressure", "thread stripping", "gasket crush"):
        assert "greatest preload" in worst[name]
    # what is pressed harder sets and creeps more on the way, so that heat adds less to it
    added = [max(one.force for one in run.instants) - run.tightened for run in (least, warmed().nominal, greatest)]
    assert added[0] > added[1] > added[2] > 0.0
    for run in (least, greatest):
        for one in run.instants:
            assert one.estimate == pytest.approx(one.force, rel=0.025)


def test_an_instant_s_gas_is_seen_beside_the_same_instant_without_it():
    states = judged_warm_up(warmed()).levels["least"].states
    fired = [(before, one) for before, one in itertools.pairwise(states) if one.fired]
    assert fired
    assert all(one.sealing_without_gas == before.seal.pressure for before, one in fired)


def test_tightening_without_scatter_leaves_one_warm_up():
    exact = re.sub(r"^scatter = .*$", "scatter = 1.0", STEEL, flags=re.MULTILINE) + SHORT
    found = both_paces(parse_joint(exact))[0]
    assert found.least is not None
    assert found.greatest is not None
    assert found.least.instants == found.greatest.instants == found.nominal.instants


def test_a_fastener_that_the_greatest_preload_breaks_is_named_with_that_preload():
    far = re.sub(r"^torque = .*$", 'torque = "100 lbf.ft"', STEEL, flags=re.MULTILINE) + SHORT
    far = re.sub(r"^scatter = .*$", "scatter = 2.5", far, flags=re.MULTILINE)
    with pytest.raises(SolveError, match=r"at the greatest preload, 11\d.\d kN: .*breaks"):
        both_paces(parse_joint(far))


@pytest.mark.long
@pytest.mark.slow
def test_an_engine_of_melting_aluminium_is_called_by_that_name():
    hot = (
        STEEL
        + '\n[heat]\ntime=[0, "5 s"]\ngas_temperature=["1800 degC"]\ngas_film=["9000 W/m2K"]\ncoolant_temperature=[90]\ncoolant_film=[100]\nduration="120 s"\n'
    )
    found = assess_warm_up(*both_paces(parse_joint(hot)))
    (melting,) = [one for one in found.verdict.criteria if one.name == "melting"]
    assert not melting.holds
    assert "EN AC-42100 begins to melt" in melting.detail.written()
    assert "melting" in found.verdict.sentence.written()


def test_a_cold_start_far_below_freezing_begins_with_the_clamp_of_a_cold_joint():
    cold = STEEL + '\n[heat]\nstart_temperature = "-30 degC"\n[[heat.duty]]\nstep = "cold start"\nduration = "20 s"\n'
    first = both_paces(parse_joint(cold))[0].instants[0]
    assert first.temperatures["head mean"] == pytest.approx(-30.0)
    # an aluminium head shrinks more than a steel stud
    assert first.force < 0.97 * warmed().tightened


@pytest.mark.parametrize(
    ("heat", "problem"),
    [
        ('time = ["0 s", "10 s"]\ngas_film = ["400 W/m2K", "-1 W/m2K"]', "at least 0"),
        ('time = ["0 s", "10 s", "5 s"]\ngas_film = [0]\ngas_temperature=[800]\ncoolant_temperature=[90]', "must ascend"),
        ('time = ["0 s", "10 s"]\ngas_film = [1, 2, 3]\ngas_temperature = [800]\ncoolant_temperature = [90]', "3 values for 2 times"),
        ('gas_temperature = ["-300 degC"]', "greater than -273.15"),
        ('coolant_film = ["400 W/m"]', "no unit of heat transfer coefficient"),
    ],
)  # fmt: skip
def test_heat_that_cannot_be_is_refused_by_name(heat, problem):
    with pytest.raises(InputError, match=problem) as caught:
        parse_joint(f"{STEEL}\n[heat]\n{heat}\n")
    assert "heat." in str(caught.value)


def test_air_gets_to_nut_and_washer_from_outside_but_not_to_the_shank_under_the_nut():
    joint, body = parse_joint(STEEL), ready().body
    (ambient,) = [one.surface for one in ready().films(joint.heat) if one.name == "ambient"]
    met = set(map(tuple, ambient.places.T.round(6)))
    assert not met & set(map(tuple, joint_gap(body, ready().mesh).surface.places.T.round(6)))
    # the head's top outside the washer, washer and nut from outside, and the stud's end as far as it stands above
    washer, nut = joint.washer, joint.seat
    reach = (
        joint.head.outer_diameter**2 / 4 + washer.outer_diameter * washer.thickness + nut.outer_diameter * nut.height
    )
    end = joint.fastener.nut_bonded_diameter * joint.fastener.protrusion
    assert ambient.area == pytest.approx(np.pi * (reach + end), rel=1e-9)


def test_a_joint_without_gas_ring_or_thermal_data_has_no_warm_up():
    no_cases = STEEL.replace('kind = "firing"', 'kind = "hot"').replace('gas_pressure = "110 bar"', "")
    without = no_cases[: no_cases.index("[gas]")] + no_cases[no_cases.index("[tightening]") :]
    joint = parse_joint(without)
    with pytest.raises(InputError, match="where heat comes in"):
        heated_joint(joint)
    bare = parse_joint(
        STEEL.replace('material = "EN AC-42100"', "material = { E = 72000, nu = 0.33, expansion = 22e-6 }")
    )
    with pytest.raises(InputError, match="conductivity"):
        heated_joint(bare)


def test_the_duty_of_the_guide_is_read_as_it_stands():
    duty = parse_joint(f"{STEEL}\n{guide_example('warm-up', '[[heat.duty]]')}").heat
    assert duty.start_temperature == duty.ambient_temperature(0.0) == -30.0
    assert [one.kind for one in duty.steps] == ["cold start", "full load", "shutdown", "soak", "cool"]
    shutdown, soak = duty.steps[2:4]
    assert duty.gas_pressure(shutdown.start) == pytest.approx(11.0)
    assert duty.gas_pressure(shutdown.end) == duty.gas_film(shutdown.end) == 0.0
    assert duty.coolant_film(shutdown.end) < duty.coolant_film(shutdown.start)
    assert duty.coolant_temperature(shutdown.end) == 90.0 < duty.coolant_temperature(soak.end)
    assert duty.coolant_temperature(duty.duration) == -30.0


def test_the_pictures_have_no_word_cut_off_and_the_table_holds_the_extremes(words_of):
    assert len(words_of(over_time(findings()), "warm-up")) > 20
    assert len(words_of(sections(warmed()), "sections")) > 10
    times = {one.time for one in shown(warmed())}
    assert warmed().extreme(lambda one: one.force).time in times
    assert warmed().extreme(lambda one: -one.force).time in times
    said = dict(moments(findings(), "workshop"))
    assert "lags behind" in said["Greatest clamp"]
    assert "full load" in said["Greatest clamp"]
    assert "is hotter than" in said["Least clamp"]
    assert "lbf" in said["Least clamp"]
    assert "NaN" not in json.dumps(WarmUpAnswer(findings()).document())


def test_the_series_for_animation_starts_cold_and_holds_temperature_and_displacement(tmp_path):
    *frames, index = write_series(warmed(), tmp_path)
    listed = json.loads(index.read_text("utf-8"))["files"]
    assert [one["name"] for one in listed] == [path.name for path in frames]
    assert [one["time"] for one in listed] == sorted(one["time"] for one in listed)
    first, last = meshio.read(frames[0]), meshio.read(frames[-1])
    assert first.point_data["temperature [degC]"] == pytest.approx(20.0)
    assert last.point_data["displacement [mm]"].shape == (len(last.points), 3)
    assert len(frames) <= 24


@pytest.mark.slow
def test_the_command_writes_its_files(tmp_path):
    (tmp_path / "boosted-four-steel.toml").write_text(STEEL + SHORT)
    done = headjoint("warmup", "boosted-four-steel.toml", folder=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    written = files_in(tmp_path / "headjoint-boosted-four-steel")
    pictures, report = ["drawing.png", "temperatures.png", "warmup.png"], ["warmup.html", "warmup.pdf"]
    others = sorted([*pictures, *report, "warmup.json", "warmup.vtu.series"])
    assert [name for name in written if not name.endswith(".vtu")] == others
    assert "Fasteners fail violently" in " ".join(done.stdout.split())
