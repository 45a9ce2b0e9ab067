"""The picture of a log under load: torque, stretch and angle as read, as fitted and as predicted."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.cases.rig.evaluation import Evaluated
from headjoint.cases.rig.prediction import BAND, Prediction
from headjoint.cases.rig.rows import uses_tightened
from headjoint.model.base.arrays import FloatArray
from headjoint.model.rig.log import BoolArray
from headjoint.model.rig.rig import mean_friction, thread_arm
from headjoint.postproc.present.drawing import (
    CLAMPED,
    COLOURS,
    DOT,
    FASTENER,
    INK,
    QUIET,
)
from headjoint.postproc.present.scale import Scale, Scales
from headjoint.postproc.present.stack import Graph, Room, stacked

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# colours and marks, one for each use
USES = ((COLOURS["assembly"], "o"), (COLOURS["hot"], "^"), (COLOURS["cold"], "s"), (COLOURS["firing"], "D"))
BY_ELEMENTS: dict[str, Any] = {"color": INK, "linewidth": 1.5}
BY_HAND: dict[str, Any] = {"color": CLAMPED, "linewidth": 1.4, "linestyle": (0, (4, 2))}
USUAL_FRICTION = 0.12  # where a log does not tell
LEAST_SHARE = 0.1  # of the greatest force, from which friction reading by reading says anything
TICKS = 4  # along a narrow panel


@dataclass(frozen=True)
class Loaded:
    """A log, what was predicted of it, and in which units both are shown."""

    one: Evaluated
    prediction: Prediction | None = field(repr=False)
    scales: Scales

    @property
    def uses(self) -> list[int]:
        """Uses in which it was tightened; the first where it was only pulled."""
        return uses_tightened(self.one.clean.log) or [1]

    @property
    def ends(self) -> FloatArray:
        """No force, and the greatest (N)."""
        return np.array([0.0, self.one.greatest])

    def rows(self, step: str, use: int) -> BoolArray:
        """Return the readings of a step that have a force."""
        found: BoolArray = self.one.clean.log.at(step, use) & np.isfinite(self.one.clean.force)
        return found

    def force(self, rows: BoolArray) -> FloatArray:
        """Return forces (N) read in some rows."""
        return self.one.clean.force[rows]

    def read(self, channel: str, rows: BoolArray) -> FloatArray:
        """Return what a channel reads in some rows."""
        return self.one.clean.log.channels[channel][rows]

    def zero(self, use: int) -> float:
        """Return the zero (mm) that stretch of a use is read from."""
        found = self.one.get("stretch_zero", use)
        return 0.0 if found is None else found.value

    def thread_friction(self, use: int = 1) -> float:
        """Return the friction of the thread in a use, the usual one where the log does not tell."""
        known = self.one.get("thread_friction", use) or self.one.get("mean_friction", use)
        return USUAL_FRICTION if known is None else known.value

    def of_use(self, use: int) -> str:
        """Return words for a legend: of which use, where there are several."""
        return f", use {use}" if len(self.uses) > 1 else ""


def loaded_picture(one: Evaluated, prediction: Prediction | None, units: str = "si") -> Figure:
    """Return torque, stretch and angle over force, as far as they were read, with what was predicted.

    Beside each, what lines so close to each other do not show: friction as it went, and readings less prediction.
    """
    loaded = Loaded(one, prediction, Scales(units))
    rows = _rows(loaded)
    return stacked(f"Measured and predicted: {one.clean.log.file}", rows, Room(height=2.1))


def _rows(loaded: Loaded) -> list[list[Graph]]:
    """Return the graphs that a log has something to show in, row by row."""
    one, scales = loaded.one, loaded.scales
    log, found = one.clean.log, list[list[Graph]]()
    force, stretch, angle = scales.force.axis("force"), scales.fine.axis("stretch"), scales.angle.axis("angle")

    def graph(title: str, across: str, up: str, draw: Callable[[Any, Loaded], None]) -> Graph:
        return Graph(title, across, up, partial(_few_ticks, draw=draw, loaded=loaded))

    if "torque" in log.channels and log.at("tighten").any():
        alike = graph("", force, "friction, if alike", _friction_on_the_way)
        found.append([graph("Torque", force, scales.torque.axis("torque"), _torque), alike])
    if "stretch" in log.channels and one.get("yield_force") is not None:
        found.append([Graph("Pull past yield", stretch, force, partial(_pulled, loaded=loaded))])
    elif "stretch" in log.channels:
        less = graph("", force, scales.fine.axis("read - predicted"), _stretch_less)
        found.append([graph("Stretch", force, stretch, _stretch), less])
    if "angle" in log.channels and log.at("tighten").any():
        less = graph("", force, scales.angle.axis("read - predicted"), _angle_less)
        found.append([graph("Angle", force, angle, _angle), less])
    return found


def _few_ticks(axes: Any, draw: Callable[[Any, Loaded], None], loaded: Loaded) -> None:
    """Draw into axes that are too narrow for many ticks, all over one range of force."""
    draw(axes, loaded)
    axes.set_xlim(0.0, loaded.scales.force(1.03 * loaded.one.greatest))
    axes.locator_params(axis="x", nbins=TICKS)


def _friction_on_the_way(axes: Any, loaded: Loaded) -> None:
    """Draw the one friction of thread and bearing face reading by reading."""
    one, rig = loaded.one, loaded.one.rig
    for (colour, mark), use in zip(USES, loaded.uses, strict=False):
        rows = loaded.rows("tighten", use) & (one.clean.force > LEAST_SHARE * one.greatest)
        force = loaded.force(rows)
        arms = loaded.read("torque", rows) / force
        friction = [mean_friction(rig.thread, rig.bearing_diameter, arm) for arm in arms]
        axes.plot(loaded.scales.force(force), friction, color=colour, **DOT | {"marker": mark})
        if (found := one.get("mean_friction", use)) is not None:
            axes.axhline(found.value, color=colour, linewidth=1.0)


def _stretch_less(axes: Any, loaded: Loaded) -> None:
    """Draw stretch less that of finite elements, and the closed form less it."""
    prediction, scales = loaded.prediction, loaded.scales
    if prediction is None:
        return
    for (colour, mark), use in zip(USES, loaded.uses, strict=False):
        rows = loaded.rows("tighten", use) | loaded.rows("pull", use)
        force = loaded.force(rows)
        rest = loaded.read("stretch", rows) - loaded.zero(use) - prediction.stretch * force
        axes.plot(scales.force(force), scales.fine(rest), color=colour, **DOT | {"marker": mark})
    axes.axhline(0.0, **BY_ELEMENTS)
    by_hand = (prediction.stretch_estimate - prediction.stretch) * loaded.ends
    axes.plot(scales.force(loaded.ends), scales.fine(by_hand), **BY_HAND)


def _angle_less(axes: Any, loaded: Loaded) -> None:
    """Draw angle less that of finite elements, each use by its own thread friction, and the closed form less it."""
    prediction, scales = loaded.prediction, loaded.scales
    if prediction is None:
        return
    for (colour, mark), use in zip(USES, loaded.uses, strict=False):
        rows = loaded.rows("tighten", use)
        force = loaded.force(rows)
        rest = loaded.read("angle", rows) - prediction.angle(force, loaded.thread_friction(use))
        axes.plot(scales.force(force), scales.angle(rest), color=colour, **DOT | {"marker": mark})
    axes.axhline(0.0, **BY_ELEMENTS)
    per_travel = 2.0 * math.pi / loaded.one.rig.thread.pitch
    by_hand = per_travel * (prediction.travel_estimate - prediction.travel) * loaded.ends
    axes.plot(scales.force(loaded.ends), scales.angle(by_hand), **BY_HAND)


def _lost(axes: Any, loaded: Loaded, channel: str, shift: float, scale: Scale, *, force_up: bool = False) -> None:
    """Draw the readings that were taken out, so that one sees why."""
    clean = loaded.one.clean
    values = clean.taken_out.get(channel)
    if values is None:
        return
    rows = np.isfinite(values) & (clean.log.at("tighten") | clean.log.at("pull")) & np.isfinite(clean.force)
    if not rows.any():
        return
    pair: Sequence[FloatArray] = (loaded.scales.force(loaded.force(rows)), scale(values[rows] - shift))
    axes.plot(*(pair[::-1] if force_up else pair), "x", color=COLOURS["firing"], markersize=4, label="taken out")


def _torque(axes: Any, loaded: Loaded) -> None:
    one, force, torque = loaded.one, loaded.scales.force, loaded.scales.torque
    ends = 1.03 * loaded.ends
    if loaded.prediction is not None:
        low, high = (torque(loaded.prediction.torque(ends, friction)) for friction in BAND)
        label = f"predicted at friction\n{BAND[0]:g} to {BAND[1]:g} (class B)"
        axes.fill_between(force(ends), low, high, color="#dfe7ef", linewidth=0, label=label)
    for (colour, mark), use in zip(USES, loaded.uses, strict=False):
        rows = loaded.rows("tighten", use)
        label = f"read{loaded.of_use(use)}"
        axes.plot(
            force(loaded.force(rows)),
            torque(loaded.read("torque", rows)),
            color=colour,
            label=label,
            **DOT | {"marker": mark},
        )
        found = one.get("nut_factor", use)
        if found is not None and found.points is not None:
            x, y = found.points.x, found.points.fitted
            order = np.argsort(x)
            label = f"K = {found.value:.3f}"
            axes.plot(force(x[order]), torque(y[order]), color=colour, linewidth=1.6, label=label)
    loose = loaded.rows("loosen", loaded.uses[0])
    if loose.any():
        pair = force(loaded.force(loose)), torque(loaded.read("torque", loose))
        axes.plot(*pair, color=QUIET, label="loosening", **DOT)
    axes.set_ylim(bottom=0.0)


def _stretch(axes: Any, loaded: Loaded) -> None:
    force, stretch, uses = loaded.scales.force, loaded.scales.fine, loaded.uses
    ends = 1.03 * loaded.ends
    for (colour, mark), use in zip(USES, uses, strict=False):
        rows = loaded.rows("tighten", use) | loaded.rows("pull", use)
        label = f"read{loaded.of_use(use)}, zero taken off"
        read = loaded.read("stretch", rows) - loaded.zero(use)
        axes.plot(force(loaded.force(rows)), stretch(read), color=colour, label=label, **DOT | {"marker": mark})
    _lost(axes, loaded, "stretch", loaded.zero(uses[0]), stretch)
    if loaded.prediction is not None:
        by_elements, by_hand = loaded.prediction.stretch * ends, loaded.prediction.stretch_estimate * ends
        axes.plot(force(ends), stretch(by_elements), label="finite elements", **BY_ELEMENTS)
        axes.plot(force(ends), stretch(by_hand), label="closed form", **BY_HAND)
    axes.set_ylim(bottom=0.0)


def _pulled(axes: Any, loaded: Loaded) -> None:
    """Draw force over stretch with the elastic line, the offset line, yield, ultimate and the prediction."""
    one, force, stretch = loaded.one, loaded.scales.force, loaded.scales.fine
    pull = one.clean.log.at("pull").any()
    rows = (one.clean.log.at("pull") if pull else one.clean.log.at("tighten", 1)) & np.isfinite(one.clean.force)
    read = loaded.read("stretch", rows) - loaded.zero(1)
    axes.plot(stretch(read), force(loaded.force(rows)), color=FASTENER, label="read, zero taken off", **DOT)
    _lost(axes, loaded, "stretch", loaded.zero(1), stretch, force_up=True)
    slope, yielding = one.get("stretch_compliance"), one.get("yield_force")
    if slope is None or yielding is None:
        return
    offset = one.rig.stated.offset * one.rig.offset_length
    top = np.array([0.0, 1.04 * yielding.value])
    thin = {"color": QUIET, "linewidth": 1.1}
    axes.plot(stretch(slope.value * top), force(top), label="elastic line", **thin)
    length = loaded.scales.length.text(one.rig.offset_length, ".4g")
    label = f"offset by {100 * one.rig.stated.offset:.3g} % of {length}"
    axes.plot(stretch(offset + slope.value * top), force(top), linestyle=(0, (4, 2)), label=label, **thin)
    at = [stretch(offset + slope.value * yielding.value)], [force(yielding.value)]
    axes.plot(*at, "o", color=COLOURS["firing"], markersize=6, label=f"yield {force.text(yielding.value)}")
    if (most := one.get("ultimate_force")) is not None:
        label = f"ultimate {force.text(most.value)}"
        axes.axhline(force(most.value), color=COLOURS["cold"], linewidth=1.0, label=label)
    if loaded.prediction is not None:
        flow, area = one.rig.joint.fastener.flow, one.rig.joint.fastener.smallest_area
        high = 1.02 * one.greatest if flow is None else min(1.02 * one.greatest, 0.995 * flow.ultimate * area)
        forces = np.linspace(0.0, high, 160)
        known = None if pull else (one.get("thread_friction") or one.get("mean_friction"))
        predicted = loaded.prediction.stretched(forces, None if known is None else known.value)
        axes.plot(stretch(predicted), force(forces), label="predicted by the file's strengths", **BY_ELEMENTS)
    axes.set_xlim(left=0.0)
    axes.set_ylim(bottom=0.0)


def _angle(axes: Any, loaded: Loaded) -> None:
    one, force, angle, uses = loaded.one, loaded.scales.force, loaded.scales.angle, loaded.uses
    ends = 1.03 * loaded.ends
    for (colour, mark), use in zip(USES, uses, strict=False):
        rows = loaded.rows("tighten", use)
        label = f"read{loaded.of_use(use)}"
        axes.plot(
            force(loaded.force(rows)),
            angle(loaded.read("angle", rows)),
            color=colour,
            label=label,
            **DOT | {"marker": mark},
        )
    _lost(axes, loaded, "angle", 0.0, angle)
    back = loaded.rows("loosen", uses[0])
    if back.any():
        pair = force(loaded.force(back)), angle(loaded.read("angle", back))
        axes.plot(*pair, color=QUIET, label="loosening", **DOT)
    prediction = loaded.prediction
    if prediction is not None:
        friction = loaded.thread_friction()
        axes.plot(force(ends), angle(prediction.angle(ends, friction)), label="finite elements", **BY_ELEMENTS)
        wound = prediction.torsion * thread_arm(one.rig.thread, friction)
        by_hand = (2.0 * math.pi * prediction.travel_estimate / one.rig.thread.pitch + wound) * ends
        axes.plot(force(ends), angle(by_hand), label="closed form", **BY_HAND)
    axes.set_ylim(bottom=0.0)
