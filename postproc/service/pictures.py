"""Pictures of a service: clamp through all its steps, where it went, and the torque-angle curves."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.cases.service.run import Record, Service
from headjoint.cases.service.tightening import Turning
from headjoint.model.base.arrays import FloatArray
from headjoint.model.service import Change, Hold, Repeat, Step
from headjoint.postproc.present.drawing import (
    COLOURS,
    FASTENER,
    INK,
    QUIET,
    save_pictures,
    wrapped,
)
from headjoint.postproc.present.scale import Scale, Scales
from headjoint.postproc.present.stack import Graph, Room, stacked
from headjoint.postproc.service.findings import ServiceFindings, SplitRow
from headjoint.postproc.service.loss_split import CAUSES
from headjoint.postproc.service.states import tightenings

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LEGEND_LETTERS = 20
ONSET = 60.0  # s, where the logarithmic axis of a wait begins
FIELDS = 76  # letters under all steps together
WITHIN = "Across: steps of the service; within one, turning by force, waiting by log of time, cycles by number."
# hatches tell apart what greys do not
CAUSE_LOOKS = {
    "embedding": ("#7fa8c9", ""),
    "bearing set": ("#3b6ea5", "///"),
    "gasket set": ("#d9b44a", ""),
    "gasket creep": ("#c46f17", "\\\\\\"),
    "fastener yield": ("#a8323e", ""),
    "fastener relaxation": ("#6d4c7d", "..."),
    "retorque": ("#2f8f83", "xxx"),
}
TURNED: tuple[tuple[str, Any], ...] = (
    (FASTENER, "-"),
    (COLOURS["hot"], (0, (6, 1.5))),
    (COLOURS["cold"], (0, (1, 1.2))),
    (COLOURS["firing"], (0, (5, 1.5, 1, 1.5))),
    (COLOURS["settled"], (0, (3, 1))),
)


def draw_service(findings: ServiceFindings, folder: Path, units: str = "si") -> list[Path]:
    """Draw every picture into `folder` and return the paths."""
    pictures: list[tuple[str, Callable[[], Figure]]] = [("clamp_in_service", lambda: clamp_in_service(findings, units))]
    if findings.splits:
        pictures.append(("clamp_lost", lambda: clamp_lost(findings)))
    if any(record.turning is not None for record in findings.service.records):
        pictures.append(("torque_angle", lambda: torque_angle(findings, units)))
    return save_pictures(pictures, folder)


def clamp_in_service(findings: ServiceFindings, units: str = "si") -> Figure:
    """Clamp over all steps: one field a step, time or cycles within it on a logarithmic scale."""
    up = Scales(units).force.axis("clamp")
    graph = Graph("", "", up, partial(_draw_service, findings=findings, force=Scales(units).force))
    return stacked(f"Clamp per fastener through service: {findings.joint.name}", [[graph]], Room(3.6), WITHIN)


def _draw_service(axes: Any, findings: ServiceFindings, force: Scale) -> None:
    """Draw the clamp over all steps, that of the estimate too."""
    service = findings.service
    axes.grid(axis="x", visible=False)
    _draw_course(axes, _course(service), force, service.broken is not None)
    cold = _course(findings.estimate)["cold"]
    axes.plot(cold.place, force(cold.force), color=INK, linewidth=1.1, linestyle=(0, (4, 2)), label="cold, estimate")
    for number, step in enumerate(service.steps):
        axes.axvspan(number, number + 1, color="#f3f5f7" if number % 2 else "white", zorder=0)
        _name_step(axes, number, step, len(service.steps))
    axes.set_xticks([])
    axes.set_xlim(0, len(service.steps))
    axes.set_ylim(*(force(end) for end in _span(service)))


def _span(service: Service) -> tuple[float, float]:
    """Return the forces (N) between which the picture shows: all that stand, so that the losses show.

    The ramps of tightening and letting go run out of the picture.
    """
    forces = [service.model.mean(one) for record in service.records
              for one in (record.cold_force, record.force, record.fired_force)
              if one is not None and not isinstance(service.steps[record.step], Change)]  # fmt: skip
    peaks = [float(one.turning.force.max()) for one in tightenings(service) if one.turning is not None]
    low, high = min(forces), max(*forces, *peaks)
    room = max(high - low, 0.05 * high)
    return max(0.0, low - 0.35 * room), high + 0.12 * room


def _name_step(axes: Any, number: int, step: Step, steps: int) -> None:
    """Write a step's name under its field, and of many cycles their numbers within."""
    below = {"transform": axes.get_xaxis_transform(), "ha": "center"}
    axes.text(number + 0.5, -0.025, _label(number, step.name, steps), va="top", fontsize=8.5, color=INK, **below)
    if isinstance(step, Repeat) and step.times > 1:
        powers = [10**power for power in range(int(math.log10(step.times)) + 1)]
        for cycle in (*(cycle for cycle in powers if 3 * cycle <= step.times), step.times):
            at = number + _cycle_place(cycle, step.times)
            box = {"facecolor": "white", "edgecolor": "none", "alpha": 0.7, "pad": 0.8}
            axes.text(at, 0.012, f"{cycle}", fontsize=8, color=QUIET, va="bottom", bbox=box, **below)


def _label(number: int, name: str, steps: int) -> str:
    """Return number and name of a step, in as many short lines as fit under its field; of many steps the number."""
    width = FIELDS // steps
    if width < 8:
        return f"{number + 1}"
    lines = textwrap.wrap(f"{number + 1} {name}", width)
    return "\n".join(lines[:3]) + ("…" if len(lines) > 3 else "")


def _cycle_place(cycle: float, times: int) -> float:
    return 0.06 + 0.88 * (math.log(cycle) / math.log(times) if times > 1 else 0.5)


@dataclass(frozen=True)
class _Line:
    """A line through a service: place within its steps, and force (N), nan where it breaks off."""

    place: list[float] = field(default_factory=list)
    force: list[float] = field(default_factory=list)

    def add(self, place: float, force: float) -> None:
        """Go on to a place."""
        self.place.append(place)
        self.force.append(force)

    @property
    def seen(self) -> bool:
        """Whether there is anything to draw."""
        return any(math.isfinite(one) for one in self.force)


Course = dict[str, _Line]


def _course(service: Service) -> Course:
    """Return the clamp of a service by kind: cold, hot, firing."""
    course = {name: _Line() for name in ("cold", "hot", "firing")}
    for number, step in enumerate(service.steps):
        records = [record for record in service.records if record.step == number]
        if not records:
            continue
        if isinstance(step, Repeat):
            for record in records:
                at = number + _cycle_place(record.cycle, step.times)
                if record.cold_force is not None:
                    course["cold"].add(at, service.model.mean(record.cold_force))
                _add_warm(course, record, service, at)
        else:
            _add_step(course, service, records[-1], step, number)
        for name in ("hot", "firing"):
            course[name].add(number + 1.0, math.nan)
    return course


def _draw_course(axes: Any, course: Course, force: Scale, breaks: bool) -> None:
    """Draw the clamp of a service, and where a fastener breaks."""
    cold = course["cold"]
    axes.plot(cold.place, force(cold.force), color=COLOURS["cold"], linewidth=2.0, label="cold, no gas")
    kinds = ("hot", "at temperature, no gas", "o", "white"), ("firing", "firing", "^", COLOURS["firing"])
    for name, label, mark, fill in kinds:
        if course[name].seen:
            marks = {"marker": mark, "markersize": 4.5, "markerfacecolor": fill, "linewidth": 1.2}
            axes.plot(course[name].place, force(course[name].force), color=COLOURS[name], label=label, **marks)
    if breaks:
        last = cold.place[-1], force(cold.force[-1])
        axes.plot(*last, "x", color=COLOURS["firing"], markersize=12, markeredgewidth=3, label="breaks")


def _at_rest(service: Service, record: Record) -> bool:
    """Return whether a step stands at the temperature of assembly."""
    rest = service.model.joint.load_cases[0].temperatures
    return record.case is not None and record.case.temperatures == rest


def _add_warm(course: Course, record: Record, service: Service, at: float) -> None:
    if record.case is not None and not _at_rest(service, record):
        course["hot"].add(at, service.model.mean(record.force))
    if record.fired_force is not None:
        course["firing"].add(at, service.model.mean(record.fired_force))


def _add_step(course: Course, service: Service, record: Record, step: Step, number: int) -> None:
    """Add one step outside blocks to the course."""
    cold = course["cold"]
    if record.turning is not None:
        places = number + 0.06 + 0.8 * np.linspace(0.0, 1.0, len(record.turning.force))
        cold.place.extend(places)
        cold.force.extend(record.turning.force)
    elif isinstance(step, Hold) and _at_rest(service, record) and step.duration > 0.0:
        past = record.trace[:, 0] - (record.time - step.duration)
        cold.place.extend(number + 0.06 + 0.88 * np.log1p(past / ONSET) / math.log1p(step.duration / ONSET))
        cold.force.extend(record.trace[:, 1])
    elif isinstance(step, Change):
        cold.add(number + 0.5, service.model.mean(record.force))
    _add_warm(course, record, service, number + 0.5)
    if record.cold_force is not None and not isinstance(step, Change):
        cold.add(number + 0.94, service.model.mean(record.cold_force))


def clamp_lost(findings: ServiceFindings) -> Figure:
    """Loss by cause at the end of every step, stacked bars, as a share of the peak clamp."""
    splits = [split for split in findings.splits if split.finite_elements.peak > 0.0]
    across = "lost, % of the peak of the tightening (gains to the left)"
    graph = Graph("", across, "", partial(_draw_losses, splits=splits))
    title = f"Where clamp went since the latest tightening: {findings.joint.name}"
    return stacked(title, [[graph]], Room(0.35 + 0.3 * len(splits), left=1.85))


def _draw_losses(axes: Any, splits: Sequence[SplitRow]) -> None:
    """Draw one bar a step, its causes end to end, and its whole beside it."""
    axes.grid(axis="y", visible=False)
    shown = set()
    for row, split in enumerate(splits):
        part = split.finite_elements
        right = left = 0.0
        for cause in CAUSES:
            share = 100.0 * part.parts[cause] / part.peak
            if abs(share) < 1e-4:
                continue
            start = right if share > 0.0 else left
            label = None if cause in shown else cause
            shown.add(cause)
            colour, hatch = CAUSE_LOOKS[cause]
            look = {"color": colour, "hatch": hatch, "edgecolor": "white", "linewidth": 0.6}
            axes.barh(row, share, left=start, height=0.66, label=label, **look)
            right, left = (right + share, left) if share > 0.0 else (right, left + share)
        whole = 100.0 * (part.peak - part.left) / part.peak
        axes.text(right, row, f"  {whole:.1f} %", va="center", fontsize=9, color=INK)
    names = [f"{split.step + 1} {split.name}" for split in splits]
    axes.set_yticks(range(len(splits)), [name if len(name) <= 24 else name[:23] + "…" for name in names])
    axes.invert_yaxis()
    axes.set_xlim(right=axes.get_xlim()[1] * 1.1)


def torque_angle(findings: ServiceFindings, units: str = "si") -> Figure:
    """Force and wrench torque over angle of every tightening and retorque, with the elastic slope and yield."""
    scales = Scales(units)
    across = scales.angle.axis("angle from first touch")
    clamp = Graph("", across, scales.force.axis("clamp"), partial(_draw_forces, findings=findings, scales=scales))
    draw = partial(_draw_torques, findings=findings, scales=scales)
    wrench = Graph("", across, scales.torque.axis("wrench torque"), draw)
    return stacked(f"Tightening curves: {findings.joint.name}", [[clamp, wrench]], Room(2.7))


def _turned(findings: ServiceFindings) -> list[tuple[str, str, Any, Turning]]:
    """Return name, colour, dashes and curve of every tightening."""
    turned = [(record, record.turning) for record in tightenings(findings.service) if record.turning is not None]
    return [
        (wrapped(f"{record.step + 1} {record.name}", LEGEND_LETTERS), *look, turning)
        for look, (record, turning) in zip(TURNED, turned, strict=False)
    ]


def _draw_forces(axes: Any, findings: ServiceFindings, scales: Scales) -> None:
    """Draw force over angle, and the steepest slope of the first tightening."""
    turned = _turned(findings)
    for name, colour, dashes, turning in turned:
        look = {"color": colour, "linestyle": dashes, "linewidth": 2.0, "label": name}
        axes.plot(scales.angle(turning.angle), scales.force(turning.force), **look)
    if turned:
        first = turned[0][-1]
        _draw_slope(axes, first.angle, first.force, scales)
    axes.set_ylim(bottom=0.0)


def _draw_torques(axes: Any, findings: ServiceFindings, scales: Scales) -> None:
    """Draw wrench torque over angle."""
    wrenched = [one for one in _turned(findings) if one[-1].torque.max() > 0.0]
    for _, colour, dashes, turning in wrenched:
        look = {"color": colour, "linestyle": dashes, "linewidth": 2.0}
        axes.plot(scales.angle(turning.angle), scales.torque(turning.torque), **look)
    if not wrenched:
        axes.text(0.5, 0.5, "no torque:\npulled or preloaded", transform=axes.transAxes, ha="center", color=QUIET)
    axes.set_ylim(bottom=0.0)


def _draw_slope(axes: Any, angle: FloatArray, force: FloatArray, scales: Scales) -> None:
    """Draw the steepest slope of a curve as a straight line, so that snug and yield show as departures from it."""
    if len(angle) < 4:
        return
    rise = np.diff(force) / np.maximum(np.diff(angle), 1e-12)
    at = int(rise.argmax())
    line = force[at] + rise[at] * (angle - angle[at])
    shown = (line > 0.0) & (line < 1.08 * force.max())
    axes.plot(scales.angle(angle[shown]), scales.force(line[shown]), color=QUIET, linewidth=1.0,
              linestyle=(0, (4, 2)), label="steepest slope")  # fmt: skip
