"""Pictures of a solved cell: pressure maps, sealing lines, bore shapes, views in the round."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from headjoint.cases.load_cases.solved import SolvedCell
from headjoint.model.base.arrays import FloatArray
from headjoint.postproc.cell.assessment import ANGLE_FROM, CellFindings
from headjoint.postproc.cell.findings import CellFields
from headjoint.postproc.cell.shapes import BoreShape
from headjoint.postproc.cell.views import draw_views
from headjoint.postproc.present.drawing import (
    COLOURS,
    DASHES,
    INK,
    QUIET,
    blank_figure,
    headline,
    placed_axes,
    round_ticks,
    save_pictures,
    wrapped,
)
from headjoint.postproc.present.scale import Scales

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MARGIN = 1.0  # mm round the maps
TURN = np.radians(np.linspace(0.0, 360.0, 181))
DISTORTED = 0.25  # of the bore's radius, how far the largest distortion is drawn
BEYOND = 0.995  # share of the pressures that colours tell apart
HEADLINE_LETTERS = 9  # per inch
LEGEND_LETTERS = 26


def draw_cell(findings: CellFindings, solved: SolvedCell, folder: Path, units: str = "si") -> list[Path]:
    """Draw every picture of the nominal tightening into `folder` and return the paths."""
    drawn = save_pictures(
        (
            ("gasket_pressure", lambda: pressure_maps(solved, units)),
            ("sealing_line", lambda: sealing_lines(findings, units)),
            ("bore_shape", lambda: bore_shape_picture(findings, units)),
        ),
        folder,
    )
    return drawn + draw_views(findings, solved, folder, units)


def pressure_maps(solved: SolvedCell, units: str = "si") -> Figure:
    """Contact pressure in plan, one map per state, one scale for all."""
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize

    scales = Scales(units)
    points, states = solved.assembled.points, solved.nominal.states
    faces, xy = points.gasket_faces, solved.assembled.mesh.points[:2]
    corners = faces[[0, 4, 1, 5, 2, 6, 3, 7] if len(faces) == 8 else [0, 3, 1, 4, 2, 5]]
    outline = scales.length(xy[:, corners].transpose(2, 1, 0))
    means = [scales.pressure(points.face_means(state.equilibrium.pressure)) for state in states]
    ticks = round_ticks(float(np.quantile(np.concatenate(means), BEYOND)))
    wide, high = np.ptp(xy[0, faces]), np.ptp(xy[1, faces])
    columns = len(states) if wide < 1.6 * high else 2
    rows = -(-len(states) // columns)
    panel = 2.6 if columns > 2 else 5.4
    width, height = panel * columns + 1.6, 1.15 + rows * (panel * high / wide + 0.45)
    figure = blank_figure(width, height)
    unit = scales.length.unit
    headline(figure, f"Gasket contact pressure in plan ({unit}), nominal preload: {solved.cell.joint.name}")
    grid = figure.add_gridspec(
        rows, columns, left=0.5 / width, right=1.0 - 1.4 / width, top=1.0 - 0.85 / height, bottom=0.35 / height,
        wspace=0.16, hspace=0.25,
    )  # fmt: skip
    colours = ScalarMappable(Normalize(0.0, ticks[-1]), "viridis")
    for index, (state, mean) in enumerate(zip(states, means, strict=True)):
        axes = figure.add_subplot(grid[index // columns, index % columns])
        axes.set_title(wrapped(state.name, int(panel * 10)), loc="left", fontsize=10.5, color=INK)
        _draw_map(axes, solved, outline, colours.to_rgba(mean), scales)
    place = (1.0 - 1.15 / width, 0.2, 0.2 / width, 0.6)
    bar = figure.colorbar(colours, cax=figure.add_axes(place), ticks=ticks, extend="max")
    bar.set_label(f"{scales.pressure.axis('contact pressure')}; dashed: sealing line", color=INK)
    return figure


def _draw_map(axes: Axes, solved: SolvedCell, outline: FloatArray, colours: FloatArray, scales: Scales) -> None:
    """Draw faces (n, corners, 2) in their colours (n, 4), and the sealing lines."""
    from matplotlib.collections import PolyCollection

    axes.add_collection(PolyCollection(list(outline), facecolors=colours, edgecolors=colours, linewidths=0.2))
    axes.set_aspect("equal")
    axes.tick_params(labelsize=8, colors=QUIET)
    axes.spines[["top", "right"]].set_visible(False)
    radius = scales.length(solved.cell.sealing_zone.sealing_diameter / 2.0)
    for bore in solved.cell.bore_centres:
        x, y = (scales.length(at) for at in bore)
        axes.plot(x + radius * np.cos(TURN), y + radius * np.sin(TURN), color="white", lw=0.8, ls=(0, (4, 3)))
    low, high, margin = outline.min(axis=(0, 1)), outline.max(axis=(0, 1)), scales.length(MARGIN)
    axes.set_xlim(low[0] - margin, high[0] + margin)
    axes.set_ylim(low[1] - margin, high[1] + margin)


def sealing_lines(findings: CellFindings, units: str = "si") -> Figure:
    """Pressure along the sealing lines over the angle, with what is needed."""
    pressure = Scales(units).pressure
    states = findings.states["nominal"]
    bores, bead = len(states[0].lines), findings.cell.joint.gasket.sealing_zone.line_width
    width = 3.6 * bores + 4.6
    figure = blank_figure(width, 4.8)
    words = f"Pressure along the sealing line, nominal preload: {findings.cell.joint.name}"
    headline(figure, wrapped(words, int(HEADLINE_LETTERS * width)))
    step = (width - 2.8) / bores  # room for the legend is kept at the right
    for bore in range(bores):
        place = ((0.72 + bore * step) / width, 0.125, (step - 0.55) / width, 0.715)
        fired = "fired" if states[0].lines[bore].fired else "not fired"
        title = "" if bores == 1 else f"bore {bore + 1}, {fired}"
        across = f"angle from the {ANGLE_FROM[type(findings.cell.layout)]}, deg"
        axes = placed_axes(figure, place, title, across, pressure.axis("pressure") if bore == 0 else "")
        for state in states:
            line = state.lines[bore]
            colour, dashes = COLOURS.get(state.kind, INK), DASHES.get(state.kind, "-")
            label = wrapped(state.name, LEGEND_LETTERS)
            axes.plot(line.angle, pressure(line.pressure), color=colour, ls=dashes, lw=1.8, label=label)
            if state.gas_pressure > 0.0:
                label = wrapped(f"needed, {state.name}", LEGEND_LETTERS)
                axes.axhline(pressure(line.need.over(bead)), color=colour, lw=1.0, ls=(0, (2, 2)), label=label)
        least = min((state.lines[bore].need.over(bead) for state in states), default=0.0)
        axes.axhline(pressure(least), color=QUIET, lw=1.0, ls=(0, (2, 2)), label="needed, no gas")
        axes.set_ylim(bottom=0.0)
    axes.legend(loc="center left", bbox_to_anchor=(1.02, 0.5), frameon=False, fontsize=9)
    return figure


def bore_shape_picture(findings: CellFindings, units: str = "si") -> Figure:
    """Bore outlines at each depth, assembly and last hot or fired state, distortion enlarged.

    Growth (order 0) and shift (order 1) hide the shape and are taken out.
    """
    scales, kinds = Scales(units), {state.name: state.kind for state in findings.states["nominal"]}
    first, other = _states_compared(findings, kinds)
    bore = findings.cell.layout.bore / 2.0
    shapes = _of_fired(findings, first)
    drawn = [shape for one in (first, other) for shape in _of_fired(findings, one)]
    largest = max(1e-9, *(float(np.abs(_distortion(shape)).max()) for shape in drawn))
    factor = DISTORTED * bore / largest
    figure = blank_figure(max(3.0 * len(shapes) + 1.0, 9.4), 4.2)
    headline(
        figure,
        f"Shape of the fired bore, growth and shift taken out; distortion (at most {scales.small.text(largest)}) "
        f"enlarged {factor:.0f} times\n{findings.cell.joint.name}",
    )
    for index, shape in enumerate(shapes):
        axes = figure.add_axes((0.02 + index / len(shapes) * 0.97, 0.12, 0.94 / len(shapes), 0.64))
        axes.plot(bore * np.cos(TURN), bore * np.sin(TURN), color="#c9cdd2", lw=1.0, label="round")
        for one in (first, other):
            for own in (own for own in _of_fired(findings, one) if abs(own.depth - shape.depth) < 1e-6):
                turn = np.radians(np.append(own.angle, own.angle[0]))
                radius = bore + factor * _distortion(own)
                colour = COLOURS.get(kinds[one.name], INK)
                axes.plot(radius * np.cos(turn), radius * np.sin(turn), color=colour, lw=1.6, label=one.name)
        axes.set_aspect("equal")
        axes.axis("off")
        axes.set_title(f"{scales.length.text(shape.depth, '.0f')} below the deck", fontsize=10, color=INK)
    handles, labels = axes.get_legend_handles_labels()
    figure.legend(handles, labels, loc="lower center", ncol=3, frameon=False, fontsize=9)
    return figure


def _states_compared(findings: CellFindings, kinds: dict[str, str]) -> tuple[CellFields, CellFields]:
    """Return the first state, and the last fired one; without gas the last of all."""
    chosen = [one for one in findings.fields if one.shapes]
    firing = [one for one in chosen if kinds[one.name] == "firing"]
    return chosen[0], (firing or chosen)[-1]


def _of_fired(findings: CellFindings, fields: CellFields) -> list[BoreShape]:
    return [shape for shape in fields.shapes if shape.bore == findings.cell.fired[0]]


def _distortion(shape: BoreShape) -> FloatArray:
    """Return the distortion (mm), closed to a ring."""
    return np.append(shape.distortion, shape.distortion[0])
