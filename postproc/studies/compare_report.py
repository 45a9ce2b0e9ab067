"""A comparison on the terminal, as files and as a page."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from rich.markup import escape

from headjoint.postproc.present.console import console
from headjoint.postproc.present.document import opening, plain
from headjoint.postproc.present.page import moved_in_whole, write_page
from headjoint.postproc.studies.compare import FORMAT, VERSION, Comparison, against_first, sentence
from headjoint.postproc.studies.report import print_table, print_written, run_line, short_heading
from headjoint.postproc.studies.table import figure, result_columns, write_tables

BEST = "*"


MOST_ACROSS = 6  # candidates side by side on a terminal


FIGURES_BESIDE = ("torque", "preload", "clamp after cooling", "sealed gas pressure")


def table_lines(comparison: Comparison) -> tuple[list[str], list[tuple[str, ...]]]:
    """Return the table turned round: requirements and figures down, candidates across."""
    headings = ["factor over need", *(one.name for one in comparison.candidates)]
    outcomes = comparison.outcomes
    lines: list[tuple[str, ...]] = [
        ("all requirements", *("?" if one.problem else "hold" if one.holds else "FAIL" for one in outcomes)),
        ("limited by", *(one.limiting.name if one.limiting else "" for one in outcomes)),
    ]
    for name in comparison.requirements:
        best, shown = comparison.best(name), []
        for number in range(len(outcomes)):
            factor = comparison.factor(number, name)
            mark = BEST if number in best and len(best) < len(outcomes) else ""
            low = "!" if factor is not None and factor < 1.0 else ""
            shown.append("" if factor is None else f"{low}{factor:.2f}{mark}")
        lines.append((name, *shown))
    for name in FIGURES_BESIDE:
        values = [figure(one, name) for one in outcomes]
        if any(value is not None for value in values):
            lines.append((short_heading(name), *("" if value is None else f"{value:.1f}" for value in values)))
    if any(one.cost is not None for one in comparison.candidates):
        lines.append(
            ("cost, as stated", *("" if one.cost is None else f"{one.cost:g}" for one in comparison.candidates))
        )
    lines.append(("against the first", *(against_first(comparison, n) for n in range(len(outcomes)))))
    if any(one.problem for one in outcomes):
        lines.append(("problem", *(one.problem for one in outcomes)))
    return headings, lines


def brief_lines(comparison: Comparison) -> tuple[list[str], list[tuple[str, ...]]]:
    """Return a line for every candidate with what matters most, for many of them."""
    shown = [name for name in FIGURES_BESIDE if any(figure(one, name) is not None for one in comparison.outcomes)]
    headings = ["design", "", "least/need", "limited by", *map(short_heading, shown)]
    priced = any(one.cost is not None for one in comparison.candidates)
    lines = []
    for candidate, outcome in zip(comparison.candidates, comparison.outcomes, strict=True):
        limiting, values = outcome.limiting, [figure(outcome, name) for name in shown]
        lines.append(
            (
                candidate.name,
                "?" if outcome.problem else "holds" if outcome.holds else "FAILS",
                "" if limiting is None else f"{limiting.in_hand:.2f}",
                outcome.problem or ("" if limiting is None else limiting.name),
                *("" if value is None else f"{value:.1f}" for value in values),
                *([f"{candidate.cost:g}" if candidate.cost is not None else ""] if priced else []),
            )
        )
    return [*headings, *(["cost"] if priced else [])], lines


NOTE = (
    f"{BEST} best of its line; ! below what is needed (1.00). Sealing is judged at the least tightening, stress at the "
    "greatest."
)


def print_comparison(comparison: Comparison, written: Sequence[Path]) -> None:
    """Print verdict and table."""
    screen = console()
    screen.print(f"\n[bold]{len(comparison.candidates)} designs[/bold]: {escape(sentence(comparison))}.\n")
    if len(comparison.candidates) <= MOST_ACROSS:
        print_table(screen, *table_lines(comparison))
    else:
        print_table(screen, *brief_lines(comparison), left=("", "limited by"))
    screen.print(f"\n{NOTE}\n{run_line(comparison.ran, len(comparison.outcomes))}")
    print_written(screen, written)


def comparison_document(comparison: Comparison) -> dict[str, Any]:
    """Return the comparison as a JSON document, format "headjoint-comparison": factors unrounded, figures in N, MPa."""
    return opening(FORMAT, VERSION) | {
        "candidates": [
            {
                "name": one.name,
                "file": one.source.file,
                "changes": one.changes,
                "cost": one.cost,
                "holds": outcome.holds,
            }
            | plain(outcome.plain())
            for one, outcome in zip(comparison.candidates, comparison.outcomes, strict=True)
        ],
        "best": {
            name: sorted(comparison.candidates[n].name for n in comparison.best(name))
            for name in comparison.requirements
        },
        "verdict": {"sentence": sentence(comparison)},
        "checks": {"seconds": comparison.ran.seconds, "stiffnesses": comparison.ran.stiffnesses},
    }


def write_comparison_files(comparison: Comparison, document: dict[str, Any], folder: Path) -> list[Path]:
    """Write compare.json, compare.csv, where it can compare.parquet, the picture and the page; return their paths."""
    import json

    from headjoint.postproc.studies.compare_pictures import draw_comparison

    with moved_in_whole(folder) as (scratch, written):
        (scratch / "compare.json").write_text(json.dumps(document), encoding="utf-8")
        columns = {
            "design": [one.name for one in comparison.candidates],
            "cost": [one.cost for one in comparison.candidates],
        }
        table_files = write_tables(columns | result_columns(comparison.outcomes), scratch, "compare")
        headings, lines = table_lines(comparison)
        write_page(
            scratch / "compare.html",
            "study.html.j2",
            draw_comparison(comparison, scratch),
            title=f"{len(comparison.candidates)} designs compared",
            sentence=sentence(comparison),
            holds=any(outcome.holds for outcome in comparison.outcomes),
            tables=[{"title": "Beside each other", "headings": headings, "lines": lines}],
            notes=[NOTE],
            check=run_line(comparison.ran, len(comparison.outcomes)),
            table_files=table_files,
        )
    return written
