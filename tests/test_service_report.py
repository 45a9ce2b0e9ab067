"""What a user sees of a service: pictures, words, tables, the guide's example."""

from __future__ import annotations

import dataclasses
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from conftest import guide_example, shipped_text

from headjoint.cases.command.stated_files import shipped_files
from headjoint.cases.models.condensed import chain_of
from headjoint.cases.service.jobs import Served
from headjoint.cases.service.model import service_of
from headjoint.cases.service.run import Service, run_service
from headjoint.model.joint import Joint
from headjoint.model.reading.reading import parse_cell, parse_joint
from headjoint.model.service import Hold, Repeat, Tighten
from headjoint.postproc.service import findings as service_findings
from headjoint.postproc.service import pictures as service_pictures
from headjoint.postproc.service.answer import ServiceAnswer, split_rows
from headjoint.postproc.service.findings import ServiceFindings, assess_service, shown
from headjoint.postproc.service.words import answers
from headjoint.postproc.verdict.model_seen import cell_seen

STEEL = shipped_text("boosted-four-steel")
BOLT = (Path(__file__).parent / "quenched_bolt.toml").read_text(encoding="utf-8")
# everything a history may hold, once
LONG = """
[[history]]
do = "tighten"
pull = "40 kN"
[[history]]
do = "cold start"
name = "a frosty morning's first start of the engine"
temperature = "-25 degC"
gas_pressure = "60 bar"
[[history]]
do = "retorque"
angle = "15 deg"
[[history]]
do = "heat"
case = "hot"
duration = "3 h"
[[history]]
do = "loosen"
[[history]]
do = "new fastener"
[[history]]
do = "tighten"
torque = "30 N.m"
yield_slope = 0.5
[[history]]
do = "repeat"
times = 3
[[history.steps]]
do = "run"
case = "firing"
[[history.steps]]
do = "wait"
duration = "10 days"
[[history]]
do = "cool"
temperature = "-30 degC"
duration = "2 h"
"""
TEXTS = {"typical": STEEL, "bolt": BOLT, "long": STEEL + LONG}


def without_scatter(service: Service) -> Served:
    return Served(service, None, None, service, {"service": 1.0})


@cache
def findings(name: str) -> ServiceFindings:
    """Assessed on the chain: what is shown does not depend on what solved it."""
    joint: Joint = parse_joint(TEXTS[name])
    service = run_service(service_of(chain_of(joint)), joint.history)
    return assess_service(without_scatter(service), single=True)


@pytest.mark.parametrize("name", TEXTS)
def test_no_word_of_a_service_picture_is_cut_off_or_covers_another(name, words_of):
    for draw in (service_pictures.clamp_in_service, service_pictures.clamp_lost, service_pictures.torque_angle):
        assert len(words_of(draw(findings(name)), f"{name}, {draw.__name__}")) > 8


@pytest.mark.parametrize("name", TEXTS)
def test_every_step_has_a_row_and_every_loss_its_share(name):
    found = findings(name)
    steps = {row.step for row in found.rows}
    assert steps == set(range(len(found.joint.history)))
    headings, rows = split_rows(found, "si")
    assert all(len(row) == len(headings) for row in rows)
    for split in found.splits:
        one = split.finite_elements
        assert sum(one.parts.values()) == pytest.approx(
            one.peak - one.left, abs=1e-3 * max(abs(one.peak - one.left), 1)
        )
        assert one.error < 1e-3


def test_the_document_tells_the_second_mesh_of_the_model_that_judged():
    """Twice as large elements of one fastener, some 1.4 times as large ones of a cell."""
    found = findings("typical")
    cell = cell_seen(parse_cell(shipped_files("cells")["boosted-four"].read_text("utf-8")))
    of_cell = dataclasses.replace(found, verdict=dataclasses.replace(found.verdict, seen=cell))
    told = [ServiceAnswer(one).document()["checks"]["mesh_errors"] for one in (found, of_cell)]
    assert [one["ratio"] for one in told] == [2.0, pytest.approx(2.0**0.5)]
    assert [one["safety_factor"] for one in told] == [3.0, 1.25]


def test_of_many_cycles_a_few_rows_are_shown_and_the_last_is_among_them():
    joint = parse_joint(STEEL)
    steps = [dataclasses.replace(step, times=5000) if isinstance(step, Repeat) else step for step in joint.history]
    service = run_service(service_of(chain_of(joint)), steps)
    cycles = [record.cycle for record in shown(service) if record.cycle]
    assert len(cycles) <= 12
    assert cycles[0] == 1
    assert cycles[-1] == 5000


def test_the_range_of_the_answer_holds_the_answer_and_widens_with_the_scatter():
    end, low, high = findings("typical").kept_range
    assert low < end < high
    names = {one.name for one in findings("typical").ranges}
    assert {"tightening", "gasket laws", "gasket creep", "fastener relaxation", "bearing set", "embedding"} == names
    for one in findings("typical").ranges:
        assert one.low <= findings("typical").chain_clamp * (1 + 1e-9)
        assert one.high >= findings("typical").chain_clamp * (1 - 1e-9) or one.name == "gasket laws"


def test_a_retorque_that_does_nothing_is_said_to_and_letting_go_gains():
    found = {one.what: one for one in findings("typical").retorques}
    stays = found["retorque to the same torque after the first heat cycle"]
    again = found["let go and tighten again after the first heat cycle"]
    assert not stays.moved
    assert again.moved
    assert again.gain > 500.0


def test_the_words_name_what_the_workshop_asks(capsys):
    ServiceAnswer(findings("bolt")).show("workshop")
    said = " ".join(capsys.readouterr().out.split())
    for words in ("lbf.ft", "yields at", "deg", "do not use it again", "plastic strain", "Miner sum", "by resilience"):
        assert words in said
    assert "None" not in said
    assert "nan" not in said
    assert {heading for heading, _ in answers(findings("bolt"), "si")} >= {"Fatigue", "Using the fastener again"}


def test_the_document_holds_every_record_in_plain_numbers():
    import json

    document = ServiceAnswer(findings("long")).document()
    text = json.dumps(document)
    assert "NaN" not in text
    assert len(document["records"]) == len(findings("long").service.records)
    assert document["verdict"]["holds"] is findings("long").verdict.holds
    kinds = [step["kind"] for step in document["steps"]]
    held, changed = ["cold start", "retorque", "heat"], ["loosen", "new fastener"]
    assert kinds == ["tighten", *held, *changed, "tighten", "block", "cool"]


def test_the_history_of_the_guide_is_read_as_it_stands():
    tighten, wait, cycles = parse_joint(BOLT.split("[[history]]")[0] + guide_example("service", "[[history]]")).history
    assert isinstance(tighten, Tighten)
    assert isinstance(wait, Hold)
    assert isinstance(cycles, Repeat)
    assert tighten.angles == pytest.approx([np.pi / 2, np.pi / 2])
    assert cycles.times == 200


ODD = {
    "retorque first in its block": 'do = "tighten"\n[[history]]\ndo = "repeat"\ntimes = 2\n'
    '[[history.steps]]\ndo = "retorque"\nangle = "1 deg"\n[[history.steps]]\ndo = "wait"\nduration = "1 h"',
    "ends loose": 'do = "tighten"\n[[history]]\ndo = "loosen"',
    "one cycle": 'do = "tighten"\n[[history]]\ndo = "repeat"\ntimes = 1\n[[history.steps]]\ndo = "cool"',
    "hardly tight, long hot": 'do = "tighten"\ntorque = "0.5 N.m"\n[[history]]\ndo = "heat"\ncase = "hot"\nduration = "1000 h"',
    "two steps of one name": 'do = "tighten"\n[[history]]\ndo = "repeat"\ntimes = 2\n[[history.steps]]\ndo = "heat"\n'
    'name = "x"\ncase = "hot"\n[[history.steps]]\ndo = "cool"\nname = "x"',
    "breaks": 'do = "tighten"\ntorque = "400 N.m"\n[[history]]\ndo = "wait"\nduration = "1 h"',
    "stretch, then dry": 'do = "tighten"\nstretch = "0.3 mm"\nthread_friction = 0.3\n[[history]]\ndo = "wait"\nduration = "1 h"',
}


@pytest.fixture
def without_range(monkeypatch):
    """Leave the range of the answer out: a dozen services more, which these tests do not look at."""
    monkeypatch.setattr(service_findings, "uncertainty", lambda chain: ())


@pytest.mark.parametrize("name", ODD)
def test_odd_histories_are_told_without_stumbling(name, capsys, without_range):
    joint = parse_joint(f"{STEEL}\n[[history]]\n{ODD[name]}\n")
    service = run_service(service_of(chain_of(joint)), joint.history)
    found = assess_service(without_scatter(service), single=True)
    ServiceAnswer(found).show()
    said = " ".join(capsys.readouterr().out.split())
    assert "nan" not in said
    assert "Caution" in said
    assert ("BREAKS" in said) == (name == "breaks")
    ServiceAnswer(found).document()


def test_a_joint_that_has_lost_all_clamp_does_not_hold(without_range):
    # a face that sinks in by millimetres in every tenfold time
    text = BOLT.split("[[history]]")[0] + '[ageing]\nbearing_set = "9 mm"\n[requirements]\nsealing_minimum = 0\n'
    text += '[[history]]\ndo = "tighten"\ntorque = "30 N.m"\n[[history]]\ndo = "heat"\ntemperature = 110\n'
    text += 'duration = "20 h"\n[[history]]\ndo = "cool"\n'
    joint = parse_joint(text)
    service = run_service(service_of(chain_of(joint)), joint.history)
    found = assess_service(without_scatter(service), single=True)
    assert found.rows[-1].cold < 1e-3
    assert not found.verdict.holds
    assert "clamp kept" in found.verdict.sentence.written()


def test_a_bolt_near_necking_does_not_hold(without_range):
    text = BOLT.split("[[history]]")[0] + '[[history]]\ndo = "tighten"\ntorque = "30 N.m"\nangle = "800 deg"\n'
    joint = parse_joint(text)
    service = run_service(service_of(chain_of(joint)), joint.history)
    found = assess_service(without_scatter(service), single=True)
    assert service.broken is None
    assert not found.verdict.holds
    assert "necking" in found.verdict.sentence.written()


def test_the_range_of_a_joint_turned_by_angle_is_that_of_its_strength():
    tightening = next(one for one in findings("bolt").ranges if one.name == "tightening")
    assert tightening.low < 0.95 * findings("bolt").chain_clamp
    assert "strength" in tightening.values


def test_relaxation_beyond_the_stress_it_is_tested_at_is_said_to_be_extrapolated():
    # a bolt of class 10.9 turned past yield stands above 0.8 of R_m, where EN 1992's tests end
    relaxation = next(one for one in findings("bolt").ranges if one.name == "fastener relaxation")
    assert "extrapolated to 0.8" in relaxation.values
    assert "tested to 0.8" in relaxation.values
    # an elastic stud of class 12.9 does not
    relaxation = next(one for one in findings("typical").ranges if one.name == "fastener relaxation")
    assert relaxation.values == "half to twice"
