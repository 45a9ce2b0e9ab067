"""Whole processes: wall-clock time and peak memory of each command, beside a bare Python that imports numpy."""

from __future__ import annotations

import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from validation.joints import joint_files

RUNS = 5
JOINT = str(joint_files()["boosted-four-steel"])
COMMANDS = {
    "bare Python importing numpy": [sys.executable, "-c", "import numpy"],
    "headjoint --help": ["--help"],
    "headjoint estimate": ["estimate", JOINT],
    "headjoint solve --no-pictures": ["solve", JOINT, "--no-pictures"],
    "headjoint solve": ["solve", JOINT],
}


def tables() -> list[tuple[str, list[str], list[list[str]]]]:
    rows, bare = [], 1.0
    for number, (name, arguments) in enumerate(COMMANDS.items()):
        command = arguments if number == 0 else [str(Path(sys.executable).with_name("headjoint")), *arguments]
        seconds, memory = zip(*(_run(command) for _ in range(RUNS + 1)), strict=True)
        median = statistics.median(seconds[1:])  # the first run fills the disk cache
        bare = median if number == 0 else bare
        rows.append(
            [
                name,
                f"{min(seconds[1:]):.2f}",
                f"{median:.2f}",
                f"{max(seconds[1:]):.2f}",
                f"{median / bare:.1f}",
                f"{max(memory):.0f}",
            ]
        )
    headings = ["command", "least s", "median s", "greatest s", "median / bare", "peak MB"]
    return [(f"Whole processes, {RUNS} runs after one unmeasured", headings, rows)]


def _run(command: list[str]) -> tuple[float, float]:
    """Return wall-clock seconds and peak memory in MB of one run in an empty folder."""
    with tempfile.TemporaryDirectory() as folder:
        seconds, usage = timed_run(command, Path(folder))
    return seconds, usage.ru_maxrss / 1024.0


def timed_run(
    command: list[str], folder: Path, surroundings: dict[str, str] | None = None
) -> tuple[float, resource.struct_rusage]:
    """Return wall-clock seconds and what a whole process used; RuntimeError where it does not end well."""
    quiet, before = subprocess.DEVNULL, time.perf_counter()
    process = subprocess.Popen(command, cwd=folder, env=surroundings, stdout=quiet, stderr=quiet)
    _, status, usage = os.wait4(process.pid, 0)
    seconds = time.perf_counter() - before
    if status != 0:
        raise RuntimeError(f"{command} ended with {status}")
    return seconds, usage
