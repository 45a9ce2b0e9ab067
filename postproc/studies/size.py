"""Sizing, the inverse question: which torque, gas pressure, length, thread or class meets every requirement."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from headjoint.model.base.errors import InputError
from headjoint.model.cell import Cell
from headjoint.model.joint import Joint
from headjoint.postproc.designs.outcome import Source
from headjoint.postproc.designs.run import Done, Workers
from headjoint.postproc.designs.store import StudyStore
from headjoint.postproc.studies import FINDS
from headjoint.postproc.studies.size_gas import gas, gas_at_best
from headjoint.postproc.studies.size_questions import TORQUES, Choice, classes, length, threads, torque
from headjoint.postproc.studies.size_search import Found, Trials


@dataclass(frozen=True)
class Sized:
    """All answers about one joint; choices of threads and classes, smallest first. evaluations : solved on the way."""

    joint: Joint = field(repr=False)
    answers: tuple[Found, ...]
    threads: tuple[Choice, ...]
    classes: tuple[Choice, ...]
    evaluations: int
    seconds: float


def run_size(
    source: Source,
    find: Sequence[str],
    folder: Path | None,
    workers: Workers,
    done: Done = lambda finished, whole: None,
    stage: Callable[[str], None] = lambda name: None,
) -> Sized:
    """Return the answers to what `find` asks; by default all, for a cell those that need no new condensation.

    Raises InputError for a question that the joint does not allow.
    """
    import time

    started = time.perf_counter()
    stated = source.design({})
    joint = stated.joint if isinstance(stated, Cell) else stated
    fired = any(case.gas_force > 0.0 for case in joint.load_cases)
    asked = list(find) or [
        name for name in (FINDS[:2] if isinstance(stated, Cell) else FINDS) if name != "gas" or fired
    ]
    if "gas" in asked and not fired:
        raise InputError("no load case has gas pressure", field="--find", value="gas")
    trials = Trials(source, None if folder is None else StudyStore(folder), workers, stage)
    trials.done = done
    answers: list[Found] = []
    sizes: tuple[Choice, ...] = ()
    grades: tuple[Choice, ...] = ()
    for name in asked:
        stage(f"size: {name}")
        if name == "torque":
            answers.append(torque(trials, joint, {}, TORQUES))
        elif name == "gas":
            answers.append(gas(trials, joint))
            best = gas_at_best(trials, joint)
            answers += [] if best is None else [best]
        elif name == "length":
            answers.append(length(trials, stated))
        elif name == "thread":
            sizes = threads(trials, joint)
        elif name == "class":
            material = source.content["fastener"].get("material")
            if isinstance(material, dict) and "yield_strength" in material:
                raise InputError("the file states the yield strength itself, which goes before a class", field="--find")
            grades = classes(trials)
    return Sized(joint, tuple(answers), sizes, grades, trials.count, time.perf_counter() - started)
