"""The questions of sizing: how tight, how short, which thread and class."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from headjoint.model.base.errors import InputError
from headjoint.model.base.figure import Text, plain_text
from headjoint.model.cell import Cell
from headjoint.model.formulas.how_tight import how_tight
from headjoint.model.joint import Joint
from headjoint.model.library import property_classes
from headjoint.model.library import threads as thread_library
from headjoint.model.reading.overrides import SIZE, Value
from headjoint.postproc.studies.size_search import Found, Trials, search

TORQUES = tuple(float(x) for x in np.geomspace(0.3, 2.2, 12))  # of the file's torque, scanned
THREAD_TORQUES = tuple(float(x) for x in np.geomspace(0.45, 1.5, 8))  # of a torque that stresses as the file's does
LENGTHS = 7
THREADS = (0.55, 1.7)  # of the file's diameter: sizes tried


@dataclass(frozen=True)
class Choice:
    """One thread or class tried: whether some torque holds (or what its method turns to), from which to which."""

    name: str
    holds: bool
    least: float | None
    greatest: float | None
    unit: str
    why: Text


def torque(
    trials: Trials, joint: Joint, fixed: dict[str, Value], factors: Sequence[float], *, quick: bool = False
) -> Found:
    """Answer how tight: least and greatest torque, or angle, stretch, pull, preload, slope by the joint's method."""
    path, question, own, unit = how_tight(joint.tightening)
    places = [own * f for f in factors if unit or own * f < 1.0]
    return search(
        trials, question, unit, own, places, lambda x: fixed | {path: f"{x!r} {unit}" if unit else x}, quick=quick
    )


def length(trials: Trials, stated: Joint | Cell) -> Found:
    """Answer how short the free length may be: the engaged thread is moved up or down by the counterbore."""
    joint = stated.joint if isinstance(stated, Cell) else stated
    block, fastener = joint.block, joint.fastener
    rest = fastener.clamped_length - block.counterbore_depth
    deepest = block.counterbore_depth + 0.6 * (
        block.height - block.counterbore_depth - fastener.engagement - block.hole_below
    )
    places = [rest + float(x) for x in np.linspace(0.002 * rest, deepest, LENGTHS)]
    return search(
        trials, "free length of the fastener (by counterbore)", "mm", fastener.clamped_length, places,
        lambda x: {"block.counterbore_depth": float(f"{x - rest:.9g}")},
    )  # fmt: skip


def threads(trials: Trials, joint: Joint) -> tuple[Choice, ...]:
    """Try threads of the file's series, smallest first, until one has a torque that holds."""
    own = joint.fastener.thread
    tried = [
        one
        for one in thread_library.library().values()
        if one.series == own.series and THREADS[0] <= one.nominal_diameter / own.nominal_diameter <= THREADS[1]
    ]
    return _choices(
        trials,
        [({SIZE: one.designation}, one.designation) for one in sorted(tried, key=lambda t: t.stress_area)],
    )


def classes(trials: Trials) -> tuple[Choice, ...]:
    """Try property classes of ISO 898-1, weakest first, until one has a torque that holds."""
    steels = [name for name in property_classes.library() if "." in name]
    found = sorted(steels, key=lambda name: float(name))
    return _choices(trials, [({"fastener.property_class": name}, name) for name in found])


def _choices(trials: Trials, tried: Sequence[tuple[dict[str, Value], str]]) -> tuple[Choice, ...]:
    """Return every choice up to the first that holds; each is tried over torque, or what else decides how tight."""
    found: list[Choice] = []
    for fixed, name in tried:
        try:
            design = trials.source.design(fixed)
        except InputError as error:
            found.append(Choice(name, False, None, None, "", plain_text(f"cannot be built: {error}")))
            continue
        own = design.joint if isinstance(design, Cell) else design
        answer = torque(trials, own, fixed, THREAD_TORQUES, quick=True)
        if answer.clash is None:
            low, high = answer.least, answer.greatest
            least = low.at if low is not None else answer.searched[0]
            greatest = high.at if high is not None else answer.searched[1]
            found.append(
                Choice(name, True, least, greatest, answer.unit, plain_text(how_tight(own.tightening)[0].split(".")[1]))
            )
            break
        found.append(Choice(name, False, None, None, answer.unit, answer.clash))
    return tuple(found)
