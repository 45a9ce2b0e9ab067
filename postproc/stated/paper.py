"""Drawing on paper: millimetres of a sheet, scales, lines of dimensions, and names beside what they name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import shorten
from typing import Any

import numpy as np

from headjoint.postproc.present.drawing import INK, QUIET, blank_figure
from headjoint.postproc.present.end_names import spread
from headjoint.postproc.stated.cut import Block, outlines

WIDTH = 180.0  # mm, of every drawing: that of a printed page's lines
SCALES = {0.5: "2:1", 1.0: "1:1", 2.0: "1:2", 5.0: "1:5", 10.0: "1:10", 20.0: "1:20"}  # ISO 5455
LETTERS = 6.6  # size, points
LINE = 3.3  # mm from line to line of such letters
BARE = {"facecolor": "white", "edgecolor": "none", "pad": 0.6}  # behind letters
PALE = {
    "head": "#dfe5ec",
    "block": "#e6dfd3",
    "liner": "#cfc4b0",
    "fastener": "#8fa3ba",
    "nut": "#b3c0cf",
    "washer": "#c9b48f",
    "gasket": "#2d6a62",
}
HATCH = {"head": "////", "block": "\\\\\\\\", "liner": "xxxx", "washer": "\\\\\\\\\\\\"}


@dataclass(frozen=True)
class Place:
    """Where on the sheet (mm) the origin of what is drawn lies, and how much smaller it is drawn."""

    x: float
    y: float
    scale: float

    def __call__(self, across: float, up: float) -> tuple[float, float]:
        """Return the place on the sheet of a place of the joint (mm)."""
        return self.x + across / self.scale, self.y + up / self.scale


def scale_for(width: float, height: float, room: tuple[float, float]) -> float:
    """Return the largest usual scale at which something (mm) fits a room (mm)."""
    fits = [one for one in SCALES if width / one <= room[0] and height / one <= room[1]]
    return min(fits, default=max(SCALES))


def blank_sheet(height: float) -> tuple[Any, Any]:
    """Return an empty figure of a height (mm), and axes that are its millimetres."""
    figure = blank_figure(WIDTH / 25.4, height / 25.4)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_xlim(0.0, WIDTH)
    axes.set_ylim(0.0, height)
    axes.axis("off")
    return figure, axes


def title(axes: Any, height: float, text: str) -> None:
    """Write what is drawn over a sheet of a height (mm)."""
    write(axes, 2.0, height - 4.0, shorten(text, 90), fontsize=10.0)


def write(axes: Any, x: float, y: float, text: str, **more: Any) -> None:
    """Write on the sheet."""
    axes.text(x, y, text, **{"fontsize": LETTERS, "color": INK, "va": "center", "bbox": BARE} | more)


def box(axes: Any, corners: tuple[tuple[float, float], tuple[float, float]], part: str) -> None:
    """Draw a part cut by the plane of a section, between two corners on the sheet."""
    from matplotlib.patches import Rectangle

    (left, bottom), (right, top) = corners
    look: dict[str, Any] = {"facecolor": PALE[part], "edgecolor": "#8a9099", "linewidth": 0.0, "hatch": HATCH.get(part)}
    axes.add_artist(Rectangle((left, bottom), right - left, top - bottom, **look))


def draw_cut(axes: Any, blocks: Sequence[Block], at: Place, side: float) -> None:
    """Draw a cut to the right (`side` 1) or to the left (-1) of its place on the sheet."""
    for one in blocks:
        xs = sorted((side * one.start, side * one.end))
        box(axes, (at(xs[0], one.bottom), at(xs[1], one.top)), one.part)
    for (start, low), (end, high) in outlines(blocks):
        if start == end == 0.0:
            continue  # the axis, where the other half goes on
        (x0, y0), (x1, y1) = at(side * start, low), at(side * end, high)
        edge(axes, [x0, x1], [y0, y1], lw=0.5)


def edge(axes: Any, xs: Sequence[float], ys: Sequence[float], **more: Any) -> None:
    """Draw a line; the sheet's size is fixed, so that axes need not look for it as `plot` makes them."""
    from matplotlib.lines import Line2D

    look: dict[str, Any] = {"color": INK, "lw": 0.7, "solid_capstyle": "butt"} | more
    axes.add_artist(Line2D(xs, ys, **look))


def axis_line(axes: Any, xs: Sequence[float], ys: Sequence[float]) -> None:
    """Draw a line of symmetry."""
    edge(axes, xs, ys, lw=0.5, ls=(0, (10, 2, 1.5, 2)), color="#7a4b1f")


def heights(axes: Any, x: float, spans: Sequence[tuple[float, float, str]], reach: float) -> None:
    """Draw a column of heights at `x`, text at its left: (bottom, top, text) on the sheet; lines from x to `reach`."""
    middles = np.array([(low + high) / 2.0 for low, high, _ in spans])
    texts = spread(middles, np.full(len(spans), LINE)).tolist()
    for (low, high, text), middle, at in zip(spans, middles.tolist(), texts, strict=True):
        for end in (low, high):
            edge(axes, [x - 1.0, reach], [end, end], lw=0.3, color=QUIET)
        edge(axes, [x, x], [low, high], lw=0.6)
        for end in (low, high):
            edge(axes, [x - 0.7, x + 0.7], [end - 0.7, end + 0.7], lw=0.9)
        edge(axes, [x, x - 1.6], [middle, at], lw=0.3, color=QUIET)
        write(axes, x - 2.0, at, text, ha="right")


def width(axes: Any, y: float, ends: tuple[float, float], text: str, reach: float) -> None:
    """Draw a width at height `y` between two places, text above it; lines from y to `reach`."""
    for end in ends:
        edge(axes, [end, end], [y, reach], lw=0.3, color=QUIET)
        edge(axes, [end - 0.7, end + 0.7], [y - 0.7, y + 0.7], lw=0.9)
    edge(axes, ends, [y, y], lw=0.6)
    write(axes, sum(ends) / 2.0, y + 0.6, text, ha="center", va="bottom")


def named(axes: Any, x: float, names: Sequence[tuple[tuple[float, float], str]]) -> None:
    """Write names in a column at `x`, a line from each to the place on the sheet that it names."""
    lines = [text.count("\n") + 1 for _, text in names]
    tall = np.full(len(names), LINE * max(lines, default=1))
    texts = spread(np.array([place[1] for place, _ in names]), tall).tolist()
    for ((across, up), text), at in zip(names, texts, strict=True):
        edge(axes, [across, x - 3.0, x - 0.6], [up, at, at], lw=0.35, color=QUIET)
        edge(axes, [across], [up], marker="o", markersize=1.6, markeredgewidth=0.0)
        write(axes, x, at, text)
