"""Invented joints of one fastener that checks, benchmarks and tests run on: those that ship, and those of the tests."""

from __future__ import annotations

from pathlib import Path

from headjoint.cases.command.stated_files import shipped_joints

OF_TESTS = Path(__file__).parents[1] / "tests" / "joints"


def joint_files() -> dict[str, Path]:
    """Return the files of these joints by name."""
    return {path.stem: path for path in sorted(OF_TESTS.glob("*.toml"))} | shipped_joints()
