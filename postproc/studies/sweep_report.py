"""A sweep on the terminal, as files and as a page."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from rich.markup import escape
from rich.table import Table

from headjoint.postproc.designs.axes import Axis
from headjoint.postproc.present.console import console
from headjoint.postproc.present.document import opening, plain
from headjoint.postproc.present.page import moved_in_whole, write_page
from headjoint.postproc.studies.report import print_table, print_written, run_line, short_heading
from headjoint.postproc.studies.sweep import FORMAT, VERSION, Line, Sweep, point_text, sentence
from headjoint.postproc.studies.table import figure, result_columns, write_tables

MOST_PRINTED = 25  # rows of a table on the terminal


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
            escape(point_text((second.numbers or second.values)[n], Axis("", "", (), None, None))), justify="right"
        )
    for m in rows:
        shown = []
        for n in columns:
            value = least[m, n]
            text = "-" if not np.isfinite(value) else f"{value:.2f}"
            shown.append(f"[green]{text}[/green]" if value >= 1.0 else f"[red]{text}[/red]")
        table.add_row(escape(point_text((first.numbers or first.values)[m], Axis("", "", (), None, None))), *shown)
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
    """Write sweep.json, sweep.csv, where it can sweep.parquet, the picture and the page; return their paths."""
    import json

    from headjoint.postproc.studies.sweep_pictures import draw_sweep

    with moved_in_whole(folder) as (scratch, written):
        (scratch / "sweep.json").write_text(json.dumps(document), encoding="utf-8")
        at = list(zip(*sweep.points, strict=True))
        columns: dict[str, Sequence[Any]] = {axis.label: values for axis, values in zip(sweep.axes, at, strict=True)}
        table_files = write_tables(columns | result_columns(sweep.outcomes), scratch, "sweep")
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
            table_files=table_files,
        )
    return written
