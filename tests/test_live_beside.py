"""The process for the coarser mesh: the same mesh errors with it, and no answer that is lost or kept for ever."""

from __future__ import annotations

import dataclasses
import os
import signal
import threading
import time
from pathlib import Path
from types import SimpleNamespace

import pytest
from live_page import until

from headjoint.cases.command.stated_files import shipped_files
from headjoint.postproc.designs.evaluation import make_base
from headjoint.postproc.designs.outcome import OnMesh, source_of
from headjoint.postproc.live import beside as beside_module
from headjoint.postproc.live.beside import ANSWERS, MOST_ENDS, MOST_WAITING, SHAPES, Beside
from headjoint.postproc.live.coarser import Wanted
from headjoint.postproc.live.engines import Asked, Engines
from headjoint.postproc.live.turns import SupersededError, Turns

ENGINE = "boosted-four"
PATHS = {ENGINE: shipped_files("cells")[ENGINE]}


def played(base, design, last, between) -> OnMesh:
    """What the process does with a base that is a word; the levels say what the shape was solved from."""
    if base == "dies":
        os._exit(7)
    if base == "raises":
        raise ZeroDivisionError("a library's")
    while base == "waits":
        time.sleep(0.01)
        between()
    time.sleep(0.2 if base == "sleeps" else 0.0)
    return OnMesh("", {"design": design, "last": None if last is None else last.levels["design"]}, {"some": "history"})


def begun() -> Beside:
    made = Beside(played)
    until(lambda: made.ready)
    return made


@pytest.fixture(scope="module")
def shared():
    """A process that no test ends."""
    made = begun()
    yield made
    made.close()


@pytest.fixture
def own():
    made = begun()
    yield made
    made.close()


def test_what_is_asked_is_answered_once_and_starts_from_the_design_before_of_its_shape(shared):
    for number, name in enumerate(("one", "two", "one")):
        shared.ask(name, "once", "base", number)
        assert shared.found(name).levels["design"] == (0, 1, 0)[number]
    assert shared.found("two").levels == {"design": 1, "last": 0}
    assert shared.found("one").histories == {}  # only what is judged is sent
    assert shared.found("never asked") is None


def test_an_exception_or_an_interrupt_in_the_process_is_no_answer_and_ends_nothing(shared):
    process = shared._child.process
    shared.ask("wrong", "bad", "raises", 0)
    assert shared.found("wrong") is None
    os.kill(process.pid, signal.SIGINT)
    shared.ask("right", "good", "base", 1)
    assert shared.found("right").levels["design"] == 1
    assert shared._child.process is process


def test_a_move_gives_up_what_its_page_asked_before_and_nothing_of_another_page(shared):
    shared.ask("under way", "waits", "waits", 0, "page", 1)
    shared.ask("stale", "moves", "base", 1, "page", 1)
    shared.ask("another's", "moves", "base", 2, "another page", 1)
    shared.ask("newest", "moves", "base", 3, "page", 2)
    shared.moved("page", 2)

    def between() -> None:
        raise SupersededError

    for name in ("under way", "stale"):
        with pytest.raises(SupersededError):
            shared.found(name, between)
        assert shared.found(name) is None  # whoever else waits for the same solves it
    assert shared.found("another's").levels == {"design": 2, "last": None}
    assert shared.found("newest").levels == {"design": 3, "last": 2}
    shared.ask("stale", "moves", "base", 1, "page", 3)
    assert shared.found("stale").levels == {"design": 1, "last": 3}


def test_shapes_and_answers_that_are_kept_have_a_number(shared):
    for number in range(ANSWERS + 3):
        shared.ask(f"{number}", f"shape {number % (SHAPES + 1)}", "base", number)
        # all shapes go round, so that each was forgotten, with what was solved of it, before it comes again
        assert shared.found(f"{number}").levels == {"design": number, "last": None}
    assert len(shared._asked) == ANSWERS
    assert len(shared._child.shapes) == SHAPES
    assert not shared._child.waiting
    # nor does the process keep what was forgotten: of the last four kept, numbers 23 to 26, none is shape 2
    for number, key in ((1_000_000, "shape 2"), (1_000_001, "shape 1")):
        shared._child.waiting[number] = beside_module._Question("", 0)
        asked = shared._child.waiting[number].answer
        shared._child.told.put(Wanted(number, key, number))
        assert (asked.exception(30.0) is None) == (key == "shape 1")


def test_a_process_that_is_killed_loses_what_it_was_asked_and_another_one_goes_on(own, capfd):
    own.ask("lost", "shape", "waits", 0)
    first = own._child.process
    first.kill()
    assert own.found("lost") is None
    until(lambda: own.ready and own._child.process is not first)
    assert "ended, exit code -9; another one is started" in capfd.readouterr().err
    own.ask("lost", "shape", "base", 1)
    assert own.found("lost").levels == {"design": 1, "last": None}
    # nor is the page ended by a shape that cannot be sent
    own.ask("unsent", "lock", threading.Lock(), 2)
    assert own.found("unsent") is None


def test_a_full_queue_takes_no_more_and_processes_that_end_again_and_again_are_not_started_for_ever(
    own, monkeypatch, capfd
):
    monkeypatch.setattr(beside_module, "PATIENCE", 0.3)  # for the one that hangs; the others end by themselves
    os.kill(own._child.process.pid, signal.SIGSTOP)
    for number in range(MOST_WAITING + 1):
        own.ask(f"{number}", "shape", bytes(1_000_000), number)  # more than a pipe holds, and nobody waits for that
    assert own.knows(f"{MOST_WAITING - 1}")
    assert not own.knows(f"{MOST_WAITING}")
    assert own.found("0") is None  # it hangs, and is ended
    assert own.found(f"{MOST_WAITING - 1}") is None
    monkeypatch.undo()
    for number in range(1, MOST_ENDS):
        until(lambda: own.ready)
        own.ask(f"dies {number}", "shape", "dies", number)
        assert own.found(f"dies {number}") is None
    until(lambda: "the server solves that mesh from now on" in capfd.readouterr().err)
    own.ask("more", "shape", "base", 0)
    assert own.found("more") is None


def test_others_work_while_a_verdict_waits_for_the_process_and_it_goes_on_before_those_that_have_not_begun():
    turns, order = Turns(), []
    waits, go_on = threading.Event(), threading.Event()

    def verdict() -> None:
        with turns.taken(first=False):
            with turns.aside():
                waits.set()
                go_on.wait(10.0)
            order.append("verdict")

    def work(name: str) -> None:
        with turns.taken(first=False):
            order.append(name)

    first = threading.Thread(target=verdict)
    first.start()
    waits.wait(10.0)
    work("meanwhile")
    with turns.taken(first=False):
        later = threading.Thread(target=work, args=("later",))
        later.start()
        until(lambda: len(turns._waiting) == 1)
        go_on.set()
        until(lambda: len(turns._waiting) == 2)
    for one in (first, later):
        one.join(10.0)
    assert order == ["meanwhile", "verdict", "later"]


def test_the_coarser_mesh_solved_beside_gives_the_same_verdict_with_its_mesh_errors():
    own, made = Engines(PATHS), Engines(PATHS, Beside())
    try:
        until(lambda: made._beside.ready)
        for torque in (91.0, 92.0):
            asked = Asked(ENGINE, {"tightening.torque": torque, "load_cases.gas_pressure": 88.0}, model="stud")
            told, alone = made.answered(asked), own.answered(asked)
            assert told["sentence"] == alone["sentence"]
            assert [one["found"] for one in told["requirements"]] == [one["found"] for one in alone["requirements"]]
            assert told["not_judged"] == alone["not_judged"]
        for one, other in zip(made._answers.values(), own._answers.values(), strict=True):
            assert not one.coarse.histories  # nothing of it was solved here
            errors = [[row.mesh_error or 0.0 for row in found.outcome.criteria] for found in (one, other)]
            assert any(errors[0])
            assert errors[0] == pytest.approx(errors[1], rel=1e-3, abs=1e-7)
    finally:
        made.close()
        own.close()


@pytest.mark.parametrize(("load", "asked_first"), [(0.0, True), (1000.0, False)], ids=["core free", "none free"])
def test_the_coarser_mesh_is_asked_for_before_the_verdict_only_where_a_core_is_free(monkeypatch, load, asked_first):
    monkeypatch.setattr(os, "getloadavg", lambda: (load, 0.0, 0.0), raising=False)
    asked: list[str] = []
    stub = SimpleNamespace(
        moved=lambda *_: None, ask=lambda name, *_: asked.append(name), knows=lambda name: False, close=lambda: None
    )
    made = Engines(PATHS, stub)
    try:
        first = Asked(ENGINE, model="stud", first=True)
        made.answered(first)
        assert bool(asked) is asked_first
        made.answered(dataclasses.replace(first, first=False))
        assert asked
    finally:
        made.close()


def resident(pid: int) -> float:
    """Memory of a process, MB."""
    return int(Path(f"/proc/{pid}/statm").read_text("ascii").split()[1]) * os.sysconf("SC_PAGESIZE") / 1e6


@pytest.mark.long
@pytest.mark.skipif(
    not Path("/proc/self/statm").exists(), reason="the memory of a process is read where Linux tells it"
)
def test_two_thousand_moves_take_no_more_memory_than_two_hundred():
    beside, source = Beside(), source_of(PATHS[ENGINE], "stud")
    try:
        until(lambda: beside.ready)
        design = source.design({})
        coarse, sizes = make_base(design).coarse, []
        for number in range(2000):
            torque = 80.0 + 0.01 * number
            moved = source.design({"tightening.torque": f"{torque} N.m"})
            name = f"{torque}"
            beside.ask(name, f"shape {number // 100 % 6}", coarse, moved, "page", number)
            assert beside.found(name).levels
            if number in (199, 1999):
                sizes.append([resident(pid) for pid in (os.getpid(), beside._child.process.pid)])
    finally:
        beside.close()
    (own, other), (own_then, other_then) = sizes
    assert own_then < own + 10.0  # MB; one state of a stud takes 10 kB: 2,000 moves of 30 states would be 600
    assert other_then < other + 10.0
