"""Pictures of a rig log: readings, fits and predictions overlaid; clamp over time; residuals; differences."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.cases.rig.comparison import Compared, in_per_cent
from headjoint.cases.rig.evaluation import Evaluated
from headjoint.cases.rig.fits import uses_tightened
from headjoint.cases.rig.least_squares import Points
from headjoint.cases.rig.prediction import BAND, Prediction
from headjoint.model.rig.rig import mean_friction, thread_arm
from headjoint.postproc.present.drawing import (
    CLAMPED,
    COLOURS,
    FASTENER,
    INK,
    QUIET,
    blank_figure,
    headline,
    placed_axes,
)
from headjoint.postproc.rig.words import difference_text

if TYPE_CHECKING:
    from matplotlib.figure import Figure

USES = (COLOURS["assembly"], COLOURS["hot"], COLOURS["cold"], COLOURS["firing"])
DOT = {"marker": "o", "markersize": 3.0, "linestyle": "none", "alpha": 0.55, "markeredgewidth": 0.0}
RESIDUALS_ACROSS = 3
CONFIDENT, UNSURE = "#2f8f83", "#8d99a8"

Drawing = Callable[[Any, Evaluated, Prediction | None], None]
Pictures = list[tuple[str, Callable[[], "Figure"]]]


def pictures_of(one: Evaluated, prediction: Prediction | None, compared: Sequence[Compared]) -> Pictures:
    """Return the pictures that a log has something to show in, by name."""
    made: Pictures = []
    if one.clean.log.at("tighten").any() or one.clean.log.at("pull").any():
        made.append(("measured_and_predicted", lambda: loaded_picture(one, prediction)))
    if one.get("settled") is not None or one.get("per_degree") is not None:
        made.append(("standing", lambda: standing_picture(one)))
    if any(found.points is not None for found in one.findings):
        made.append(("residuals", lambda: residual_picture(one)))
    if compared:
        made.append(("differences", lambda: difference_picture(compared)))
    return made


def loaded_picture(one: Evaluated, prediction: Prediction | None) -> Figure:
    """Return torque, stretch and angle over force, as far as they were read, with what was predicted.

    Below each, what lines so close to each other do not show: friction as it went, and readings less prediction.
    """
    log = one.clean.log
    panels: list[tuple[str, str, str, Drawing, str, Drawing | None]] = []
    if "torque" in log.channels and log.at("tighten").any():
        panels.append(("Torque", "force, kN", "torque, N.m", _torque, "friction, alike", _friction_on_the_way))
    if "stretch" in log.channels and one.get("yield_force") is not None:
        panels.append(("Pull past yield", "stretch, mm", "force, kN", _pulled, "", None))
    elif "stretch" in log.channels:
        panels.append(("Stretch", "force, kN", "stretch, mm", _stretch, "read - predicted, mm", _stretch_less))
    if "angle" in log.channels and log.at("tighten").any():
        panels.append(("Angle", "force, kN", "angle, deg", _angle, "read - predicted, deg", _angle_less))
    below = any(panel[5] is not None for panel in panels)
    height = 6.9 if below else 5.4
    figure = blank_figure(11, height)
    headline(figure, f"Measured and predicted: {log.file}")
    gap = 0.068
    width = 0.90 if len(panels) == 1 else (0.985 - gap * len(panels)) / len(panels)
    bottom = (2.55 if below else 0.55) / height
    for number, (title, across, up, draw, up_below, draw_below) in enumerate(panels):
        left = gap + number * (width + gap)
        axes = placed_axes(
            figure, (left, bottom, width, 1.0 - bottom - 0.85 / height), title, "" if below else across, up
        )
        draw(axes, one, prediction)
        axes.legend(frameon=False, fontsize=8.2, loc="best")
        if draw_below is not None:
            lower = placed_axes(figure, (left, 0.5 / height, width, 1.65 / height), "", across, up_below)
            draw_below(lower, one, prediction)
            lower.set_xlim(axes.get_xlim())
    return figure


def _friction_on_the_way(axes: Any, one: Evaluated, prediction: Prediction | None) -> None:
    """Draw the one friction of thread and bearing face reading by reading."""
    log = one.clean.log
    for colour, use in zip(USES, uses_tightened(one.clean), strict=False):
        rows = _rows(one, "tighten", use) & (one.clean.force > 0.1 * one.greatest)
        arms = log.channels["torque"][rows] / one.clean.force[rows]
        friction = [mean_friction(one.rig.thread, one.rig.bearing_diameter, arm) for arm in arms]
        axes.plot(one.clean.force[rows] / 1e3, friction, color=colour, **DOT)
        if (found := one.get("mean_friction", use)) is not None:
            axes.axhline(found.value, color=colour, linewidth=1.0)


def _stretch_less(axes: Any, one: Evaluated, prediction: Prediction | None) -> None:
    """Draw stretch less that of finite elements, and the closed form less it."""
    if prediction is None:
        return
    for colour, use in zip(USES, uses_tightened(one.clean) or [1], strict=False):
        rows = _rows(one, "tighten", use) | _rows(one, "pull", use)
        zero = one.get("stretch_zero", use)
        force = one.clean.force[rows]
        rest = (
            one.clean.log.channels["stretch"][rows] - (0.0 if zero is None else zero.value) - prediction.stretch * force
        )
        axes.plot(force / 1e3, rest, color=colour, **DOT)
    most = np.array([0.0, one.greatest])
    axes.axhline(0.0, color=INK, linewidth=1.3)
    by_hand = (prediction.stretch_estimate - prediction.stretch) * most
    axes.plot(most / 1e3, by_hand, color=CLAMPED, linewidth=1.4, linestyle=(0, (4, 2)))


def _angle_less(axes: Any, one: Evaluated, prediction: Prediction | None) -> None:
    """Draw angle less that of finite elements, each use by its own thread friction, and the closed form less it."""
    if prediction is None:
        return
    degrees = 180.0 / math.pi
    for colour, use in zip(USES, uses_tightened(one.clean), strict=False):
        rows = _rows(one, "tighten", use)
        known = one.get("thread_friction", use) or one.get("mean_friction", use)
        force = one.clean.force[rows]
        predicted = prediction.angle(force, 0.12 if known is None else known.value)
        axes.plot(force / 1e3, (one.clean.log.channels["angle"][rows] - predicted) * degrees, color=colour, **DOT)
    most = np.array([0.0, one.greatest])
    axes.axhline(0.0, color=INK, linewidth=1.3)
    by_hand = 2.0 * math.pi * (prediction.travel_estimate - prediction.travel) / one.rig.thread.pitch * most * degrees
    axes.plot(most / 1e3, by_hand, color=CLAMPED, linewidth=1.4, linestyle=(0, (4, 2)))


def _rows(one: Evaluated, step: str, use: int) -> Any:
    return one.clean.log.at(step, use) & np.isfinite(one.clean.force)


def _lost(axes: Any, one: Evaluated, channel: str, shift: float, factor: float, *, force_up: bool = False) -> None:
    """Draw the readings that were taken out, so that one sees why."""
    values = one.clean.taken_out.get(channel)
    if values is None:
        return
    log = one.clean.log
    rows = np.isfinite(values) & (log.at("tighten") | log.at("pull")) & np.isfinite(one.clean.force)
    if not rows.any():
        return
    pair = [one.clean.force[rows] / 1e3, (values[rows] - shift) * factor]
    axes.plot(*(reversed(pair) if force_up else pair), "x", color=COLOURS["firing"], markersize=4, label="taken out")


def _of_use(use: int, uses: Sequence[int]) -> str:
    return f", use {use}" if len(uses) > 1 else ""


def _torque(axes: Any, one: Evaluated, prediction: Prediction | None) -> None:
    log, uses = one.clean.log, uses_tightened(one.clean)
    most = 1.03 * one.greatest
    force = np.array([0.0, most])
    if prediction is not None:
        low, high = (prediction.torque(force, friction) / 1e3 for friction in BAND)
        label = f"predicted at friction\n{BAND[0]:g} to {BAND[1]:g} (class B)"
        axes.fill_between(force / 1e3, low, high, color="#dfe7ef", linewidth=0, label=label)
    for colour, use in zip(USES, uses, strict=False):
        rows = _rows(one, "tighten", use)
        axes.plot(
            one.clean.force[rows] / 1e3,
            log.channels["torque"][rows] / 1e3,
            color=colour,
            label=f"read{_of_use(use, uses)}",
            **DOT,
        )
        found = one.get("nut_factor", use)
        if found is not None and found.points is not None:
            x, y = found.points.x, found.points.fitted
            order = np.argsort(x)
            axes.plot(x[order] / 1e3, y[order] / 1e3, color=colour, linewidth=1.6, label=f"K = {found.value:.3f}")
    loose = _rows(one, "loosen", uses[0]) if uses else np.zeros(log.rows, dtype=bool)
    if loose.any():
        axes.plot(
            one.clean.force[loose] / 1e3, log.channels["torque"][loose] / 1e3, color=QUIET, label="loosening", **DOT
        )
    axes.set_xlim(0.0, most / 1e3)
    axes.set_ylim(bottom=0.0)


def _stretch(axes: Any, one: Evaluated, prediction: Prediction | None) -> None:
    log = one.clean.log
    uses = uses_tightened(one.clean) or [1]
    most = 1.03 * one.greatest
    for colour, use in zip(USES, uses, strict=False):
        rows = _rows(one, "tighten", use) | _rows(one, "pull", use)
        zero = one.get("stretch_zero", use)
        shift = 0.0 if zero is None else zero.value
        axes.plot(
            one.clean.force[rows] / 1e3,
            log.channels["stretch"][rows] - shift,
            color=colour,
            label=f"read{_of_use(use, uses)}, zero taken off",
            **DOT,
        )
    zero = one.get("stretch_zero", uses[0])
    _lost(axes, one, "stretch", 0.0 if zero is None else zero.value, 1.0)
    force = np.array([0.0, most])
    if prediction is not None:
        axes.plot(force / 1e3, prediction.stretch * force, color=INK, linewidth=1.5, label="finite elements")
        axes.plot(
            force / 1e3,
            prediction.stretch_estimate * force,
            color=CLAMPED,
            linewidth=1.4,
            linestyle=(0, (4, 2)),
            label="closed form",
        )
    axes.set_xlim(0.0, most / 1e3)
    axes.set_ylim(bottom=0.0)


def _pulled(axes: Any, one: Evaluated, prediction: Prediction | None) -> None:
    """Draw force over stretch with the elastic line, the offset line, yield, ultimate and the prediction."""
    log = one.clean.log
    pull = log.at("pull").any()
    rows = (log.at("pull") if pull else log.at("tighten", 1)) & np.isfinite(one.clean.force)
    slope, zero, force = one.get("stretch_compliance"), one.get("stretch_zero"), one.get("yield_force")
    shift = 0.0 if zero is None else zero.value
    axes.plot(
        log.channels["stretch"][rows] - shift,
        one.clean.force[rows] / 1e3,
        color=FASTENER,
        label="read, zero taken off",
        **DOT,
    )
    _lost(axes, one, "stretch", shift, 1.0, force_up=True)
    if slope is None or force is None:
        return
    offset = one.rig.stated.offset * one.rig.offset_length
    top = np.array([0.0, 1.04 * force.value])
    axes.plot(slope.value * top, top / 1e3, color=QUIET, linewidth=1.1, label="elastic line")
    axes.plot(
        offset + slope.value * top,
        top / 1e3,
        color=QUIET,
        linewidth=1.1,
        linestyle=(0, (4, 2)),
        label=f"offset by {100 * one.rig.stated.offset:.3g} % of {one.rig.offset_length:.4g} mm",
    )
    axes.plot(
        [offset + slope.value * force.value],
        [force.value / 1e3],
        "o",
        color=COLOURS["firing"],
        markersize=6,
        label=f"yield {force.value / 1e3:.1f} kN",
    )
    if (most := one.get("ultimate_force")) is not None:
        axes.axhline(
            most.value / 1e3, color=COLOURS["cold"], linewidth=1.0, label=f"ultimate {most.value / 1e3:.1f} kN"
        )
    if prediction is not None:
        flow = one.rig.joint.fastener.flow
        area = one.rig.joint.fastener.smallest_area
        high = 1.02 * one.greatest if flow is None else min(1.02 * one.greatest, 0.995 * flow.ultimate * area)
        forces = np.linspace(0.0, high, 160)
        friction = None if pull else (one.get("thread_friction") or one.get("mean_friction"))
        stretch = prediction.stretched(forces, None if friction is None else friction.value)
        axes.plot(stretch, forces / 1e3, color=INK, linewidth=1.4, label="predicted by the file's strengths")
    axes.set_xlim(left=0.0)
    axes.set_ylim(bottom=0.0)


def _angle(axes: Any, one: Evaluated, prediction: Prediction | None) -> None:
    log, uses = one.clean.log, uses_tightened(one.clean)
    most = 1.03 * one.greatest
    degrees = 180.0 / math.pi
    for colour, use in zip(USES, uses, strict=False):
        rows = _rows(one, "tighten", use)
        axes.plot(
            one.clean.force[rows] / 1e3,
            log.channels["angle"][rows] * degrees,
            color=colour,
            label=f"read{_of_use(use, uses)}",
            **DOT,
        )
    _lost(axes, one, "angle", 0.0, degrees)
    back = _rows(one, "loosen", uses[0]) if uses else np.zeros(log.rows, dtype=bool)
    if back.any():
        axes.plot(
            one.clean.force[back] / 1e3, log.channels["angle"][back] * degrees, color=QUIET, label="loosening", **DOT
        )
    if prediction is not None:
        known = one.get("thread_friction") or one.get("mean_friction")
        friction = 0.12 if known is None else known.value
        force = np.array([0.0, most])
        axes.plot(
            force / 1e3, prediction.angle(force, friction) * degrees, color=INK, linewidth=1.5, label="finite elements"
        )
        wound = prediction.torsion * thread_arm(one.rig.thread, friction)
        by_hand = (2.0 * math.pi * prediction.travel_estimate / one.rig.thread.pitch + wound) * force * degrees
        axes.plot(force / 1e3, by_hand, color=CLAMPED, linewidth=1.4, linestyle=(0, (4, 2)), label="closed form")
    axes.set_xlim(0.0, most / 1e3)
    axes.set_ylim(bottom=0.0)


def standing_picture(one: Evaluated) -> Figure:
    """Return clamp over time while nobody turns, and over temperature."""
    figure = blank_figure(11, 4.6)
    headline(figure, f"Clamp that stands: {one.clean.log.file}")
    settled, heat = one.get("settled"), one.get("per_degree")
    both = settled is not None and heat is not None
    width = 0.40 if both else 0.88
    if settled is not None and settled.points is not None:
        axes = placed_axes(figure, (0.07, 0.125, width, 0.71), "Waiting", "time since tightening", "clamp, kN")
        points = settled.points
        axes.plot(10.0**points.x, points.y / 1e3, color=COLOURS["assembly"], label="read", **DOT)
        order = np.argsort(points.x)
        axes.plot(10.0 ** points.x[order], points.fitted[order] / 1e3, color=INK, linewidth=1.6, label="fit")
        axes.set_xscale("log")
        places = [(1.0, "1 s"), (60.0, "1 min"), (3600.0, "1 h"), (86400.0, "1 day"), (604800.0, "1 week")]
        low, high = 10.0 ** points.x.min() / 1.3, 10.0 ** points.x.max() * 1.3
        shown = [(at, text) for at, text in places if low <= at <= high]
        axes.set_xticks([at for at, _ in shown], [text for _, text in shown])
        axes.minorticks_off()
        axes.set_xlim(low, high)
        axes.legend(frameon=False, fontsize=8.5)
    if heat is not None and heat.points is not None:
        left = 0.07 + width + 0.085 if both else 0.07
        axes = placed_axes(figure, (left, 0.125, width, 0.71), "Warming and cooling", "temperature, degC", "clamp, kN")
        points = heat.points
        axes.plot(points.x, points.y / 1e3, color=COLOURS["hot"], label="read", **DOT)
        axes.plot(points.x, points.fitted / 1e3, color=INK, linewidth=1.3, label=f"{heat.value:.1f} N/K")
        axes.legend(frameon=False, fontsize=8.5)
    return figure


def residual_picture(one: Evaluated) -> Figure:
    """Return what every fit leaves over: scatter should look like scatter."""
    shown: list[Points] = []
    for found in one.findings:
        if found.points is not None and found.key != "yield_force":
            shown.append(found.points)
    rows = math.ceil(len(shown) / RESIDUALS_ACROSS)
    height = 0.75 + 2.15 * rows
    figure = blank_figure(11, height)
    headline(figure, f"Residuals, reading less fit: {one.clean.log.file}")
    gap, width = 0.068, (0.985 - 3 * 0.068) / 3
    for number, points in enumerate(shown):
        row, column = divmod(number, RESIDUALS_ACROSS)
        bottom = (height - 0.75 - 2.15 * (row + 1) + 0.62) / height
        place = (gap + column * (width + gap), bottom, width, 1.25 / height)
        unit = points.up.rpartition(", ")[2]
        axes = placed_axes(figure, place, points.title, points.across, unit)
        axes.title.set_fontsize(8.8)
        axes.axhline(0.0, color=INK, linewidth=0.9)
        rest = (points.y - points.fitted) * points.factors[1]
        axes.plot(points.x * points.factors[0], rest, color=COLOURS["assembly"], **DOT)
        most = 1.15 * float(np.abs(rest).max()) or 1.0
        axes.set_ylim(-most, most)
        axes.tick_params(labelsize=8)
        axes.xaxis.label.set_fontsize(8.5)
        axes.yaxis.label.set_fontsize(8.5)
    return figure


def difference_picture(compared: Sequence[Compared]) -> Figure:
    """Return differences with their intervals, one line each; those in per cent share an axis."""
    shown = [one for one in compared if in_per_cent(one)]
    height = 1.25 + 0.36 * max(len(shown), 1)
    figure = blank_figure(11, height)
    headline(figure, "Differences, with the interval that the data leave")
    axes = placed_axes(figure, (0.40, 0.62 / height, 0.38, 1.0 - 1.2 / height), "", "difference, %", "")
    for number, one in enumerate(reversed(shown)):
        colour = CONFIDENT if one.can_tell else UNSURE
        axes.plot([100 * one.low, 100 * one.high], [number, number], color=colour, linewidth=3.2, solid_capstyle="butt")
        axes.plot([100 * one.difference], [number], "o", color=colour, markersize=6)
        text = difference_text(one, "si")[0] + ("" if one.can_tell else ", cannot tell")
        axes.annotate(text, (1.02, number), xycoords=("axes fraction", "data"), fontsize=9, color=colour, va="center")
    axes.axvline(0.0, color=INK, linewidth=1.0)
    axes.set_yticks(range(len(shown)), [f"{one.question}: {_short(one.name)}" for one in reversed(shown)])
    axes.tick_params(axis="y", length=0, labelsize=9)
    axes.set_ylim(-0.6, len(shown) - 0.4)
    return figure


def _short(name: str) -> str:
    return name.split(" K = ")[0]
