"""Whether a change of the code changed an answer: every shipped command's JSON before and after, to the last digit.

    python -m validation.same_answers record BEFORE            # in the old checkout
    python -m validation.same_answers record AFTER             # in the new one
    python -m validation.same_answers compare BEFORE AFTER

`record` runs the commands of the installed package; --group quick leaves out bore cells, which take half an hour.
Times and versions are not answers and are left out.
"""

from __future__ import annotations

import argparse
import json
import math
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from validation.joints import joint_files

JOINTS = {name: str(file) for name, file in joint_files().items()}
STUD = JOINTS["boosted-four-steel"]
RIG = ("--rig", "hollow-ram-m11-stud")
BOLT_RIG = ("--rig", "hollow-ram-m11-bolt")
NOT_ANSWERS = {"seconds", "version", "found", "kept"}

QUICK = {
    **{
        f"{command}-{name}": (command, file)
        for command in ("estimate", "solve", "history")
        for name, file in JOINTS.items()
    },
    **{f"warmup-{name}": ("warmup", file, "--no-series") for name, file in JOINTS.items()},
    "compare": ("compare", STUD),
    "compare-files": ("compare", *(JOINTS[f"boosted-four-{kind}"] for kind in ("steel", "composite", "copper"))),
    "compare-vary": ("compare", STUD, "--vary", "boost=1.8, 2.4 bar"),
    "sweep-line": ("sweep", STUD, "--over", "torque=60..110 N.m in 6"),
    "sweep-map": ("sweep", STUD, "--over", "torque=60..110 N.m in 4", "--over", "boost=0.5..2.5 bar in 4"),
    "size": ("size", STUD),
    "scatter": ("scatter", STUD, "--samples", "128"),
    "rig-stud": ("rig", "stud-oiled", *RIG, "--against", "stud-dry"),
    "rig-bolt": ("rig", "bolt-oiled", *BOLT_RIG, "--against", "stud-oiled", "--against-rig", "hollow-ram-m11-stud"),
    "rig-gasket": ("rig", "stud-on-gasket", *RIG, "--against", "stud-oiled"),
    "rig-pulled": ("rig", "stud-pulled", *RIG),
    "rig-slipping": ("rig", "stud-slipping-indicator", *RIG),
}
CELLS = {
    **{f"solve-{cell}": ("solve", cell) for cell in ("boosted-four", "six-stud-ring", "six-stud-ring-own-mesh")},
    "history-cell": ("history", "boosted-four"),
    "estimate-cell": ("estimate", "boosted-four"),
    "compare-cell": ("compare", "boosted-four", "--vary", "boost=1.8, 2.4 bar"),
    "sweep-cell": ("sweep", "boosted-four", "--over", "torque=80..100 N.m in 3"),
    "scatter-cell": ("scatter", "boosted-four", "--samples", "32"),
    "warmup-cell": ("warmup", "boosted-four", "--no-series"),
    "solve-bank": ("solve", "boosted-bank-one-fired"),
}
WITH_PICTURES = {"solve", "history", "warmup", "rig"}


def main() -> int:
    """Record or compare; 1 where an answer changed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    commands = parser.add_subparsers(dest="command", required=True)
    recording = commands.add_parser("record")
    recording.add_argument("folder", type=Path)
    recording.add_argument("--group", choices=["quick", "cells", "all"], default="all")
    comparing = commands.add_parser("compare")
    comparing.add_argument("before", type=Path)
    comparing.add_argument("after", type=Path)
    comparing.add_argument("--within", type=float, default=0.0, help="relative difference that counts as none")
    given = parser.parse_args()
    if given.command == "record":
        record(given.folder, given.group)
        return 0
    return compare(given.before, given.after, given.within)


def record(folder: Path, group: str) -> None:
    """Run the commands of a group and keep their JSON in a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    chosen = {"quick": QUICK, "cells": CELLS, "all": QUICK | CELLS}[group]
    program = shutil.which("headjoint", path=str(Path(sys.executable).parent)) or "headjoint"
    for name, words in chosen.items():
        started = time.perf_counter()
        with tempfile.TemporaryDirectory() as scratch:
            options = ["--json", str((folder / f"{name}.json").resolve())]
            if words[0] != "estimate":
                options += ["--output", str(Path(scratch, "out"))]
            if words[0] in WITH_PICTURES:
                options.append("--no-pictures")
            ran = subprocess.run([program, *words, *options], cwd=scratch, capture_output=True, text=True, check=False)
        if ran.returncode:
            (folder / f"{name}.json").write_text(json.dumps({"exit": ran.returncode, "message": ran.stderr}))
        print(f"{name:40} exit {ran.returncode}  {time.perf_counter() - started:6.1f} s", flush=True)


def compare(before: Path, after: Path, within: float) -> int:
    """Print what differs between two folders; return 1 where something does."""
    different = 0
    names = sorted({path.name for folder in (before, after) for path in folder.glob("*.json")})
    for name in names:
        if not (before / name).exists() or not (after / name).exists():
            print(f"{name}: only in one folder")
            continue
        found = list(
            differences(json.loads((before / name).read_text()), json.loads((after / name).read_text()), within)
        )
        print(f"{name}: {'the same' if not found else f'{len(found)} differences'}")
        for line in found[:12]:
            print(f"    {line}")
        different += bool(found)
    print(f"{len(names)} answers, {different} differ")
    return 1 if different else 0


def differences(one: Any, other: Any, within: float, path: str = "") -> Iterator[str]:
    """Yield where two documents differ, by path."""
    if isinstance(one, dict) and isinstance(other, dict):
        for key in [*one, *(key for key in other if key not in one)]:
            if key in NOT_ANSWERS:
                continue
            here = f"{path}.{key}"
            if key not in one or key not in other:
                yield f"{here}: only in the {'second' if key not in one else 'first'}"
            else:
                yield from differences(one[key], other[key], within, here)
    elif isinstance(one, list) and isinstance(other, list):
        if _named(one) and _named(other):  # order is no answer
            yield from differences({x["name"]: x for x in one}, {x["name"]: x for x in other}, within, path)
        elif len(one) != len(other):
            yield f"{path}: {len(one)} entries, {len(other)} entries"
        else:
            for number, (left, right) in enumerate(zip(one, other, strict=True)):
                yield from differences(left, right, within, f"{path}[{number}]")
    elif one != other:
        numbers = isinstance(one, (int, float)) and isinstance(other, (int, float))
        if not (numbers and within and math.isclose(one, other, rel_tol=within)):
            yield f"{path}: {one!r} -> {other!r}"


def _named(entries: list[Any]) -> bool:
    names = [entry.get("name") for entry in entries if isinstance(entry, dict)]
    return len(names) == len(entries) > 0 and None not in names and len(set(names)) == len(names)


if __name__ == "__main__":
    sys.exit(main())
