"""A sweep: one or two quantities of a joint over ranges or lists, every point judged by finite elements."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from rich.markup import escape
from rich.table import Table

from headjoint.model.errors import InputError
from headjoint.postproc.console import console
from headjoint.postproc.document import opening, plain
from headjoint.postproc.page import moved_in_whole, write_page
from headjoint.postproc.study_axes import Axis, axis_of, check_names
from headjoint.postproc.study_evaluation import Outcome, Source, Task
from headjoint.postproc.study_report import print_table, print_written, run_line, short_heading
from headjoint.postproc.study_run import Done, Ran, Workers, run_study
from headjoint.postproc.study_store import StudyStore
from headjoint.postproc.study_table import figure, result_columns, write_tables

FORMAT, VERSION = "headjoint-sweep", 1
MOST_PRINTED = 25  # rows of a table on the terminal
Line = tuple[str, ...]


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

    @property
    def requirements(self) -> list[str]:
        """Names of all requirements that any point was judged by."""
        return list(dict.fromkeys(one.name for outcome in self.outcomes for one in outcome.criteria))

    def in_hand(self, name: str | None = None) -> NDArray[np.float64]:
        """Return factor over need of a requirement, or the least of all, on the grid; nan where there is none."""
        found = []
        for outcome in self.outcomes:
            one = outcome.limiting if name is None else outcome.criterion(name)
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


def sentence(sweep: Sweep) -> str:
    """Return the verdict in one sentence."""
    count, whole = sum(outcome.holds for outcome in sweep.outcomes), len(sweep.outcomes)
    least = sweep.in_hand()
    if not np.isfinite(least).any():
        return f"no point of {whole} could be solved; the first says: {sweep.outcomes[0].problem}"
    best = int(np.nanargmax(least))
    names = [f"{axis.name} {_text(value, axis)}" for axis, value in zip(sweep.axes, sweep.points[best], strict=True)]
    limiting = sweep.outcomes[best].limiting
    by = (
        f"most in hand at {', '.join(names)}: {np.nanmax(least):.2f} times what {limiting.name} needs"
        if limiting
        else ""
    )
    where = crossings(sweep)
    holds = f"all requirements hold at {count} of {whole} points"
    if where:
        holds += f": {', '.join(where)}"
    return f"{holds}; {by}"


def _text(value: Any, axis: Axis) -> str:
    return f"{value:.4g} {axis.unit}".rstrip() if isinstance(value, float) else str(value)


def table_lines(sweep: Sweep) -> tuple[Line, list[Line]]:
    """Return headings and lines of the printed table: factors over need, and the figures that matter most."""
    headings = [axis.label for axis in sweep.axes] + ["holds", "least/need", "limited by"]
    shown = [
        name
        for name in ("preload", "clamp after cooling", "sealed gas pressure")
        if np.isfinite(sweep.figure(name)).any()
    ]
    headings += [short_heading(name) for name in shown]
    lines = []
    for point, outcome in zip(sweep.points, sweep.outcomes, strict=True):
        values = [f"{value:.4g}" if isinstance(value, float) else str(value) for value in point]
        if outcome.problem:
            lines.append((*values, "-", "", outcome.problem, *("" for _ in shown)))
            continue
        limiting = outcome.limiting
        figures = [figure(outcome, name) for name in shown]
        lines.append(
            (
                *values,
                "yes" if outcome.holds else "no",
                "" if limiting is None else f"{limiting.in_hand:.2f}",
                "" if limiting is None else limiting.name,
                *("" if value is None else f"{value:.1f}" for value in figures),
            )
        )
    return tuple(headings), lines


def print_sweep(sweep: Sweep, written: Sequence[Path]) -> None:
    """Print verdict and table."""
    screen = console()
    screen.print(f"\n[bold]{escape(sweep.title)}[/bold]: {escape(' x '.join(axis.name for axis in sweep.axes))}")
    screen.print(f"{escape(sentence(sweep))}.\n")
    headings, lines = table_lines(sweep)
    if len(lines) <= MOST_PRINTED:
        print_table(screen, headings, lines, left=("holds", "limited by"))
    elif len(sweep.axes) == 2:
        _print_map(sweep)
    screen.print(f"\n{run_line(sweep.ran, len(lines))} 'least/need' is the worst requirement's factor over its need.")
    print_written(screen, written)


def _print_map(sweep: Sweep) -> None:
    """Print a map of what holds, thinned to fit a terminal."""
    screen, least = console(), sweep.in_hand()
    first, second = sweep.axes
    rows = np.unique(np.linspace(0, len(first.values) - 1, min(len(first.values), 20)).round().astype(int))
    columns = np.unique(np.linspace(0, len(second.values) - 1, min(len(second.values), 12)).round().astype(int))
    table = Table(title="least factor over need", title_justify="left", box=None, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column(escape(f"{first.label} \\ {second.label}"))
    for n in columns:
        table.add_column(
            escape(_text((second.numbers or second.values)[n], Axis("", "", (), None, None))), justify="right"
        )
    for m in rows:
        shown = []
        for n in columns:
            value = least[m, n]
            text = "-" if not np.isfinite(value) else f"{value:.2f}"
            shown.append(f"[green]{text}[/green]" if value >= 1.0 else f"[red]{text}[/red]")
        table.add_row(escape(_text((first.numbers or first.values)[m], Axis("", "", (), None, None))), *shown)
    screen.print(table)


def sweep_document(sweep: Sweep) -> dict[str, Any]:
    """Return the sweep as a JSON document, format "headjoint-sweep": factors unrounded, figures in N and MPa."""
    return opening(FORMAT, VERSION) | {
        "joint": sweep.title,
        "axes": [
            {"path": axis.path, "unit": axis.unit, "values": axis.numbers or axis.values, "own": axis.own}
            for axis in sweep.axes
        ],
        "points": [
            {"at": list(point), "holds": outcome.holds} | plain(outcome.plain())
            for point, outcome in zip(sweep.points, sweep.outcomes, strict=True)
        ],
        "verdict": {"sentence": sentence(sweep)},
        "checks": {"seconds": sweep.ran.seconds, "stiffnesses": sweep.ran.stiffnesses, "found": sweep.ran.found},
    }


def write_sweep_files(sweep: Sweep, document: dict[str, Any], folder: Path) -> list[Path]:
    """Write sweep.json, sweep.csv, sweep.parquet, the picture and the page; return their paths."""
    import json

    from headjoint.postproc.sweep_pictures import draw_sweep

    with moved_in_whole(folder) as (scratch, written):
        (scratch / "sweep.json").write_text(json.dumps(document), encoding="utf-8")
        at = list(zip(*sweep.points, strict=True))
        columns: dict[str, Sequence[Any]] = {axis.label: values for axis, values in zip(sweep.axes, at, strict=True)}
        write_tables(columns | result_columns(sweep.outcomes), scratch, "sweep")
        pictures = draw_sweep(sweep, scratch)
        headings, lines = table_lines(sweep)
        write_page(
            scratch / "sweep.html",
            "study.html.j2",
            pictures,
            title=f"{sweep.title}: {' x '.join(axis.name for axis in sweep.axes)}",
            sentence=sentence(sweep),
            holds=any(outcome.holds for outcome in sweep.outcomes),
            tables=[{"title": "Every point", "headings": headings, "lines": lines}],
            notes=[],
            check=run_line(sweep.ran, len(lines)),
        )
    return written
