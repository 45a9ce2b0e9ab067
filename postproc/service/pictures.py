"""Pictures of a service: clamp through all its steps, where it went, and the torque-angle curves."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.cases.service.run import Record, Service
from headjoint.model.service import Change, Hold, Repeat
from headjoint.postproc.present.drawing import (
    COLOURS,
    FASTENER,
    INK,
    QUIET,
    blank_figure,
    headline,
    placed_axes,
    save_pictures,
)
from headjoint.postproc.service.findings import ServiceFindings
from headjoint.postproc.service.loss_split import CAUSES
from headjoint.postproc.service.states import tightenings

if TYPE_CHECKING:
    from matplotlib.figure import Figure

ONSET = 60.0  # s, where the logarithmic axis of a wait begins
CAUSE_COLOURS = {
    "embedding": "#7fa8c9",
    "bearing set": "#3b6ea5",
    "gasket set": "#d9b44a",
    "gasket creep": "#d98324",
    "fastener yield": "#a8323e",
    "fastener relaxation": "#6d4c7d",
    "retorque": "#2f8f83",
}


def draw_service(findings: ServiceFindings, folder: Path) -> list[Path]:
    """Draw every picture into `folder` and return the paths."""
    pictures: list[tuple[str, Callable[[], Figure]]] = [("clamp_in_service", lambda: clamp_in_service(findings))]
    if findings.splits:
        pictures.append(("clamp_lost", lambda: clamp_lost(findings)))
    if any(record.turning is not None for record in findings.service.records):
        pictures.append(("torque_angle", lambda: torque_angle(findings)))
    return save_pictures(pictures, folder)


def clamp_in_service(findings: ServiceFindings) -> Figure:
    """Clamp over all steps: one field a step, time or cycles within it on a logarithmic scale."""
    figure = blank_figure(11, 5.8)
    headline(figure, f"Clamp per fastener through service: {findings.joint.name}")
    axes = placed_axes(figure, (0.066, 0.185, 0.775, 0.72), "", "", "clamp, kN")
    axes.grid(axis="x", visible=False)
    service = findings.service
    for look, one in (("solved", service), ("chain", findings.estimate)):
        _draw_course(axes, one, chain=look == "chain")
    steps = service.steps
    for number, step in enumerate(steps):
        axes.axvspan(number, number + 1, color="#f3f5f7" if number % 2 else "white", zorder=0)
        text = _label(number, step.name, len(steps))
        axes.text(number + 0.5, -0.025, text, transform=axes.get_xaxis_transform(), ha="center", va="top", fontsize=8.5,
                  color=INK)  # fmt: skip
        if isinstance(step, Repeat) and step.times > 1:
            powers = [10**power for power in range(int(math.log10(step.times)) + 1)]
            ticks = [*(cycle for cycle in powers if 3 * cycle <= step.times), step.times]
            for cycle in ticks:
                at = number + _cycle_place(cycle, step.times)
                axes.text(at, 0.012, f"{cycle}", transform=axes.get_xaxis_transform(), fontsize=8, color=QUIET,
                          ha="center", va="bottom")  # fmt: skip
    axes.set_xticks([])
    axes.set_xlim(0, len(steps))
    forces = [service.model.mean(one) / 1e3 for record in service.records
              for one in (record.cold_force, record.force, record.fired_force)
              if one is not None and not isinstance(steps[record.step], Change)]  # fmt: skip
    # the ramps of tightening and letting go run out of the picture, so that the losses show
    low, high = min(forces), max(*forces, *(one.turning.force.max() / 1e3 for one in tightenings(service)))
    room = max(high - low, 0.05 * high)
    axes.set_ylim(max(0.0, low - 0.35 * room), high + 0.12 * room)
    axes.legend(loc="center left", bbox_to_anchor=(1.01, 0.5), frameon=False, fontsize=9)
    figure.text(0.066, 0.02, "Within a step: turning by force, waiting by the logarithm of time, cycles by number.",
                fontsize=8.5, color=QUIET)  # fmt: skip
    return figure


def _label(number: int, name: str, steps: int) -> str:
    """Return number and name of a step, in as many short lines as fit under its field; of many steps the number."""
    width = 96 // steps
    if width < 8:
        return f"{number + 1}"
    lines = textwrap.wrap(f"{number + 1} {name}", width)
    return "\n".join(lines[:3]) + ("…" if len(lines) > 3 else "")


def _cycle_place(cycle: float, times: int) -> float:
    return 0.06 + 0.88 * (math.log(cycle) / math.log(times) if times > 1 else 0.5)


def _draw_course(axes: Any, service: Service, *, chain: bool) -> None:
    """Draw the clamp of one service; the chain only cold."""
    cold_x: list[float] = []
    cold_y: list[float] = []
    warm: dict[str, tuple[list[float], list[float]]] = {"hot": ([], []), "firing": ([], [])}
    for number, step in enumerate(service.steps):
        records = [record for record in service.records if record.step == number]
        if not records:
            continue
        if isinstance(step, Repeat):
            for record in records:
                at = number + _cycle_place(record.cycle, step.times)
                if record.cold_force is not None:
                    cold_x.append(at)
                    cold_y.append(service.model.mean(record.cold_force) / 1e3)
                _warm(warm, record, service, at)
        else:
            _step_course(service, records[-1], step, number, cold_x, cold_y, warm)
        for name in warm:
            warm[name][0].append(number + 1.0)
            warm[name][1].append(math.nan)
    if chain:
        axes.plot(cold_x, cold_y, color=INK, linewidth=1.1, linestyle=(0, (4, 2)), label="cold, estimate")
        return
    axes.plot(cold_x, cold_y, color=COLOURS["cold"], linewidth=2.0, label="cold, no gas")
    marks = {"marker": "o", "markersize": 3.5, "linewidth": 1.2}
    if any(math.isfinite(y) for y in warm["hot"][1]):
        axes.plot(*warm["hot"], color=COLOURS["hot"], label="at temperature,\nno gas", **marks)
    if any(math.isfinite(y) for y in warm["firing"][1]):
        axes.plot(*warm["firing"], color=COLOURS["firing"], label="firing", **marks)
    if service.broken is not None:
        axes.plot(cold_x[-1:], cold_y[-1:], "x", color=COLOURS["firing"], markersize=12, markeredgewidth=3,
                  label="breaks")  # fmt: skip


def _at_rest(service: Service, record: Record) -> bool:
    """Return whether a step stands at the temperature of assembly."""
    rest = service.model.joint.load_cases[0].temperatures
    return record.case is not None and record.case.temperatures == rest


def _warm(warm: dict[str, tuple[list[float], list[float]]], record: Record, service: Service, at: float) -> None:
    if record.case is not None and not _at_rest(service, record):
        warm["hot"][0].append(at)
        warm["hot"][1].append(service.model.mean(record.force) / 1e3)
    if record.fired_force is not None:
        warm["firing"][0].append(at)
        warm["firing"][1].append(service.model.mean(record.fired_force) / 1e3)


def _step_course(
    service: Service,
    record: Record,
    step: Any,
    number: int,
    cold_x: list[float],
    cold_y: list[float],
    warm: dict[str, tuple[list[float], list[float]]],
) -> None:
    """Add one step outside blocks to the courses."""
    end = number + 0.94
    if record.turning is not None:
        places = number + 0.06 + 0.8 * np.linspace(0.0, 1.0, len(record.turning.force))
        cold_x.extend(places)
        cold_y.extend(record.turning.force / 1e3)
    elif isinstance(step, Hold) and _at_rest(service, record) and step.duration > 0.0:
        past = record.trace[:, 0] - (record.time - step.duration)
        places = number + 0.06 + 0.88 * np.log1p(past / ONSET) / math.log1p(step.duration / ONSET)
        cold_x.extend(places)
        cold_y.extend(record.trace[:, 1] / 1e3)
    elif isinstance(step, Change):
        cold_x.append(number + 0.5)
        cold_y.append(service.model.mean(record.force) / 1e3)
    _warm(warm, record, service, number + 0.5)
    if record.cold_force is not None and not isinstance(step, Change):
        cold_x.append(end)
        cold_y.append(service.model.mean(record.cold_force) / 1e3)


def clamp_lost(findings: ServiceFindings) -> Figure:
    """Loss by cause at the end of every step, stacked bars, as a share of the peak clamp."""
    splits = [split for split in findings.splits if split.finite_elements.peak > 0.0]
    figure = blank_figure(11, 1.9 + 0.42 * len(splits))
    headline(figure, f"Where clamp went since the latest tightening: {findings.joint.name}")
    height = figure.get_figheight()
    place = (0.20, 0.62 / height, 0.60, 1.0 - 1.25 / height)
    axes = placed_axes(figure, place, "", "lost, % of the peak of the tightening (gains to the left)", "")
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
            axes.barh(row, share, left=start, height=0.62, color=CAUSE_COLOURS[cause], label=label)
            right, left = (right + share, left) if share > 0.0 else (right, left + share)
        whole = 100.0 * (part.peak - part.left) / part.peak
        axes.text(right, row, f"  {whole:.1f} %", va="center", fontsize=9, color=INK)
    names = [f"{split.step + 1} {split.name}" for split in splits]
    axes.set_yticks(range(len(splits)), [name if len(name) <= 24 else name[:23] + "…" for name in names])
    axes.invert_yaxis()
    axes.set_xlim(right=axes.get_xlim()[1] * 1.1)
    if shown:
        axes.legend(loc="center left", bbox_to_anchor=(1.02, 0.5), frameon=False, fontsize=9)
    return figure


def torque_angle(findings: ServiceFindings) -> Figure:
    """Force and wrench torque over angle of every tightening and retorque, with the elastic slope and yield."""
    figure = blank_figure(11, 5.2)
    headline(figure, f"Tightening curves: {findings.joint.name}")
    torque_known = any(
        record.turning is not None and record.turning.torque.max() > 0.0 for record in findings.service.records
    )
    left = placed_axes(figure, (0.062, 0.115, 0.40, 0.78), "", "angle from first touch, deg", "clamp, kN")
    right = placed_axes(figure, (0.53, 0.115, 0.30, 0.78), "", "angle from first touch, deg", "wrench torque, N.m")
    colours = [FASTENER, COLOURS["hot"], COLOURS["cold"], COLOURS["firing"], COLOURS["settled"]]
    records = tightenings(findings.service)
    for number, record in enumerate(records[:5]):
        turning = record.turning
        assert turning is not None
        look = {"color": colours[number], "linewidth": 2.0}
        angle = np.degrees(turning.angle)
        left.plot(angle, turning.force / 1e3, label=f"{record.step + 1} {record.name}", **look)
        if turning.torque.max() > 0.0:
            right.plot(angle, turning.torque / 1e3, **look)
    if records:
        assert records[0].turning is not None
        _draw_slope(left, records[0].turning.angle, records[0].turning.force)
    if not torque_known:
        right.text(0.5, 0.5, "no torque: pulled or preloaded", transform=right.transAxes, ha="center", color=QUIET)
    left.set_ylim(bottom=0.0)
    right.set_ylim(bottom=0.0)
    left.legend(loc="center left", bbox_to_anchor=(1.99, 0.5), frameon=False, fontsize=9)
    return figure


def _draw_slope(axes: Any, angle: np.ndarray, force: np.ndarray) -> None:
    """Draw the steepest slope of a curve as a straight line, so that snug and yield show as departures from it."""
    if len(angle) < 4:
        return
    rise = np.diff(force) / np.maximum(np.diff(angle), 1e-12)
    at = int(rise.argmax())
    line = force[at] + rise[at] * (angle - angle[at])
    shown = (line > 0.0) & (line < 1.08 * force.max())
    axes.plot(np.degrees(angle[shown]), line[shown] / 1e3, color=QUIET, linewidth=1.0, linestyle=(0, (4, 2)),
              label="steepest slope")  # fmt: skip
