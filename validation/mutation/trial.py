"""One change tried: a forked process in which a module is another, and the tests that run it."""

from __future__ import annotations

import contextlib
import importlib.abc
import importlib.util
import os
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from validation.mutation.changes import ROOT
from validation.mutation.reach import OPTIONS

MEMORY = 12 * 2**30  # bytes
PATIENCE = 4.0  # times the time that the tests took, besides the start: of processor time, for machines are busy
START = 30  # s
STANDING_STILL = 10  # times as long on the clock, for what waits for ever


class _Changed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Finds one module, whose text is not that of its file."""

    def __init__(self, name: str, path: Path, text: str) -> None:
        self.name, self.path, self.text = name, path, text

    def find_spec(self, name: str, path: Any = None, target: Any = None) -> Any:
        return importlib.util.spec_from_file_location(name, self.path, loader=self) if name == self.name else None

    def exec_module(self, module: ModuleType) -> None:
        exec(compile(self.text, str(self.path), "exec"), module.__dict__)  # noqa: S102


class _First:
    """Remembers the first test that failed."""

    name = ""

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed and not self.name:
            self.name = report.nodeid

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.failed and not self.name:
            self.name = f"{report.nodeid} (import)"


def forked(work: Callable[[], str], patience: float) -> str | None:
    """Return what `work` says in a forked process, "" where it dies, None where it does not end.

    patience : s of processor time.
    """
    reading, writing = os.pipe()
    scratch = tempfile.mkdtemp(prefix="mutation-")
    child = os.fork()
    if child == 0:
        try:
            os.setsid()
            os.close(reading)
            resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
            resource.setrlimit(resource.RLIMIT_CPU, (int(patience), int(patience) + 5))
            # a changed condensation must not be found by anybody in the user's cache
            os.environ["XDG_CACHE_HOME"] = os.environ["TMPDIR"] = tempfile.tempdir = scratch
            silence = os.open(os.path.join(scratch, "output"), os.O_WRONLY | os.O_CREAT)
            os.dup2(silence, 1)
            os.dup2(silence, 2)
            os.write(writing, work().encode())
        finally:
            os._exit(0)
    os.close(writing)
    try:
        return _heard(child, reading, time.monotonic() + STANDING_STILL * patience)
    finally:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(child, signal.SIGKILL)
        shutil.rmtree(scratch, ignore_errors=True)


def _heard(child: int, reading: int, until: float) -> str | None:
    try:
        while True:
            ended, status = os.waitpid(child, os.WNOHANG)
            if ended and os.WIFSIGNALED(status) and os.WTERMSIG(status) in (signal.SIGXCPU, signal.SIGKILL):
                return None
            if ended:
                return os.read(reading, 4096).decode()
            if time.monotonic() > until:
                with contextlib.suppress(ProcessLookupError):
                    os.killpg(child, signal.SIGKILL)
                os.waitpid(child, 0)
                return None
            time.sleep(0.02)
    finally:
        os.close(reading)


def tried(module: str, text: str, tests: Sequence[str], expected: float) -> tuple[str, str]:
    """Return "killed" or "survived" with the first test that failed, of a module (path) with another text."""
    name = "headjoint." + module.removesuffix(".py").replace("/", ".")

    def work() -> str:
        sys.meta_path.insert(0, _Changed(name, ROOT / module, text))
        first = _First()
        code = pytest.main(["-x", *OPTIONS, *tests], plugins=[first])
        return f"{int(code)} {first.name}"

    said = forked(work, START + PATIENCE * expected)
    if said is None:
        return "killed", "(does not end)"
    code, _, by = said.partition(" ")
    if code == "0":
        return "survived", ""
    return "killed", by or "(dies)"
