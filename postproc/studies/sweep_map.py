"""The picture of a sweep over two quantities: a map of the least factor over need, with the limits of each."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.model.base.arrays import FloatArray
from headjoint.postproc.designs.axes import Axis
from headjoint.postproc.present.drawing import FAILS, HOLDS, INK, PAGE, QUIET, blank_figure, headline, placed_axes
from headjoint.postproc.studies.marks import BOX, axis_words
from headjoint.postproc.studies.sweep import Sweep
from headjoint.postproc.verdict.table import requirement

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.contour import QuadContourSet
    from matplotlib.figure import Figure

LEVELS = (0.4, 0.6, 0.7, 0.8, 0.9, 0.95, 1.0, 1.05, 1.1, 1.2, 1.4, 1.7)  # of the lines
SHADES = 41
STEPS = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)  # between ticks of the colour scale
MOST_TICKS = 9
ACROSS = 0.69  # where the legend begins


def map_figure(sweep: Sweep) -> Figure:
    """Map of the least factor over need of all requirements, each one's limit drawn, what fails hatched."""
    figure = blank_figure(PAGE, 7.0)
    across, up = sweep.axes
    headline(figure, f"{sweep.title}: {across.name} and {up.name}")
    title = "Least factor over need of all requirements"
    axes = placed_axes(figure, (0.11, 0.1, 0.55, 0.765), title, axis_words(across), axis_words(up))
    axes.grid(visible=False)
    least, ticks = sweep.in_hand().T, colour_ticks(sweep.in_hand())
    x, y = (np.array(axis.numbers) for axis in sweep.axes)
    filled = _fill(axes, x, y, least, ticks)
    limits = _draw_limits(axes, x, y, sweep)
    _list_limits(figure, limits, bool(np.nanmin(least) < 1.0))
    bar = figure.colorbar(filled, cax=figure.add_axes((0.72, 0.10, 0.024, 0.3)), ticks=ticks)
    bar.ax.yaxis.set_major_formatter("{x:.2g}" if ticks[1] - ticks[0] > 0.06 else "{x:.2f}")
    bar.set_label("least factor over need", fontsize=9)
    _mark_file(axes, across, up)
    axes.set_xlim(x.min(), x.max())
    axes.set_ylim(y.min(), y.max())
    return figure


def colour_ticks(least: FloatArray) -> list[float]:
    """Return round factors that hold all of a map, 1 among them."""
    low, high = min(0.9, float(np.nanmin(least))), max(1.1, float(np.nanmax(least)))
    step = next((one for one in STEPS if (high - low) / one <= MOST_TICKS - 2), STEPS[-1])
    first, last = np.floor((low - 1.0) / step + 1e-9), np.ceil((high - 1.0) / step - 1e-9)
    return [1.0 + float(number) * step for number in np.arange(first, last + 1)]


def _fill(axes: Axes, x: FloatArray, y: FloatArray, least: FloatArray, ticks: list[float]) -> QuadContourSet:
    """Colour a map with lines of equal factor, and hatch what fails."""
    from matplotlib.colors import LinearSegmentedColormap, TwoSlopeNorm

    colours = LinearSegmentedColormap.from_list("need", [FAILS, "#e9b9a6", "#f7f5ef", "#b9dcd2", HOLDS])
    norm = TwoSlopeNorm(1.0, ticks[0], ticks[-1])
    filled = axes.contourf(x, y, least, np.linspace(ticks[0], ticks[-1], SHADES), cmap=colours, norm=norm)
    if np.nanmin(least) < 1.0:
        hatched = axes.contourf(x, y, least, [-1e9, 1.0], colors="none", hatches=["//"])
        hatched.set_edgecolor("#00000030")
        hatched.set_linewidth(0.0)
    levels = [level for level in LEVELS if np.nanmin(least) * 0.98 < level < np.nanmax(least) * 1.02]
    lines = axes.contour(x, y, least, levels, colors=INK, linewidths=0.5, alpha=0.6)
    for word in axes.clabel(lines, fontsize=8, fmt="%g"):
        word.set_bbox(BOX | {"alpha": 0.6, "pad": 0.4})
    return filled


def _draw_limits(axes: Axes, x: FloatArray, y: FloatArray, sweep: Sweep) -> list[tuple[str, str]]:
    """Draw where each requirement just holds; return title and colour of those that end within the map."""
    found = []
    for key in sweep.requirements:
        values, name, colour = sweep.in_hand(key).T, requirement(key).title, requirement(key).colour
        if not np.nanmin(values) < 1.0 < np.nanmax(values):
            continue
        limit = axes.contour(x, y, values, [1.0], colors=[colour], linewidths=2.2)
        if any(len(path) for path in limit.allsegs[0]):
            found.append((name, colour))
    return found


def _list_limits(figure: Figure, limits: list[tuple[str, str]], fails: bool) -> None:
    """Say right of the map which colour is whose limit, and what hatching means."""
    height = 0.86
    if limits:
        figure.text(ACROSS, height, "limits (factor = need)", fontsize=9, color=QUIET, va="top")
        height -= 0.04
    for name, colour in limits:
        lines = textwrap.wrap(name, 22)
        figure.add_artist(_stroke(figure, (ACROSS, ACROSS + 0.027), height - 0.012, colour))
        figure.text(ACROSS + 0.035, height, "\n".join(lines), fontsize=9, color=colour, va="top")
        height -= 0.018 + 0.026 * len(lines)
    text = "hatched: at least one requirement fails" if fails else "every requirement judged is met everywhere"
    figure.text(ACROSS, height - 0.01, textwrap.fill(text, 28), fontsize=9, color=QUIET, va="top")


def _mark_file(axes: Axes, across: Axis, up: Axis) -> None:
    """Mark the place of the file itself, where it lies within the map."""
    if across.numbers is None or up.numbers is None or across.own is None or up.own is None:
        return
    if not (min(across.numbers) <= across.own <= max(across.numbers) and min(up.numbers) <= up.own <= max(up.numbers)):
        return
    axes.plot(across.own, up.own, "o", color=INK, markersize=7, markerfacecolor="white")
    inwards = across.own > 0.8 * max(across.numbers) + 0.2 * min(across.numbers)
    axes.annotate(
        "as in the file", (across.own, up.own), xytext=(-8 if inwards else 8, 6), textcoords="offset points",
        ha="right" if inwards else "left", fontsize=9, color=INK, bbox=BOX,
    )  # fmt: skip


def _stroke(figure: Figure, across: tuple[float, float], height: float, colour: str) -> Any:
    from matplotlib.lines import Line2D

    return Line2D(across, (height, height), color=colour, linewidth=2.4, transform=figure.transFigure)
