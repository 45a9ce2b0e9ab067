"""The live page: what it says is what the commands say, and what is wrong changes and leaks nothing."""

from __future__ import annotations

import asyncio
import dataclasses
import json
import socket
import threading
import time
import urllib.error
import urllib.request
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from conftest import browser
from live_page import move, ready, served, until

import headjoint
from headjoint.cases.command.stated_files import by_model, shipped_files
from headjoint.cases.load_cases.load_history import gas_trial
from headjoint.cases.warm_up.instant import Instant
from headjoint.model.base.errors import InputError, JointError
from headjoint.model.reading.overrides import changed
from headjoint.model.reading.reading import joint_of
from headjoint.postproc.designs.outcome import source_of
from headjoint.postproc.live import condensing, points
from headjoint.postproc.live.answer import rounded
from headjoint.postproc.live.condensing import Condensing
from headjoint.postproc.live.controls import controls_of, value_text
from headjoint.postproc.live.curves import joint_diagram
from headjoint.postproc.live.engines import Asked, Engines
from headjoint.postproc.live.turns import SupersededError, Turns

BOLT, ENGINE = "yield-tightened-bolt", "boosted-four"
PATHS = {BOLT: shipped_files("joints")[BOLT], ENGINE: shipped_files("cells")[ENGINE]}


@pytest.fixture(scope="module")
def engines():
    made = Engines(PATHS)
    yield made
    made.close()


def on_file(name: str, changes: dict) -> object:
    """The answer of `headjoint solve` to a file with the changes written into it."""
    source = source_of(PATHS[name])
    stated = joint_of(changed(source.content, changes), "moved.toml", PATHS[name].parent)
    return headjoint.solve(headjoint.read(stated, "stud"))


@pytest.mark.parametrize("units", ["si", "workshop"])
@pytest.mark.parametrize("name", PATHS)
def test_controls_at_the_file_s_values_leave_the_joint_as_it_is(name, units):
    source = source_of(PATHS[name])
    design = source.design({})
    controls = controls_of(source.content, design, units)
    assert {"Tightening", "Gas", "Heat", "Gasket"} <= {one.group for one in controls}
    for one in controls:
        if not one.choices:
            assert one.low <= one.value <= one.high
            again = controls_of(changed(source.content, {one.path: value_text(one, one.value)}), design, units)
            (same,) = [other for other in again if other.path == one.path]
            assert same.value == pytest.approx(one.value, rel=1e-8)


def test_a_shape_that_one_stud_does_not_have_is_not_seen_by_it_and_by_the_engine_it_is(engines):
    seen = {
        model: {one["path"]: one["seen"] for one in engines.described(ENGINE, "si", model)["controls"]}
        for model in ("stud", "whole")
    }
    assert all(seen["whole"].values())
    unseen = {path for path, its in seen["stud"].items() if not its}
    assert unseen == {"head.fire_deck", "head.side_wall", "block.deck_thickness", "block.wall"}
    source = source_of(PATHS[ENGINE])
    stud, moved = (by_model(source.design(changes), "stud") for changes in ({}, {"head.fire_deck": "15 mm"}))
    assert stud == moved
    own = Engines({"own": shipped_files("cells")["six-stud-ring-own-mesh"]})
    try:
        told = {one["path"]: one["seen"] for one in own.described("own", "si", "whole")["controls"]}
    finally:
        own.close()
    # its mesh is read, whatever the file says of head and block
    assert {path for path, its in told.items() if not its} == {
        "head.fire_deck", "head.side_wall", "head.height", "block.deck_thickness", "block.wall"
    }  # fmt: skip


def test_a_control_refuses_what_lies_out_of_its_range_and_no_number_at_all():
    source = source_of(PATHS[ENGINE])
    (torque,) = [one for one in controls_of(source.content, source.design({}), "si") if one.path == "tightening.torque"]
    assert torque.unit == "N.m"
    assert value_text(torque, 90.0) == "90 N.m"
    for wrong in (1e9, -1.0, float("nan"), "90 N.m", True):
        with pytest.raises(InputError):
            value_text(torque, wrong)


def test_what_the_page_says_of_one_stud_is_what_solve_says_of_the_same_file(engines):
    changes = {"tightening.torque": 96.0, "load_cases.gas_pressure": 70.0}
    found = engines.answered(Asked(ENGINE, changes, model="stud"))
    told = {one["key"]: one["value"] for one in found["requirements"]}
    verdict = on_file(ENGINE, {"tightening.torque": "96 N.m", "load_cases.gas_pressure": "70 bar"}).verdict
    assert found["sentence"] == verdict.sentence.written("si")
    for one in verdict.criteria:
        if told[one.key] is not None:
            # head-room is searched to 1e-4 in both; all else agrees to rounding
            assert told[one.key] == pytest.approx(one.value, rel=1e-3 if one.key == "separation" else 1e-8)


def test_more_torque_gives_more_clamp_and_the_forces_are_in_the_reader_s_unit(engines):
    low, high = (
        engines.answered(Asked(ENGINE, {"tightening.torque": torque}, model="stud")) for torque in (80.0, 100.0)
    )
    # preload is proportional to torque: 100/80
    assert high["forces"]["nominal"][0][0] / low["forces"]["nominal"][0][0] == pytest.approx(1.25, rel=2e-3)
    workshop = engines.answered(Asked(ENGINE, {}, model="stud", units="workshop"))
    metric = engines.answered(Asked(ENGINE, {}, model="stud"))
    assert workshop["units"]["force"] == "lbf"
    assert workshop["forces"]["nominal"][0][0] / metric["forces"]["nominal"][0][0] == pytest.approx(224.809, rel=2e-3)


def test_laws_at_the_low_end_of_their_range_are_those_of_solve_and_bear_less(engines):
    low, high = (
        engines.answered(Asked(ENGINE, {"gasket.laws_at": where}, model="stud", first=True))
        for where in ("low", "high")
    )
    bears = []
    for one in (low, high):
        line = one["lines"]["least"][0][0]
        bears.append(np.mean([p for p, zone in zip(line["pressure"], line["zone"], strict=True) if zone == "bead"]))
    # the stopper halts both at much the same closure, where the ends press 0.87 and 1.13 times as hard
    assert bears[0] / bears[1] == pytest.approx(0.87 / 1.13, rel=0.1)
    whole = engines.answered(Asked(ENGINE, {"gasket.laws_at": "low"}, model="stud"))
    assert whole["sentence"] == on_file(ENGINE, {"gasket.laws_at": "low"}).verdict.sentence.written("si")


def test_a_cold_start_is_the_assembly_s_temperature_in_every_unit(engines):
    # 20 degC is 68 degF
    for units, cold in (("si", 20.0), ("workshop", 68.0)):
        (point,) = engines.points(Asked(ENGINE, model="stud", units=units), False)["points"]
        assert point["name"] == "cold start"
        assert set(point["values"].values()) == {cold}
        assert engines.answered(Asked(ENGINE, point["values"], model="stud", units=units, first=True))["states"]


def test_a_change_of_units_keeps_what_was_moved_and_the_warm_up_that_was_found(engines):
    names = {"gasket.laws_at": "low"}
    metric = Asked(ENGINE, {"tightening.torque": 97.0, "load_cases.temperatures.head": 100.0} | names, model="stud")
    changes = engines.in_units(metric, "workshop")
    # 97 N.m of 1.3558179 N.m to the lbf.ft; 100 degC are 212 degF
    assert changes == {"tightening.torque": pytest.approx(71.54353), "load_cases.temperatures.head": 212.0} | names
    workshop = dataclasses.replace(metric, changes=changes, units="workshop")
    assert engines.in_units(workshop, "si") == metric.changes | {"tightening.torque": pytest.approx(97.0, rel=1e-8)}
    assert engines._heated(workshop)[0] == engines._heated(metric)[0]
    other = dataclasses.replace(metric, changes=metric.changes | {"tightening.torque": 98.0})
    assert engines._heated(other)[0] != engines._heated(metric)[0]


def test_a_point_hotter_than_a_slider_goes_or_of_a_part_without_one_is_left_out():
    source = source_of(PATHS[ENGINE])
    controls = {one.path: one for one in controls_of(source.content, source.design({}), "workshop")}
    # the head's slider ends at 220 degC, which is 428 degF; 203 degC are 397.4 degF
    both = [("head hottest", {"head": 245.0, "block": 90.0}), ("cooler", {"head": 203.0, "block": 90.0})]
    (told,) = points.plain_points(both, controls, "workshop")
    assert told == {"name": "cooler", "values": {points.PATH + "head": 397.4, points.PATH + "block": 194.0}}
    del controls[points.PATH + "block"]
    assert points.plain_points(both, controls, "workshop") == []


@pytest.mark.parametrize("pressures", [(None, None), (20.0, 30.0)], ids=["nothing burns", "fired"])
def test_a_sealing_line_under_gas_is_named_of_a_warm_up_only_where_something_burns(pressures):
    others = {one.name: None for one in dataclasses.fields(Instant)}
    instants = [
        Instant(**others | {"time": 60.0 * n, "force": 50e3 + n, "fired_sealing": pressure}
                | {"temperatures": {"head mean": 90.0 + n, "fastener mean": 60.0, "block mean": 70.0}})
        for n, pressure in enumerate(pressures)
    ]  # fmt: skip
    warmed = SimpleNamespace(extreme=lambda value: max(instants, key=value))
    named = [name for name, _ in points.warm_up_points(warmed)]
    assert sum("under gas" in name for name in named) == (pressures[0] is not None)
    assert any("head hottest" in name for name in named)


@pytest.mark.long
def test_instants_of_a_warm_up_are_told_by_means_of_the_parts(engines):
    asked = Asked(ENGINE, {"tightening.torque": 97.0}, model="stud")
    points = until(lambda: (found := engines.points(asked, True))["found"] and found["points"], 300.0)
    warmed = headjoint.warm_up(headjoint.read(PATHS[ENGINE], "stud")).findings.warmed
    hottest = max(warmed.instants, key=lambda one: one.temperatures["head mean"])
    (told,) = [one for one in points if "head hottest" in one["name"]]
    # the torque hardly changes how heat flows
    assert told["values"]["load_cases.temperatures.head"] == pytest.approx(hottest.temperatures["head mean"], abs=1.0)
    behind = next(one["values"] for one in points if "furthest before the stud" in one["name"])
    assert behind["load_cases.temperatures.head"] > behind["load_cases.temperatures.fastener"] + 15.0
    frames = engines.warm_up(asked)["frames"]
    assert frames[0]["title"] == "0 s"
    assert engines.warm_up_png(asked, len(frames) - 1).startswith(b"\x89PNG")
    with pytest.raises(InputError, match="give 0 to"):
        engines.warm_up_png(asked, len(frames))


def test_what_moves_is_refused_where_it_is_not_there(engines):
    asked = Asked(ENGINE, model="stud")
    engines.answered(asked)
    with pytest.raises(InputError, match="one stud has no plan"):
        engines.tightening(asked)
    with pytest.raises(InputError, match="find the instants"):
        engines.warm_up(dataclasses.replace(asked, changes={"tightening.torque": 81.0}))


def test_the_rest_of_an_answer_is_the_verdict_alone(engines):
    asked = Asked(ENGINE, {"tightening.torque": 93.0}, model="stud")
    first, rest = (engines.answered(dataclasses.replace(asked, first=one, rest=not one)) for one in (True, False))
    whole = engines.answered(asked)
    assert {"states", "forces", "lines"}.isdisjoint(rest)
    assert first | rest == whole


def test_boost_moves_the_gas_pressure_that_is_shown(engines):
    found = engines.answered(Asked(ENGINE, {"boost": 1.8}, model="stud"))
    # in proportion to absolute pressure: (1.013 + 1.8)/(1.013 + 0.9) of 80 bar
    assert found["values"]["load_cases.gas_pressure"] == pytest.approx(80.0 * 2.81325 / 1.91325, rel=1e-3)


def test_the_state_shown_first_is_the_last_under_gas_and_any_other_that_is_asked_for(engines):
    first = engines.answered(Asked(ENGINE, {}, model="stud"))
    assert first["states"][first["state"]]["name"] == "firing"
    assert engines.answered(Asked(ENGINE, {}, model="stud", state=2))["state"] == 2
    assert engines.answered(Asked(ENGINE, {}, model="stud", state=99))["state"] == first["state"]


def test_a_name_cannot_leave_the_page_s_script():
    from headjoint.postproc.live.server import app_of, serve

    made = Engines({"</script><b>": PATHS[BOLT]})
    try:
        page = app_of(made, "</script><b>", "si").routes[0].endpoint
        text = asyncio.run(page(None)).body.decode()
    finally:
        made.close()
    assert "</script><b>" not in text
    with pytest.raises(InputError, match="one address"):
        serve(PATHS, BOLT, "si", "0.0.0.0", 8431, print)


def test_the_file_that_is_saved_is_the_engine_that_was_shown(engines, tmp_path):
    name, text = engines.file_text(Asked(ENGINE, {"tightening.torque": 90.0}))
    (tmp_path / name).write_text(text, "utf-8")
    stated = headjoint.read(tmp_path / name)
    assert stated.joint.tightening.torque == pytest.approx(90e3)


@pytest.mark.parametrize(
    "asked",
    [
        Asked("../../etc/passwd"),
        Asked(ENGINE, {"requirements.yield_factor": 0.1}),
        Asked(ENGINE, {"tightening.torque": 1e6}),
        Asked(ENGINE, {"gasket.rings.bead.law": "../law.csv"}),
    ],
    ids=["unknown engine", "no control", "out of range", "no choice"],
)
def test_what_is_no_engine_and_no_control_is_refused(engines, asked):
    with pytest.raises(InputError):
        engines.answered(asked)


def _slow(stage) -> str:
    stage("sleeping")
    time.sleep(60.0)
    return "never"


def _quick(stage) -> str:
    stage("working")
    return "made"


def _wrong(stage) -> str:
    raise JointError("cannot be made")


def _broken(stage) -> str:
    raise RuntimeError("a library's")


def test_condensing_goes_on_behind_can_be_cancelled_and_says_what_went_wrong():
    behind = Condensing()
    try:
        assert behind.want("slow", _slow)["stage"]
        until(lambda: behind.want("slow", _slow)["stage"] == "sleeping")
        assert behind.want("quick", _quick)["stage"] == "waiting for another shape"
        assert behind.cancel("slow")
        behind.want("quick", _quick)
        assert until(lambda: behind.found("quick")) == "made"
        assert behind.found("slow") is None
        assert until(lambda: behind.want("wrong", _wrong).get("problem")) == "cannot be made"
        # what nobody expects ends that shape alone
        assert until(lambda: behind.want("broken", _broken).get("problem")) == "RuntimeError: a library's"
        assert behind.want("again", _quick)["stage"]
        assert until(lambda: behind.found("again")) == "made"
    finally:
        behind.close()


def test_a_shape_that_nobody_asks_for_makes_room_for_the_next(monkeypatch):
    monkeypatch.setattr(condensing, "LEFT", 0.5)
    behind = Condensing()
    try:
        behind.want("left", _slow)
        until(lambda: behind.want("left", _slow)["stage"] == "sleeping")
        behind.want("wanted", _quick)
        # the slow one sleeps for a minute
        assert until(lambda: behind.found("wanted") or (behind.want("wanted", _quick) and None)) == "made"
        assert behind.found("left") is None
    finally:
        behind.close()


def test_a_warm_up_waits_for_another_warm_up_not_for_a_shape():
    behind = Engines({})._heating
    try:
        for number in range(condensing.MOST_WAITING):
            stands = behind.want(f"slow {number}", _slow)
        assert stands == {"stage": "waiting for another warm-up", "seconds": None, "last": None}
        assert behind.want("too many", _slow) == {"problem": "4 other warm-ups are under way; wait for one to be done"}
    finally:
        behind.close()


def test_a_server_may_close_what_another_task_began():
    made = Engines({})

    async def close() -> None:
        made.close()

    asyncio.run(close())


def test_curves_are_told_in_four_digits_however_small_they_are():
    assert rounded([0.123456, -98765.4, 0.0, 1e-310]) == [0.1235, -98770.0, 0.0, pytest.approx(1e-310, abs=1e-300)]


@pytest.mark.parametrize(("before", "after"), [(60.0, 104.0), (103.0, 105.0)], ids=["far", "near"])
def test_an_answer_does_not_depend_on_what_was_asked_before(engines, before, after):
    """Solves start from the last answer: that changes their time, never what is found."""
    there = {"tightening.torque": after, "load_cases.gas_pressure": 95.0}
    engines.answered(Asked(ENGINE, {"tightening.torque": before, "load_cases.gas_pressure": 94.0}, model="stud"))
    near = engines.answered(Asked(ENGINE, there, model="stud"))
    fresh = Engines(PATHS)
    try:
        own = fresh.answered(Asked(ENGINE, there, model="stud"))
    finally:
        fresh.close()
    assert [one["word"] for one in (near, own)] == [own["word"]] * 2
    assert near["sentence"] == own["sentence"]
    for one, other in zip(near["requirements"], own["requirements"], strict=True):
        # head-room is searched to 1e-5; all else is solved to rounding
        assert one["value"] == pytest.approx(other["value"], rel=2e-5 if one["key"] == "separation" else 1e-8)


def test_the_gas_that_just_seals_is_kept_with_the_unknowns_that_it_leads_to():
    """The next search starts from them: those of another gas would be no start at all."""
    fresh = Engines(PATHS)
    try:
        fresh.answered(Asked(ENGINE, model="stud"))
        (found,) = fresh._answers.values()
    finally:
        fresh.close()
    history = found.histories["least"]
    pairs = [(state, limit) for state, limit in zip(history.states, found.fine.limits, strict=True) if limit]
    assert pairs
    for state, limit in pairs:
        assert limit.gas == pytest.approx(limit.factor * state.case.gas_pressure)
        there = gas_trial(history.model, state, limit.factor).q
        assert np.linalg.norm(limit.q - there) < 1e-3 * np.linalg.norm(state.equilibrium.q - there)


@pytest.mark.parametrize("torque", [45.0, 75.0, 104.0])
def test_what_is_told_first_is_never_kinder_than_the_verdict_and_its_pictures_stand(engines, torque):
    asked = Asked(ENGINE, {"tightening.torque": torque, "load_cases.gas_pressure": 91.0}, model="stud", first=True)
    first = engines.answered(asked)
    whole = engines.answered(dataclasses.replace(asked, first=False))
    assert first["judged"] is False
    assert whole["judged"] is True
    assert first["word"] in ("does not hold", "not judged yet")
    if first["word"] == "does not hold":
        assert whole["word"] == "does not hold"
        failing = {one["name"] for one in whole["requirements"] if one["holds"] is False}
        named = first["sentence"].split(";")[0].removeprefix("fails: ").split(", ")
        assert set(named) <= failing
    assert (first["forces"], first["lines"]) == (whole["forces"], whole["lines"])
    # asked for again, what is known is told at once
    assert engines.answered(asked)["judged"] is True


def test_a_joint_far_too_loose_is_said_to_fail_before_the_verdict(engines):
    # 40 % of the clamp under twice the gas: the file as it stands has less than five times in hand
    changes = {"tightening.torque": 39.0, "load_cases.gas_pressure": 160.0}
    first = engines.answered(Asked(ENGINE, changes, model="stud", first=True))
    assert first["word"] == "does not hold"
    assert first["sentence"].startswith("fails: ")


def test_a_page_that_moved_on_is_not_worked_for_and_a_hand_goes_before_a_verdict():
    turns, order = Turns(), []
    turns.moved("page", 2)
    with pytest.raises(SupersededError), turns.taken(first=False):
        turns.between("page", 1)
    turns.between("another page", 1)

    def hand() -> None:
        with turns.taken(first=True):
            order.append("hand")

    with turns.taken(first=False):
        waits = threading.Thread(target=hand)
        waits.start()
        until(lambda: turns._waiting)
        turns.between("page", 2)
        order.append("verdict")
    waits.join()
    assert order == ["hand", "verdict"]


def test_a_verdict_that_let_a_hand_go_before_is_done_before_another_begins():
    turns, order = Turns(), []

    def work(name: str, first: bool) -> None:
        with turns.taken(first=first):
            order.append(name)

    with turns.taken(first=False):
        others = [threading.Thread(target=work, args=("another verdict", False)) for _ in range(4)]
        threads = [*others, threading.Thread(target=work, args=("hand", True))]
        for one in threads:
            one.start()
        until(lambda: len(turns._waiting) == len(threads))
        turns.between("page", 1)
        order.append("verdict")
    for one in threads:
        one.join(10.0)
    assert order == ["hand", "verdict", *["another verdict"] * 4]


def test_turns_are_taken_in_the_order_of_asking_and_a_move_ends_the_wait_of_the_one_before():
    turns, order = Turns(), []

    def work(name: str, page: str, move: int) -> None:
        try:
            with turns.taken(first=True, page=page, move=move):
                order.append(name)
        except SupersededError:
            order.append(f"{name} given up")

    asked = [("one", "a", 1), ("two", "b", 1), ("three", "c", 1), ("one again", "a", 2)]
    with turns.taken(first=False):
        threads = [threading.Thread(target=work, args=one) for one in asked]
        for number, one in enumerate(threads[:3], start=1):
            one.start()
            until(lambda n=number: len(turns._waiting) == n)
        turns.moved("a", 2)
        threads[0].join(10.0)
        assert order == ["one given up"]  # before anybody has done anything
        threads[3].start()
        until(lambda: len(turns._waiting) == 3)
    for one in threads:
        one.join(10.0)
    assert order == ["one given up", "two", "three", "one again"]


def test_a_verdict_that_has_waited_for_long_goes_before_hands_that_come_after_it(monkeypatch):
    monkeypatch.setattr("headjoint.postproc.live.turns.LATER", 0.05)
    turns, order = Turns(), []

    def work(name: str, first: bool) -> None:
        with turns.taken(first=first):
            order.append(name)

    with turns.taken(first=True):
        threads = [threading.Thread(target=work, args=one) for one in (("verdict", False), ("hand", True))]
        threads[0].start()
        until(lambda: turns._waiting)
        time.sleep(0.1)
        threads[1].start()
        until(lambda: len(turns._waiting) == 2)
    for one in threads:
        one.join(10.0)
    assert order == ["verdict", "hand"]


def test_a_page_has_moved_on_before_its_new_shape_is_condensed(monkeypatch):
    made = Engines(PATHS)
    try:
        monkeypatch.setattr(made._condensing, "want", lambda key, make: {"stage": "meshing"})
        assert made.answered(Asked(ENGINE, page="page", move=7))["waits"]
        with pytest.raises(SupersededError):
            made._between(Asked(ENGINE, page="page", move=6))()
        made._between(Asked(ENGINE, page="page", move=7))()
    finally:
        made.close()


def test_the_joint_diagram_ends_at_the_preload_and_gas_divides_between_stud_and_gasket(engines):
    found = engines.answered(Asked(ENGINE, model="stud"))
    told = engines.curves(Asked(ENGINE, model="stud"), False)["diagram"]
    first = found["forces"]["nominal"][0][0]
    assert told["force"][-1] == pytest.approx(first, rel=1e-3)
    # stretch is the fastener's resilience times its force: the stud's line is straight and starts at nothing
    assert told["stretch"][0] == 0.0
    assert np.ptp(np.array(told["stretch"][1:]) / np.array(told["force"][1:])) == pytest.approx(0.0, abs=1e-9)
    # at the preload stud and clamped parts meet
    assert told["closed"][-1] == pytest.approx(told["stretch"][-1], rel=1e-9)
    # F_S = F_K + F_A, the head in balance
    gas = told["gas"]
    assert gas["fired"] == pytest.approx(gas["clamp"] + gas["gas"], rel=1e-9)
    assert gas["fired"] == pytest.approx(
        next(force[0] for force, one in zip(found["forces"]["nominal"], found["states"], strict=True) if one["gas"]),
        rel=1e-3,
    )
    assert gas["rest"] < gas["fired"] < gas["rest"] + gas["gas"]


def test_no_joint_diagram_is_drawn_of_a_bolt_past_yield_or_before_its_shape_is_known(engines):
    engines.answered(Asked(ENGINE, model="stud"))
    found = list(engines._answers.values())[-1]
    nominal = found.histories["nominal"]
    yielded = dataclasses.replace(nominal, tightened=dataclasses.replace(nominal.tightened, past_yield=True))
    fine = dataclasses.replace(found.fine, histories={"nominal": yielded})
    with pytest.raises(InputError, match="within yield"):
        joint_diagram(dataclasses.replace(found, fine=fine), "si")
    with pytest.raises(InputError, match="ask for the answer first"):
        engines.curves(Asked(ENGINE), False)


@pytest.mark.long
def test_the_clamp_through_the_service_is_that_of_history(engines):
    engines.answered(Asked(ENGINE, model="stud"))
    told = engines.curves(Asked(ENGINE, model="stud"), True)["service"]
    answer = headjoint.history(headjoint.read(PATHS[ENGINE], "stud"))
    records = answer.findings.service.records
    by_name = dict(zip(told["names"], told["force"], strict=True))
    # in kN; the steps outside of repeats are named by number and name
    for one in records:
        if one.cycle == 0:
            assert by_name[f"{one.step + 1} {one.name}"] == pytest.approx(one.force[0] / 1e3, rel=1e-6)


@pytest.fixture(scope="module")
def server(engines):
    with served(engines, ENGINE) as address:
        yield address


def asked(address: str, body: bytes | None = None, **headers: str) -> tuple[int, str]:
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    request = urllib.request.Request(address, data=body, headers=named)
    try:
        with urllib.request.urlopen(request, timeout=60.0) as found:
            return found.status, found.read().decode()
    except urllib.error.HTTPError as error:
        return error.code, error.read().decode()


JSON = {"content_type": "application/json"}


def test_the_page_answers_and_keeps_to_itself(server):
    status, page = asked(server)
    assert status == 200
    assert "https://" not in page
    with urllib.request.urlopen(server) as found:
        assert "default-src 'none'" in found.headers["content-security-policy"]
    body = json.dumps({"engine": ENGINE, "model": "stud"}).encode()
    status, text = asked(server + "/answer", body, **JSON)
    assert status == 200
    assert json.loads(text)["word"] in ("holds", "does not hold", "not judged")


@pytest.mark.parametrize(
    ("place", "body", "headers", "status"),
    [
        ("/assets/..%2f..%2fstyle.css", None, {}, 404),
        ("/assets/style.css", None, {}, 404),
        ("/", None, {"host": "elsewhere.example"}, 400),
        ("/answer", b"{}", {"origin": "http://elsewhere.example", **JSON}, 403),
        ("/answer", b" " * 100_000, JSON, 413),
        ("/answer", b"{", JSON, 422),
        ("/answer", b"[" * 20_000, JSON, 422),
        ("/answer", b"[]", JSON, 422),
        ("/answer", b"{}", {"content_type": "text/plain"}, 422),
        ("/answer", json.dumps({"engine": ENGINE, "state": "last"}).encode(), JSON, 422),
        ("/answer", json.dumps({"engine": ENGINE, "changes": {"tightening.torque": [1]}}).encode(), JSON, 422),
        ("/answer", json.dumps({"engine": "/etc/passwd"}).encode(), JSON, 422),
        ("/engine?engine=../x", None, {}, 422),
        ("/engine?engine=boosted-four&model=all", None, {}, 422),
        ("/curves", json.dumps({"engine": ENGINE, "service": "yes"}).encode(), JSON, 422),
        ("/curves", json.dumps({"engine": "six", "service": True}).encode(), JSON, 422),
        ("/file", json.dumps({"engine": "../../etc/passwd"}).encode(), JSON, 422),
        ("/plan", json.dumps({"engine": ENGINE}).encode(), JSON, 422),
        ("/points", json.dumps({"engine": ENGINE, "find": 1}).encode(), JSON, 422),
        ("/answer", json.dumps({"engine": ENGINE, "page": 7}).encode(), JSON, 422),
        ("/units", json.dumps({"engine": ENGINE, "to": "metric"}).encode(), JSON, 422),
        ("/warm-up-picture", json.dumps({"engine": ENGINE, "frame": "../1"}).encode(), JSON, 422),
        ("/warm-up-picture", json.dumps({"engine": ENGINE, "frame": 1}).encode(), JSON, 422),
        ("/cancel", json.dumps({"key": ["a"]}).encode(), JSON, 200),
        ("/../pyproject.toml", None, {}, 404),
        ("/", None, {"origin": "null"}, 403),
        ("/answer", None, {}, 405),
    ],
)
def test_what_is_malformed_or_from_elsewhere_is_refused(server, place, body, headers, status):
    got, text = asked(server + place, body, **headers)
    assert got == status
    assert "Traceback" not in text
    assert str(Path(headjoint.__file__).parent) not in text


def test_clients_that_vanish_in_the_midst_of_a_request_or_of_its_answer_are_survived(server):
    host, port = server.removeprefix("http://").split(":")
    body = json.dumps({"engine": ENGINE, "model": "stud", "changes": {"tightening.torque": 87.0}}).encode()
    head = f"POST /answer HTTP/1.1\r\nHost: {host}:{port}\r\nContent-Type: application/json\r\n"
    whole = f"{head}Content-Length: {len(body)}\r\n\r\n".encode() + body
    for sent in (b"", b"\x16\x03\x01", whole[:40], whole[:-9], whole):
        with socket.create_connection((host, int(port)), timeout=10.0) as client:
            client.sendall(sent)
    status, text = asked(server + "/answer", body, **JSON)
    assert status == 200
    assert json.loads(text)["judged"] is True


def _reported_after_choosing(page, engine: str) -> tuple[str, str]:
    """What the page says to a report that is asked for at once, and the report once the engine's answer stands."""
    refused = page.evaluate(
        """(engine) => { const one = document.getElementById("engine");
        one.value = engine; one.dispatchEvent(new Event("change"));
        document.getElementById("save-report").click(); return document.getElementById("trouble").textContent; }""",
        engine,
    )
    until(ready(page), 90.0)
    with page.expect_download() as kept:
        page.click("#save-report")
    assert kept.value.suggested_filename == f"{engine}-report.html"
    return refused, Path(kept.value.path()).read_text("utf-8")


@pytest.mark.slow
def test_two_browsers_do_not_mix_and_undo_pin_and_address_keep_what_was_seen(server, engines):
    with browser() as opened:
        one, other = (opened.new_context().new_page() for _ in range(2))
        for page in (one, other):
            page.goto(f"{server}/?engine={ENGINE}&model=stud")
        for page in (one, other):
            until(ready(page), 90.0)
        for n in range(10):
            move(one, 80.0 + n)
            move(other, 120.0 - n)
        for page, torque in ((one, 89.0), (other, 111.0)):
            until(ready(page), 90.0)
            wanted = engines.answered(Asked(ENGINE, {"tightening.torque": torque}, model="stud"))
            assert page.evaluate("headjointLive.answer.forces.nominal[0][0]") == wanted["forces"]["nominal"][0][0]
        one.click("#pin")
        one.wait_for_timeout(600)  # one drag is one step back
        move(one, 100.0)
        until(ready(one), 90.0)
        assert "differs by" in one.inner_text("#table thead")
        one.click("#undo")
        until(ready(one), 90.0)
        until(lambda: "set.tightening.torque=89" in one.evaluate("location.href"), 10.0)
        one.click("#redo")
        until(ready(one), 90.0)
        until(lambda: "set.tightening.torque=100" in one.evaluate("location.href"), 10.0)
        again = opened.new_page()
        again.goto(one.url)
        until(ready(again), 90.0)
        assert again.text_content("#sentence") == one.text_content("#sentence")
        with again.expect_download() as kept:
            again.click("#save-report")
        text = Path(kept.value.path()).read_text("utf-8")
        assert again.text_content("#sentence").split(";")[0] in text
        assert "http" not in text.replace("http-equiv", "")
        assert f"headjoint solve {ENGINE}-moved.toml --model stud" in text
        again.click("#pin")
        refused, text = _reported_after_choosing(again, BOLT)
        assert "not the answer to what is chosen now" in refused
        bolt = engines.answered(Asked(BOLT))
        assert f"<h1>{headjoint.read(BOLT).name}</h1>" in text
        assert bolt["sentence"] in text
        assert f"headjoint solve {BOLT}-moved.toml<" in text
        assert "moved: " not in text
        assert again.get_attribute("#pin", "aria-pressed") == "false"


@pytest.mark.slow
def test_in_a_browser_points_of_another_joint_go_and_what_cannot_be_saved_is_said(server):
    names = "[...document.getElementById('point').options].map((one) => one.value)"
    find, hottest = "find instants of a warm-up", "warm-up, 90 s: head hottest"
    with browser() as opened:
        page = opened.new_page()
        page.goto(f"{server}/?engine={ENGINE}&model=stud")
        until(ready(page), 90.0)
        until(lambda: "cold start" in page.evaluate(names))
        head = "load_cases.temperatures.head"
        page.evaluate(
            "([name, head]) => { points.push({ name, values: { [head]: 150 } }); showPoint(true); }", [hottest, head]
        )
        page.select_option("#point", hottest)  # a temperature: the joint that warms up is the same
        assert page.evaluate(f"now.changes['{head}']") == 150
        assert hottest in page.evaluate(names)
        assert find not in page.evaluate(names)
        move(page, 84.0)
        assert hottest not in page.evaluate(names)
        assert {"cold start", find} <= set(page.evaluate(names))
        assert page.evaluate(f"now.changes['{head}']") == 150
        until(ready(page), 90.0)
        page.evaluate("() => { answer.drawn = { places: 'AAAA' }; }")
        with page.expect_download() as kept:
            page.click("#save-answer")
        saved = json.loads(Path(kept.value.path()).read_text("utf-8"))
        assert {"plan", "drawn"}.isdisjoint(saved)
        assert saved["changes"] == {"tightening.torque": 84, head: 150}
        # one stud has no gasket in plan, and the server says so
        page.evaluate("() => { whole = true; document.getElementById('save-report').click(); }")
        until(lambda: "ask for the answer of a whole engine first" in page.inner_text("#trouble"), 10.0)


@pytest.mark.slow
def test_in_a_browser_what_moves_goes_by_keys_and_plays_only_for_who_wants_motion(server):
    shown = "document.getElementById('warm-up-picture').textContent"
    with browser() as opened:
        page = opened.new_page()
        page.emulate_media(reduced_motion="reduce")
        page.goto(f"{server}/?engine={ENGINE}&model=stud")
        until(lambda: page.evaluate("window.headjointLive.answered && !!window.headjointLive.answer"), 90.0)
        page.evaluate(
            """() => warmUp.take(["0 s", "1 min", "9 min"].map((title) => ({ title })),
            (one, place) => { place.textContent = one.title; })"""
        )
        page.focus("#warm-up-at")
        page.keyboard.press("ArrowRight")
        assert page.evaluate(shown) == "1 min"
        assert page.get_attribute("#warm-up-at", "aria-valuetext") == "2 of 3: 1 min"
        button = page.locator("#warm-up .player button")
        assert button.inner_text() == "Next"
        button.press("Enter")
        assert page.evaluate(shown) == "9 min"
        time.sleep(0.6)  # longer than a picture stands
        page.focus("#warm-up-at")
        page.keyboard.press("Home")
        time.sleep(0.6)
        assert page.evaluate(shown) == "0 s"
        page.emulate_media(reduced_motion="no-preference")
        page.evaluate("warmUp.again()")
        assert button.inner_text() == "Play"
        button.press("Enter")
        assert button.inner_text() == "Pause"
        until(lambda: page.evaluate(shown) == "9 min" and button.inner_text() == "Play again", 10.0)


@pytest.mark.slow
def test_in_a_browser_the_gaskets_area_is_filled_without_asking_for_bounds_and_a_late_relief_stays_away(server):
    with browser() as opened:
        page = opened.new_page()
        page.goto(f"{server}/?engine={BOLT}")
        # two triangles that make a rectangle of 40 by 20, and its mirror image below; closePath asks a browser for the
        # bounds of all that was drawn before: seconds over the ten thousands of triangles of an engine
        closed, filled = page.evaluate(
            """() => {
            const text = (array) => btoa(String.fromCharCode(...new Uint8Array(array.buffer)));
            const drawn = {
              triangles: text(new Uint32Array([0, 1, 2, 0, 2, 3])), images: [[1, 0, 0, 1, 5, 30], [1, 0, 0, -1, 5, 30]],
              grid: { places: new Float32Array([0, 40, 40, 0, 0, 0, 20, 20]), count: 4 },
            };
            let closed = 0; const was = CanvasRenderingContext2D.prototype.closePath;
            CanvasRenderingContext2D.prototype.closePath = function () { closed += 1; was.call(this); };
            const area = areaOf(drawn, { width: 60, height: 60 }, (x) => x, (y) => y, 1);
            CanvasRenderingContext2D.prototype.closePath = was;
            const data = area.getContext("2d").getImageData(0, 0, 60, 60).data;
            return [closed, data.filter((one, n) => n % 4 === 3 && one === 255).length]; }"""
        )
        assert closed == 0
        assert filled == 2 * 40 * 20
        # the library of the relief comes late: who looks at the plan meanwhile keeps it
        came = page.evaluate(
            """async () => {
            let come; library = new Promise((done) => { come = done; }); now.view = "relief";
            const late = drawRelief("plan", null, null, null); now.view = "flat"; come();
            return late.then(() => "nothing", () => "a relief"); }"""
        )
        assert came == "nothing"


@pytest.mark.long
def test_a_page_survives_that_the_server_is_killed_and_started_again():
    from validation.benchmarks.live import served as started

    with browser() as opened:
        process, address = started(BOLT)
        page = opened.new_page()
        page.goto(address)
        until(ready(page), 90.0)
        process.kill()
        process.wait()
        page.evaluate("document.getElementById('level').value = 'nominal'")
        page.dispatch_event("#level", "change")
        until(lambda: "does not answer" in page.inner_text("#trouble"))
        process, _ = started(BOLT, int(address.rsplit(":", 1)[1]))
        try:
            until(lambda: ready(page)() and not page.inner_text("#trouble"), 90.0)
        finally:
            process.kill()
            process.wait()


@pytest.mark.slow
def test_in_a_browser_fifty_quick_moves_end_in_the_answer_to_the_last(server, engines):
    said, places = [], set()
    with browser() as opened:
        page = opened.new_page(viewport={"width": 1440, "height": 900})
        page.on("console", lambda one: said.append(one.text))
        page.on("pageerror", lambda one: said.append(str(one)))
        page.on("request", lambda one: places.add(one.url))
        page.goto(f"{server}/?engine={ENGINE}&model=stud")
        until(ready(page), 90.0)
        page.evaluate(
            """() => { window.kinder = 0; const word = document.getElementById("word");
            new MutationObserver(() => { window.kinder += document.getElementById("table").matches(".waits")
            && word.textContent === "HOLDS"; }).observe(word, { childList: true }); }"""
        )
        page.evaluate(
            """() => { const one = document.getElementById("m-tightening.torque");
            for (let n = 0; n < 50; n++) { one.value = 70 + n; one.dispatchEvent(new Event("input")); } }"""
        )
        until(ready(page), 90.0)
        assert page.is_visible("#level")  # of one stud, too, whose gasket has no view in plan
        shown = page.evaluate("window.headjointLive.answer.forces.nominal[0][0]")
        sentence = page.text_content("#sentence")
        assert page.evaluate("window.kinder") == 0  # nothing is said to hold before it is judged
        assert page.evaluate("headjointLive.timings.length") >= page.evaluate("headjointLive.verdicts.length") > 0
        # half a second after the hand rests
        until(lambda: "set.tightening.torque=119" in page.evaluate("location.href"), 10.0)
        for width in (1440, 1024, 390):
            page.set_viewport_size({"width": width, "height": 800})
            until(lambda: page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"))
    wanted = engines.answered(Asked(ENGINE, {"tightening.torque": 119.0}, model="stud"))
    assert shown == wanted["forces"]["nominal"][0][0]
    assert sentence == wanted["sentence"]
    assert said == []
    assert {one.split("?")[0].rsplit(":", 1)[0] for one in places} <= {"http://127.0.0.1"}
