"""Joints that several tests share."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from hypothesis import settings

from headjoint.cases.cli import shipped_joints
from headjoint.cases.single import SolvedJoint, solve_joint
from headjoint.model.reading import read_joint

# every run tries the same examples; `pytest --hypothesis-profile=search` tries new ones
settings.register_profile("search", derandomize=False)
settings.register_profile("repeatable", derandomize=True)
settings.load_profile("repeatable")


@cache
def shipped_text(name: str) -> str:
    return Path(shipped_joints()[name]).read_text("utf-8")


@cache
def solved(name: str) -> SolvedJoint:
    return solve_joint(read_joint(shipped_joints()[name]))
