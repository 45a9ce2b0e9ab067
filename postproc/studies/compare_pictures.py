"""The picture of a comparison: requirements, clamp and sealing pressure of all designs laid over each other."""

from __future__ import annotations

import dataclasses
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from headjoint.postproc.present.drawing import (
    FAILS,
    HOLDS,
    INK,
    QUIET,
    blank_figure,
    headline,
    placed_axes,
    save_pictures,
)
from headjoint.postproc.studies.compare import Comparison
from headjoint.postproc.verdict.table import requirement

if TYPE_CHECKING:
    from matplotlib.figure import Figure

DESIGNS = ("#3b6ea5", "#d98324", "#2f8f83", "#a8323e", "#6d4c7d", "#8a6d3b", "#5f7f3a", "#7a7f87")
MARKS = "osD^vPX*"
MOST = 2.5  # factor over need beyond which a mark stands at the edge


def draw_comparison(comparison: Comparison, folder: Path) -> list[Path]:
    """Draw the comparison into `folder` and return the path."""
    return save_pictures([("compare", lambda: comparison_figure(comparison))], folder)


def _fewer(comparison: Comparison) -> tuple[Comparison, str]:
    """Return a comparison of no more designs than can be told apart: those with the most in hand, and what to say."""
    count = len(comparison.candidates)
    if count <= len(DESIGNS):
        return comparison, ""
    in_hand = [one.limiting.in_hand if one.limiting is not None else 0.0 for one in comparison.outcomes]
    kept = sorted(sorted(range(count), key=lambda n: -in_hand[n])[: len(DESIGNS)])
    fewer = dataclasses.replace(
        comparison,
        candidates=tuple(comparison.candidates[n] for n in kept),
        outcomes=tuple(comparison.outcomes[n] for n in kept),
    )
    return fewer, f": the {len(kept)} of {count} with the most in hand"


def comparison_figure(comparison: Comparison) -> Figure:
    """Factor over need of every requirement; below, clamp and sealing-line pressure through the load cases."""
    comparison, left_out = _fewer(comparison)
    names = [one.name for one in comparison.candidates]
    wanted = comparison.requirements
    rows = -(-len(names) // 3)
    height = 2.0 + 0.36 * len(wanted) + 3.1 + 0.24 * rows
    figure = blank_figure(11, height)
    headline(figure, f"Designs beside each other{left_out}")
    top = 1.0 - 0.45 / height
    for number, name in enumerate(names):
        row, column = divmod(number, 3)
        y, x = top - (0.22 + 0.24 * row) / height, 0.03 + 0.32 * column
        colour, mark = DESIGNS[number % len(DESIGNS)], MARKS[number % len(MARKS)]
        figure.add_artist(_mark(figure, x, y, colour, mark))
        verdict = "" if comparison.outcomes[number].holds else " - fails"
        text = textwrap.shorten(name, 44, placeholder="...") + verdict
        figure.text(x + 0.012, y, text, fontsize=9, color=INK if not verdict else FAILS, va="center")
    share = 0.36 * len(wanted) / height
    bottom = top - (0.24 * rows + 0.55) / height - share
    axes = placed_axes(
        figure,
        (0.235, bottom, 0.735, share),
        "",
        "factor over need (1 holds; the filled mark is the best of its line)",
        "",
    )
    axes.set_yticks(range(len(wanted)), [requirement(key).title for key in wanted])
    axes.set_ylim(len(wanted) - 0.5, -0.5)
    lowest = 1.0
    count = len(names)
    for line, key in enumerate(wanted):
        best = comparison.best(key)
        for number in range(count):
            factor = comparison.factor(number, key)
            if factor is None:
                continue
            colour = DESIGNS[number % len(DESIGNS)]
            lowest = min(lowest, factor)
            axes.plot(
                min(factor, MOST),
                line + 0.5 * ((number + 0.5) / count - 0.5),
                MARKS[number % len(MARKS)],
                color=colour,
                markersize=6.5,
                markerfacecolor=colour if number in best else "white",
                markeredgewidth=1.4,
                clip_on=False,
            )
    axes.axvline(1.0, color=INK, linewidth=1.0, linestyle=(0, (4, 2)))
    left = max(0.0, lowest - 0.1)
    axes.axvspan(1.0, MOST, color=HOLDS, alpha=0.08, linewidth=0, zorder=0)
    axes.set_xlim(left, MOST)
    ticks = [tick for tick in np.arange(0.0, MOST + 0.01, 0.25) if tick >= left]
    axes.set_xticks(ticks, [*(f"{tick:g}" for tick in ticks[:-1]), f">= {MOST:g}"])
    below = bottom - (0.95 + 2.05) / height
    places = ((0.065, below, 0.42, 2.05 / height), (0.55, below, 0.42, 2.05 / height))
    clamp = placed_axes(figure, places[0], "Clamp per fastener, nominal tightening", "", "kN")
    seal = placed_axes(figure, places[1], "Least sealing-line pressure, least tightening", "", "MPa")
    labels: list[str] = []
    for number, outcome in enumerate(comparison.outcomes):
        if not outcome.states:
            continue
        labels = [one.name for one in outcome.states] if len(outcome.states) > len(labels) else labels
        colour, mark = DESIGNS[number % len(DESIGNS)], MARKS[number % len(MARKS)]
        x = range(len(outcome.states))
        style = {"color": colour, "linewidth": 1.5, "marker": mark, "markersize": 4.5, "markerfacecolor": "white"}
        clamp.plot(x, [one.clamp / 1e3 for one in outcome.states], **style)
        seal.plot(x, [one.sealing for one in outcome.states], **style)
    first = next((one for one in comparison.outcomes if one.states), None)
    if first is not None:
        needed = [one.needed for one in first.states]
        seal.step(range(len(needed)), needed, where="mid", color=QUIET, linewidth=1.1, linestyle=(0, (4, 2)))
        seal.annotate(
            "needed", (len(needed) - 1, needed[-1]), xytext=(0, 5), textcoords="offset points", fontsize=8.5,
            color=QUIET, ha="center",
        )  # fmt: skip
    for axes in (clamp, seal):
        axes.set_ylim(0.0, 1.08 * axes.get_ylim()[1])
        axes.set_xticks(range(len(labels)), [textwrap.fill(label, 12) for label in labels], fontsize=9)
    return figure


def _mark(figure: Figure, x: float, y: float, colour: str, mark: str) -> object:
    from matplotlib.lines import Line2D

    return Line2D([x], [y], color=colour, marker=mark, markersize=7, linestyle="", transform=figure.transFigure)
