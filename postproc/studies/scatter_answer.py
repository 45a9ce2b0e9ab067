"""Scatter of a batch told: how likely it fails, what spreads it, files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from headjoint.model.base.figure import unit_in
from headjoint.postproc.present.answer import Wanted
from headjoint.postproc.present.document import opening, plain
from headjoint.postproc.present.report import Paragraphs, Pictures, Report, Sheet
from headjoint.postproc.stated.answer import StatedAnswer
from headjoint.postproc.studies.scatter import QUANTILES, Scatter, percent, sentence
from headjoint.postproc.studies.table import FIGURES, write_tables
from headjoint.postproc.studies.words import figure_in, left_columns, not_judged_words, run_line, study_error_part
from headjoint.postproc.verdict.table import requirement
from headjoint.postproc.verdict.verdict import left_by_model

FORMAT, VERSION = "headjoint-scatter", 1


@dataclass(frozen=True)
class ScatterAnswer(StatedAnswer):
    """A batch of joints."""

    scatter: Scatter
    document_name = "scatter.json"
    page_name = "scatter.html"

    @property
    def name(self) -> str:
        """Name of the joint."""
        return self.scatter.joint.name

    @property
    def holds(self) -> bool:
        """Whether no joint of the batch failed, and nothing that decides was left open."""
        return not any(one.happened for one in self.scatter.events) and not self.left_open

    @property
    def left_open(self) -> list[str]:
        """Titles of the requirements that decide and that the model cannot judge."""
        seen = self.scatter.seen
        found = (requirement(key) for key in seen.blind)
        sides = ["sides that differ"] if seen.mean_of_sides else []
        return [*(one.title for one in found if one.deciding), *sides, *(one.name for one in left_by_model(seen))]

    def document(self) -> dict[str, Any]:
        """Return the document, format "headjoint-scatter": N, MPa, unrounded."""
        scatter = self.scatter
        return opening(FORMAT, VERSION, solved=True) | {
            "joint": scatter.joint.name,
            "seed": scatter.seed,
            "sampling": scatter.sampling,
            "inputs": plain(scatter.inputs),
            "values": plain(scatter.values),
            "figures": plain(scatter.figures),
            "events": [plain(one) | {"probability": one.probability} for one in scatter.events],
            "unsolved": scatter.unsolved,
            "verdict": {"sentence": sentence(scatter), "not_judged": self.left_open},
            "checks": {
                "mesh_errors": study_error_part(scatter.ran.outcomes, scatter.seen),
                "seconds": scatter.ran.seconds,
            },
        }

    def report(self, units: str = "si") -> Report:
        """Return what it says."""
        scatter = self.scatter
        count = len(scatter.values)
        scattered = "; ".join(f"{one.name}: {one.words}" for one in scatter.inputs)
        return Report(
            title=f"{scatter.joint.name}: {count} joints of a batch",
            note="",
            judgement=None,
            sentences=(sentence(scatter), *not_judged_words(self.left_open)),
            seen=scatter.seen.line,
            sections=(
                Pictures(""),
                _sheet("How likely", event_lines(scatter, units)),
                _sheet("Spread", spread_lines(scatter, units)),
                Paragraphs("", (f"Taken to scatter: {scattered}. Sources stand in {self.page_name}.",), on="terminal"),
                Sheet(
                    **(vars(_sheet("What was taken to scatter", input_lines(scatter))) | {"left": (1, 2), "on": "page"})
                ),
                Paragraphs("", (*notes(scatter), run_line(scatter.ran, count))),
            ),
        )

    def columns(self) -> Mapping[str, Sequence[Any]]:
        """Return every sample: what was drawn, and what came of it."""
        scatter = self.scatter
        columns: dict[str, Any] = {
            f"{one.name} [{one.unit or '1'}]": scatter.values[:, n] for n, one in enumerate(scatter.inputs)
        }
        for name, found in scatter.figures.items():
            unit = {"least sealing-line pressure": "MPa"}.get(name, "N") if name in FIGURES else "1"
            columns[f"{name} [{unit}]"] = found
        return columns

    def tables(self, folder: Path, wanted: Wanted) -> None:
        """Write the samples as CSV, and as Parquet where that can be written."""
        write_tables(self.columns(), folder, "scatter")

    def draw(self, folder: Path, wanted: Wanted) -> list[Path]:
        """Draw the picture."""
        from headjoint.postproc.studies.scatter_pictures import draw_scatter

        return draw_scatter(self.scatter, folder, wanted.units)


def _sheet(title: str, table: tuple[list[str], list[tuple[str, ...]]]) -> Sheet:
    headings, lines = tuple(table[0]), tuple(table[1])
    return Sheet(title, headings, lines, left=left_columns(headings))


def event_lines(scatter: Scatter, units: str) -> tuple[list[str], list[tuple[str, ...]]]:
    """Return headings and lines of the probabilities."""
    headings = [
        "what may happen",
        "of 100 joints",
        "bounds (95 %)",
        "by normal law",
        "mean",
        "2 s",
        "limit",
        "what matters most",
    ]
    lines: list[tuple[str, ...]] = []
    for one in scatter.events:
        unit, factor = unit_in(one.unit, units)
        matters = ", ".join(f"{name} {100 * index:.0f} %" for name, index, _ in one.matters[:3] if index >= 0.02)
        lines.append(
            (
                one.name,
                percent(one.probability),
                f"{percent(one.low)} to {percent(one.high)}",
                percent(one.by_normal),
                f"{one.mean * factor:.3g} {unit}",
                f"{2 * one.deviation * factor:.2g}",
                f"{one.limit * factor:g}",
                matters,
            )
        )
    return headings, lines


def input_lines(scatter: Scatter) -> tuple[list[str], list[tuple[str, ...]]]:
    """Return headings and lines of the inputs."""
    return ["input", "distribution", "source"], [(one.name, one.words, one.source) for one in scatter.inputs]


def spread_lines(scatter: Scatter, units: str) -> tuple[list[str], list[tuple[str, ...]]]:
    """Return headings and lines of the spread of clamp and pressure."""
    lines = []
    for name in ("preload", "clamp under gas", "clamp after cooling", "least sealing-line pressure"):
        if name in scatter.figures and np.isfinite(scatter.figures[name]).any():
            unit, factor = FIGURES[name]
            found = np.nanquantile(scatter.figures[name], QUANTILES) * factor
            heading = f"{name} [{unit_in(unit, units)[0]}]"
            lines.append((heading, *(figure_in(float(value), name, units) for value in found)))
    return ["", "5 % lie below", "half", "95 % lie below"], lines


def notes(scatter: Scatter) -> list[str]:
    """Return what is to be known of the figures."""
    found = [
        f"{scatter.sampling.capitalize()} points, seed {scatter.seed}. Failures are counted at physical limits (factor "
        "1), not at the required factors, which are there to cover scatter; the seal's requirement and the clamp to be "
        "kept are those of the file. Bounds are those of as many independent samples (Clopper and Pearson). 'By normal "
        "law' takes mean and standard deviation only: a hint where nothing was counted. Shares of what matters are "
        "first-order Sobol indices; one joint is one preload, all its load cases in order."
    ]
    if scatter.fatigue_left_out:
        found.append("Every stud of the cell is tightened alike in a sample. Fatigue is not sampled for cells.")
    if scatter.unsolved:
        found.append(f"{scatter.unsolved} samples have no solution and are left out.")
    return found
