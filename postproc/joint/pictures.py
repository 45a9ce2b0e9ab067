"""Pictures of a solved joint, drawn without a screen."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.cases.load_cases.load_history import History
from headjoint.cases.load_cases.solved import SolvedJoint
from headjoint.cases.models.condensed import OneFastener
from headjoint.model.base.arrays import FloatArray
from headjoint.postproc.joint.fields import RecoveredState
from headjoint.postproc.joint.findings import StateFindings
from headjoint.postproc.joint.joint_diagram import joint_diagram
from headjoint.postproc.joint.section import section
from headjoint.postproc.present.drawing import (
    CLAMPED,
    COLOURS,
    DASHES,
    FASTENER,
    INK,
    PAGE,
    QUIET,
    blank_figure,
    headline,
    legend_above,
    legend_height,
    note,
    placed_axes,
    save_pictures,
    wrapped,
)
from headjoint.postproc.present.scale import Scales

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# of the clamp history, inches: room for the names of the rows, for the figures of one state, heights of rows and lines
NAMES, STATE, ROW, LINE = 1.85, 0.98, 0.2, 0.16
NAME_LETTERS = 12  # of a load case that fit over its figures
LETTERS = 26  # of a name in a legend of three columns


def draw_all(
    solved: SolvedJoint,
    states: Sequence[StateFindings],
    recovered: dict[str, RecoveredState],
    folder: Path,
    units: str = "si",
) -> list[Path]:
    """Draw every picture of the nominal tightening into `folder` and return the paths."""
    return save_pictures(
        (
            ("contact_pressure", lambda: contact_pressure(solved, states, units)),
            ("joint_diagram", lambda: joint_diagram(solved, states, recovered[states[0].name], units)),
            ("clamp_history", lambda: clamp_history(solved, units)),
            ("section", lambda: section(solved, recovered, units)),
        ),
        folder,
    )


def contact_pressure(solved: SolvedJoint, states: Sequence[StateFindings], units: str = "si") -> Figure:
    """Contact pressure over radius in every state, with the sealing line and what it needs.

    States of one kind share its colour; the second and later of them are told apart by their dashes.
    """
    scales, joint = Scales(units), solved.joint
    length, pressure = scales.length, scales.pressure
    hardest = max(states, key=lambda state: state.need.over(joint.gasket.sealing_zone.line_width))
    needed = hardest.need.over(joint.gasket.sealing_zone.line_width)
    labels = [wrapped(state.name, LETTERS) for state in states]
    labels.append(wrapped(f"needed at {hardest.name}: {pressure.text(needed)}", LETTERS))
    above = legend_height(labels) + 0.12
    height = 0.72 + above + 3.9 + 0.52
    figure = blank_figure(PAGE, height)
    headline(figure, f"Gasket contact pressure, nominal preload: {joint.name}")
    across, up = length.axis("radius from the fastener's axis"), pressure.axis("contact pressure")
    axes = placed_axes(figure, (0.095, 0.52 / height, 0.885, 3.9 / height), "", across, up)
    top = pressure(max(float(state.profile.pressure.max()) for state in states))
    sealing = joint.gasket.sealing_zone
    reach = length(max(zone.outer_diameter for zone in joint.gasket.zones) / 2)
    for number, zone in enumerate(joint.gasket.zones):
        inner, outer = length(zone.inner_diameter / 2), length(zone.outer_diameter / 2)
        axes.axvspan(inner, outer, color="#f3f5f7" if number % 2 else "#e6eaee", zorder=0)
        narrow = (outer - inner) / reach * PAGE * 0.8 < 0.085 * len(zone.name)
        look = {"fontsize": 9, "color": QUIET, "rotation": 90 if narrow else 0}
        axes.text((inner + outer) / 2, 1.29 * top, zone.name, ha="center", va="top", **look)
    for number, state in enumerate(states):
        names = np.array(state.profile.zone)
        again = sum(other.kind == state.kind for other in states[:number])
        # strokes with one dot are those of firing
        dashes = DASHES[state.kind] if again == 0 else (0, (7.0, *(1.5, 1.5) * (again + 1), 1.5))
        look = {"color": COLOURS[state.kind], "linestyle": dashes, "linewidth": 1.8}
        for index, zone in enumerate(joint.gasket.zones):
            at = names == zone.name
            label = labels[number] if index == 0 else None
            axes.plot(length(state.profile.radius[at]), pressure(state.profile.pressure[at]), label=label, **look)
    line = length(sealing.sealing_diameter / 2)
    axes.plot([line, line], [0.0, 1.05 * top], color=INK, linewidth=0.8)
    to_left = line > np.mean(axes.get_xlim())
    side = "right" if to_left else "left"
    note(axes, "sealing line", (line, 1.05 * top), (-4 if to_left else 4, 0), ha=side, va="top")
    axes.plot(
        [length(sealing.inner_diameter / 2), length(sealing.outer_diameter / 2)],
        [pressure(needed)] * 2,
        color=INK,
        linestyle=(0, (2.5, 1.2)),
        linewidth=2.2,
        label=labels[-1],
    )
    axes.set_ylim(0, 1.3 * top)
    legend_above(axes)
    return figure


def clamp_history(solved: SolvedJoint, units: str = "si") -> Figure:
    """Fastener force and clamp on the gasket through all states, at the three preloads of the scatter."""
    shown, joint, states = Scales(units).force, solved.joint, solved.nominal.states
    names = [wrapped(state.name, NAME_LETTERS) for state in states]
    gas = np.array([state.case.gas_force for state in states])
    rows = _clamp_rows(solved.histories, gas, units)
    width = max(PAGE, NAMES + STATE * len(states) + 0.1)
    above = 0.55 + 0.9
    below = 0.54 + LINE * max(name.count("\n") + 1 for name in names) + ROW * len(rows)
    height = below + 3.3 + above
    figure = blank_figure(width, height)
    headline(figure, f"Clamp through the history: {joint.name}")
    place = (NAMES / width, below / height, 1.0 - (NAMES + 0.1) / width, 3.3 / height)
    axes = placed_axes(figure, place, "", "", shown.axis("force per fastener"))
    beside = (gas > 0) | np.append(gas[1:] > 0, False) | np.append(False, gas[:-1] > 0)
    for name, history in solved.histories.items():
        _draw_clamp(axes, history, np.where(beside, gas, np.nan), units, main=name == "nominal")
    _draw_needed(axes, solved, units)
    axes.set_xticks(range(len(names)), names)
    axes.set_xlim(-0.5, len(names) - 0.5)
    axes.set_ylim(0, 1.08 * shown(max(float(state.force[0]) for state in solved.greatest.states)))
    legend_above(axes, columns=1)
    for number, (name, colour, entries) in enumerate(rows):
        weight = "bold" if "nominal" in name else "normal"
        at = (0.33 + ROW * (len(rows) - 1 - number)) / height
        figure.text(0.12 / width, at, name, color=colour, fontsize=8.5, fontweight=weight)
        for state, entry in enumerate(entries):
            middle = place[0] + place[2] * (state + 0.5) / len(names)
            figure.text(middle, at, entry, ha="center", color=colour, fontsize=8.5, fontweight=weight)
    text = "per cent of the assembly force of the same preload"
    figure.text(1.0 - 0.1 / width, 0.09 / height, text, ha="right", fontsize=8, color=QUIET)
    return figure


def _clamp_rows(
    histories: dict[str, History[OneFastener]], gas: FloatArray, units: str
) -> list[tuple[str, str, list[str]]]:
    """Return name, colour and figures of the rows under the clamp history, the greatest preload first."""
    shown = Scales(units).force
    fastener, gasket = [], []
    for name, history in reversed(histories.items()):
        force = np.array([state.force[0] for state in history.states])

        def entry(value: float, assembly: float = float(force[0])) -> str:
            return f"{shown.number(value)}  {100.0 * value / assembly:.0f} %"

        fastener.append((f"fastener, {name}, {shown.unit}", FASTENER, [entry(one) for one in force]))
        under = [entry(one - less) if less > 0.0 else "" for one, less in zip(force, gas, strict=True)]
        gasket.append((f"gasket, gas, {name}, {shown.unit}", CLAMPED, under))
    return fastener + (gasket if gas.any() else [])


def _draw_clamp(axes: Any, history: History[OneFastener], gas: FloatArray, units: str, *, main: bool) -> None:
    """Draw one preload's fastener force, and its clamp on the gasket in states of gas (N) and those beside them."""
    shown, force = Scales(units).force, np.array([state.force[0] for state in history.states])
    look = {"linewidth": 2.2, "markersize": 6} if main else {"linewidth": 1.1, "alpha": 0.6, "markersize": 4}
    label = "fastener force (thin: least and greatest preload)" if main else None
    axes.plot(shown(force), "o-", color=FASTENER, label=label, **look)
    if np.isfinite(gas).any():
        label = "clamp on the gasket, where gas takes part of it" if main else None
        axes.plot(shown(force - gas), "s--", color=CLAMPED, label=label, zorder=1.9, **look)


def _draw_needed(axes: Any, solved: SolvedJoint, units: str) -> None:
    """Draw the clamp that cold states need to keep."""
    shown, needed = Scales(units).force, solved.joint.requirements.clamp_kept
    states = solved.nominal.states
    floor = needed * float(states[0].force[0])
    words = f"needed when cold, judged at the nominal preload: {100 * needed:.0f} % of assembly, {shown.text(floor)}"
    label = wrapped(words, 52)
    for place in (place for place, state in enumerate(states) if state.kind == "cold"):
        at = [shown(floor)] * 2
        axes.plot([place - 0.25, place + 0.25], at, color=COLOURS["cold"], linewidth=2.4, label=label)
        label = ""
