"""A soak: random believable engines through random commands, one after another in one process.

`python -m validation.soak [MINUTES] [--seed N]` (60 minutes by default) draws engines of `validation.believable_cells`
and runs commands on them as a user would, each into a folder of its own. After every command there must be

- no traceback, and an exit code that is documented;
- no temporary file, and nothing half-written in the folder;
- memory that is flat: over the second half of the soak no more than `GROWTH` above its greatest in the first half.

Whatever was solved is solved again on elements `FINER` times as large, and every factor of the answer must lie within
its stated mesh error of the new one. Not solved again are samples of `scatter`, which are drawn, and what `size` finds,
which it solves itself. Mesh errors are estimates and no bounds, so that a share of `WITHIN` is asked for, and factors
that are kinder than their error allows are told one by one. It exits with 1 where any of that is not so.
"""

from __future__ import annotations

import argparse
import contextlib
import ctypes
import dataclasses
import gc
import io
import json
import os
import random
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import click
import psutil

import headjoint
from headjoint.cases.cli import app
from headjoint.model.base.errors import JointError
from headjoint.model.cell import Cell
from headjoint.model.joint import Joint
from headjoint.postproc.designs.outcome import source_of
from headjoint.postproc.verdict.verdict import Verdict
from validation.believable_cells import cell_text

FINER = 0.8
WITHIN = 0.9
GROWTH = 150.0  # MB
ROUNDING = 1e-3  # relative, of what is searched for or integrated in steps
COARSER = 1.6  # times the typical element sizes: a whole engine in some seconds, on elements that are judged by
Stated = Joint | Cell
Factors = dict[str, tuple[float, float]]  # by requirement: factor and its mesh error


@dataclass(frozen=True)
class Command:
    """A command: its options, how often it is drawn, and how its document is solved again.

    again : from the document and a function that refines a joint or engine, pairs of what the document says and the
    verdict on the finer mesh; None where nothing is solved again. whole : of the engine itself, on a coarse mesh.
    """

    options: tuple[str, ...]
    often: float
    again: Callable[[dict[str, Any], Path], Iterator[tuple[dict[str, Any], Verdict]]] | None = None
    whole: bool = False


def finer(stated: Stated) -> Stated:
    """Return a joint or engine on elements `FINER` times as large."""
    if isinstance(stated, Cell):
        sizes = {name: FINER * getattr(stated.mesh, name) for name in ("ring_size", "stud_size", "largest")}
        return dataclasses.replace(stated, mesh=dataclasses.replace(stated.mesh, **sizes))
    sizes = {name: FINER * getattr(stated.mesh_size, name) for name in ("element_size", "largest")}
    return dataclasses.replace(stated, mesh_size=dataclasses.replace(stated.mesh_size, **sizes))


def _solved(document: dict[str, Any], path: Path) -> Iterator[tuple[dict[str, Any], Verdict]]:
    yield document, headjoint.solve(finer(headjoint.read(path, "stud"))).verdict


def _solved_whole(document: dict[str, Any], path: Path) -> Iterator[tuple[dict[str, Any], Verdict]]:
    yield document, headjoint.solve(finer(headjoint.read(path))).verdict


def _served(document: dict[str, Any], path: Path) -> Iterator[tuple[dict[str, Any], Verdict]]:
    yield document, headjoint.history(finer(headjoint.read(path, "stud"))).verdict


def _designs(document: dict[str, Any], path: Path) -> Iterator[tuple[dict[str, Any], Verdict]]:
    source = source_of(path, "stud")
    outcomes = document.get("points") or document["candidates"]
    for torque, outcome in zip(TORQUES, outcomes, strict=True):
        if outcome["problem"]:
            continue
        design = source.design({"torque": torque})
        yield outcome, headjoint.solve(finer(design)).verdict


def _mesh_table(engine: Cell) -> str:
    """Return the table of element sizes with which an engine is solved in some seconds."""
    sizes = ("ring_size", "stud_size", "largest")
    lines = [f'{name} = "{COARSER * getattr(engine.mesh, name):.4g} mm"' for name in sizes]
    return "\n".join(("", "[mesh]", *lines, ""))


TORQUES = ("40 N.m", "60 N.m")
COMMANDS = {
    "estimate": Command(("estimate", "FILE"), 2.0),
    "worksheet": Command(("worksheet", "FILE"), 1.0),
    "solve --model stud": Command(("solve", "FILE", "--model", "stud"), 1.0, _solved),
    "solve": Command(("solve", "FILE"), 0.3, _solved_whole, whole=True),
    "history": Command(("history", "FILE", "--model", "stud"), 0.3, _served),
    "sweep": Command(("sweep", "FILE", "--model", "stud", "--over", f"torque={', '.join(TORQUES)}"), 1.0, _designs),
    "compare": Command(("compare", "FILE", "--model", "stud", "--vary", f"torque={', '.join(TORQUES)}"), 1.0, _designs),
    "scatter": Command(("scatter", "FILE", "--model", "stud", "--samples", "32", "--workers", "1"), 0.5),
    "size": Command(("size", "FILE", "--model", "stud", "--find", "torque"), 0.5),
    "mesh": Command(("mesh", "FILE", "-o", "mesh.vtu"), 1.0),
}
WRITES_DOCUMENT = ("solve", "history", "sweep", "compare", "scatter", "size", "estimate")


@dataclass
class Soak:
    """What was seen so far.

    memory : MB held after each command. factors : how many were solved again; within : of them, as near as was told.
    """

    counts: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)
    memory: list[float] = field(default_factory=list)
    factors: int = 0
    within: int = 0
    kinder: list[str] = field(default_factory=list)

    def compare(self, words: str, found: Factors, anew: Factors) -> None:
        """Hold factors against those on the finer mesh."""
        for key in found.keys() & anew.keys():
            (value, error), (other, _) = found[key], anew[key]
            off = value - other
            self.factors += 1
            self.within += abs(off) <= error + ROUNDING * abs(other)
            if off > error + ROUNDING * abs(other):
                self.kinder.append(f"{words}, {key}: {value:.4g} +- {error:.2g}, {other:.4g} on smaller elements")

    @property
    def grown(self) -> float:
        """By how much (MB) memory was greater in the second half than ever in the first."""
        half = len(self.memory) // 2
        return max(self.memory[half:], default=0.0) - max(self.memory[:half], default=0.0) if half else 0.0


def factors_of(document: dict[str, Any]) -> Factors:
    """Return the factors of a document or outcome whose mesh error is known."""
    told = [one for one in document["criteria"] if one["value"] is not None and one["mesh_error"] is not None]
    return {one["key"]: (one["value"], one["mesh_error"]) for one in told}


def _of_verdict(verdict: Verdict) -> Factors:
    return {one.key: (one.value, one.mesh_error or 0.0) for one in verdict.criteria if one.value is not None}


def run_command(arguments: list[str]) -> tuple[int, str]:
    """Run a command in this process as the command line would; return its exit code and a traceback or nothing."""
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        try:
            app.main(arguments, standalone_mode=False)
        except JointError:
            return 3, ""
        except (SystemExit, click.exceptions.Exit) as end:
            return int(getattr(end, "code", None) or getattr(end, "exit_code", 0) or 0), ""
        except Exception:
            return -1, traceback.format_exc()
    return 0, ""


def one_round(soak: Soak, seed: int, scratch: Path) -> str:
    """Run one command on one engine, look at what it leaves, and solve it again; return its words."""
    chance = random.Random(f"soak {seed}")
    name = chance.choices(list(COMMANDS), [one.often for one in COMMANDS.values()])[0]
    command = COMMANDS[name]
    with tempfile.TemporaryDirectory(dir=scratch.parent) as home:
        folder = Path(home)
        path = folder / "engine.toml"
        text = cell_text(seed)
        path.write_text(text, encoding="utf-8")
        try:
            engine = headjoint.read(path)
            if command.whole and isinstance(engine, Cell):
                path.write_text(text + _mesh_table(engine), encoding="utf-8")
        except JointError:
            soak.counts["refused"] += 1
            return f"{name}: refused"
        arguments = [str(path) if one == "FILE" else one for one in command.options]
        if command.options[0] in WRITES_DOCUMENT:
            arguments += ["-o", str(folder / "out"), "--no-pictures", "--json", str(folder / "answer.json")]
        with contextlib.chdir(folder):
            code, trace = run_command(arguments)
        words = f"engine {seed}, {name}"
        if trace or code not in (0, 3):
            soak.wrong.append(f"{words}: exit code {code}\n{trace}")
        left = [one.name for one in scratch.iterdir()] + [one.name for one in folder.rglob(".*")]
        if left:
            soak.wrong.append(f"{words}: left {', '.join(left)}")
        soak.counts[name if code == 0 else f"{name} without solution"] += 1
        if code == 0 and command.again is not None:
            _solve_again(soak, words, command, path)
    soak.memory.append(held())
    return words


def held() -> float:
    """Return the memory (MB) that this process holds once all that is free has gone back to the system.

    What is free but kept by the C library for the next engine hangs on how large the engines before were.
    """
    gc.collect()
    with contextlib.suppress(AttributeError, OSError, TypeError):  # not every C library has it
        ctypes.CDLL(None).malloc_trim(0)
    return psutil.Process().memory_info().rss / 1e6


def _solve_again(soak: Soak, words: str, command: Command, path: Path) -> None:
    assert command.again is not None
    document = json.loads((path.parent / "answer.json").read_text("utf-8"))
    try:
        for told, verdict in command.again(document, path):
            soak.compare(words, factors_of(told), _of_verdict(verdict))
    except JointError as error:
        soak.counts["not solved again"] += 1
        print(f"{words}: not on smaller elements: {error}", file=sys.stderr)
    except Exception:
        soak.wrong.append(f"{words}, solved again\n{traceback.format_exc()}")


def main() -> int:
    """Soak, print what was seen, return 1 where anything is wrong."""
    options = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    options.add_argument("minutes", type=float, nargs="?", default=60.0)
    options.add_argument("--seed", type=int, default=1, help="of the first engine")
    asked = options.parse_args()
    warnings.simplefilter("ignore")
    soak, until = Soak(), time.monotonic() + 60.0 * asked.minutes
    with tempfile.TemporaryDirectory() as home:
        scratch = Path(home) / "temporary"
        scratch.mkdir()
        tempfile.tempdir = str(scratch)
        os.environ["TMPDIR"] = str(scratch)
        seed = asked.seed
        while time.monotonic() < until:
            words = one_round(soak, seed, scratch)
            print(f"{words}; {soak.memory[-1] if soak.memory else 0.0:.0f} MB", file=sys.stderr, flush=True)
            seed += 1
    print("\n".join(soak.wrong))
    print("kinder than their mesh error allows:\n  " + "\n  ".join(soak.kinder or ["none"]))
    print(
        f"{soak.counts.total()} engines: " + ", ".join(f"{count} {name}" for name, count in sorted(soak.counts.items()))
    )
    print(f"{soak.factors} factors solved again on smaller elements, {soak.within} within their mesh error")
    least, most = min(soak.memory, default=0.0), max(soak.memory, default=0.0)
    print(f"memory {least:.0f} to {most:.0f} MB, grown by {soak.grown:.0f} MB")
    print(f"{len(soak.wrong)} wrong")
    return 1 if soak.wrong or soak.grown > GROWTH or soak.within < WITHIN * soak.factors else 0


if __name__ == "__main__":
    sys.exit(main())
