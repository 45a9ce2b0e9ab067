"""Scatter of a batch on the terminal, as files and as a page."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from rich.markup import escape

from headjoint.postproc.present.console import console
from headjoint.postproc.present.document import opening, plain
from headjoint.postproc.present.page import moved_in_whole, write_page
from headjoint.postproc.studies.report import print_table, print_written, run_line
from headjoint.postproc.studies.scatter import FORMAT, QUANTILES, VERSION, Scatter, percent, sentence
from headjoint.postproc.studies.table import FIGURES, write_tables


def event_lines(scatter: Scatter) -> tuple[list[str], list[tuple[str, ...]]]:
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
    lines = []
    for one in scatter.events:
        matters = ", ".join(f"{name} {100 * index:.0f} %" for name, index, _ in one.matters[:3] if index >= 0.02)
        lines.append(
            (
                one.name,
                percent(one.probability),
                f"{percent(one.low)} to {percent(one.high)}",
                percent(one.by_normal),
                f"{one.mean:.3g} {one.unit}",
                f"{2 * one.deviation:.2g}",
                f"{one.limit:g}",
                matters,
            )
        )
    return headings, lines


def input_lines(scatter: Scatter) -> tuple[list[str], list[tuple[str, ...]]]:
    """Return headings and lines of the inputs."""
    return ["input", "distribution", "source"], [(one.name, one.words, one.source) for one in scatter.inputs]


def spread_lines(scatter: Scatter) -> tuple[list[str], list[tuple[str, ...]]]:
    """Return headings and lines of the spread of clamp and pressure."""
    lines = []
    for name in ("preload", "clamp under gas", "clamp after cooling", "least sealing-line pressure"):
        if name in scatter.figures and np.isfinite(scatter.figures[name]).any():
            unit, factor = FIGURES[name]
            low, middle, high = np.nanquantile(scatter.figures[name], QUANTILES) * factor
            lines.append((f"{name} [{unit}]", f"{low:.1f}", f"{middle:.1f}", f"{high:.1f}"))
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


def print_scatter(scatter: Scatter, written: Sequence[Path]) -> None:
    """Print verdict, probabilities, spread and inputs."""
    screen = console()
    screen.print(f"\n[bold]{escape(scatter.joint.name)}[/bold]: {len(scatter.values)} joints of a batch")
    screen.print(f"{escape(sentence(scatter))}.\n")
    for headings, lines in (event_lines(scatter), spread_lines(scatter)):
        print_table(screen, headings, lines, left=("what matters most",))
        screen.print()
    scattered = "; ".join(f"{one.name}: {one.words}" for one in scatter.inputs)
    screen.print(f"Taken to scatter: {escape(scattered)}. Sources stand in scatter.html.\n")
    for note in notes(scatter):
        screen.print(note)
    screen.print(run_line(scatter.ran, len(scatter.values)))
    print_written(screen, written)


def scatter_document(scatter: Scatter) -> dict[str, Any]:
    """Return the study as a JSON document, format "headjoint-scatter": N, MPa, unrounded."""
    return opening(FORMAT, VERSION) | {
        "joint": scatter.joint.name,
        "seed": scatter.seed,
        "sampling": scatter.sampling,
        "inputs": plain(scatter.inputs),
        "values": plain(scatter.values),
        "figures": plain(scatter.figures),
        "events": [plain(one) | {"probability": one.probability} for one in scatter.events],
        "unsolved": scatter.unsolved,
        "verdict": {"sentence": sentence(scatter)},
        "checks": {"seconds": scatter.ran.seconds},
    }


def write_scatter_files(scatter: Scatter, document: dict[str, Any], folder: Path) -> list[Path]:
    """Write scatter.json, scatter.csv, where it can scatter.parquet, the picture and the page; return their paths."""
    import json

    from headjoint.postproc.studies.scatter_pictures import draw_scatter

    with moved_in_whole(folder) as (scratch, written):
        (scratch / "scatter.json").write_text(json.dumps(document), encoding="utf-8")
        columns = {f"{one.name} [{one.unit or '1'}]": scatter.values[:, n] for n, one in enumerate(scatter.inputs)}
        for name, found in scatter.figures.items():
            unit = {"least sealing-line pressure": "MPa"}.get(name, "N") if name in FIGURES else "1"
            columns[f"{name} [{unit}]"] = found
        table_files = write_tables(columns, scratch, "scatter")
        titles = ("How likely", "Spread", "What was taken to scatter")
        tables = [
            {"title": title, "headings": headings, "lines": lines}
            for title, (headings, lines) in zip(
                titles, (event_lines(scatter), spread_lines(scatter), input_lines(scatter)), strict=True
            )
        ]
        write_page(
            scratch / "scatter.html",
            "study.html.j2",
            draw_scatter(scatter, scratch),
            title=f"{scatter.joint.name}: {len(scatter.values)} joints of a batch",
            sentence=sentence(scatter),
            holds=not any(one.happened for one in scatter.events),
            tables=tables,
            notes=notes(scatter),
            check=run_line(scatter.ran, len(scatter.values)),
            table_files=table_files,
        )
    return written
