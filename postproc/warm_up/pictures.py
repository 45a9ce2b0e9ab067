"""Pictures of a warm-up: temperatures, clamp and sealing over time; where it is hot at the moments that matter."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from headjoint.cases.heat.conduction import HeatBody
from headjoint.cases.warm_up.instant import Instant
from headjoint.cases.warm_up.warm_up import Checkpoint, WarmUp
from headjoint.meshes.one_fastener.joint_mesh import JointMesh
from headjoint.meshes.solid.solid_mesh import SolidMesh
from headjoint.model.base.arrays import FloatArray
from headjoint.model.formulas.sealing import seal_need
from headjoint.postproc.cell.views import solids
from headjoint.postproc.present.drawing import (
    COLOURS,
    DASHES,
    FASTENER,
    INK,
    PAGE,
    QUIET,
    blank_figure,
    headline,
    legend_above,
    note,
    placed_axes,
    save_pictures,
)
from headjoint.postproc.present.moving import save_moving
from headjoint.postproc.present.renderer import PictureError, probe_renderer
from headjoint.postproc.present.scale import Scale, Scales
from headjoint.postproc.present.scene import Rendered, colour_bar, rendered, show
from headjoint.postproc.warm_up.chosen_instants import spread_moments
from headjoint.postproc.warm_up.findings import WarmUpFindings, time_text

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    DrawsHeat = Callable[[Figure, Checkpoint, FloatArray], None]

Read = Callable[[Instant], float]

LINES = {
    "chamber face": COLOURS["firing"],
    "head at the bridge": "#8a5a9e",
    "sealing line": COLOURS["hot"],
    "head mean": "#8d99a8",
    "fastener mean": FASTENER,
    "block mean": "#b0782a",
}
HEAT: Literal["plasma"] = "plasma"
LEVELS = 25  # shades of a section
DASHED = (0, (4, 2))
WIDE, NARROWEST = 0.12, 0.018  # of the whole time, to write a step's name along or upright
NAMES = 0.38  # of the range of temperatures, room for the names of steps
FRAMES = 24  # of the warm-up that moves
# dashes tell places apart where colours do not
STROKES = {
    "chamber face": "-",
    "head at the bridge": (0, (5, 1)),
    "sealing line": (0, (6, 1.5, 1, 1.5)),
    "head mean": (0, (3, 1)),
    "fastener mean": (0, (9, 1.5)),
    "block mean": (0, (1, 1)),
}


def draw_warm_up(findings: WarmUpFindings, folder: Path, units: str = "si") -> list[Path]:
    """Draw all pictures into `folder` and return their paths; views in the round only where they can be rendered."""
    drawn = save_pictures([("warmup", lambda: over_time(findings, units))], folder)
    mesh = findings.warmed.march.heated.mesh
    if isinstance(mesh, JointMesh):
        return drawn + save_pictures([("temperatures", lambda: sections(findings.warmed, units))], folder)
    try:
        probe_renderer()
    except PictureError:
        return drawn
    return drawn + save_pictures([("temperatures", lambda: views(findings.warmed, units))], folder)


def move_warm_up(findings: WarmUpFindings, folder: Path, units: str = "si") -> list[Path]:
    """Draw the warm-up as warmup.gif into a folder and return its path; a cell only where it can be rendered."""
    if isinstance(findings.warmed.march.heated.mesh, SolidMesh):
        try:
            probe_renderer()
        except PictureError:
            return []
    frames = [draw for _, draw in moving_frames(findings.warmed, units)]
    return [save_moving(frames, folder / "warmup.gif")]


def over_time(findings: WarmUpFindings, units: str = "si") -> Figure:
    """Return temperatures above, clamp in the middle, sealing below, over time; the duty's steps as bands."""
    figure = blank_figure(PAGE, 10.4)
    headline(figure, f"Warm-up and cooling: {findings.warmed.joint.name}")
    upper, middle, lower = (
        placed_axes(figure, (0.115, bottom, 0.865, 0.215), "", "", "") for bottom in (0.655, 0.35, 0.055)
    )
    draw_temperatures(upper, findings.warmed, units)
    draw_clamp(middle, findings.warmed, units)
    _draw_sealing(lower, findings.warmed, units)
    for axes in (upper, middle, lower):
        axes.tick_params(labelsize=9.5)
        _phases(axes, findings.warmed, Scales(units).time, named=axes is upper)
        legend_above(axes)
    return figure


def draw_temperatures(axes: Any, warmed: WarmUp, units: str) -> None:
    """Draw the temperatures of all places that are followed."""
    scales, instants = Scales(units), warmed.instants
    times = scales.time([one.time for one in instants])
    for place, colour in LINES.items():
        if place in instants[0].temperatures:
            values = scales.temperature([one.temperatures[place] for one in instants])
            axes.plot(times, values, color=colour, linestyle=STROKES[place], linewidth=1.8, label=place)
    _over_the_duty(axes, times, scales, scales.temperature.axis("temperature"))


def draw_clamp(axes: Any, warmed: WarmUp, units: str) -> None:
    """Draw the clamp, with gas and without, its scatter, its estimate and its extremes."""
    scales = Scales(units)
    times = scales.time([one.time for one in warmed.instants])
    _draw_gas_and_rest(axes, warmed, scales.force, times, lambda one: one.force, lambda one: one.fired_force)
    _draw_clamp_beside(axes, warmed, scales, times)
    _over_the_duty(axes, times, scales, scales.force.axis("clamp per fastener"))


def _draw_sealing(axes: Any, warmed: WarmUp, units: str) -> None:
    """Draw the least pressure of the sealing lines, and what is needed while the engine fires."""
    scales, instants = Scales(units), warmed.instants
    times, pressure = scales.time([one.time for one in instants]), scales.pressure
    _draw_gas_and_rest(axes, warmed, pressure, times, lambda one: one.sealing, lambda one: one.fired_sealing)
    if any(one.fired_force is not None for one in instants):
        width = warmed.joint.gasket.sealing_zone.line_width
        needed = [
            math.nan if one.fired_force is None else seal_need(warmed.joint, one.gas_pressure).over(width)
            for one in instants
        ]
        style = {"linewidth": 1.0, "linestyle": DASHED, "label": "needed while firing"}
        axes.plot(times, pressure(needed), color=INK, **style)
    _over_the_duty(axes, times, scales, pressure.axis("least sealing-line pressure"))


def _over_the_duty(axes: Any, times: FloatArray, scales: Scales, up: str) -> None:
    axes.set_xlim(0.0, times[-1])
    axes.margins(y=0.12)
    axes.set_xlabel(scales.time.axis("time"))
    axes.set_ylabel(up)


def _draw_gas_and_rest(
    axes: Any, warmed: WarmUp, scale: Scale, times: FloatArray, rest: Read, firing: Callable[[Instant], float | None]
) -> None:
    """Draw a figure without gas, its range over the scatter of tightening, and with gas, broken where none burns."""
    instants = warmed.instants
    colour = COLOURS["hot"]
    axes.plot(times, scale([rest(one) for one in instants]), color=colour, linewidth=2.0, label="no gas")
    fired = [firing(one) for one in instants]
    if any(one is not None for one in fired):
        values = scale([math.nan if one is None else one for one in fired])
        axes.plot(times, values, color=COLOURS["firing"], linestyle=DASHES["firing"], linewidth=1.6, label="firing")
    if warmed.ends is not None:
        ends = (scale([rest(one) for one in run.instants]) for run in warmed.ends)
        label = "scatter of tightening"
        axes.fill_between(times, *ends, color=colour, alpha=0.14, linewidth=0.0, label=label)


def _draw_clamp_beside(axes: Any, warmed: WarmUp, scales: Scales, times: FloatArray) -> None:
    """Draw what stands beside the clamp: its estimate, that before the start, its extremes."""
    force, label = scales.force, "estimate, no gas"
    estimates = force([one.estimate for one in warmed.instants])
    axes.plot(times, estimates, color=QUIET, linewidth=1.2, linestyle=(0, (1, 1.4)), label=label)
    label = "cold, before the start"
    axes.axhline(force(warmed.tightened), color=QUIET, linewidth=1.0, linestyle=DASHED, label=label)
    greatest, least = warmed.extreme(lambda one: one.force), warmed.extreme(lambda one: -one.force)
    for one, lift in ((greatest, 5), (least, -13)):
        at = scales.time(one.time), force(one.force)
        axes.plot(*at, "o", color=INK, markersize=5)
        note(axes, force.text(one.force), at, (6, lift))


def _phases(axes: Any, warmed: WarmUp, time: Scale, *, named: bool) -> None:
    """Shade every other step of the duty, and name them at the top of the axes, narrow ones upright."""
    if named:
        low, high = axes.get_ylim()
        axes.set_ylim(low, high + NAMES * (high - low))  # room above the curves
    end = warmed.instants[-1].time
    for number, step in enumerate(warmed.duty.steps):
        if number % 2 == 1:
            axes.axvspan(time(step.start), time(step.end), color="#f1f3f6", zorder=0)
        share = (step.end - step.start) / end
        if not named or share < NARROWEST:
            continue
        wide = share > WIDE
        axes.text(
            time((step.start + step.end) / 2.0),
            0.98,
            step.name,
            transform=axes.get_xaxis_transform(),
            rotation=0 if wide else 90,
            ha="center",
            va="top",
            fontsize=8.5,
            color=QUIET,
        )


def chosen_moments(warmed: WarmUp) -> list[tuple[str, Checkpoint]]:
    """Return the moments that are drawn: of greatest clamp, hottest, of least clamp."""
    moments = warmed.checkpoints
    greatest = max(moments, key=lambda one: one.instant.force)
    hottest = max(moments, key=lambda one: one.instant.temperatures["head mean"])
    least = min(moments, key=lambda one: one.instant.force)
    return [("greatest clamp", greatest), ("head hottest", hottest), ("least clamp", least)]


def sections(warmed: WarmUp, units: str = "si") -> Figure:
    """Return the temperature over the section of one fastener's joint at three moments, on one scale."""
    scales, body = Scales(units), warmed.march.heated.body
    tall = max(float(np.ptp(body.places[1])) / float(np.ptp(body.places[0])), 1.0)
    across = 1.62  # inches of a section
    height = min(1.35 + across * tall, 9.5)
    figure = blank_figure(PAGE, height)
    headline(figure, f"Temperature: {warmed.joint.name}")
    chosen = chosen_moments(warmed)
    ticks = _temperature_ticks([moment for _, moment in chosen], scales.temperature)
    for number, (name, moment) in enumerate(chosen):
        axes = figure.add_axes((0.115 + 0.26 * number, 0.5 / height, 0.228, 1.0 - 1.3 / height))
        draw_section(axes, body, moment, ticks, scales)
        axes.set_title(f"{name},\n{time_text(moment.instant.time)}", loc="left", fontsize=10, color=INK)
        if number:
            axes.set_ylabel("")
            axes.set_yticklabels([])
    colour_bar(figure, (0.895, 0.2, 0.022, 0.55), ticks, HEAT, scales.temperature.axis("temperature"), "neither")
    return figure


def draw_section(axes: Any, body: HeatBody, moment: Checkpoint, ticks: FloatArray, scales: Scales) -> None:
    """Draw the temperature over one fastener's section at a moment."""
    from matplotlib.tri import Triangulation

    r, z = (scales.length(one) for one in body.places)
    quads = body.cells[:4].T
    triangles = Triangulation(r, z, np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]))
    values = np.clip(scales.temperature(moment.temperature), ticks[0], ticks[-1])
    axes.tricontourf(triangles, values, levels=np.linspace(ticks[0], ticks[-1], LEVELS), cmap=HEAT)
    axes.set_aspect("equal")
    axes.set_xlabel(scales.length.axis("radius"))
    axes.set_ylabel(scales.length.axis("height over the deck"))
    axes.spines[["top", "right"]].set_visible(False)


def _temperature_ticks(moments: Sequence[Checkpoint], scale: Scale) -> FloatArray:
    """Return round temperatures (as shown) that hold all of some moments."""
    from matplotlib.ticker import MaxNLocator

    everything = scale(np.concatenate([moment.temperature for moment in moments]))
    return np.asarray(MaxNLocator(6).tick_values(everything.min(), everything.max() + 1e-3))


class CellInHeat:
    """The surfaces of a cell, bores whole, coloured by temperature at one moment after the other on one scale."""

    def __init__(self, warmed: WarmUp, moments: Sequence[Checkpoint], scale: Scale) -> None:
        heated = warmed.march.heated
        assert isinstance(heated.mesh, SolidMesh)
        cell = heated.model.base.cell  # type: ignore[attr-defined]
        self.scale, self.ticks = scale, _temperature_ticks(moments, scale)
        look = {"scalars": "shown", "cmap": HEAT, "clim": [self.ticks[0], self.ticks[-1]]}
        nodes = np.arange(heated.mesh.points.shape[1], dtype=float)
        self.solids = solids(cell, heated.mesh, heated.mesh.points, dict.fromkeys(heated.mesh.parts, look), nodes)
        self.nodes = [np.asarray(one.surface.point_data["shown"]).astype(int) for one in self.solids]

    def at(self, moment: Checkpoint) -> Rendered:
        """Return the view at a moment."""
        shown = self.scale(moment.temperature)
        for one, nodes in zip(self.solids, self.nodes, strict=True):
            one.surface.point_data["shown"] = shown[nodes]
        return rendered(self.solids, (900, 1100))


def views(warmed: WarmUp, units: str = "si") -> Figure:
    """Return the cell, bores whole and a quarter cut away, coloured by temperature at three moments, on one scale."""
    chosen, temperature = chosen_moments(warmed), Scales(units).temperature
    in_heat = CellInHeat(warmed, [moment for _, moment in chosen], temperature)
    seen = [(name, moment, in_heat.at(moment)) for name, moment in chosen]
    across = (PAGE - 1.1) / len(seen)
    tall = max(across * view.image.shape[0] / view.image.shape[1] for *_, view in seen)
    height = 1.2 + tall
    figure = blank_figure(PAGE, height)
    headline(figure, f"Temperature: {warmed.joint.name}")
    for number, (name, moment, view) in enumerate(seen):
        axes = figure.add_axes(((0.1 + across * number) / PAGE, 0.05, 0.97 * across / PAGE, tall / height))
        show(axes, view)
        axes.set_title(f"{name},\n{time_text(moment.instant.time)}", loc="left", fontsize=10, color=INK)
    place = (1.0 - 0.8 / PAGE, 0.15, 0.16 / PAGE, 0.55)
    colour_bar(figure, place, in_heat.ticks, HEAT, temperature.axis("temperature"), "neither")
    return figure


def moving_frames(warmed: WarmUp, units: str = "si") -> list[tuple[str, Callable[[], Figure]]]:
    """Return times, and what draws the warm-up at them: temperatures above, the clamp so far below."""
    heated = warmed.march.heated
    if not isinstance(heated.mesh, SolidMesh):
        return section_frames(warmed, heated.body, units)
    scale, moments = Scales(units).temperature, spread_moments(warmed, FRAMES)
    in_heat = CellInHeat(warmed, moments, scale)

    def draw(figure: Figure, moment: Checkpoint, ticks: FloatArray) -> None:
        show(figure.add_axes((0.1, 0.41, 0.68, 0.52)), in_heat.at(moment))

    return _frames(warmed, moments, draw, units)


def section_frames(warmed: WarmUp, body: HeatBody, units: str = "si") -> list[tuple[str, Callable[[], Figure]]]:
    """Return the same of one fastener whose heat went through `body`."""

    def draw(figure: Figure, moment: Checkpoint, ticks: FloatArray) -> None:
        draw_section(figure.add_axes((0.28, 0.435, 0.4, 0.485)), body, moment, ticks, Scales(units))

    return _frames(warmed, spread_moments(warmed, FRAMES), draw, units)


def _frames(
    warmed: WarmUp, moments: Sequence[Checkpoint], draw: DrawsHeat, units: str
) -> list[tuple[str, Callable[[], Figure]]]:
    ticks = _temperature_ticks(moments, Scales(units).temperature)
    return [(time_text(one.instant.time), partial(_moment, warmed, one, ticks, draw, units)) for one in moments]


def _moment(warmed: WarmUp, moment: Checkpoint, ticks: FloatArray, draw: DrawsHeat, units: str) -> Figure:
    """Return one moment of the warm-up. draw : its temperatures, into the upper part of a figure."""
    scales = Scales(units)
    figure = blank_figure(PAGE, 8.4)
    headline(figure, f"{warmed.joint.name}: {time_text(moment.instant.time)}")
    draw(figure, moment, ticks)
    place = (0.83, 0.47, 0.022, 0.4)
    colour_bar(figure, place, ticks, HEAT, scales.temperature.axis("temperature"), "neither")
    axes = placed_axes(figure, (0.115, 0.065, 0.865, 0.235), "", "", "")
    draw_clamp(axes, warmed, units)
    _phases(axes, warmed, scales.time, named=False)
    legend_above(axes)
    axes.axvline(scales.time(moment.instant.time), color=INK, linewidth=1.2)
    now = scales.time(moment.instant.time), scales.force(moment.instant.force)
    axes.plot(*now, "o", color=COLOURS["hot"], markeredgecolor="white", markersize=9, zorder=5)
    return figure
