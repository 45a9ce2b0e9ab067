"""Load cases that take their temperatures from heat conduction see what a warm-up sees at the same instant."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.cases.condensed.cell_condensation import CellRecovery, cell_model, condense_cell
from headjoint.cases.condensed.condensation import FieldRecovery
from headjoint.cases.condensed.stud_rows import bending_by_recovery, bending_fit
from headjoint.cases.load_cases.load_history import gas_trial, run
from headjoint.cases.load_cases.solved import solve_joint
from headjoint.cases.models.condensed import condensed_cell
from headjoint.cases.models.from_mesh import mesh_of, one_fastener
from headjoint.cases.service.jobs import run_history
from headjoint.cases.service.tightened import tightened
from headjoint.cases.warm_up.heat_of_cases import case_fields
from headjoint.cases.warm_up.warm_up import warm_up
from headjoint.model.base.errors import InputError
from headjoint.model.reading.reading import parse_cell, parse_content, parse_joint
from headjoint.postproc.designs.evaluation import Evaluator
from headjoint.postproc.designs.outcome import Source, Task
from tests.conftest import shipped_text

DUTY = """
[[heat.duty]]
step = "cold start"
duration = "30 s"

[[heat.duty]]
step = "full load"
duration = "3 min"

[[heat.duty]]
step = "idle"
duration = "1 min"
"""
CASES = """
[[load_cases]]
name = "rising"
kind = "hot"
heat = { time = "100 s" }

[[load_cases]]
name = "full load"
kind = "firing"
heat = { step = "full load" }

[[load_cases]]
name = "steady"
kind = "hot"
heat = { time = "200 s", steady = true }

[[load_cases]]
name = "cold after"
kind = "cold"
temperature = "20 degC"
"""
COARSE = '\n[mesh]\nelement_size = "1.5 mm"\nlargest = "12 mm"\n'


def text(cases: str = CASES, duty: str = DUTY) -> str:
    stated = shipped_text("boosted-four-steel")
    assert "[heat" not in stated
    assert "[mesh]" not in stated
    return stated + cases + duty + COARSE


@cache
def both():
    joint = parse_joint(text())
    fields = case_fields(joint)
    return warm_up(joint), fields


@cache
def history(level: str = "nominal"):
    _, fields = both()
    joint = fields.told(parse_joint(text()))
    model = fields.heating(one_fastener(joint)[1])
    return run(model, tightened(model).over(joint.tightening)[level])


def test_an_instant_has_the_clamp_that_a_warm_up_has_then():
    warmed, fields = both()
    for name, time in (("rising", 100.0), ("full load", 210.0)):
        moment = warmed.moment(time)
        state = history().state(name)
        force = moment.instant.force if state.kind == "hot" else moment.instant.fired_force
        assert float(state.force[0]) == pytest.approx(force, rel=1e-3)
        line = history().model.lines(state.equilibrium)[0]
        sealing = moment.instant.sealing if state.kind == "hot" else moment.instant.fired_sealing
        assert float(line.pressure[0]) == pytest.approx(sealing, rel=1e-3)
        assert state.case.temperatures["head"] == pytest.approx(moment.instant.temperatures["head mean"], abs=1e-6)
        assert fields.temperature[name] == pytest.approx(moment.temperature)
    # an instant that the warm-up itself reached, in its own figures
    reached = warmed.checkpoints[len(warmed.checkpoints) // 2]
    assert warmed.moment(reached.instant.time) is reached


def test_a_firing_case_without_gas_pressure_has_that_of_the_duty():
    joint = parse_joint(text())
    case = next(one for one in joint.load_cases if one.name == "full load")
    assert case.gas_pressure == joint.heat.gas_pressure(210.0) > 0.0
    assert case.gas_force == pytest.approx(case.gas_pressure * joint.gas.force_area)


def test_gas_trials_of_a_hot_case_start_from_its_own_field():
    state = history().state("full load")
    assert gas_trial(history().model, state, 1.0).force == pytest.approx(state.force, rel=1e-9)
    rest = both()[0].moment(210.0).instant.force
    assert float(gas_trial(history().model, state, 0.0).force[0]) == pytest.approx(rest, rel=1e-6)


def test_the_steady_state_is_what_a_long_full_load_comes_to():
    alone = """
[[load_cases]]
name = "steady"
kind = "hot"
heat = { time = "60 min", steady = true }
"""
    joint = parse_joint(text(alone, DUTY.replace("3 min", "90 min")))
    steady = case_fields(joint).told(joint).load_cases[-1].temperatures
    end = warm_up(joint).moment(90.0 * 60.0).instant
    for part in ("head", "fastener", "block"):
        assert steady[part] == pytest.approx(end.temperatures[f"{part} mean"], abs=0.5)


def test_after_a_hot_instant_the_joint_remembers_it():
    service = history()
    rest = both()[0].moment(210.0).rest
    cold = service.state("cold after")
    assert (cold.permanent_set >= rest.memory.permanent_set - 1e-12).all()
    assert float(cold.force[0]) < float(service.states[0].force[0])


def test_the_ends_of_the_tightening_s_scatter_go_through_the_same_field():
    low, high = history("least"), history("greatest")
    for name in ("rising", "steady"):
        assert (
            float(low.state(name).force[0]) < float(history().state(name).force[0]) < float(high.state(name).force[0])
        )


def test_a_uniform_field_gives_what_stated_temperatures_give():
    # no gas film, coolant and all at 60 degC for ever: steady is 60 degC throughout, and stiffness alone differs
    lists = """
[heat]
time = ["0 s", "100 s"]
gas_temperature = ["60 degC"]
gas_film = ["0 W/m2K"]
gas_pressure = ["0 bar"]
coolant_temperature = ["60 degC"]
ambient_temperature = "60 degC"
"""
    cases = """
[[load_cases]]
name = "by heat"
kind = "hot"
heat = { time = "100 s", steady = true }

[[load_cases]]
name = "as stated"
kind = "hot"
temperature = "60 degC"
"""
    joint = parse_joint(text(cases, lists))
    fields = case_fields(joint)
    assert fields.temperature["by heat"] == pytest.approx(np.full(len(fields.temperature["by heat"]), 60.0), abs=1e-6)
    joint = fields.told(joint)
    found = run(fields.heating(one_fastener(joint)[1]))
    # all parts are softer at 60 degC and tight by the same lengths: the clamp falls, by no more than the softest part
    one, other = (float(found.state(name).force[0]) for name in ("by heat", "as stated"))
    materials = [joint.part_material(part) for part in ("head", "block", "fastener")]
    softest = min(material.E.at(60.0) / material.E.at(20.0) for material in materials)
    assert softest < one / other < 1.0


@pytest.mark.parametrize(
    ("old", "new", "field", "word"),
    [
        (DUTY, "", "load_cases[4].heat", "has none"),
        ('time = "100 s"', 'time = "10 min"', "load_cases[4].heat.time", "ends at 270 s"),
        ('step = "full load" }', 'step = "fuel load" }', "load_cases[5].heat.step", "full load"),
        ('heat = { time = "100 s" }', 'heat = { steady = true }', "load_cases[4].heat", "time"),
        ('heat = { time = "100 s" }', 'heat = { time = "100 s" }\ntemperature = "90 degC"', "load_cases[4].heat", "both"),
        ('time = "100 s"', 'time = "0 s"', "load_cases[4].heat.time", "not begun"),
    ],
)  # fmt: skip
def test_heat_that_cannot_be_had_is_refused(old, new, field, word):
    with pytest.raises(InputError) as caught:
        parse_joint(text().replace(old, new))
    assert caught.value.field == field
    assert word in str(caught.value)


def test_heat_is_asked_for_by_load_cases_alone():
    assert parse_joint(text()).by_heat
    assert not parse_joint(shipped_text("boosted-four-steel")).by_heat


def test_the_coarser_mesh_beside_a_joint_has_temperatures_of_its_own():
    steady = """
[[load_cases]]
name = "steady"
kind = "hot"
heat = { time = "200 s", steady = true }
"""
    joint = parse_joint(text(steady).replace("1.5 mm", "3 mm"))
    found = solve_joint(joint)
    assert found.coarse is not None, found.unbounded
    fine, coarse = (one.joint.load_cases[-1].temperatures["head"] for one in (found, found.coarse))
    assert coarse != fine
    assert coarse == pytest.approx(fine, abs=2.0)
    own = case_fields(joint, refinement=0.5).told(joint).load_cases[-1].temperatures["head"]
    assert coarse == pytest.approx(own, abs=1e-9)
    # the same mesh for heat and clamp
    assert found.assembled.strains.keys() == {"heat in steady"}
    assert len(found.assembled.strains["heat in steady"]) == found.assembled.joint_mesh.mesh.nelements


def test_a_service_heats_by_the_field_of_the_load_case_that_it_names():
    steps = """
[[history]]
do = "tighten"

[[history]]
do = "heat"
case = "steady"
duration = "1 min"
"""
    stated = parse_joint(text(CASES + steps))
    joint = both()[1].told(stated)
    assert joint.history[-1].case.temperatures == joint.load_cases[-2].temperatures

    def told(refinement):
        fields = both()[1] if refinement == 1.0 else case_fields(stated, refinement=refinement)
        return fields.told(stated), fields.heating

    served = run_history(stated, None, resume=False, told=told)
    # a minute of creep and relaxation takes little: heat of a service and of a load case are one
    heated = served.nominal.records[-1]
    assert float(heated.force[0]) == pytest.approx(float(history().state("steady").force[0]), rel=5e-3)


@pytest.mark.long
@pytest.mark.slow
def test_a_study_sees_the_heat_that_solve_sees():
    source = Source(parse_content(text()), "joint", Path())
    evaluator = Evaluator(source)
    (own, tighter) = evaluator.evaluate([Task({}), Task({"tightening.torque": "70 lbf.ft"})])
    assert not own.problem
    clamp = {line.name: line.clamp for line in own.states}
    assert clamp["full load"] == pytest.approx(float(history().state("full load").force[0]), rel=1e-6)
    assert {line.name: line.clamp for line in tighter.states}["full load"] > clamp["full load"]
    (drawn,) = evaluator.evaluate([Task({}, {"tool": 1.0})])
    assert "scatter" in drawn.problem


@pytest.mark.long
@pytest.mark.slow
def test_a_cell_s_instant_is_that_of_its_warm_up():
    engine = shipped_cells()["boosted-four"].read_text("utf-8")
    duty = DUTY.replace("3 min", "20 s").replace("1 min", "10 s")
    cases = """
[[load_cases]]
name = "rising"
kind = "firing"
heat = { time = "40 s" }
gas_pressure = "80 bar"
"""
    cell = parse_cell(engine + cases + duty + '\n[mesh]\nring_size = "14 mm"\nstud_size = "14 mm"\nlargest = "30 mm"\n')
    fields = case_fields(cell)
    moment = warm_up(cell).moment(40.0).instant
    cell = fields.told(cell)
    assembled = cell_model(cell, mesh_of(cell))
    model = fields.heating(condensed_cell(assembled, condense_cell(assembled)))
    history = run(model)
    rising = history.states[-1]
    assert rising.case.temperatures["head"] == pytest.approx(moment.temperatures["head mean"])
    rest = gas_trial(model, rising, 0.0)
    assert float(rest.force.mean()) == pytest.approx(moment.force, rel=1e-3)
    # bending of the studs by the field: the same from rows as from the whole displacements and stresses
    within = fields.assembled()
    recovery = CellRecovery(within)
    rows = bending_by_recovery(within, recovery)
    factors = model.under(rising.case).factors(rising.case)
    q = rising.equilibrium.q
    stress = recovery.stress(recovery.displacement(q, factors), q[history.reduced.overlaps], factors)
    fit, inside, _ = bending_fit(cell, within, within.mesh.fasteners[0])
    along = fit @ stress[within.mesh.fasteners[0].free, :, 2].ravel()[inside]
    assert rows.gradients(q, factors)[0][[0, 2]] == pytest.approx(along, abs=1e-6 * np.abs(stress[..., 2]).max())


def test_stresses_of_a_hot_case_follow_from_its_whole_field():
    _, fields = both()
    joint = fields.told(parse_joint(text()))
    model = one_fastener(joint)[1]
    assembled = fields.assembled()
    state = history().state("steady")
    factors = fields.heating(model).factors(state.case)
    recovery = FieldRecovery(assembled)
    stress = recovery.stress(
        recovery.displacement(state.equilibrium.q, factors), float(state.equilibrium.q[-1]), factors
    )
    # what a layer of the shank's elements carries is the clamp; castings are as stiff as cold in the stresses
    mesh = assembled.joint_mesh
    z = mesh.mesh.p[1][mesh.mesh.t]
    height = joint.head.height / 3.0
    layer = (mesh.part == mesh.parts.index("fastener")) & (z.min(axis=0) < height) & (z.max(axis=0) > height)
    thick = float(np.ptp(z[:, layer], axis=0)[0])
    carried = float(np.sum(stress[layer, :, 1] * assembled.body.weight[layer])) / thick
    assert carried == pytest.approx(float(state.force[0]), rel=0.01)
