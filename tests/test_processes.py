"""Processes that work for another one end when it does, however it ends."""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
import time
from multiprocessing import resource_tracker
from pathlib import Path

import psutil
import pytest

from headjoint.cases.elements.processes import interrupts_kept_back
from headjoint.model.base.system import WINDOWS
from headjoint.postproc.live.condensing import Condensing


def sleeps(told) -> None:
    told(f"begun {os.getpid()}")
    time.sleep(60.0)


def serve() -> None:
    """Condense in the background as the live page does, and say which process does it."""
    condensing = Condensing()
    while not (stage := condensing.want("shape", sleeps).get("stage", "")).startswith("begun"):
        time.sleep(0.05)
    print(stage.removeprefix("begun "), flush=True)
    time.sleep(60.0)


def says_what_it_hears(told) -> None:
    told.put(signal.SIGINT in signal.pthread_sigmask(signal.SIG_BLOCK, ()))


def starts_and_is_interrupted(process) -> None:
    with interrupts_kept_back():
        process.start()
        os.kill(os.getpid(), signal.SIGINT)


@pytest.mark.skipif(WINDOWS, reason="sends signals")
@pytest.mark.parametrize("first", [False, True], ids=["any process", "the first process"])
def test_an_interrupt_while_a_process_starts_is_for_whoever_starts_it_and_is_not_lost(monkeypatch, first):
    spawn = multiprocessing.get_context("spawn")
    told = spawn.SimpleQueue()
    process = spawn.Process(target=says_what_it_hears, args=(told,))
    if first:  # then multiprocessing starts a process of its own, too
        monkeypatch.setattr(resource_tracker._resource_tracker, "_fd", None)
    before = signal.signal(signal.SIGINT, signal.default_int_handler)  # tests in the background ignore it
    try:
        with pytest.raises(KeyboardInterrupt):
            starts_and_is_interrupted(process)
    finally:
        signal.signal(signal.SIGINT, before)
    assert told.get()
    process.join()


@pytest.mark.skipif(WINDOWS, reason="sends signals")
def test_a_shape_is_given_up_when_the_server_is_killed():
    script = "import test_processes; test_processes.serve()"
    search = os.pathsep.join([str(Path(__file__).parent), *sys.path])
    server = subprocess.Popen(
        [sys.executable, "-c", script], stdout=subprocess.PIPE, text=True, env=os.environ | {"PYTHONPATH": search}
    )
    worker = psutil.Process(int(server.stdout.readline()))
    server.kill()
    server.wait()
    worker.wait(20.0)
