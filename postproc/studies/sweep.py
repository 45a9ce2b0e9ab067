"""A sweep: one or two quantities of a joint over ranges or lists, every point judged by finite elements."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from headjoint.model.base.errors import InputError
from headjoint.postproc.designs.axes import Axis, axis_of, check_names
from headjoint.postproc.designs.outcome import Outcome, Source, Task, judged_by
from headjoint.postproc.designs.run import Done, Ran, Workers, run_study
from headjoint.postproc.designs.store import StudyStore
from headjoint.postproc.studies.table import figure


@dataclass(frozen=True)
class Sweep:
    """A finished sweep. outcomes : in the order of `points`, the last axis fastest. title : name of the joint."""

    title: str
    axes: tuple[Axis, ...]
    outcomes: tuple[Outcome, ...] = field(repr=False)
    ran: Ran

    @property
    def shape(self) -> tuple[int, ...]:
        """Points of each axis."""
        return tuple(len(axis.values) for axis in self.axes)

    @property
    def points(self) -> list[tuple[Any, ...]]:
        """Value of every axis at every point: numbers in the axis's unit, or names."""
        return list(itertools.product(*(axis.numbers or axis.values for axis in self.axes)))

    def shown(self, units: str) -> Sweep:
        """Return the sweep as a reader of `units` is told its axes."""
        return dataclasses.replace(self, axes=tuple(axis.shown(units) for axis in self.axes))

    @property
    def requirements(self) -> list[str]:
        """Keys of all requirements that any point was judged by."""
        return judged_by(self.outcomes)

    def in_hand(self, key: str | None = None) -> NDArray[np.float64]:
        """Return factor over need of a requirement, or the least of all, on the grid; nan where there is none."""
        found = []
        for outcome in self.outcomes:
            one = outcome.limiting if key is None else outcome.criterion(key)
            found.append(np.nan if one is None else one.in_hand)
        return np.array(found).reshape(self.shape)

    def figure(self, name: str) -> NDArray[np.float64]:
        """Return a figure on the grid in the unit of the table; nan where there is none."""
        found = [figure(outcome, name) for outcome in self.outcomes]
        return np.array([np.nan if one is None else one for one in found]).reshape(self.shape)


def run_sweep(
    source: Source,
    over: Sequence[str],
    folder: Path | None,
    workers: Workers,
    done: Done = lambda finished, whole: None,
    stage: Callable[[str], None] = lambda name: None,
) -> Sweep:
    """Return the sweep over the quantities that `over` says; finished points are kept in `folder`.

    Raises InputError for a quantity that cannot be swept.
    """
    if not 1 <= len(over) <= 2:
        raise InputError("give one or two quantities to sweep over", field="--over", value=len(over))
    axes = tuple(axis_of(source.content, text, len(over), "--over") for text in over)
    check_names(axes, "--over")
    tasks = [
        Task({axis.path: value for axis, value in zip(axes, values, strict=True)})
        for values in itertools.product(*(axis.values for axis in axes))
    ]
    store = None if folder is None else StudyStore(folder)
    ran = run_study(source, tasks, store, workers, done, stage)
    return Sweep(str(source.content["name"]), axes, tuple(ran.outcomes), ran)


def crossings(sweep: Sweep) -> list[str]:
    """Return in words where along the one numeric axis the joint begins and ceases to hold, and by what."""
    axis = sweep.axes[0]
    if len(sweep.axes) > 1 or axis.numbers is None:
        return []
    x, least = np.array(axis.numbers), sweep.in_hand()
    found = []
    for n in range(len(x) - 1):
        one, other = least[n], least[n + 1]
        if not np.isfinite(one + other) or (one >= 1.0) == (other >= 1.0):
            continue
        at = x[n] + (1.0 - one) * (x[n + 1] - x[n]) / (other - one)
        limiting = sweep.outcomes[n if one < 1.0 else n + 1].limiting
        way = "from" if other >= 1.0 else "up to"
        found.append(f"{way} about {at:.4g} {axis.unit}".rstrip() + f" ({limiting.name if limiting else ''})")
    return found


def point_text(value: Any, axis: Axis) -> str:
    """Write a value of an axis with its unit."""
    return f"{value:.4g} {axis.unit}".rstrip() if isinstance(value, float) else str(value)


def sentence(sweep: Sweep) -> str:
    """Return the verdict in one sentence."""
    count, whole = sum(outcome.met for outcome in sweep.outcomes), len(sweep.outcomes)
    least = sweep.in_hand()
    if not np.isfinite(least).any():
        problems = [outcome.problem for outcome in sweep.outcomes if outcome.problem]
        if len(problems) < whole:
            return f"not judged: at none of {whole} points does this model judge any requirement"
        return f"no point of {whole} could be solved; the first says: {problems[0]}"
    best = int(np.nanargmax(least))
    names = [
        f"{axis.name} {point_text(value, axis)}" for axis, value in zip(sweep.axes, sweep.points[best], strict=True)
    ]
    limiting = sweep.outcomes[best].limiting
    by = (
        f"most in hand at {', '.join(names)}: {np.nanmax(least):.2f} times what {limiting.name} needs"
        if limiting
        else ""
    )
    where = crossings(sweep)
    open_ones = any(not one.by_mesh for outcome in sweep.outcomes for one in outcome.verdict.undecided)
    what = "all requirements that this model judges" if open_ones else "all requirements"
    holds = f"{what} hold at {count} of {whole} points"
    if where:
        holds += f": {', '.join(where)}"
    return f"{holds}; {by}"
