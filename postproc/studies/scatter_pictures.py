"""The picture of scatter: how figures of a batch lie against their limits, and which input spreads them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from headjoint.model.base.arrays import FloatArray
from headjoint.postproc.present.drawing import (
    FAILS,
    HOLDS,
    INK,
    QUIET,
    Place,
    blank_figure,
    headline,
    placed_axes,
    save_pictures,
)
from headjoint.postproc.present.scale import Scale
from headjoint.postproc.studies.scatter import Event, Scatter, percent
from headjoint.postproc.verdict.table import EVENTS

if TYPE_CHECKING:
    from matplotlib.figure import Figure

BAR = "#3b6ea5"
MOST_FIELDS = 6
SHOWN_INPUTS = 5
SMALLEST_SHARE = 0.01


def draw_scatter(scatter: Scatter, folder: Path, units: str = "si") -> list[Path]:
    """Draw the study into `folder` and return the path."""
    return save_pictures([("scatter", lambda: scatter_figure(scatter, units))], folder)


def scatter_figure(scatter: Scatter, units: str = "si") -> Figure:
    """For each event the histogram of its figure with the limit, and beside it the inputs that spread it."""
    # the likeliest first: by count, then by distance in standard deviations
    events = sorted(scatter.events, key=lambda one: (-one.probability, -one.by_normal))[:MOST_FIELDS]
    height = 0.95 + 2.0 * len(events)
    figure = blank_figure(11, height)
    headline(figure, f"{scatter.joint.name}: {len(scatter.values)} joints of a batch")
    words = "right: share of the spread that each input makes; 'more' or 'less' of it is what helps"
    figure.text(0.012, 1.0 - 0.42 / height, words, fontsize=9, color=QUIET, va="top")
    for number, event in enumerate(events):
        bottom = 1.0 - (0.95 + 2.0 * (number + 1) - 0.62) / height
        place = (0.05, bottom, 0.47, 1.02 / height)
        _histogram(figure, place, event, scatter.figures[event.figure], Scale(event.unit, units))
        _shares(figure, (0.745, bottom, 0.21, 1.02 / height), event)
    return figure


def _histogram(figure: Figure, place: Place, event: Event, values: FloatArray, scale: Scale) -> None:
    chance = f"{percent(event.probability)} of joints ({percent(event.low)} to {percent(event.high)})"
    axes = placed_axes(figure, place, f"{event.name[0].upper()}{event.name[1:]}: {chance}", "", "")
    own, limit = scale.of_table(values[np.isfinite(values)]), scale.of_table(event.limit)
    low, high = np.quantile(own, (0.001, 0.999))
    reach = max(high - low, 1e-9 * max(abs(high), 1.0))
    left = min(low, limit) - 0.06 * reach if limit > low - 1.5 * reach else low - 0.06 * reach
    right = max(high, limit if limit < high + 1.5 * reach else high) + 0.06 * reach
    edges = np.linspace(left, right, 56)
    count, _ = np.histogram(np.clip(own, left, right), edges)
    middle = (edges[1:] + edges[:-1]) / 2.0
    colours = [FAILS if x < limit else HOLDS for x in middle]
    axes.bar(middle, count, width=0.94 * (edges[1] - edges[0]), color=colours)
    axes.set_xlim(left, right)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    requirement, counted = EVENTS[event.name]
    words = (counted.axis or requirement.axis).replace(f", {event.unit}", f", {scale.unit}")
    axes.set_xlabel(words, fontsize=9)
    axes.grid(visible=False)
    if left <= limit <= right:
        axes.axvline(limit, color=INK, linewidth=1.3)
        axes.annotate(
            f"limit {limit:g}", (limit, 1.0), xycoords=("data", "axes fraction"), xytext=(4, -2),
            textcoords="offset points", fontsize=8.5, color=INK, va="top",
        )  # fmt: skip
    else:
        far = abs(event.mean - event.limit) / max(event.deviation, 1e-300)
        side, place_ = ("left", 0.99) if limit < left else ("right", 0.99)
        axes.annotate(
            f"limit {limit:g}: far to the {side}, {min(far, 99):.0f} standard deviations", (place_, 0.97),
            xycoords="axes fraction", fontsize=8.5, color=QUIET, ha="right", va="top",
        )  # fmt: skip


def _shares(figure: Figure, place: Place, event: Event) -> None:
    rows = [row for row in event.matters[:SHOWN_INPUTS] if row[1] >= SMALLEST_SHARE]
    axes = placed_axes(figure, place, "What spreads it", "", "")
    axes.grid(visible=False)
    axes.spines[["left", "bottom"]].set_visible(False)
    axes.set_xticks([])
    axes.set_xlim(0.0, 1.15)
    axes.set_ylim(SHOWN_INPUTS - 0.5, -0.5)
    names = []
    for number, (name, share, rank) in enumerate(rows):
        axes.barh(number, share, height=0.62, color=BAR if rank >= 0.0 else "#d98324")
        axes.annotate(
            f"{100 * share:.0f} %", (share, number), xytext=(4, 0), textcoords="offset points", fontsize=8.5,
            va="center", color=INK,
        )  # fmt: skip
        shown = name
        if len(name) > 32:  # a law's name: what is measured, and its last words
            shown = f"{name.partition(',')[0]}, ... {' '.join(name.split()[-2:])}"
        names.append(f"{'more' if rank >= 0 else 'less'} {shown}")
    axes.set_yticks(range(len(names)), names, fontsize=8.5)
    axes.tick_params(axis="y", length=0)
    if not rows:
        axes.annotate("nothing does", (0.0, 0.5), xycoords="axes fraction", fontsize=9, color=QUIET)
