"""Two commands never say two things: a need that lies within the mesh error is not judged by any of them."""

from __future__ import annotations

import dataclasses
import re
from functools import cache
from pathlib import Path

import pytest
from conftest import shipped_text

import headjoint
from headjoint.cases.models import from_mesh
from headjoint.cases.models.from_mesh import or_why_not
from headjoint.model.base.errors import BrokenFastenerError, MeshError
from headjoint.model.reading.reading import parse_content
from headjoint.postproc.designs.evaluation import Evaluator
from headjoint.postproc.designs.outcome import Outcome, Source, Task, outcome_of
from headjoint.postproc.present.mesh_errors import compared
from headjoint.postproc.service import findings
from headjoint.postproc.verdict.requirement import Criterion
from headjoint.postproc.verdict.verdict import Verdict

# cold, so that a service and a warm-up in which nothing gets warm pass through the states of the load cases
COLD = re.sub(r"^scatter = .*$", "scatter = 1.0", shipped_text("boosted-four-steel"), flags=re.MULTILINE)
LOADS = """
[requirements]
sealing_ratio = 1.5
sealing_minimum = "5 MPa"
separation_factor = NEED
[[load_cases]]
name = "assembly"
kind = "assembly"
temperature = "20 degC"
[[load_cases]]
name = "firing"
kind = "firing"
temperature = "20 degC"
gas_pressure = "110 bar"
[mesh]
element_size = "4 mm"
[[history]]
do = "tighten"
[[history]]
do = "run"
case = "firing"
[heat]
time = [0]
gas_temperature = ["20 degC"]
gas_film = [0]
gas_pressure = ["110 bar"]
coolant_temperature = ["20 degC"]
ambient_temperature = "20 degC"
duration = "1 s"
"""


def stated(separation: float) -> Source:
    text = COLD.split("[[load_cases]]")[0] + LOADS.replace("NEED", repr(separation))
    return Source(parse_content(text), "joint", Path())


@cache
def separation() -> Criterion:
    found = solved(1.0).criterion("separation")
    assert found is not None
    return found


@cache
def solved(need: float) -> Verdict:
    return headjoint.solve(stated(need).design({})).verdict


def within() -> float:
    """Return a need that is met by half of the mesh error."""
    one = separation()
    return one.value - one.mesh_error / 2.0


def designed(need: float, draw: dict[str, float] | None = None) -> Outcome:
    return Evaluator(stated(need)).evaluate([Task({}, draw)])[0]


def commands() -> dict[str, Verdict]:
    joint = stated(within()).design({})
    return {
        "solve": headjoint.solve(joint).verdict,
        "compare, sweep, size": designed(within()).verdict,
        "history": headjoint.history(joint).verdict,
        "warmup": headjoint.warm_up(joint).verdict,
    }


def test_what_is_met_by_less_than_its_mesh_error_is_not_judged_by_any_command(monkeypatch):
    monkeypatch.setattr(findings, "uncertainty", lambda chain: ())  # a dozen services more
    assert separation().mesh_error > 0.0
    for command, verdict in commands().items():
        found = verdict.criterion("separation")
        assert found.holds is None, command
        assert verdict.holds is None, command
        assert "separation under combustion" in [one.name for one in verdict.not_judged if one.by_mesh], command
        assert found.value == pytest.approx(separation().value, rel=1e-4), command
        assert found.mesh_error == pytest.approx(separation().mesh_error, rel=0.02), command


def test_what_is_kept_of_a_design_knows_its_mesh_error():
    outcome = designed(within())
    assert outcome_of(outcome.plain()) == dataclasses.replace(
        outcome, verdict=dataclasses.replace(outcome.verdict, change_first=None)
    )
    assert outcome.word == "not judged"
    assert not outcome.met


def test_a_drawn_joint_is_counted_by_factors_less_their_mesh_errors():
    exact, drawn = solved(1.0), designed(1.0, {"gas pressure": 1.0})
    for key in ("sealing", "stroke", "line_load"):
        one = exact.criterion(key)
        assert drawn.figures[one.name] == pytest.approx(one.at_least, rel=1e-6)
        assert drawn.figures[one.name] < one.value
    # 16.5 MPa are needed at 11 MPa of gas
    assert drawn.figures["seal over gas"] == pytest.approx(1.5 * exact.criterion("sealing").at_least, rel=1e-6)


def test_a_design_whose_coarser_mesh_fails_is_not_judged_where_less_than_15_per_cent_is_in_hand(monkeypatch):
    build = from_mesh.single_stud.build

    def fail_when_coarse(joint, refinement=1.0):
        if refinement < 1.0:
            raise MeshError("no room")
        return build(joint, refinement)

    monkeypatch.setattr(from_mesh.single_stud, "build", fail_when_coarse)
    found = separation().value
    for need, holds in ((found / 1.1, None), (found / 1.25, True), (found * 1.01, False)):
        outcome = designed(need)
        assert outcome.unbounded == "the coarser mesh failed: no room"
        assert outcome.verdict.criterion("separation").holds is holds
    joint = stated(found / 1.1).design({})
    assert headjoint.solve(joint).verdict.criterion("separation").holds is None
    exact, drawn = solved(1.0).criterion("sealing"), designed(1.0, {"gas pressure": 1.0})
    assert drawn.unbounded == "the coarser mesh failed: no room"
    assert drawn.figures[exact.name] == pytest.approx(0.85 * exact.value, rel=1e-6)
    assert drawn.figures["seal over gas"] == pytest.approx(0.85 * 1.5 * exact.value, rel=1e-6)


def test_a_fastener_that_breaks_on_the_coarse_mesh_alone_costs_the_comparison_not_the_answer():
    def breaks():
        raise BrokenFastenerError("this breaks a fastener", field="tightening", value="torque", used=1.1)

    assert or_why_not(breaks) == (None, "the coarser mesh failed: tightening: this breaks a fastener (got 'torque')")
    assert compared(1, lambda coarse: breaks(), "")[1].startswith("the coarser mesh failed")
