"""Pictures of a sweep: factors along one quantity, or a map of two with limits and what holds."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from headjoint.postproc.designs.axes import Axis
from headjoint.postproc.present.drawing import (
    FASTENER,
    HOLDS,
    INK,
    QUIET,
    blank_figure,
    headline,
    placed_axes,
    save_pictures,
)
from headjoint.postproc.studies.sweep import Sweep
from headjoint.postproc.verdict.table import requirement

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MOST_SHOWN = 3.0  # factor over need; what never comes below is named, not drawn
LEVELS = (0.4, 0.6, 0.7, 0.8, 0.9, 0.95, 1.0, 1.05, 1.1, 1.2, 1.4, 1.7)


def draw_sweep(sweep: Sweep, folder: Path) -> list[Path]:
    """Draw the sweep into `folder` and return the paths."""
    if len(sweep.axes) == 1:
        return save_pictures([("sweep", lambda: line_figure(sweep))], folder)
    if all(axis.numbers is not None for axis in sweep.axes):
        return save_pictures([("sweep", lambda: map_figure(sweep))], folder)
    return save_pictures([("sweep", lambda: family_figure(sweep))], folder)


def _spread(wanted: list[float], gap: float, low: float, high: float) -> list[float]:
    """Return places at least `gap` apart in the order of the wanted ones, as near to them as that allows."""
    order = np.argsort(wanted)
    found = np.clip(np.array(wanted, dtype=float)[order], low, high)
    for _ in range(200):
        moved = False
        for n in range(len(found) - 1):
            short = gap - (found[n + 1] - found[n])
            if short > 1e-9:
                found[n] -= short / 2.0
                found[n + 1] += short / 2.0
                moved = True
        found = found - max(0.0, found[-1] - high) + max(0.0, low - found[0])
        if not moved:
            break
    places = [0.0] * len(found)
    for n, at in enumerate(order):
        places[at] = float(found[n])
    return places


def name_at_ends(axes: Any, lines: list[tuple[str, float, str]]) -> None:
    """Write names right of the axes, each beside the end of its line: (name, height there, colour)."""
    if not lines:
        return
    low, high = axes.get_ylim()
    bounded = [min(max(height, low), high) for _, height, _ in lines]
    inches = axes.get_figure().get_size_inches()[1] * axes.get_position().height
    words = [textwrap.wrap(name, 24) for name, _, _ in lines]
    gap = (high - low) * 0.16 * max(len(one) for one in words) / inches
    for (_, _, colour), place, text in zip(lines, _spread(bounded, gap, low, high), words, strict=True):
        axes.annotate(
            "\n".join(text),
            (1.012, (place - low) / (high - low)),
            xycoords="axes fraction",
            fontsize=8.5,
            color=colour,
            va="center",
            annotation_clip=False,
        )


def _places(axis: Axis) -> NDArray[np.float64]:
    return np.array(axis.numbers) if axis.numbers is not None else np.arange(float(len(axis.values)))


def _name_ticks(axes: Any, axis: Axis) -> None:
    if axis.numbers is None:
        axes.set_xticks(range(len(axis.values)), [str(value) for value in axis.values])
        axes.set_xlim(-0.3, len(axis.values) - 0.7)


def line_figure(sweep: Sweep) -> Figure:
    """Factor over need of every requirement along one quantity, what holds shaded; clamp and sealed pressure below."""
    figure = blank_figure(11, 7.4)
    axis, x = sweep.axes[0], _places(sweep.axes[0])
    headline(figure, f"{sweep.title}: over {axis.name}")
    upper = placed_axes(
        figure, (0.07, 0.47, 0.7, 0.43), "Requirements: factor over its need, 1 holds", "", "factor over need"
    )
    least = sweep.in_hand()
    drawn, hidden, shown = [], [], []
    for key in sweep.requirements:
        values, name, colour = sweep.in_hand(key), requirement(key).title, requirement(key).colour
        if np.nanmin(values) > MOST_SHOWN:
            hidden.append(name)
            continue
        upper.plot(x, values, color=colour, linewidth=1.8, marker="o" if len(x) < 30 else None, markersize=3.5)
        drawn.append((name, float(values[np.isfinite(values)][-1]), colour))
        shown.append(np.nanmax(np.minimum(values, MOST_SHOWN)))
    upper.set_ylim(max(0.0, min(0.9, float(np.nanmin(least)) - 0.05)), max([1.3, *shown]) * 1.03)
    upper.axhline(1.0, color=INK, linewidth=1.0, linestyle=(0, (4, 2)))
    shade(upper, x, least)
    _name_ticks(upper, axis)
    name_at_ends(upper, drawn)
    if hidden:
        text = f"never below {MOST_SHOWN:g}: " + ", ".join(hidden)
        figure.text(0.07, 0.425, textwrap.fill(text, 130), fontsize=8.5, color=QUIET, va="top")
    lower = placed_axes(figure, (0.07, 0.085, 0.7, 0.26), "Clamp per fastener", axis.label, "kN")
    ends = []
    for name, colour in (("preload", FASTENER), ("clamp after cooling", HOLDS)):
        values = sweep.figure(name)
        if np.isfinite(values).any():
            lower.plot(x, values, color=colour, linewidth=1.8)
            ends.append((name, float(values[np.isfinite(values)][-1]), colour))
    name_at_ends(lower, ends)
    _name_ticks(lower, axis)
    for axes in (upper, lower):
        _mark_own(axes, axis)
    return figure


def shade(axes: Any, x: NDArray[np.float64], least: NDArray[np.float64]) -> None:
    """Shade the stretches of x where all requirements hold, their ends where the least factor crosses 1."""
    fine = np.linspace(x[0], x[-1], 800)
    good = np.interp(fine, x, np.nan_to_num(least, nan=0.0)) >= 1.0
    low, high = axes.get_ylim()
    axes.fill_between(fine, low, high, where=good, color=HOLDS, alpha=0.10, linewidth=0, zorder=0)
    axes.set_ylim(low, high)
    if good.any():
        middle = float(np.median(fine[good]))
        axes.annotate(
            "all hold", (middle, low), xytext=(0, 4), textcoords="offset points", fontsize=9, color=HOLDS, ha="center"
        )


def _mark_own(axes: Any, axis: Axis) -> None:
    """Mark what the file itself states."""
    if axis.numbers is not None and axis.own is not None and min(axis.numbers) <= axis.own <= max(axis.numbers):
        axes.axvline(axis.own, color=QUIET, linewidth=0.9, linestyle=(0, (1, 2)))
        axes.annotate(
            "as in the file",
            (axis.own, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(3, -3),
            textcoords="offset points",
            fontsize=8,
            color=QUIET,
            va="top",
            rotation=90,
        )


def map_figure(sweep: Sweep) -> Figure:
    """Map of the least factor over need of all requirements, each one's limit drawn, what fails hatched."""
    from matplotlib.colors import LinearSegmentedColormap, TwoSlopeNorm

    figure = blank_figure(11, 7.2)
    across, up = sweep.axes
    headline(figure, f"{sweep.title}: {across.name} and {up.name}")
    axes = placed_axes(
        figure, (0.075, 0.095, 0.66, 0.80), "Least factor over need of all requirements", across.label, up.label
    )
    axes.grid(visible=False)
    x, y, least = _places(across), _places(up), sweep.in_hand().T
    colours = LinearSegmentedColormap.from_list("need", ["#a8323e", "#e9b9a6", "#f7f5ef", "#b9dcd2", "#2f8f83"])
    levels = [level for level in LEVELS if np.nanmin(least) * 0.98 < level < np.nanmax(least) * 1.02]
    bottom, top = min(0.9, float(np.nanmin(least))), max(1.1, float(np.nanmax(least)))
    norm = TwoSlopeNorm(1.0, bottom, top)
    filled = axes.contourf(x, y, least, np.linspace(bottom, top, 41), cmap=colours, norm=norm, extend="both")
    if np.nanmin(least) < 1.0:
        hatched = axes.contourf(x, y, least, [-1e9, 1.0], colors="none", hatches=["//"])
        hatched.set_edgecolor("#00000030")
        hatched.set_linewidth(0.0)
    lines = axes.contour(x, y, least, levels, colors=INK, linewidths=0.5, alpha=0.6)
    axes.clabel(lines, fontsize=8, fmt="%g")
    ends = []
    for key in sweep.requirements:
        values, name, colour = sweep.in_hand(key).T, requirement(key).title, requirement(key).colour
        if not np.nanmin(values) < 1.0 < np.nanmax(values):
            continue
        limit = axes.contour(x, y, values, [1.0], colors=[colour], linewidths=2.2)
        paths = [path for path in limit.allsegs[0] if len(path)]
        if paths:
            ends.append((name, colour))
    top_text = 0.80
    if ends:
        figure.text(0.795, 0.875, "limits (factor = need)", fontsize=9, color=QUIET, va="top")
    for number, (name, colour) in enumerate(ends):
        height = 0.835 - 0.055 * number
        figure.add_artist(_stroke(figure, (0.795, 0.822), height - 0.012, colour))
        figure.text(0.83, height, textwrap.fill(name, 22), fontsize=9, color=colour, va="top")
        top_text = height - 0.06
    failing = (
        "hatched: at least one requirement fails" if np.nanmin(least) < 1.0 else "all requirements hold everywhere"
    )
    figure.text(0.795, top_text, textwrap.fill(failing, 28), fontsize=9, color=QUIET, va="top")
    bar = figure.colorbar(filled, cax=figure.add_axes((0.80, 0.12, 0.022, 0.36)), ticks=_bar_ticks(bottom, top))
    bar.ax.yaxis.set_major_formatter("{x:.2f}")
    bar.set_label("least factor over need", fontsize=9)
    if (
        across.own is not None
        and up.own is not None
        and x.min() <= across.own <= x.max()
        and y.min() <= up.own <= y.max()
    ):
        axes.plot(across.own, up.own, "o", color=INK, markersize=7, markerfacecolor="white")
        axes.annotate(
            "as in the file",
            (across.own, up.own),
            xytext=(8, 6),
            textcoords="offset points",
            fontsize=9,
            color=INK,
            bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 1.5},
        )
    axes.set_xlim(x.min(), x.max())
    axes.set_ylim(y.min(), y.max())
    return figure


def _bar_ticks(bottom: float, top: float) -> list[float]:
    return [bottom, (bottom + 1.0) / 2.0, 1.0, (1.0 + top) / 2.0, top]


def _stroke(figure: Figure, across: tuple[float, float], height: float, colour: str) -> Any:
    from matplotlib.lines import Line2D

    return Line2D(across, (height, height), color=colour, linewidth=2.4, transform=figure.transFigure)


def family_figure(sweep: Sweep) -> Figure:
    """Least factor over need along one axis, a line for every name of the other."""
    lines, along = sweep.axes if sweep.axes[0].numbers is None else sweep.axes[::-1]
    least = sweep.in_hand() if sweep.axes[0].numbers is None else sweep.in_hand().T
    figure = blank_figure(11, 5.6)
    headline(figure, f"{sweep.title}: {lines.name} and {along.name}")
    title = "Least factor over need of all requirements, 1 holds"
    axes = placed_axes(figure, (0.07, 0.12, 0.72, 0.75), title, along.label, "least factor over need")
    x, ends = _places(along), []
    shades = ["#3b6ea5", "#a8323e", "#2f8f83", "#d98324", "#6d4c7d", "#8a6d3b", "#5f7f3a", "#7a7f87"]
    for number, name in enumerate(lines.values):
        values, colour = least[number], shades[number % len(shades)]
        if np.isfinite(values).any():
            axes.plot(x, values, color=colour, linewidth=1.8, marker="o", markersize=3.5)
            ends.append((str(name), float(values[np.isfinite(values)][-1]), colour))
    axes.axhline(1.0, color=INK, linewidth=1.0, linestyle=(0, (4, 2)))
    low, high = axes.get_ylim()
    axes.set_ylim(min(low, 0.95), max(high, 1.05))
    axes.axhspan(1.0, axes.get_ylim()[1], color=HOLDS, alpha=0.08, linewidth=0, zorder=0)
    _name_ticks(axes, along)
    _mark_own(axes, along)
    name_at_ends(axes, ends)
    return figure
