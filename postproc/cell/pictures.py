"""Pictures of a solved cell: pressure maps, sealing lines, bore shapes, views in the round."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from headjoint.cases.load_cases.solved import SolvedCell
from headjoint.model.base.arrays import FloatArray
from headjoint.postproc.cell.assessment import ANGLE_FROM, CellFindings
from headjoint.postproc.cell.findings import CellFields
from headjoint.postproc.cell.in_plan import cell_panel, cell_plan, plan_zones
from headjoint.postproc.cell.shapes import BoreShape
from headjoint.postproc.cell.views import draw_views
from headjoint.postproc.plan.picture import plan_picture
from headjoint.postproc.present.drawing import (
    COLOURS,
    DASHES,
    INK,
    QUIET,
    blank_figure,
    headline,
    placed_axes,
    save_pictures,
    wrapped,
)
from headjoint.postproc.present.scale import Scales

if TYPE_CHECKING:
    from matplotlib.figure import Figure

TURN = np.radians(np.linspace(0.0, 360.0, 181))
DISTORTED = 0.25  # of the bore's radius, how far the largest distortion is drawn
HEADLINE_LETTERS = 9  # per inch
LEGEND_LETTERS = 26


def draw_cell(findings: CellFindings, solved: SolvedCell, folder: Path, units: str = "si") -> list[Path]:
    """Draw every picture of the nominal tightening into `folder` and return the paths."""
    drawn = save_pictures(
        (
            ("gasket_pressure", lambda: pressure_plan(findings, solved, units)),
            ("sealing_line", lambda: sealing_lines(findings, units)),
            ("bore_shape", lambda: bore_shape_picture(findings, units)),
        ),
        folder,
    )
    return drawn + draw_views(findings, solved, folder, units)


def pressure_plan(findings: CellFindings, solved: SolvedCell, units: str = "si") -> Figure:
    """Contact pressure in plan: large where sealing has least in hand, the other states small, one scale for all."""
    points, states = solved.assembled.points, findings.states["nominal"]
    plan = cell_plan(solved.nominal.model, solved.assembled.mesh.points[:2, points.gasket_faces])
    first = max(range(len(states)), key=lambda number: states[number].worst.lacking)
    order = [first, *(number for number in range(len(states)) if number != first)]
    panels = [
        cell_panel(plan, solved.nominal.states[number], states[number].lines, states[number].name, units)
        for number in order
    ]
    title = f"Gasket contact pressure in plan, nominal preload: {solved.cell.joint.name}"
    return plan_picture(title, panels, plan.window, plan_zones(plan.cell), units)


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
