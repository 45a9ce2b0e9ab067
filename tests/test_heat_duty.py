"""What an engine does, step by step: which gas, coolant and air surround the joint, and what no engine does."""

from __future__ import annotations

import json
import re

import pytest
from conftest import shipped_text
from test_cli import headjoint

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.model.base.errors import InputError
from headjoint.model.files.heat_file import STEPS
from headjoint.model.heat.transfer import FILM_UNIT, IdealCycle, gas_film
from headjoint.model.reading.reading import parse_cell, parse_joint

STEEL = shipped_text("boosted-four-steel")
CELL = shipped_cells()["boosted-four"].read_text("utf-8")
ENGINE = """
[heat.engine]
bore = "86 mm"
stroke = "86 mm"
compression_ratio = 9.5
"""
FULL = """
[heat.full_load]
speed = "6000 1/min"
intake_pressure = "2 bar"
peak_pressure = "110 bar"
"""
LISTS = "time = [0, '10 s']\ngas_temperature = [800]\ngas_film = [0, 400]\ncoolant_temperature = [90]\n"


def duty(heat: str = ""):
    return parse_joint(f"{STEEL}\n{heat}").heat


def steps(*words: str, **keys: str) -> str:
    """Return a [heat] of steps of ten minutes each, the last with more keys."""
    text = "\n".join(f'[[heat.duty]]\nstep = "{word}"\nduration = "10 min"' for word in words)
    return text + "".join(f"\n{key} = {value}" for key, value in keys.items())


def refused(heat: str, text: str = STEEL) -> InputError:
    with pytest.raises(InputError) as caught:
        (parse_cell if text is CELL else parse_joint)(f"{text}\n{heat}")
    return caught.value


def test_the_usual_duty_starts_cold_runs_to_full_load_drops_to_idle_is_shut_down_hot_and_ends_cold():
    usual = duty()
    assert [one.kind for one in usual.steps] == [
        "cold start",
        "part load",
        "full load",
        "idle",
        "shutdown",
        "soak",
        "cool",
    ]
    assert all(before.end == after.start for before, after in zip(usual.steps, usual.steps[1:], strict=False))
    assert (usual.steps[0].start, usual.steps[-1].end) == (0.0, usual.duration)
    assert 2000.0 < usual.duration < 3000.0
    full, idle = (next(one for one in usual.steps if one.kind == kind) for kind in ("full load", "idle"))
    assert usual.gas_pressure(full.end) == pytest.approx(11.0)  # that of the first firing case
    assert 0.0 < usual.gas_pressure(idle.end) < 5.0
    assert usual.coolant_temperature(0.0) == usual.start_temperature == 20.0
    assert usual.coolant_temperature(full.end) == 90.0
    soak = usual.steps[-2]
    for table in (usual.gas_film, usual.gas_pressure):
        assert table(0.0) == table(soak.start) == table(usual.duration) == 0.0
    assert usual.coolant_temperature(soak.end) == 90.0
    assert usual.coolant_temperature(usual.duration) == 20.0
    assert usual.coolant_film(soak.end) < 0.5 * usual.coolant_film(full.end)  # the pump stands


def test_gas_presses_exactly_while_it_heats():
    usual = duty()
    for time in range(0, int(usual.duration), 7):
        assert (usual.gas_film(float(time)) > 0.0) == (usual.gas_pressure(float(time)) > 0.0)


def test_a_cold_start_far_below_freezing_has_cold_air_and_coolant_and_ends_at_that_air():
    cold = duty('[heat]\nstart_temperature = "-30 degC"\n' + steps("cold start", "full load", "cool"))
    assert cold.start_temperature == cold.coolant_temperature(0.0) == cold.ambient_temperature(0.0) == -30.0
    assert cold.coolant_temperature(600.0) == -30.0
    assert cold.coolant_temperature(750.0) == pytest.approx(30.0)  # half of the usual five minutes to 90 degC
    assert cold.coolant_temperature(cold.duration) == -30.0
    assert duty('[heat]\nstart_temperature = "95 degC"').ambient_temperature(0.0) == 20.0


def test_a_step_goes_linearly_to_what_it_states_within_its_ramp():
    heat = duty(
        steps(
            "full load",
            "part load",
            ramp='"20 s"',
            gas_temperature='"700 degC"',
            gas_film='"300 W/m2K"',
            gas_pressure='"60 bar"',
            coolant_temperature='"80 degC"',
            coolant_film="900",
            ambient_temperature='"50 degC"',
        )
    )
    assert heat.gas_temperature(610.0) == pytest.approx(750.0)
    assert heat.gas_film(610.0) / FILM_UNIT == pytest.approx(350.0)
    assert heat.gas_pressure(610.0) == pytest.approx((11.0 + 6.0) / 2.0)
    assert heat.coolant_temperature(610.0) == pytest.approx(85.0)
    assert heat.coolant_film(620.0) / FILM_UNIT == pytest.approx(900.0)
    assert heat.ambient_temperature(610.0) == pytest.approx(35.0)
    assert heat.ambient_temperature(1200.0) == 50.0


def test_the_coolant_may_have_a_ramp_of_its_own():
    heat = duty(steps("full load", ramp='"2 s"', coolant_ramp='"100 s"'))
    assert heat.gas_film(2.0) / FILM_UNIT == pytest.approx(400.0)
    assert heat.coolant_temperature(50.0) == pytest.approx(55.0)


def test_a_step_shorter_than_the_warming_of_the_coolant_brings_it_part_of_the_way():
    short = '[[heat.duty]]\nstep = "idle"\nduration = "1 min"\n'
    heat = duty(short + '[[heat.duty]]\nstep = "shutdown"\nduration = "1 min"')
    assert heat.coolant_temperature(60.0) == pytest.approx(20.0 + 70.0 / 5.0)
    assert heat.coolant_temperature(120.0) == heat.coolant_temperature(60.0)  # nothing warms it once the engine stands


def test_after_a_hot_shutdown_coolant_stands_still_as_hot_as_it_was_or_as_stated():
    heat = duty(steps("full load", "shutdown", "soak"))
    assert heat.coolant_temperature(heat.duration) == 90.0
    assert 0.0 < heat.coolant_film(heat.duration) < heat.coolant_film(600.0)
    boiled = duty(steps("full load", "shutdown", coolant_temperature='"105 degC"'))
    assert boiled.coolant_temperature(boiled.duration) == 105.0


def test_steps_are_named_by_their_word_a_number_when_it_comes_again_or_as_stated():
    heat = duty(steps("idle", "full load", "idle", "idle", name='"creep home"'))
    assert [one.name for one in heat.steps] == ["idle", "full load", "idle 2", "creep home"]


def test_a_slower_duty_has_all_its_times_stretched():
    usual = duty()
    slow = usual.slower(2.0)
    assert slow.duration == 2.0 * usual.duration
    assert slow.steps[2].end == 2.0 * usual.steps[2].end
    assert slow.gas_pressure(2.0 * 300.0) == usual.gas_pressure(300.0)
    assert slow.ambient_temperature(0.0) == usual.ambient_temperature(0.0)


def test_an_operating_point_by_correlation_has_the_films_of_its_ideal_cycle():
    found = duty(ENGINE + FULL + steps("full load"))
    cycle = IdealCycle(86.0, 86.0, 9.5, 6000.0, 0.2, 60.0, 11.0)
    assert found.gas_film(600.0) == pytest.approx(gas_film(cycle).coefficient)
    assert found.gas_temperature(600.0) == pytest.approx(gas_film(cycle).temperature)
    assert found.gas_pressure(600.0) == 11.0
    other = duty(ENGINE + 'law = "hohenberg"\n' + FULL + steps("full load"))
    assert other.gas_film(600.0) == pytest.approx(gas_film(cycle, "hohenberg").coefficient)


def test_more_boost_heats_the_chamber_face_more():
    more = FULL.replace('"2 bar"', '"2.4 bar"').replace('"110 bar"', '"132 bar"')
    mild, boosted = duty(ENGINE + FULL + steps("full load")), duty(ENGINE + more + steps("full load"))
    assert boosted.gas_film(600.0) > 1.1 * mild.gas_film(600.0)
    assert boosted.gas_pressure(600.0) == pytest.approx(13.2)


def test_a_cell_has_its_bore_from_the_layout():
    without = ENGINE.replace('bore = "86 mm"\n', "")
    cell = parse_cell(f"{CELL}\n{without}{FULL}{steps('full load')}")
    assert cell.joint.heat == duty(ENGINE + FULL + steps("full load"))
    error = refused(ENGINE.replace('"86 mm"\ns', '"80 mm"\ns') + FULL + steps("full load"), CELL)
    assert error.field == "heat.engine.bore"
    assert "the layout has a bore of 86 mm" in error.problem


def test_a_step_that_states_all_of_its_gas_needs_no_operating_point():
    heat = duty(
        ENGINE + FULL + steps("full load", "part load", gas_temperature="600", gas_film="200", gas_pressure="5")
    )
    assert heat.gas_pressure(1200.0) == 5.0


def test_lists_over_time_carry_the_gas_pressure_of_the_first_firing_case_while_there_is_a_film():
    lists = duty(f"[heat]\n{LISTS}")
    assert lists.steps == ()
    assert lists.gas_pressure.values == (0.0, pytest.approx(11.0))
    assert lists.duration == 2400.0
    assert duty("[heat]\n" + LISTS.replace("'10 s']", '"2 h"]', 1)).duration == 7200.0
    stated = duty(f'[heat]\n{LISTS}gas_pressure = ["0 bar", "80 bar"]')
    assert stated.gas_pressure.values == (0.0, 8.0)


def test_every_word_of_a_step_can_be_used():
    heat = duty(steps(*STEPS))
    assert [one.kind for one in heat.steps] == list(STEPS)
    assert heat.duration == 600.0 * len(STEPS)


@pytest.mark.parametrize(
    ("heat", "place", "problem"),
    [
        (steps("full laod"), "heat.duty[0].step", "unknown step of a duty; nearest: full load"),
        (steps("idle", "race"), "heat.duty[1].step", "unknown step of a duty; .*cold start"),
        (steps("idle", "soak", gas_film='"100 W/m2K"'), "heat.duty[1].gas_film", "nothing burns in a step 'soak'"),
        (steps("idle", coolant_film='"-5 W/m2K"'), "heat.duty[0].coolant_film", "at least 0"),
        (steps("idle", gas_temperature='"-300 degC"'), "heat.duty[0].gas_temperature", "greater than -273.15"),
        (steps("idle", ambient_temperature='"-300 degC"'), "heat.duty[0].ambient_temperature", "greater than -273.15"),
        (steps("idle", ramp='"11 min"'), "heat.duty[0].ramp", "takes longer than the step, which lasts 600 s"),
        (steps("idle", coolant_ramp='"0 s"'), "heat.duty[0].coolant_ramp", "greater than 0"),
        (steps("idle", rampe='"1 s"'), "heat.duty[0].rampe", "did you mean 'ramp'"),
        (steps("idle", "idle", name='"idle"'), "heat.duty[1].name", "names of steps must differ"),
        ('[[heat.duty]]\nstep = "idle"', "heat.duty[0].duration", "required but missing"),
        ('[[heat.duty]]\nstep = "idle"\nduration = "0 s"', "heat.duty[0].duration", "greater than 0"),
        ("[heat]\nduty = []", "heat.duty", "at least 1 entry"),
        (f"[heat]\n{LISTS}" + steps("idle"), "heat.time", "those or .*duty.*, not both"),
        ('[heat]\nduration = "1 h"\n' + steps("idle"), "heat.duration", "not both"),
        ('[heat]\nduration = "1 h"', "heat.duration", "lasts as long as its steps"),
        (f"[heat]\n{LISTS}{FULL}", "heat.full_load", "only for the steps of a duty"),
        ("[heat]\ncoolant_film = [2000]", "heat.time", "required but missing"),
        ("[heat]\ntime = [0, '10 s']\ngas_film = [1]\ncoolant_temperature = [90]", "heat.gas_temperature", "required but missing"),
        (f"[heat]\n{LISTS}gas_pressure = [1, 2, 3]", "heat.gas_pressure", "3 values for 2 times"),
        ("[heat.full_laod]\ngas_film = 400", "heat.full_laod", "did you mean 'full_load'"),
        ("[heat.full_load]\n", "heat.full_load", "has no gas data"),
        ("[heat.full_load]\ngas_film = 400", "heat.full_load.gas_temperature", "required but missing"),
        ("[heat.full_load]\ngas_film = 400\nspeed = 6000", "heat.full_load.gas_film", "not some of both"),
        (FULL, "heat.full_load.speed", "needs the .heat.engine. table"),
        (ENGINE.replace('bore = "86 mm"\n', "") + FULL, "heat.engine.bore", "required but missing"),
        (ENGINE + FULL.replace('peak_pressure = "110 bar"', ""), "heat.full_load.peak_pressure", "required but missing"),
        (ENGINE + FULL.replace("110 bar", "30 bar"), "heat.full_load.peak_pressure", "at least that of compression"),
        (ENGINE + FULL.replace("2 bar", "0 bar"), "heat.full_load.intake_pressure", "greater than 0"),
        (ENGINE + FULL.replace("6000 1/min", "6000 kg"), "heat.full_load.speed", "no unit of rotational speed"),
        (ENGINE.replace("9.5", "1"), "heat.engine.compression_ratio", "greater than 1"),
        (ENGINE + 'law = "guess"', "heat.engine.law", "'woschni' or 'hohenberg'"),
        (ENGINE, "heat.engine", "no operating point uses it"),
        (ENGINE + FULL, "heat.idle", "the usual duty has a step 'cold start'"),
        (ENGINE + FULL + steps("full load", "part load"), "heat.duty[1]", "'part load' has no gas data"),
        (ENGINE + FULL + steps("cold start", gas_film="100"), "heat.duty[0]", r"state \[heat.idle\]"),
    ],
)  # fmt: skip
def test_what_no_engine_does_is_refused_by_name(heat, place, problem):
    error = refused(heat)
    assert error.field == place
    assert re.search(problem, error.problem), error.problem


@pytest.mark.parametrize("options", [[], ["--cell"]])
def test_the_schema_names_the_steps_and_tables_of_a_duty(options, tmp_path):
    done = headjoint("schema", *options, folder=tmp_path)
    definitions = json.loads(done.stdout)["$defs"]
    assert definitions["DutyStepTable"]["properties"]["step"]["enum"] == list(STEPS)
    assert {"stroke", "compression_ratio"} <= set(definitions["EngineTable"]["required"])
    assert "rpm" in json.dumps(definitions["PointTable"]["properties"]["speed"])
    assert "oil" in json.dumps(definitions["HeatTable"]["properties"]["shank_gap"])
