"""A comparison told: verdict, all candidates in a table, files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from headjoint.postproc.present.answer import Wanted
from headjoint.postproc.present.document import opening, plain
from headjoint.postproc.present.report import Paragraphs, Pictures, Report, Section, Sheet
from headjoint.postproc.stated.answer import StatedAnswer
from headjoint.postproc.studies.compare import Comparison, against_first, sentence
from headjoint.postproc.studies.table import figure, result_columns, write_tables
from headjoint.postproc.studies.words import (
    figure_words,
    left_columns,
    left_open,
    models_seen,
    run_line,
    short_heading,
    study_error_part,
)
from headjoint.postproc.verdict.table import requirement

FORMAT, VERSION = "headjoint-comparison", 2
BEST = "*"
MOST_ACROSS = 6  # candidates side by side on a terminal
FIGURES_BESIDE = ("torque", "preload", "clamp after cooling", "sealed gas pressure")
NOTE = (
    f"{BEST} best of its line; ! below what is needed (1.00). Sealing is judged at the least tightening, stress at the "
    "greatest."
)


@dataclass(frozen=True)
class CompareAnswer(StatedAnswer):
    """Joints, or variants of one, beside each other."""

    comparison: Comparison
    document_name = "compare.json"
    page_name = "compare.html"

    @property
    def name(self) -> str:
        """What is compared: designs of one file by its name, or of several."""
        candidates = self.comparison.candidates
        count, titles = f"{len(candidates)} designs compared", {str(one.source.content["name"]) for one in candidates}
        return count if len(titles) > 1 else f"{titles.pop()}: {count}"

    @property
    def holds(self) -> bool:
        """Whether any design meets every requirement."""
        return any(outcome.holds for outcome in self.comparison.outcomes)

    def document(self) -> dict[str, Any]:
        """Return the document, format "headjoint-comparison": factors unrounded, figures in N, MPa."""
        comparison = self.comparison
        return opening(FORMAT, VERSION, solved=True) | {
            "candidates": [
                {
                    "name": one.name,
                    "file": one.source.file,
                    "changes": one.changes,
                    "cost": one.cost,
                    "holds": outcome.holds,
                }
                | plain(outcome.document())
                for one, outcome in zip(comparison.candidates, comparison.outcomes, strict=True)
            ],
            "best": {
                requirement(key).title: sorted(comparison.candidates[n].name for n in comparison.best(key))
                for key in comparison.requirements
            },
            "verdict": {"sentence": sentence(comparison)},
            "checks": {
                "mesh_errors": study_error_part(comparison.outcomes),
                "seconds": comparison.ran.seconds,
                "stiffnesses": comparison.ran.stiffnesses,
            },
        }

    def report(self, units: str = "si") -> Report:
        """Return what it says."""
        comparison = self.comparison.shown(units)
        few = len(comparison.candidates) <= MOST_ACROSS
        headings, lines = table_lines(comparison, units)
        title = "Beside each other"
        sections: list[Section] = [
            Pictures(""),
            Sheet(title, tuple(headings), tuple(lines), note=NOTE, on="both" if few else "page"),
        ]
        if not few:
            headings, lines = brief_lines(comparison, units)
            left = left_columns(tuple(headings))
            sections.append(Sheet(title, tuple(headings), tuple(lines), left=left, on="terminal"))
        sections.append(Paragraphs("", (run_line(comparison.ran, len(comparison.outcomes)),)))
        return Report(
            title=self.name,
            note="",
            judgement=None,
            sentences=(sentence(comparison), *left_open(comparison.outcomes)),
            sections=tuple(sections),
            seen=models_seen(comparison.outcomes),
        )

    def columns(self) -> Mapping[str, Sequence[Any]]:
        """Return every design with its factors and figures."""
        candidates = self.comparison.candidates
        named: dict[str, list[Any]] = {
            "design": [one.name for one in candidates],
            "cost": [one.cost for one in candidates],
        }
        return named | result_columns(self.comparison.outcomes)

    def tables(self, folder: Path, wanted: Wanted) -> None:
        """Write the designs as CSV, and as Parquet where that can be written."""
        write_tables(self.columns(), folder, "compare")

    def draw(self, folder: Path, wanted: Wanted) -> list[Path]:
        """Draw the picture."""
        from headjoint.postproc.studies.compare_pictures import draw_comparison

        return draw_comparison(self.comparison.shown(wanted.units), folder, wanted.units)


def table_lines(comparison: Comparison, units: str) -> tuple[list[str], list[tuple[str, ...]]]:
    """Return the table turned round: requirements and figures down, candidates across."""
    headings = ["factor over need", *(one.name for one in comparison.candidates)]
    outcomes = comparison.outcomes
    lines: list[tuple[str, ...]] = [
        ("verdict", *(one.word for one in outcomes)),
        ("limited by", *(one.limiting.name if one.limiting else "" for one in outcomes)),
    ]
    for key in comparison.requirements:
        best, shown = comparison.best(key), []
        for number in range(len(outcomes)):
            factor = comparison.factor(number, key)
            mark = BEST if number in best and len(best) < len(outcomes) else ""
            low = "!" if factor is not None and factor < 1.0 else ""
            shown.append("" if factor is None else f"{low}{factor:.2f}{mark}")
        lines.append((requirement(key).title, *shown))
    for name in FIGURES_BESIDE:
        values = [figure_words(one, name, units) for one in outcomes]
        if any(values):
            lines.append((short_heading(name, units), *values))
    if any(one.cost is not None for one in comparison.candidates):
        lines.append(
            ("cost, as stated", *("" if one.cost is None else f"{one.cost:g}" for one in comparison.candidates))
        )
    lines.append(("against the first", *(against_first(comparison, n) for n in range(len(outcomes)))))
    if any(one.problem for one in outcomes):
        lines.append(("problem", *(one.problem for one in outcomes)))
    return headings, lines


def brief_lines(comparison: Comparison, units: str) -> tuple[list[str], list[tuple[str, ...]]]:
    """Return a line for every candidate with what matters most, for many of them."""
    shown = [name for name in FIGURES_BESIDE if any(figure(one, name) is not None for one in comparison.outcomes)]
    headings = ["design", "", "least/need", "limited by", *(short_heading(name, units) for name in shown)]
    priced = any(one.cost is not None for one in comparison.candidates)
    lines = []
    for candidate, outcome in zip(comparison.candidates, comparison.outcomes, strict=True):
        limiting = outcome.limiting
        lines.append(
            (
                candidate.name,
                outcome.word,
                "" if limiting is None else f"{limiting.in_hand:.2f}",
                outcome.problem or ("" if limiting is None else limiting.name),
                *(figure_words(outcome, name, units) for name in shown),
                *([f"{candidate.cost:g}" if candidate.cost is not None else ""] if priced else []),
            )
        )
    return [*headings, *(["cost"] if priced else [])], lines
