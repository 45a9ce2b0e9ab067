"""The picture of scatter: how figures of a batch lie against their limits, and which input spreads them."""

from __future__ import annotations

import textwrap
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.model.base.arrays import FloatArray
from headjoint.postproc.present.drawing import (
    FAILS,
    HOLDS,
    INK,
    QUIET,
    save_pictures,
)
from headjoint.postproc.present.scale import Scale
from headjoint.postproc.present.stack import Graph, Room, stacked
from headjoint.postproc.studies.scatter import Event, Scatter, percent
from headjoint.postproc.verdict.table import EVENTS

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MORE, LESS = "#3b6ea5", "#c46f17"
BARS = 44  # of a histogram
LONGEST, ACROSS = 40, 26  # letters of an input's name, and of a line of it
WORDS = "Right: share of the spread that each input makes; 'more' or 'less' of it is what helps."
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
    rows = []
    for event in events:
        chance = f"{percent(event.probability)} of joints ({percent(event.low)} to {percent(event.high)})"
        values, scale = scatter.figures[event.figure], Scale(event.unit, units)
        requirement, counted = EVENTS[event.name]
        across = (counted.axis or requirement.axis).replace(f", {event.unit}", f", {scale.unit}")
        joints = partial(_histogram, event=event, values=values, scale=scale)
        title = f"{event.name[0].upper()}{event.name[1:]}: {chance}"
        rows.append(
            [
                Graph(title, across, "joints", joints),
                Graph("", "share of the spread, %", "", partial(_shares, event=event)),
            ]
        )
    title = f"{scatter.joint.name}: {len(scatter.values)} joints of a batch"
    return stacked(title, rows, Room(1.4, below=0.58, lefts=(0.62, 1.95), widths=(2.75, 1.2)), WORDS)


def _histogram(axes: Any, event: Event, values: FloatArray, scale: Scale) -> None:
    """Draw how many joints have a figure, and its limit."""
    own, limit = scale.of_table(values[np.isfinite(values)]), scale.of_table(event.limit)
    low, high = np.quantile(own, (0.001, 0.999))
    reach = max(high - low, 1e-9 * max(abs(high), 1.0))
    left = min(low, limit) - 0.06 * reach if limit > low - 1.5 * reach else low - 0.06 * reach
    right = max(high, limit if limit < high + 1.5 * reach else high) + 0.06 * reach
    edges = np.linspace(left, right, BARS + 1)
    count, _ = np.histogram(np.clip(own, left, right), edges)
    middle = (edges[1:] + edges[:-1]) / 2.0
    colours = [FAILS if x < limit else HOLDS for x in middle]
    axes.bar(middle, count, width=0.94 * (edges[1] - edges[0]), color=colours)
    axes.set_xlim(left, right)
    axes.locator_params(axis="y", nbins=3, integer=True)
    axes.grid(axis="x", visible=False)
    if left <= limit <= right:
        axes.axvline(limit, color=INK, linewidth=1.3)
        words, colour = f"limit {limit:g}", INK
    else:
        far = abs(event.mean - event.limit) / max(event.deviation, 1e-300)
        side = "left" if limit < left else "right"
        words, colour = f"limit {limit:g}: {min(far, 99):.0f} standard deviations to the {side}", QUIET
    axes.set_ylim(top=1.28 * float(count.max()))  # room for the words over the bars
    at, align = (min(max(limit, left), right), "left") if limit < (left + right) / 2.0 else (min(limit, right), "right")
    axes.annotate(
        words, (at, 1.0), xycoords=("data", "axes fraction"), xytext=(4 if align == "left" else -4, -2),
        textcoords="offset points", fontsize=8.5, color=colour, ha=align, va="top",
    )  # fmt: skip


def _shares(axes: Any, event: Event) -> None:
    """Draw the inputs that spread a figure, the greatest first."""
    rows = [row for row in event.matters[:SHOWN_INPUTS] if row[1] >= SMALLEST_SHARE]
    axes.grid(axis="y", visible=False)
    axes.spines[["left"]].set_visible(False)
    axes.set_xlim(0.0, 130.0)
    axes.set_xticks([0.0, 50.0, 100.0])
    axes.set_ylim(SHOWN_INPUTS - 0.5, -0.5)
    names = []
    for number, (name, share, rank) in enumerate(rows):
        look = {"color": MORE} if rank >= 0.0 else {"color": LESS, "hatch": "////", "edgecolor": "white"}
        axes.barh(number, 100.0 * share, height=0.66, linewidth=0.0, **look)
        at = {"xytext": (3, 0), "textcoords": "offset points", "fontsize": 8.5, "va": "center", "color": INK}
        axes.annotate(f"{100 * share:.0f}", (100.0 * share, number), **at)
        names.append(_short(f"{'more' if rank >= 0 else 'less'} {name}"))
    axes.set_yticks(range(len(names)), names, linespacing=0.95)
    axes.tick_params(axis="y", length=0)
    if not rows:
        axes.annotate("nothing does", (0.0, 0.5), xycoords="axes fraction", fontsize=9, color=QUIET)


def _short(name: str) -> str:
    """Return an input's name in two lines at most: of a law's what is measured, and its last words."""
    if len(name) > LONGEST:
        name = f"{name.partition(',')[0]}, ... {' '.join(name.split()[-2:])}"
    return "\n".join(textwrap.wrap(name, ACROSS, max_lines=2, placeholder="..."))
