"""Pictures of a warm-up: temperatures, clamp and sealing over time; where it is hot at the moments that matter."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from headjoint.cases.warm_up.warm_up import Checkpoint, Instant, WarmUp
from headjoint.meshes.one_fastener.joint_mesh import JointMesh
from headjoint.meshes.solid.solid_mesh import SolidMesh
from headjoint.model.formulas.sealing import seal_need
from headjoint.postproc.cell.views import BAR, look, solid_grid
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
from headjoint.postproc.present.renderer import PictureError, probe_renderer
from headjoint.postproc.warm_up.findings import WarmUpFindings, time_text

LINES = {
    "chamber face": COLOURS["firing"],
    "head at the bridge": "#8a5a9e",
    "sealing line": COLOURS["hot"],
    "head mean": "#8d99a8",
    "fastener mean": FASTENER,
    "block mean": "#b0782a",
}
HEAT = "plasma"
WIDE, NARROWEST = 0.075, 0.018  # of the whole time, to write a step's name along or upright


def draw_warm_up(findings: WarmUpFindings, folder: Path) -> list[Path]:
    """Draw all pictures into `folder` and return their paths; views in the round only where they can be rendered."""
    drawn = save_pictures([("warmup", lambda: over_time(findings))], folder)
    mesh = findings.warmed.march.heated.mesh
    if isinstance(mesh, JointMesh):
        return drawn + save_pictures([("temperatures", lambda: sections(findings.warmed))], folder)
    try:
        probe_renderer()
    except PictureError:
        return drawn
    path = folder / "temperatures.png"
    _views(findings.warmed, mesh, path)
    return [*drawn, path]


def over_time(findings: WarmUpFindings) -> Any:
    """Return temperatures above, clamp in the middle, sealing below, over time; the duty's steps as bands."""
    warmed = findings.warmed
    figure = blank_figure(11, 10.2)
    headline(figure, f"Warm-up and cooling: {warmed.joint.name}")
    upper = placed_axes(figure, (0.068, 0.665, 0.72, 0.265), "", "", "temperature, degC")
    middle = placed_axes(figure, (0.068, 0.36, 0.72, 0.265), "", "", "clamp per fastener, kN")
    lower = placed_axes(figure, (0.068, 0.055, 0.72, 0.265), "", "time, min", "on the sealing line, MPa")
    instants = warmed.instants
    minutes = [one.time / 60.0 for one in instants]
    for place, colour in LINES.items():
        if place in instants[0].temperatures:
            values = [one.temperatures[place] for one in instants]
            upper.plot(minutes, values, color=colour, linewidth=1.8, label=place)
    for axes, rest, firing in (
        (middle, lambda one: one.force / 1e3, lambda one: one.fired_force / 1e3),
        (lower, lambda one: one.sealing, lambda one: one.fired_sealing),
    ):
        axes.plot(minutes, [rest(one) for one in instants], color=COLOURS["hot"], linewidth=2.0, label="no gas")
        _runs(axes, warmed, firing, COLOURS["firing"], "firing")
    if warmed.ends is not None:
        for axes, rest in ((middle, lambda one: one.force / 1e3), (lower, lambda one: one.sealing)):
            ends = ([rest(one) for one in run.instants] for run in warmed.ends)
            axes.fill_between(
                minutes, *ends, color=COLOURS["hot"], alpha=0.14, linewidth=0.0, label="no gas, scatter of\ntightening"
            )
    middle.plot(
        minutes,
        [one.estimate / 1e3 for one in instants],
        color=QUIET,
        linewidth=1.2,
        linestyle=(0, (1, 1.4)),
        label="estimate, no gas",
    )
    middle.axhline(
        warmed.tightened / 1e3, color=QUIET, linewidth=1.0, linestyle=(0, (4, 2)), label="cold, before the start"
    )
    for sign in (1.0, -1.0):
        at = warmed.extreme(lambda one, sign=sign: sign * one.force)
        middle.plot([at.time / 60.0], [at.force / 1e3], "o", color=INK, markersize=5)
        middle.annotate(
            f"{at.force / 1e3:.1f} kN",
            (at.time / 60.0, at.force / 1e3),
            (6, 5 if sign > 0.0 else -13),
            textcoords="offset points",
            fontsize=9,
            color=INK,
        )
    needed, joint = "needed while firing", warmed.joint
    width = joint.gasket.sealing_zone.line_width
    _runs(lower, warmed, lambda one: seal_need(joint, one.gas_pressure).over(width), INK, needed, thin=True)
    for axes in (upper, middle, lower):
        axes.set_xlim(0.0, minutes[-1])
        axes.margins(y=0.12)
        axes.legend(loc="center left", bbox_to_anchor=(1.01, 0.5), frameon=False, fontsize=9)
        _phases(axes, warmed, named=axes is upper)
    return figure


def _runs(
    axes: Any, warmed: WarmUp, read: Callable[[Instant], float], colour: str, label: str, *, thin: bool = False
) -> None:
    """Draw a line over the instants with gas, broken where none burns."""
    instants = warmed.instants
    if all(one.fired_force is None for one in instants):
        return
    values = [np.nan if one.fired_force is None else read(one) for one in instants]
    style = {"linewidth": 1.0, "linestyle": (0, (4, 2))} if thin else {"linewidth": 1.6}
    axes.plot([one.time / 60.0 for one in instants], values, color=colour, label=label, **style)


def _phases(axes: Any, warmed: WarmUp, *, named: bool) -> None:
    """Shade every other step of the duty, and name them: wide ones above the axes, narrow ones upright within."""
    end = warmed.instants[-1].time
    for number, step in enumerate(warmed.duty.steps):
        if number % 2 == 1:
            axes.axvspan(step.start / 60.0, step.end / 60.0, color="#f1f3f6", zorder=0)
        share = (step.end - step.start) / end
        if not named or share < NARROWEST:
            continue
        wide = share > WIDE
        axes.text(
            (step.start + step.end) / 120.0,
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


def sections(warmed: WarmUp) -> Any:
    """Return the temperature over the section of one fastener's joint at three moments, on one scale."""
    from matplotlib.tri import Triangulation

    heated = warmed.march.heated
    body = heated.body
    r, z = body.places
    quads = body.cells[:4].T
    tall = max(float(np.ptp(z)) / float(np.ptp(r)), 1.0)
    figure = blank_figure(11, min(2.2 + 2.9 * tall, 10.5))
    headline(figure, f"Temperature, degC: {warmed.joint.name}")
    chosen = chosen_moments(warmed)
    everything = np.concatenate([moment.temperature for _, moment in chosen])
    levels = np.linspace(everything.min(), everything.max() + 1e-3, 25)
    triangles = Triangulation(r, z, np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]))
    painted = None
    for number, (name, moment) in enumerate(chosen):
        axes = figure.add_axes((0.06 + 0.29 * number, 0.06, 0.26, 0.82))
        painted = axes.tricontourf(triangles, moment.temperature, levels=levels, cmap=HEAT)
        axes.set_aspect("equal")
        axes.set_title(f"{name}, {time_text(moment.instant.time)}", loc="left", fontsize=10, color=INK)
        axes.set_xlabel("radius, mm")
        if number == 0:
            axes.set_ylabel("height over the deck, mm")
        axes.spines[["top", "right"]].set_visible(False)
    figure.colorbar(painted, cax=figure.add_axes((0.93, 0.2, 0.015, 0.5)), format="%.0f")
    return figure


def _views(warmed: WarmUp, mesh: SolidMesh, path: Path) -> None:
    """Render the cell coloured by temperature at three moments, on one scale."""
    import pyvista as pv

    chosen = chosen_moments(warmed)
    limits = [
        min(float(moment.temperature.min()) for _, moment in chosen),
        max(float(moment.temperature.max()) for _, moment in chosen),
    ]
    plotter = pv.Plotter(off_screen=True, window_size=[2100, 1000], shape=(1, len(chosen)), border=False)
    try:
        plotter.set_background("white")
        for number, (name, moment) in enumerate(chosen):
            plotter.subplot(0, number)
            grid = solid_grid(mesh)
            grid.point_data["temperature, degC"] = moment.temperature
            surface = grid.extract_surface(algorithm="dataset_surface")
            last = number == len(chosen) - 1
            plotter.add_mesh(
                surface,
                scalars="temperature, degC",
                cmap=HEAT,
                clim=limits,
                ambient=0.4,
                show_scalar_bar=last,
                scalar_bar_args=BAR | {"title": "degC"} if last else None,
            )
            plotter.add_mesh(surface.extract_feature_edges(35.0), color="#3a3f46", line_width=1.0)
            plotter.add_text(f"{name}, {time_text(moment.instant.time)}", color=INK, font_size=13)
            look(plotter)
            plotter.camera.zoom(1.3)
        plotter.screenshot(path)
    finally:
        plotter.close()
