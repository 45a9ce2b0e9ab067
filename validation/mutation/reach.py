"""Which quick test runs which line, and how long it takes; kept by test file."""

from __future__ import annotations

import functools
import gc
import hashlib
import json
import os
import sys
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from validation.mutation.changes import ROOT, statement_lines

# of the tests of one change, by what they took while their lines were watched
SECONDS = 60.0
# tests of the house's rules, slow ones, and those that run the command in processes of their own, where no change is
NOT_RUN = ("test_structure.py", "test_validation.py", "test_rig_coverage.py", "test_cli.py", "test_study_commands.py")
LAYERS = ("model", "meshes", "cases", "postproc")
OURS = ("headjoint", "validation", "conftest", "test_", "__main__", "coverage", "_")
OPTIONS = ["-q", "-p", "no:cacheprovider", "--no-header", "-m", "not slow"]


def digest(path: Path) -> str:
    """Return a name for what is in a file; empty where there is none."""
    return hashlib.blake2b(path.read_bytes(), digest_size=12).hexdigest() if path.is_file() else ""


@dataclass
class Reach:
    """What test files run: file -> what `watched` wrote of it."""

    folder: Path
    files: dict[str, dict[str, Any]] = field(default_factory=dict)

    def test_files(self) -> list[str]:
        """Return all test files with quick tests."""
        found = (path.relative_to(ROOT).as_posix() for path in sorted((ROOT / "tests").glob("test_*.py")))
        return [one for one in found if Path(one).name not in NOT_RUN]

    def current(self, file: str) -> bool:
        """Return whether what is kept of a test file still holds."""
        kept = self.folder / f"{Path(file).stem}.json"
        if file not in self.files and kept.is_file():
            self.files[file] = json.loads(kept.read_text("utf-8"))
        known = self.files.get(file)
        return known is not None and all(digest(ROOT / path) == name for path, name in known["digests"].items())

    def tests_of(self, module: str, line: int) -> tuple[list[str], float]:
        """Return the tests to run for a change of a line, in order, as far as the time goes, and that time (s)."""
        lines = {str(one) for one in statement_lines(module, line)}
        own: dict[str, float] = {}
        alone: dict[str, float] = {}
        runs_line: set[str] = set()
        runs_module: dict[str, int] = {}
        for known in self.files.values():
            names, longest = list(known["seconds"]), 0.0
            for name, seconds in known["seconds"].items():
                # run by itself a test may have to solve again what one before it in its file has solved for it
                own[name], alone[name] = seconds, seconds + longest
                longest = max(longest, seconds)
            for at, tests in known["lines"].get(module, {}).items():
                for number in tests:
                    runs_module[names[number]] = runs_module.get(names[number], 0) + 1
                    if at in lines:
                        runs_line.add(names[number])
        near = sorted(runs_line, key=alone.__getitem__)
        # tests of one file share what the first of them has solved: they see a change that only that one has run
        beside = _same_file(near, own)
        # of the others, what runs much of the module in little time comes first: constants have no line that is run
        others = sorted(runs_module.keys() - {*near, *beside}, key=lambda one: alone[one] / runs_module[one])
        found: list[str] = []
        files: set[str] = set()
        taken = 0.0
        for one in (*near, *beside, *others):
            file = one.split("::")[0]
            cost = own[one] if file in files else alone[one]
            if taken + cost <= SECONDS:
                found.append(one)
                files.add(file)
                taken += cost
        return found, taken

    def preload(self) -> None:
        """Import what tests import of other projects, once for all forks."""
        for name in sorted({name for known in self.files.values() for name in known["imported"]}):
            try:
                __import__(name)
            except Exception:  # noqa: BLE001, S112  a module that a test imported by other means
                continue


def _same_file(tests: list[str], seconds: dict[str, float]) -> list[str]:
    """Return the other tests of the files that some are in, cheapest first."""
    files = {one.split("::")[0] for one in tests}
    return sorted((one for one in seconds if one.split("::")[0] in files and one not in tests), key=seconds.__getitem__)


class _Watch:
    """Tells coverage which test runs; libraries and the like are read anew by each, so that their lines show."""

    def __init__(self, coverage: Any) -> None:
        self.coverage = coverage
        self.seconds: dict[str, float] = {}
        self.failed: set[str] = set()

    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Any:
        for one in gc.get_objects():
            if isinstance(one, functools._lru_cache_wrapper) and one.__module__.startswith("headjoint"):
                one.cache_clear()
        self.coverage.switch_context(item.nodeid)
        yield
        self.coverage.switch_context("")

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self.seconds[report.nodeid] = self.seconds.get(report.nodeid, 0.0) + report.duration
        if report.outcome != "passed":
            self.failed.add(report.nodeid)


def watched(file: str, folder: Path) -> None:
    """Run a test file's quick tests and write down what they run; in a process of its own."""
    from coverage import Coverage

    coverage = Coverage(data_file=None, source=[str(ROOT / layer) for layer in LAYERS], config_file=False)
    watch = _Watch(coverage)
    coverage.start()
    pytest.main([*OPTIONS, str(ROOT / file)], plugins=[watch])
    coverage.stop()
    data = coverage.get_data()
    tests = [name for name in watch.seconds if name not in watch.failed]
    number = {name: index for index, name in enumerate(tests)}
    lines: dict[str, dict[int, list[int]]] = {}
    for path in data.measured_files():
        module = os.path.relpath(os.path.realpath(path), ROOT)
        by_line = data.contexts_by_lineno(path).items()
        rows = {line: sorted(number[one] for one in names if one in number) for line, names in by_line}
        lines[module] = {line: found for line, found in rows.items() if found}
    ran = [file, "tests/conftest.py", *lines]
    imported = [name for name in sys.modules if not name.startswith(OURS)]
    kept = {
        "seconds": {name: watch.seconds[name] for name in tests},
        "lines": lines,
        "digests": {path: digest(ROOT / path) for path in ran},
        "imported": imported,
        "failed": sorted(watch.failed),
    }
    (folder / f"{Path(file).stem}.json").write_text(json.dumps(kept), "utf-8")
