"""Warm-up and cooling: heat drives clamp, and where it is hot when decides how much."""

from __future__ import annotations

import dataclasses
import json
import re
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from conftest import shipped_text
from test_cli import files_in, headjoint

from headjoint.cases.condensation import FieldRecovery, condense, full_model
from headjoint.cases.history import free_strains
from headjoint.cases.warm_up import WarmUp, free_strain, heat_problem, warm_up, with_slower_warm_up
from headjoint.meshes.single_stud import build
from headjoint.model.errors import InputError
from headjoint.model.joint import PARTS, LoadCase
from headjoint.model.reading import parse_joint
from headjoint.postproc.warm_up_report import moments, shown, warm_up_document, warm_up_picture

STEEL = shipped_text("boosted-four-steel")


@cache
def warmed() -> WarmUp:
    return warm_up(parse_joint(STEEL))


@cache
def slower() -> WarmUp:
    return warm_up(with_slower_warm_up(parse_joint(STEEL), 2.0), refined=False)


def test_a_uniform_temperature_condenses_to_the_unit_loads_of_the_parts():
    joint = parse_joint(STEEL)
    mesh = build(joint)
    full = full_model(joint, mesh)
    reduced = condense(joint, full)
    body = heat_problem(joint, mesh).body
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
    body = heat_problem(joint, mesh).body
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
    assert greatest.force > 1.03 * warm.force
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
    bad = dataclasses.replace(joint, heat=dataclasses.replace(joint.heat, gasket_contact=1e-5))
    at = [
        min(one.instants, key=lambda instant: abs(instant.time - 880.0)).temperatures["block deck at the gasket"]
        for one in (warmed(), warm_up(bad, refined=False))
    ]
    assert at[1] < at[0] - 5.0


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


def test_a_joint_without_gas_ring_or_thermal_data_has_no_warm_up():
    no_cases = STEEL.replace('kind = "firing"', 'kind = "hot"').replace('gas_pressure = "110 bar"', "")
    without = no_cases[: no_cases.index("[gas]")] + no_cases[no_cases.index("[tightening]") :]
    joint = parse_joint(without)
    with pytest.raises(InputError, match="where heat comes in"):
        heat_problem(joint, build(joint))
    bare = parse_joint(
        STEEL.replace('material = "EN AC-42100"', "material = { E = 72000, nu = 0.33, expansion = 22e-6 }")
    )
    with pytest.raises(InputError, match="conductivity"):
        heat_problem(bare, build(bare))


def test_the_heat_of_the_readme_is_read_as_it_stands():
    readme = (Path(__file__).parent.parent / "README.md").read_text("utf-8")
    (block,) = [one for one in re.findall(r"```toml\n(.*?)```", readme, re.DOTALL) if "[heat]" in one]
    duty = parse_joint(f"{STEEL}\n{block}").heat
    assert duty.start_temperature == duty.ambient_temperature(0.0) == -30.0
    assert [one.kind for one in duty.steps] == ["cold start", "full load", "shutdown", "soak", "cool"]
    shutdown, soak = duty.steps[2:4]
    assert duty.gas_pressure(shutdown.start) == pytest.approx(11.0)
    assert duty.gas_pressure(shutdown.end) == duty.gas_film(shutdown.end) == 0.0
    assert duty.coolant_film(shutdown.end) < duty.coolant_film(shutdown.start)
    assert duty.coolant_temperature(shutdown.end) == 90.0 < duty.coolant_temperature(soak.end)
    assert duty.coolant_temperature(duty.duration) == -30.0


def test_the_picture_has_no_word_cut_off_and_the_table_holds_the_extremes(words_of):
    assert len(words_of(warm_up_picture(warmed()), "warm-up")) > 20
    times = {one.time for one in shown(warmed())}
    assert warmed().extreme(lambda one: one.force).time in times
    assert warmed().extreme(lambda one: -one.force).time in times
    said = dict(moments(warmed(), slower(), "workshop"))
    assert "lags behind" in said["Greatest clamp"]
    assert "is hotter than" in said["Least clamp"]
    assert "lbf" in said["Least clamp"]
    assert "NaN" not in json.dumps(warm_up_document(warmed(), slower()))


@pytest.mark.slow
def test_the_command_writes_its_files(tmp_path):
    done = headjoint("warmup", "boosted-four-steel", folder=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert files_in(tmp_path / "headjoint-boosted-four-steel") == ["warmup.json", "warmup.png"]
    assert "Fasteners fail violently" in " ".join(done.stdout.split())
