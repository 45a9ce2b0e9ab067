"""Pictures of a rig log: readings, fits and predictions overlaid; clamp over time; residuals; differences."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from headjoint.cases.rig.comparison import Compared, in_per_cent
from headjoint.cases.rig.evaluation import Evaluated, Finding
from headjoint.cases.rig.least_squares import Points
from headjoint.cases.rig.prediction import Prediction
from headjoint.postproc.present.drawing import COLOURS, DOT, INK, Place, blank_figure, headline, placed_axes
from headjoint.postproc.present.scale import Scales
from headjoint.postproc.rig.loaded_pictures import loaded_picture
from headjoint.postproc.rig.words import difference_text, said, short_name

if TYPE_CHECKING:
    from matplotlib.figure import Figure

RESIDUALS_ACROSS = 3
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
    figure = blank_figure(11, 4.6)
    headline(figure, f"Clamp that stands: {one.clean.log.file}")
    settled, heat = one.get("settled"), one.get("per_degree")
    both = settled is not None and heat is not None
    width = 0.395 if both else 0.88
    if settled is not None and settled.points is not None:
        _draw_waiting(figure, (0.078, 0.125, width, 0.71), settled.points, scales)
    if heat is not None and heat.points is not None:
        left = 0.088 + width + 0.085 if both else 0.078
        _draw_warming(figure, (left, 0.125, width, 0.71), heat, heat.points, scales)
    return figure


def _draw_waiting(figure: Figure, place: Place, points: Points, scales: Scales) -> None:
    """Draw clamp over the logarithm of time."""
    axes = placed_axes(figure, place, "Waiting", "time since tightening", scales.force.axis("clamp"))
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
    axes.legend(frameon=False, fontsize=8.5)


def _draw_warming(figure: Figure, place: Place, heat: Finding, points: Points, scales: Scales) -> None:
    """Draw clamp over temperature."""
    across, up = scales.temperature.axis("temperature"), scales.force.axis("clamp")
    axes = placed_axes(figure, place, "Warming and cooling", across, up)
    temperature = scales.temperature(points.x)
    axes.plot(temperature, scales.force(points.y), color=COLOURS["hot"], label="read", **DOT)
    axes.plot(temperature, scales.force(points.fitted), color=INK, linewidth=1.3, label=said(heat, scales.units))
    axes.legend(frameon=False, fontsize=8.5)


def residual_picture(one: Evaluated, units: str = "si") -> Figure:
    """Return what every fit leaves over: scatter should look like scatter."""
    scales = Scales(units)
    shown: list[Points] = []
    for found in one.findings:
        if found.points is not None and found.key != "yield_force":
            shown.append(found.points)
    rows = math.ceil(len(shown) / RESIDUALS_ACROSS)
    height = 0.75 + 2.15 * rows
    figure = blank_figure(11, height)
    headline(figure, f"Residuals, reading less fit: {one.clean.log.file}")
    gap, width = 0.076, (0.988 - 3 * 0.076) / 3
    for number, points in enumerate(shown):
        row, column = divmod(number, RESIDUALS_ACROSS)
        bottom = (height - 0.75 - 2.15 * (row + 1) + 0.62) / height
        place = (gap + column * (width + gap), bottom, width, 1.25 / height)
        across, up = scales.of(points.across[1]), scales.of(points.up[1])
        axes = placed_axes(figure, place, points.title, across.axis(points.across[0]), up.axis(points.up[0]))
        axes.title.set_fontsize(8.8)
        axes.axhline(0.0, color=INK, linewidth=0.9)
        rest = up(points.y) - up(points.fitted)
        axes.plot(across(points.x), rest, color=COLOURS["assembly"], **DOT)
        most = 1.15 * float(np.abs(rest).max()) or 1.0
        axes.set_ylim(-most, most)
        axes.tick_params(labelsize=8)
        axes.xaxis.label.set_fontsize(8.5)
        axes.yaxis.label.set_fontsize(8.5)
    return figure


def difference_picture(compared: Sequence[Compared], units: str = "si") -> Figure:
    """Return differences with their intervals, one line each under its question; those in per cent share an axis."""
    lines: list[Compared | str] = []
    for question, found in itertools.groupby(filter(in_per_cent, compared), lambda one: one.question):
        lines += [question, *found]
    height = 1.25 + 0.3 * max(len(lines), 1)
    figure = blank_figure(11, height)
    headline(figure, "Differences, with the interval that the data leave")
    axes = placed_axes(figure, (0.25, 0.62 / height, 0.51, 1.0 - 1.2 / height), "", "difference, %", "")
    axes.grid(axis="y", visible=False)
    for number, one in enumerate(lines):
        if isinstance(one, str):
            at = {"xycoords": ("figure fraction", "data"), "va": "center"}
            axes.annotate(one, (0.012, number), fontsize=9, color=INK, **at)
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
    return figure
