"""Pictures of a sweep: factors along one quantity, or lines of one for every name of another."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.model.base.arrays import FloatArray
from headjoint.postproc.designs.axes import Axis
from headjoint.postproc.present.drawing import (
    FASTENER,
    HOLDS,
    PAGE,
    QUIET,
    blank_figure,
    headline,
    placed_axes,
    save_pictures,
    wrapped,
)
from headjoint.postproc.present.end_names import name_at_ends
from headjoint.postproc.present.scale import Scales
from headjoint.postproc.studies.marks import axis_words, mark_own, need_line, shade
from headjoint.postproc.studies.sweep import Sweep
from headjoint.postproc.studies.sweep_map import map_figure
from headjoint.postproc.verdict.table import requirement

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MOST_SHOWN = 3.0  # factor over need; what never comes below is named, not drawn
SHADES = ("#3b6ea5", "#a8323e", "#2f8f83", "#c46f17", "#6d4c7d", "#8a6d3b", "#5f7f3a", "#7a7f87")


def draw_sweep(sweep: Sweep, folder: Path, units: str = "si") -> list[Path]:
    """Draw the sweep into `folder` and return the paths; nothing where no point has a factor to draw."""
    if not sweep.requirements:
        return []
    if len(sweep.axes) == 1:
        return save_pictures([("sweep", lambda: line_figure(sweep, units))], folder)
    if all(axis.numbers is not None for axis in sweep.axes):
        return save_pictures([("sweep", lambda: map_figure(sweep))], folder)
    return save_pictures([("sweep", lambda: family_figure(sweep))], folder)


def _places(axis: Axis) -> FloatArray:
    return np.array(axis.numbers) if axis.numbers is not None else np.arange(float(len(axis.values)))


def _bound(axes: Any, axis: Axis) -> None:
    """End the axes where the axis does, names or numbers, and mark what the file states."""
    if axis.numbers is None:
        axes.set_xticks(range(len(axis.values)), [wrapped(str(value)) for value in axis.values])
        axes.set_xlim(-0.3, len(axis.values) - 0.7)
    else:
        low, high = min(axis.numbers), max(axis.numbers)
        axes.set_xlim(low, high)
        mark_own(axes, axis.own, low, high)


def line_figure(sweep: Sweep, units: str = "si") -> Figure:
    """Factor over need of every requirement along one quantity, what holds shaded; clamp below."""
    figure, axis = blank_figure(PAGE, 7.4), sweep.axes[0]
    headline(figure, f"{sweep.title}: over {axis.name}")
    title = "Requirements: factor over its need, 1 holds"
    upper = placed_axes(figure, (0.1, 0.47, 0.635, 0.43), title, "", "factor over need")
    hidden = _draw_factors(upper, sweep)
    if hidden:
        text = f"never below {MOST_SHOWN:g}: " + ", ".join(hidden)
        figure.text(0.02, 0.425, textwrap.fill(text, 95), fontsize=8.5, color=QUIET, va="top")
    force = Scales(units).force
    lower = placed_axes(figure, (0.1, 0.085, 0.635, 0.26), "", axis_words(axis), force.axis("clamp per fastener"))
    ends = []
    for name, colour in (("preload", FASTENER), ("clamp after cooling", HOLDS)):
        values = force.of_table(sweep.figure(name))
        if np.isfinite(values).any():
            lower.plot(_places(axis), values, color=colour, linewidth=1.8)
            ends.append((name, float(values[np.isfinite(values)][-1]), colour))
    name_at_ends(lower, ends)
    for axes in (upper, lower):
        _bound(axes, axis)
    return figure


def _draw_factors(axes: Any, sweep: Sweep) -> list[str]:
    """Draw the factor of every requirement that matters; return the names of those that never come near."""
    x, least = _places(sweep.axes[0]), sweep.in_hand()
    drawn, hidden, shown = [], [], []
    for key in sweep.requirements:
        values, name, colour = sweep.in_hand(key), requirement(key).title, requirement(key).colour
        if np.nanmin(values) > MOST_SHOWN:
            hidden.append(name)
            continue
        axes.plot(x, values, color=colour, linewidth=1.8, marker="o" if len(x) < 30 else None, markersize=3.5)
        drawn.append((name, float(values[np.isfinite(values)][-1]), colour))
        shown.append(np.nanmax(np.minimum(values, MOST_SHOWN)))
    axes.set_ylim(max(0.0, min(0.9, float(np.nanmin(least)) - 0.05)), max([1.3, *shown]) * 1.03)
    need_line(axes)
    shade(axes, x, least)
    name_at_ends(axes, drawn)
    return hidden


def family_figure(sweep: Sweep) -> Figure:
    """Least factor over need along one axis, a line for every name of the other."""
    lines, along = sweep.axes if sweep.axes[0].numbers is None else sweep.axes[::-1]
    least = sweep.in_hand() if sweep.axes[0].numbers is None else sweep.in_hand().T
    figure = blank_figure(PAGE, 5.0)
    headline(figure, f"{sweep.title}: {lines.name} and {along.name}")
    title = "Least factor over need of all requirements, 1 holds"
    axes = placed_axes(figure, (0.1, 0.12, 0.635, 0.71), title, axis_words(along), "least factor over need")
    x, ends = _places(along), []
    for number, name in enumerate(lines.values):
        values, colour = least[number], SHADES[number % len(SHADES)]
        if np.isfinite(values).any():
            axes.plot(x, values, color=colour, linewidth=1.8, marker="o", markersize=3.5)
            ends.append((str(name), float(values[np.isfinite(values)][-1]), colour))
    need_line(axes)
    low, high = axes.get_ylim()
    axes.set_ylim(min(low, 0.95), max(high, 1.05))
    axes.axhspan(1.0, axes.get_ylim()[1], color=HOLDS, alpha=0.08, linewidth=0, zorder=0)
    _bound(axes, along)
    name_at_ends(axes, ends)
    return figure
