"""Pictures of a warm-up: temperatures, clamp and sealing over time; where it is hot at the moments that matter."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from headjoint.cases.warm_up.instant import Instant
from headjoint.cases.warm_up.warm_up import Checkpoint, WarmUp
from headjoint.meshes.one_fastener.joint_mesh import JointMesh
from headjoint.meshes.solid.solid_mesh import SolidMesh
from headjoint.model.base.arrays import FloatArray
from headjoint.model.formulas.sealing import seal_need
from headjoint.postproc.cell.views import BAR, look, solid_grid
from headjoint.postproc.present.drawing import (
    COLOURS,
    FASTENER,
    INK,
    QUIET,
    blank_figure,
    headline,
    note,
    placed_axes,
    save_pictures,
)
from headjoint.postproc.present.renderer import PictureError, probe_renderer
from headjoint.postproc.present.scale import Scale, Scales
from headjoint.postproc.warm_up.findings import WarmUpFindings, time_text

if TYPE_CHECKING:
    from matplotlib.figure import Figure

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
WIDE, NARROWEST = 0.075, 0.018  # of the whole time, to write a step's name along or upright


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
    path = folder / "temperatures.png"
    _views(findings.warmed, mesh, path, Scales(units).temperature)
    return [*drawn, path]


def over_time(findings: WarmUpFindings, units: str = "si") -> Figure:
    """Return temperatures above, clamp in the middle, sealing below, over time; the duty's steps as bands."""
    warmed, scales = findings.warmed, Scales(units)
    figure = blank_figure(11, 10.2)
    headline(figure, f"Warm-up and cooling: {warmed.joint.name}")
    left, wide = 0.078, 0.71
    up = scales.temperature.axis("temperature")
    upper = placed_axes(figure, (left, 0.665, wide, 0.265), "", "", up)
    middle = placed_axes(figure, (left, 0.36, wide, 0.265), "", "", scales.force.axis("clamp per fastener"))
    across, up = scales.time.axis("time"), scales.pressure.axis("pressure on the sealing line")
    lower = placed_axes(figure, (left, 0.055, wide, 0.265), "", across, up)
    instants = warmed.instants
    times = scales.time([one.time for one in instants])
    for place, colour in LINES.items():
        if place in instants[0].temperatures:
            values = scales.temperature([one.temperatures[place] for one in instants])
            upper.plot(times, values, color=colour, linewidth=1.8, label=place)
    _draw_gas_and_rest(middle, warmed, scales.force, times, lambda one: one.force, lambda one: one.fired_force)
    _draw_gas_and_rest(lower, warmed, scales.pressure, times, lambda one: one.sealing, lambda one: one.fired_sealing)
    _draw_clamp_beside(middle, warmed, scales, times)
    if any(one.fired_force is not None for one in instants):
        width = warmed.joint.gasket.sealing_zone.line_width
        needed = [
            math.nan if one.fired_force is None else seal_need(warmed.joint, one.gas_pressure).over(width)
            for one in instants
        ]
        style = {"linewidth": 1.0, "linestyle": DASHED, "label": "needed while firing"}
        lower.plot(times, scales.pressure(needed), color=INK, **style)
    for axes in (upper, middle, lower):
        axes.set_xlim(0.0, times[-1])
        axes.margins(y=0.12)
        axes.legend(loc="center left", bbox_to_anchor=(1.01, 0.5), frameon=False, fontsize=9)
        _phases(axes, warmed, scales.time, named=axes is upper)
    return figure


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
        axes.plot(times, values, color=COLOURS["firing"], linewidth=1.6, label="firing")
    if warmed.ends is not None:
        ends = (scale([rest(one) for one in run.instants]) for run in warmed.ends)
        label = "no gas, scatter of\ntightening"
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
    """Shade every other step of the duty, and name them: wide ones above the axes, narrow ones upright within."""
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
            1.01 if wide else 0.97,
            step.name,
            transform=axes.get_xaxis_transform(),
            rotation=0 if wide else 90,
            ha="center",
            va="bottom" if wide else "top",
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
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize
    from matplotlib.tri import Triangulation

    scales, body = Scales(units), warmed.march.heated.body
    r, z = (scales.length(one) for one in body.places)
    quads = body.cells[:4].T
    tall = max(float(np.ptp(z)) / float(np.ptp(r)), 1.0)
    figure = blank_figure(11, min(2.2 + 2.9 * tall, 10.5))
    headline(figure, f"Temperature: {warmed.joint.name}")
    chosen = chosen_moments(warmed)
    ticks = _temperature_ticks(chosen, scales.temperature)
    levels = np.linspace(ticks[0], ticks[-1], LEVELS)
    triangles = Triangulation(r, z, np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]))
    for number, (name, moment) in enumerate(chosen):
        axes = figure.add_axes((0.06 + 0.29 * number, 0.06, 0.26, 0.82))
        axes.tricontourf(triangles, scales.temperature(moment.temperature), levels=levels, cmap=HEAT)
        axes.set_aspect("equal")
        axes.set_title(f"{name}, {time_text(moment.instant.time)}", loc="left", fontsize=10, color=INK)
        axes.set_xlabel(scales.length.axis("radius"))
        if number == 0:
            axes.set_ylabel(scales.length.axis("height over the deck"))
        axes.spines[["top", "right"]].set_visible(False)
    colours = ScalarMappable(Normalize(ticks[0], ticks[-1]), HEAT)
    bar = figure.colorbar(colours, cax=figure.add_axes((0.93, 0.2, 0.015, 0.5)), ticks=ticks)
    bar.set_label(scales.temperature.axis("temperature"))
    return figure


def _temperature_ticks(chosen: list[tuple[str, Checkpoint]], scale: Scale) -> FloatArray:
    """Return round temperatures (as shown) that hold all of some moments."""
    from matplotlib.ticker import MaxNLocator

    everything = scale(np.concatenate([moment.temperature for _, moment in chosen]))
    return np.asarray(MaxNLocator(6).tick_values(everything.min(), everything.max() + 1e-3))


def _views(warmed: WarmUp, mesh: SolidMesh, path: Path, temperature: Scale) -> None:
    """Render the cell coloured by temperature at three moments, on one scale."""
    import pyvista as pv

    chosen = chosen_moments(warmed)
    ticks, title = _temperature_ticks(chosen, temperature), temperature.axis("temperature")
    limits = [float(ticks[0]), float(ticks[-1])]
    bar = BAR | {"title": temperature.unit, "n_labels": len(ticks)}
    plotter = pv.Plotter(off_screen=True, window_size=[2100, 1000], shape=(1, len(chosen)), border=False)
    try:
        plotter.background_color = pv.Color("white")
        for number, (name, moment) in enumerate(chosen):
            plotter.subplot(0, number)
            grid = solid_grid(mesh)
            grid.point_data[title] = temperature(moment.temperature)
            surface = grid.extract_surface(algorithm="dataset_surface")
            last = number == len(chosen) - 1
            plotter.add_mesh(
                surface,
                scalars=title,
                cmap=HEAT,
                clim=limits,
                ambient=0.4,
                show_scalar_bar=last,
                scalar_bar_args=bar if last else None,
            )
            plotter.add_mesh(surface.extract_feature_edges(35.0), color="#3a3f46", line_width=1.0)
            plotter.add_text(f"{name}, {time_text(moment.instant.time)}", color=INK, font_size=13)
            look(plotter)
            plotter.camera.zoom(1.3)
        plotter.screenshot(path)
    finally:
        plotter.close()
