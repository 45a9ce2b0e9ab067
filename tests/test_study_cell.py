"""Designs of a bore cell solved side by side give what each gives alone."""

from __future__ import annotations

import base64
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.cases.condensed.cell_condensation import cell_model, model_fingerprint
from headjoint.cases.condensed.stiffness_key import fitted, stiffness_key
from headjoint.cases.condensed.store import CondensedStore
from headjoint.cases.load_cases.bore_cell_batch import Design, run_many
from headjoint.cases.load_cases.load_history import run
from headjoint.cases.load_cases.solved import solve_cell
from headjoint.cases.models.from_mesh import mesh_of
from headjoint.cases.service.tightened import tightened
from headjoint.model.formulas.sampled_joint import drawn_cell
from headjoint.model.reading.reading import parse_content
from headjoint.postproc.cell.assessment import assess_cell
from headjoint.postproc.cell.in_plan import cell_plan
from headjoint.postproc.designs.cell_designs import CellBase, base_near, begun_cell, cell_base, judge_cells, judged_cell
from headjoint.postproc.designs.evaluation import Evaluator
from headjoint.postproc.designs.outcome import Source, Task
from headjoint.postproc.live.moving import told_tightening
from headjoint.postproc.live.plan import drawn_plan, panel_of, plan_png, told_panel
from headjoint.postproc.live.turns import SupersededError

COARSE = {"ring_size": "9 mm", "stud_size": "9 mm", "largest": "25 mm"}


@cache
def source(**more) -> Source:
    content = parse_content(shipped_cells()["boosted-four"].read_text("utf-8"))
    return Source(content | {"mesh": COARSE} | more, "cell", Path())


@cache
def base() -> CellBase:
    return cell_base(source().design({}))


@pytest.fixture(scope="module")
def store(tmp_path_factory) -> CondensedStore:
    return CondensedStore(tmp_path_factory.mktemp("condensed"))


@pytest.mark.long
@pytest.mark.slow
def test_columns_come_to_the_equilibrium_that_each_comes_to_alone():
    cell = source().design({})
    rng = np.random.default_rng(2)
    cells = [
        drawn_cell(
            cell, {"gas pressure": 1 + 0.1 * a, "temperature rise of head": 1 + 0.1 * b, "bead height": 0.02 * c}
        )
        for a, b, c in rng.standard_normal((5, 3))
    ]
    designs = [
        Design(
            replace(base().model, cell=one, reduced=fitted(base().model.reduced, one)),
            tightened(base().model).at(0.8 + 0.1 * n),
        )
        for n, one in enumerate(cells)
    ]
    for design, states in zip(designs, run_many(designs, base().by), strict=True):
        alone = run(design.model, design.tightened)
        for one, other in zip(states, alone.states, strict=True):
            assert one.force == pytest.approx(other.force, rel=1e-8)
            largest = other.equilibrium.pressure.max()
            assert np.abs(one.equilibrium.pressure - other.equilibrium.pressure).max() < 1e-6 * largest


@pytest.mark.long
def test_a_cell_near_another_comes_to_the_same_and_is_not_solved_where_nothing_changed():
    other = begun_cell(base(), source().design({"torque": "84 N.m"}))
    moved = source().design({"torque": "84 N.m", "load_cases.gas_pressure": "91 bar"})
    near, fresh = begun_cell(base(), moved, other), begun_cell(base(), moved)
    for level, history in near.histories.items():
        for one, alone in zip(history.states, fresh.histories[level].states, strict=True):
            assert one.force == pytest.approx(alone.force, rel=1e-8)
        # gas changes nothing before it; nor after it where it unloads the gasket, which then sets no more
        for one, state in zip(history.states, other.histories[level].states, strict=True):
            if one.kind != "cold":
                assert (one.equilibrium is state.equilibrium) == (one.kind != "firing")
    tighter = source().design({"torque": "88 N.m"})
    near, fresh = begun_cell(base(), tighter, other), begun_cell(base(), tighter)
    for level, history in near.histories.items():
        for one, alone in zip(history.states, fresh.histories[level].states, strict=True):
            assert one.force == pytest.approx(alone.force, rel=1e-8)


@pytest.mark.long  # a cell solved in a dozen seconds or more
def test_a_cell_judged_near_another_is_judged_as_alone_and_in_fewer_steps():
    other = judged_cell(base(), source().design({"torque": "84 N.m", "load_cases.gas_pressure": "120 bar"}))
    moved = source().design({"torque": "90 N.m", "load_cases.gas_pressure": "112 bar"})
    by, alone = base_near(base(), other, lambda: None), judged_cell(base(), moved)
    near = judged_cell(by, moved, other)
    for one, own in zip(near.outcome.criteria, alone.outcome.criteria, strict=True):
        # head-room is searched to 1e-5; all else is solved to 1e-9
        assert one.value == pytest.approx(own.value, rel=2e-5 if one.key == "separation" else 1e-7)
        assert one.holds == own.holds
    # nothing but the tangents of fired states was made anew, and only where they had changed
    fired = [state.case.gas_pressure > 0.0 for state in base().by.states]
    assert [one is own for one, own in zip(by.by.nearby, base().by.nearby, strict=True)] == [not one for one in fired]
    again = base_near(by, other, lambda: None)
    assert all(one is own for one, own in zip(again.by.nearby, by.by.nearby, strict=True))
    steps = [
        sum(s.equilibrium.iterations for h in found.histories.values() for s in h.states) for found in (near, alone)
    ]
    assert steps[0] < steps[1]
    # heat and sets are those of the state before: without its gas a state is that one again
    assert max(one.iterations for level in near.fine.rests.values() for one in level if one is not None) <= 2


def test_the_live_page_tightens_in_steps_up_to_the_preload_on_one_scale():
    found = begun_cell(base(), source().design({}))
    plan, nominal = cell_plan(base().model, base().corners), found.histories["nominal"]
    frames = told_tightening(plan, nominal, "si")
    preload = nominal.preload / 1e3
    shares = [float(one["studs"][0]["force"]) / preload for one in frames]
    assert shares == pytest.approx(np.linspace(0.1, 1.0, 10), abs=0.002)
    assert frames[2]["title"] == "all studs at 30 % of the preload"
    assert len({tuple(one["ticks"]) for one in frames}) == 1
    assert not any(stud["turned"] for one in frames for stud in one["studs"])

    def moved_on() -> None:
        raise SupersededError

    with pytest.raises(SupersededError):
        told_tightening(plan, nominal, "si", moved_on)


def test_the_live_page_draws_the_panel_of_the_reports_in_the_reader_s_units():
    found = begun_cell(base(), source().design({}))
    plan = cell_plan(base().model, base().corners)
    panel = panel_of(plan, found, "least", 3, "workshop")
    shared, told = drawn_plan(plan, "workshop"), told_panel(plan, panel, "workshop")
    pressure = np.frombuffer(base64.b64decode(told["pressure"]), "<f4")
    places = np.frombuffer(base64.b64decode(shared["places"]), "<f4").reshape(2, -1)
    # 1 MPa is 0.14504 ksi, 25.4 mm are an inch; the copies come one after the other
    assert pressure == pytest.approx(0.1450377 * panel.pressure[: len(pressure)], rel=1e-5)
    for number, (a, b, c, d, right, up) in enumerate(shared["images"]):
        x, y = np.array([[a, b], [c, d]]) @ places + [[right], [up]]
        copy = panel.places[:, number * len(pressure) : (number + 1) * len(pressure)]
        assert np.abs(25.4 * np.array([x, y]) - copy).max() < 1e-3
    # four studs stand round the bore that the quarter is mirrored to, 49 and 48.5 mm off
    assert sorted((round(25.4 * one["x"], 3), round(25.4 * one["y"], 3)) for one in told["studs"]) == [
        (-49.0, -48.5), (-49.0, 48.5), (49.0, -48.5), (49.0, 48.5)
    ]  # fmt: skip
    force = found.histories["least"].states[3].force[0]
    assert [float(one["force"]) for one in told["studs"]] == pytest.approx([force / 4.448222] * 4, rel=1e-2)
    assert shared["bar"] == "contact pressure, ksi"
    # a name that were no formula, if it were read as one
    states = [replace(one, name=r"full load $\frac$") for one in found.histories["least"].states]
    least = replace(found.histories["least"], states=states)
    named = replace(found, fine=replace(found.fine, histories=found.histories | {"least": least}))
    assert plan_png(plan, named, "least", 3, "si").startswith(b"\x89PNG")


@pytest.mark.long
def test_a_study_judges_a_cell_as_solve_does(store):
    findings = assess_cell(solve_cell(source().design({}), store=store))
    outcome = judge_cells(base(), [source().design({})])[0]
    assert outcome.unbounded == findings.unbounded == ""
    assert [one.name for one in outcome.criteria] == [one.name for one in findings.verdict.criteria]
    for one, other in zip(outcome.criteria, findings.verdict.criteria, strict=True):
        assert one.value == pytest.approx(other.value, rel=2e-5)  # 1.5202 and 1.5218 would be two values of one thing
        assert one.where == other.where
        if one.mesh_error is None:
            assert other.mesh_error is None
        else:  # a difference of two roots, each as exact as the values above
            assert one.mesh_error == pytest.approx(other.mesh_error, abs=4e-5 * one.value)


def test_torque_gas_and_gasket_share_a_condensed_cell_and_geometry_does_not():
    key = stiffness_key(source().design({}))
    for path, value in (("torque", "90 N.m"), ("boost", "1.2 bar"), ("gasket.body.step", "0.09 mm")):
        assert stiffness_key(source().design({path: value})) == key
    for path, value in (("head.fire_deck", "12 mm"), ("block.material", "EN AC-42100"), ("head.height", "80 mm")):
        assert stiffness_key(source().design({path: value})) != key


@pytest.mark.long
def test_which_bore_fires_shares_a_condensed_row_for_each_has_a_unit_load_of_its_own():
    """What a condensed joint follows from, array by array, is the same: so are the loads of gas in every bore."""
    coarse = {"ring_size": "20 mm", "stud_size": "20 mm", "largest": "40 mm"}
    rows = [
        Source(source().content | {"mesh": coarse, "layout": source().content["layout"] | more}, "cell", Path()).design(
            {}
        )
        for more in ({"bores": 2}, {"bores": 2, "fired": [2]})
    ]
    assert [one.fired for one in rows] == [(0, 1), (1,)]
    assert len({stiffness_key(one) for one in rows}) == 1
    models = [cell_model(one, mesh_of(one, 1.0)) for one in rows]
    assert model_fingerprint(models[0]) == model_fingerprint(models[1])
    assert set(models[1].gas_lift) == {"gas 1", "gas 2"}


def test_draws_of_a_cell_have_all_figures_but_fatigue():
    evaluator = Evaluator(source())
    evaluator.keep(stiffness_key(source().design({})), base())
    nominal, hard = evaluator.evaluate([Task({}, {}), Task({}, {"preload": 1.15})])
    assert hard.figures["preload"] == pytest.approx(1.15 * nominal.figures["preload"])
    assert hard.figures["fastener yield"] < nominal.figures["fastener yield"]
    assert "fastener fatigue" not in nominal.figures
    # pressure over gas has the mesh error of the requirement that it meets
    need = source().design({}).joint.requirements.sealing_ratio
    assert nominal.figures["seal over gas"] == pytest.approx(need * nominal.figures["sealing-line pressure"], rel=1e-6)


def test_a_cell_tightened_nut_after_nut_is_judged_too():
    content = source().content | {"tightening": source().content["tightening"] | {"passes": [0.6, 1.0]}}
    turned = Source(content, "cell", Path())
    at_once, in_passes = judge_cells(base(), [source().design({}), turned.design({})])
    assert not in_passes.problem
    # one stud by itself ends where it is turned to
    assert in_passes.figures["preload"] == at_once.figures["preload"]
    assert in_passes.criteria[0].value == pytest.approx(at_once.criteria[0].value, rel=0.02)
