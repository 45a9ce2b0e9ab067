"""A sweep told: verdict, every point in a table or a map, files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from headjoint.postproc.designs.axes import Axis
from headjoint.postproc.present.answer import Wanted
from headjoint.postproc.present.document import opening, plain
from headjoint.postproc.present.report import Paragraphs, Pictures, Report, Section, Sheet
from headjoint.postproc.stated.answer import StatedAnswer
from headjoint.postproc.studies.sweep import Sweep, point_text, sentence
from headjoint.postproc.studies.table import result_columns, write_tables
from headjoint.postproc.studies.words import (
    figure_words,
    left_columns,
    left_open,
    models_seen,
    run_line,
    short_heading,
    study_error_part,
)

FORMAT, VERSION = "headjoint-sweep", 2
MOST_PRINTED = 25  # rows of a table on the terminal
MAP_SIZE = (20, 12)  # rows and columns of a map there
LEAST = "'least/need' is the worst requirement's factor over its need."
FIGURES_SHOWN = ("preload", "clamp after cooling", "sealed gas pressure")


@dataclass(frozen=True)
class SweepAnswer(StatedAnswer):
    """One or two quantities of a joint over a range."""

    sweep: Sweep
    document_name = "sweep.json"
    page_name = "sweep.html"

    @property
    def name(self) -> str:
        """Name of the joint."""
        return self.sweep.title

    @property
    def holds(self) -> bool:
        """Whether any point meets every requirement."""
        return any(outcome.holds for outcome in self.sweep.outcomes)

    def document(self) -> dict[str, Any]:
        """Return the document, format "headjoint-sweep": factors unrounded, figures in N and MPa."""
        sweep = self.sweep
        return opening(FORMAT, VERSION, solved=True) | {
            "joint": sweep.title,
            "axes": [
                {"path": axis.path, "unit": axis.unit, "values": axis.numbers or axis.values, "own": axis.own}
                for axis in sweep.axes
            ],
            "points": [
                {"at": list(point), "holds": outcome.holds} | plain(outcome.document())
                for point, outcome in zip(sweep.points, sweep.outcomes, strict=True)
            ],
            "verdict": {"sentence": sentence(sweep)},
            "checks": {
                "mesh_errors": study_error_part(sweep.outcomes),
                "seconds": sweep.ran.seconds,
                "stiffnesses": sweep.ran.stiffnesses,
                "found": sweep.ran.found,
            },
        }

    def report(self, units: str = "si") -> Report:
        """Return what it says."""
        sweep = self.sweep.shown(units)
        few = len(sweep.outcomes) <= MOST_PRINTED
        whole = _points_sheet(sweep, units)
        sections: list[Section] = [Pictures(""), whole if few else Sheet(**(vars(whole) | {"on": "page"}))]
        if not few and len(sweep.axes) == 2:
            sections.append(_map_sheet(sweep))
        sections.append(Paragraphs("", (f"{run_line(sweep.ran, len(sweep.outcomes))} {LEAST}",)))
        return Report(
            title=f"{sweep.title}: {' x '.join(axis.name for axis in sweep.axes)}",
            note="",
            judgement=None,
            sentences=(sentence(sweep), *left_open(sweep.outcomes)),
            sections=tuple(sections),
            seen=models_seen(sweep.outcomes),
        )

    def columns(self) -> Mapping[str, Sequence[Any]]:
        """Return every point with its factors and figures."""
        sweep = self.sweep
        at = dict(zip((axis.label for axis in sweep.axes), zip(*sweep.points, strict=True), strict=True))
        return {**at, **result_columns(sweep.outcomes)}

    def tables(self, folder: Path, wanted: Wanted) -> None:
        """Write the points as CSV, and as Parquet where that can be written."""
        write_tables(self.columns(), folder, "sweep")

    def draw(self, folder: Path, wanted: Wanted) -> list[Path]:
        """Draw the picture."""
        from headjoint.postproc.studies.sweep_pictures import draw_sweep

        return draw_sweep(self.sweep.shown(wanted.units), folder, wanted.units)


def _points_sheet(sweep: Sweep, units: str) -> Sheet:
    """Return every point: factors over need, and the figures that matter most."""
    shown = [name for name in FIGURES_SHOWN if np.isfinite(sweep.figure(name)).any()]
    headings = (
        *(axis.label for axis in sweep.axes),
        "holds",
        "least/need",
        "limited by",
        *(short_heading(name, units) for name in shown),
    )
    lines = []
    for point, outcome in zip(sweep.points, sweep.outcomes, strict=True):
        values = [f"{value:.4g}" if isinstance(value, float) else str(value) for value in point]
        if outcome.problem:
            lines.append((*values, "-", "", outcome.problem, *("" for _ in shown)))
            continue
        limiting = outcome.limiting
        lines.append(
            (
                *values,
                outcome.word,
                "" if limiting is None else f"{limiting.in_hand:.2f}",
                "" if limiting is None else limiting.name,
                *(figure_words(outcome, name, units) for name in shown),
            )
        )
    return Sheet("Every point", headings, tuple(lines), left=left_columns(headings))


def _map_sheet(sweep: Sweep) -> Sheet:
    """Return a map of what holds, thinned to fit a terminal."""
    least = sweep.in_hand()
    first, second = sweep.axes
    rows, columns = (
        np.unique(np.linspace(0, len(axis.values) - 1, min(len(axis.values), most)).round().astype(int))
        for axis, most in zip((first, second), MAP_SIZE, strict=True)
    )

    def place(axis: Axis, number: int) -> str:
        return point_text((axis.numbers or axis.values)[number], Axis("", "", (), None, None))

    lines = []
    for m in rows:
        found = ["-" if not np.isfinite(least[m, n]) else f"{least[m, n]:.2f}" for n in columns]
        lines.append((place(first, m), *found))
    headings = (f"{first.label} \\ {second.label}", *(place(second, n) for n in columns))
    return Sheet("Least factor over need; below 1 it fails", headings, tuple(lines), on="terminal")
