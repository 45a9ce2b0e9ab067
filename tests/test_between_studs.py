"""One stud judges what lies between the studs by a coarse mesh of its engine, on the safe side, or says that it cannot."""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace

import numpy as np
import pytest
from hand_made import JOINT, case, joint, one_stud

import headjoint
from headjoint.cases.command.stated_files import shipped_cells
from headjoint.cases.load_cases import coarse_cell
from headjoint.cases.load_cases.coarse_cell import lowered, taken_down, why_no_coarse_cell
from headjoint.cases.load_cases.head_room import sealed_factor
from headjoint.cases.load_cases.load_history import gas_trial, run
from headjoint.cases.models.condensed import BoreCell, LineState
from headjoint.model.base.figure import plain_text
from headjoint.model.formulas.sealing import Seal
from headjoint.model.formulas.tightened import by_formula
from headjoint.model.reading.reading import parse_cell
from headjoint.postproc.cell import coarse as coarse_findings
from headjoint.postproc.cell.coarse import with_allowance
from headjoint.postproc.verdict.between_studs import BENT_HEAD, BETWEEN_STUDS, undecided
from headjoint.postproc.verdict.model_seen import ModelSeen, beside_a_coarse_cell, one_fastener_seen
from headjoint.postproc.verdict.requirement import CoarseFigure, Criterion, Judged, Tightened
from headjoint.postproc.verdict.state_figures import state_figures
from headjoint.postproc.verdict.verdict import judge

CELL = parse_cell(shipped_cells()["boosted-four"].read_text("utf-8"))


@pytest.fixture
def allowance(monkeypatch):
    """An allowance in round numbers."""
    monkeypatch.setattr(coarse_cell, "LOST_MORE", 0.1)
    monkeypatch.setattr(coarse_cell, "LESS_AT_REST", 0.02)
    monkeypatch.setattr(coarse_cell, "UNEVEN", 0.3)
    monkeypatch.setattr(coarse_cell, "OPENS_MORE", 0.2)
    monkeypatch.setattr(coarse_cell, "AND_BESIDES", 0.5e-3)


def line(pressure, load, closure) -> LineState:
    figures = (np.array(one, dtype=float) for one in (pressure, load, closure))
    return LineState(0, True, 2.0, np.zeros(len(pressure)), *figures)


def test_a_coarse_mesh_s_line_is_taken_down_by_what_gas_takes_and_by_a_share_of_what_was_there(allowance):
    rest = line([40.0, 40.0, 34.0], [80.0, 80.0, 68.0], [0.100, 0.100, 0.080])
    found = taken_down(line([30.0, 42.0, 0.5], [60.0, 84.0, 1.0], [0.090, 0.101, 0.060]), rest)
    # without gas 38 MPa on average and 34 at least: 0.3 x 4 = 1.2 MPa less everywhere, and 2 % of each place's own;
    # 40 - 30 = 10 MPa lost: a tenth more; where gas presses harder nothing was lost; never below 0
    assert found.pressure == pytest.approx([30.0 - 1.2 - 0.8 - 1.0, 42.0 - 1.2 - 0.8, 0.0])
    assert found.line_load == pytest.approx([60.0 - 2.4 - 1.6 - 2.0, 84.0 - 2.4 - 1.6, 0.0])
    # 10 um open: a fifth more and half a um; what closes is left alone
    assert found.closure == pytest.approx([0.090 - 0.002 - 0.0005, 0.101, 0.060 - 0.004 - 0.0005])


def test_the_gas_that_seals_on_a_coarse_mesh_is_that_of_the_lowered_line(allowance):
    reduced = one_stud()
    one = SimpleNamespace(
        bore=0, angle=np.zeros(1), at=np.array([0]), across=np.array([[0]]), across_weight=np.array([2.0])
    )
    own = dataclasses.replace(
        joint(tightening__embedding=0.0), load_cases=(case(), case("fired", "firing", pressure=4.0, force=4e3))
    )
    cell = dataclasses.replace(CELL, joint=own, fired=(0,), order=())
    model = BoreCell(cell, reduced, SimpleNamespace(lines=(one,)), {"gas 1": 1e3})
    history = run(model, by_formula(own, 10e3))
    state = history.states[-1]
    rest = gas_trial(model, state, 0.0)
    # 100 MPa at rest; four fifths of 4 kN over 100 mm2 take off 32 MPa, and twice 4 MPa is needed: 100 - 32 f = 8 f
    assert sealed_factor(model, state, rest) == pytest.approx(2.5, rel=2e-5)
    # a tenth more is lost, and 2 % of 100 MPa at once: 98 - 35.2 f = 8 f
    assert sealed_factor(lowered(model, rest), state, rest) == pytest.approx(98.0 / 43.2, rel=2e-5)


def test_forces_and_stresses_are_off_to_the_side_that_they_are_judged_at(monkeypatch):
    for name, share in (("MORE_STRESS", 0.1), ("MORE_AMPLITUDE", 0.2), ("MORE_FORCE", 0.01), ("MORE_CRUSH", 0.5)):
        monkeypatch.setattr(coarse_findings, name, share)
    state = state_figures(
        JOINT, name="firing", kind="firing", fastener_temperature=20.0, head_temperature=20.0, block_temperature=20.0,
        gas_pressure=4.0, force=30e3, assembled=31e3, seal=Seal(12.0, 24.0), stroke=0.01, tension=600.0,
        force_amplitude=1e3, zones=[("seal", 80.0)],
    )  # fmt: skip
    least, greatest = (with_allowance(Tightened(name, 30e3, (state,))).states[0] for name in ("least", "greatest"))
    assert (least.force, greatest.force) == pytest.approx((29.7e3, 30.3e3))
    assert (least.assembled, greatest.tension, greatest.force_amplitude) == pytest.approx((31e3, 660.0, 1.2e3))
    assert greatest.zones[0][1] == pytest.approx(120.0)
    assert greatest.bearings[0][1] == pytest.approx(1.01 * state.bearings[0][1])
    assert (greatest.seal, greatest.stroke) == (state.seal, state.stroke)  # taken down along the line, not here


def criterion(key: str, value: float | None, needed: float = 1.0) -> Criterion:
    in_hand = 20.0 if value is None else value / needed
    return Criterion(key, key, plain_text("firing"), value, needed, plain_text("so much"), plain_text("more"), in_hand)


def coarse(key: str, found: float | None, allowed: float | None, needed: float = 1.0) -> CoarseFigure:
    return CoarseFigure(criterion(key, found, needed), criterion(key, allowed, needed))


def judged(*figures: CoarseFigure):
    levels = {name: Tightened(name, 30e3, ()) for name in ("least", "nominal", "greatest")}
    return judge(Judged(JOINT, ModelSeen("", ""), levels, blind=undecided(figures), coarse=figures))


def test_between_the_studs_the_worst_figure_less_its_allowance_counts():
    verdict = judged(
        coarse("sealing", 1.9, 1.8), coarse("separation", 1.5, 1.44, 1.2), coarse("stroke", None, None),
        coarse("yield", 1.2, 1.155, 1.05), coarse("crush", 3.0, 2.0),
    )  # fmt: skip
    assert verdict.holds is True
    between, bent = (verdict.criterion(one.key) for one in (BETWEEN_STUDS, BENT_HEAD))
    assert (between.value, bent.value) == pytest.approx((1.44 / 1.2, 1.155 / 1.05))
    assert between.detail.written() == (
        "separation 1.50 on a coarse mesh, 1.44 less its allowance, 1.20 needed; so much"
    )


def test_a_need_within_the_allowance_is_not_judged_and_nothing_is_called_sound():
    verdict = judged(coarse("sealing", 1.9, 1.8), coarse("separation", 1.22, 1.18, 1.2), coarse("yield", 1.2, 1.1))
    assert verdict.holds is None
    assert verdict.criterion("between_studs") is None
    (one,) = verdict.undecided
    assert one.key == "between_studs"
    assert "separation 1.22 on a coarse mesh, 1.18 less its allowance, 1.20 needed" in one.why
    assert "sealing" not in one.why.split(";")[0]
    # of what holds more than what is searched, nothing is told that was not found
    assert judged(coarse("sealing", None, 1.0), coarse("yield", 1.2, 1.1)).holds is True


def test_what_fails_on_a_coarse_mesh_by_more_than_the_allowance_fails():
    verdict = judged(coarse("sealing", 0.9, 0.85), coarse("separation", 1.22, 1.18, 1.2), coarse("yield", 1.2, 1.1))
    assert verdict.holds is False
    assert verdict.criterion("between_studs").value == pytest.approx(0.85)
    # short by less than the allowance, it may as well hold: 0.94 found, 0.86 to 1.02 meant
    assert judged(coarse("sealing", 0.94, 0.86), coarse("yield", 1.2, 1.1)).holds is None
    assert judged(coarse("sealing", 1.9, 1.8), coarse("yield", 1.0, 0.99, 1.05)).criterion("bent_head").holds is False


def test_without_a_coarse_mesh_one_stud_is_blind_between_the_studs():
    joint_alone = headjoint.read("boosted-four", model="stud")
    assert set(one_fastener_seen(joint_alone).blind) == {"between_studs"}
    assert beside_a_coarse_cell(CELL).blind == {}
    assert why_no_coarse_cell(CELL) == ""
    for name, why in (("six-stud-ring-own-mesh", "own mesh"), ("boosted-bank-one-fired", "more than one tile")):
        assert why in why_no_coarse_cell(headjoint.read(name))


@pytest.mark.slow
def test_one_stud_of_an_engine_is_judged_between_the_studs_and_says_by_what():
    answer = headjoint.solve("boosted-four", model="stud")
    between = answer.verdict.criterion("between_studs") or answer.verdict.undecided[0]
    assert between.key == "between_studs"
    assert "engine on a coarse mesh" in answer.verdict.model_line
    told = answer.document()["coarse_mesh"]
    assert {"sealing", "line_load", "stroke", "separation", "yield", "fatigue", "crush"} <= set(told)
    assert all(one["less_allowance"] is None or one["less_allowance"] < one["found"] for one in told.values())
