"""Pictures of a rig log: readings, fits and predictions overlaid; clamp over time; residuals; differences."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.cases.rig.comparison import Compared, in_per_cent
from headjoint.cases.rig.evaluation import Evaluated, Finding
from headjoint.cases.rig.least_squares import Points
from headjoint.cases.rig.prediction import Prediction
from headjoint.postproc.present.drawing import COLOURS, DOT, INK
from headjoint.postproc.present.scale import Scale, Scales
from headjoint.postproc.present.stack import Graph, Room, stacked
from headjoint.postproc.rig.loaded_pictures import loaded_picture
from headjoint.postproc.rig.words import difference_text, said, short_name

if TYPE_CHECKING:
    from matplotlib.figure import Figure

RESIDUALS_ACROSS = 2
CONFIDENT, UNSURE = "#2f8f83", "#8d99a8"
TIMES = [(1.0, "1 s"), (60.0, "1 min"), (3600.0, "1 h"), (86400.0, "1 day"), (604800.0, "1 week")]

Pictures = list[tuple[str, Callable[[], "Figure"]]]


def pictures_of(
    one: Evaluated, prediction: Prediction | None, compared: Sequence[Compared], units: str = "si"
) -> Pictures:
    """Return the pictures that a log has something to show in, by name."""
    made: Pictures = []
    if one.clean.log.at("tighten").any() or one.clean.log.at("pull").any():
        made.append(("measured_and_predicted", lambda: loaded_picture(one, prediction, units)))
    if one.get("settled") is not None or one.get("per_degree") is not None:
        made.append(("standing", lambda: standing_picture(one, units)))
    if any(found.points is not None for found in one.findings):
        made.append(("residuals", lambda: residual_picture(one, units)))
    if compared:
        made.append(("differences", lambda: difference_picture(compared, units)))
    return made


def standing_picture(one: Evaluated, units: str = "si") -> Figure:
    """Return clamp over time while nobody turns, and over temperature."""
    scales = Scales(units)
    force, temperature = scales.force.axis("clamp"), scales.temperature.axis("temperature")
    settled, heat = one.get("settled"), one.get("per_degree")
    rows = []
    if settled is not None and settled.points is not None:
        waiting = partial(_draw_waiting, points=settled.points, scales=scales)
        rows.append([Graph("Waiting", "time since tightening", force, waiting)])
    if heat is not None and heat.points is not None:
        warming = partial(_draw_warming, heat=heat, points=heat.points, scales=scales)
        rows.append([Graph("Warming and cooling", temperature, force, warming)])
    return stacked(f"Clamp that stands: {one.clean.log.file}", rows)


def _draw_waiting(axes: Any, points: Points, scales: Scales) -> None:
    """Draw clamp over the logarithm of time."""
    axes.plot(10.0**points.x, scales.force(points.y), color=COLOURS["assembly"], label="read", **DOT)
    order = np.argsort(points.x)
    fitted = scales.force(points.fitted[order])
    axes.plot(10.0 ** points.x[order], fitted, color=INK, linewidth=1.6, label="fit")
    axes.set_xscale("log")
    low, high = 10.0 ** points.x.min() / 1.3, 10.0 ** points.x.max() * 1.3
    shown = [(at, text) for at, text in TIMES if low <= at <= high]
    axes.set_xticks([at for at, _ in shown], [text for _, text in shown])
    axes.minorticks_off()
    axes.set_xlim(low, high)


def _draw_warming(axes: Any, heat: Finding, points: Points, scales: Scales) -> None:
    """Draw clamp over temperature."""
    temperature = scales.temperature(points.x)
    axes.plot(temperature, scales.force(points.y), color=COLOURS["hot"], label="read", **DOT)
    axes.plot(temperature, scales.force(points.fitted), color=INK, linewidth=1.3, label=said(heat, scales.units))


def residual_picture(one: Evaluated, units: str = "si") -> Figure:
    """Return what every fit leaves over: scatter should look like scatter."""
    scales = Scales(units)
    shown = [found.points for found in one.findings if found.points is not None and found.key != "yield_force"]
    graphs = []
    for points in shown:
        across, up = scales.of(points.across[1]), scales.of(points.up[1])
        draw = partial(_draw_residual, points=points, across=across, up=up)
        graphs.append(Graph(points.title, across.axis(points.across[0]), up.axis(points.up[0]), draw))
    rows = [graphs[first : first + RESIDUALS_ACROSS] for first in range(0, len(graphs), RESIDUALS_ACROSS)]
    room = Room(height=0.95, left=0.9, right=0.28, below=0.55)
    return stacked(f"Residuals, reading less fit: {one.clean.log.file}", rows, room)


def _draw_residual(axes: Any, points: Points, across: Scale, up: Scale) -> None:
    """Draw readings less their fit."""
    axes.axhline(0.0, color=INK, linewidth=0.9)
    rest = up(points.y) - up(points.fitted)
    axes.plot(across(points.x), rest, color=COLOURS["assembly"], **DOT)
    most = 1.15 * float(np.abs(rest).max()) or 1.0
    axes.set_ylim(-most, most)


def difference_picture(compared: Sequence[Compared], units: str = "si") -> Figure:
    """Return differences with their intervals, one line each under its question; those in per cent share an axis."""
    lines: list[Compared | str] = []
    for question, found in itertools.groupby(filter(in_per_cent, compared), lambda one: one.question):
        lines += [question, *found]
    draw = partial(_draw_differences, lines=lines, units=units)
    room = Room(height=0.26 * max(len(lines), 1), left=1.98, right=2.15)
    graph = Graph("", "difference, %", "", draw)
    return stacked("Differences, with the interval that the data leave", [[graph]], room)


def _draw_differences(axes: Any, lines: Sequence[Compared | str], units: str) -> None:
    """Draw differences with their intervals under their questions."""
    axes.grid(axis="y", visible=False)
    for number, one in enumerate(lines):
        if isinstance(one, str):
            at = {"xycoords": ("figure fraction", "data"), "va": "center"}
            axes.annotate(one, (0.014, number), fontsize=9, color=INK, **at)
            continue
        colour = CONFIDENT if one.can_tell else UNSURE
        axes.plot([100 * one.low, 100 * one.high], [number, number], color=colour, linewidth=3.2, solid_capstyle="butt")
        axes.plot([100 * one.difference], [number], "o", color=colour, markersize=6)
        text = difference_text(one, units)[0] + ("" if one.can_tell else ", cannot tell")
        axes.annotate(text, (1.02, number), xycoords=("axes fraction", "data"), fontsize=9, color=colour, va="center")
    axes.axvline(0.0, color=INK, linewidth=1.0)
    named = [(number, short_name(one.name)) for number, one in enumerate(lines) if not isinstance(one, str)]
    axes.set_yticks([number for number, _ in named], [name for _, name in named])
    axes.tick_params(axis="y", length=0, labelsize=9)
    axes.set_ylim(len(lines) - 0.4, -0.6)
