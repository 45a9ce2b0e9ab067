"""Processes that work for another one end when it does, however it ends."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import psutil
import pytest

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
