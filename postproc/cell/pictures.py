"""Pictures of a solved cell: pressure maps, sealing lines, bore shapes, views in the round."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.cases.load_cases.solved import SolvedCell
from headjoint.model.base.arrays import FloatArray
from headjoint.postproc.cell.assessment import ANGLE_FROM, CellFindings
from headjoint.postproc.cell.findings import CellFields, FullField
from headjoint.postproc.cell.in_plan import cell_panel, cell_plan, plan_zones
from headjoint.postproc.cell.shapes import BoreShape
from headjoint.postproc.cell.views import draw_views
from headjoint.postproc.plan.picture import plan_picture
from headjoint.postproc.present.drawing import (
    COLOURS,
    DASHES,
    INK,
    PAGE,
    QUIET,
    blank_figure,
    headline,
    placed_axes,
    round_down,
    save_pictures,
    wrapped,
)
from headjoint.postproc.present.end_names import name_at_ends
from headjoint.postproc.present.scale import Scales

if TYPE_CHECKING:
    from matplotlib.figure import Figure

TURN = np.radians(np.linspace(0.0, 360.0, 181))
DISTORTED = 0.25  # of the bore's radius, how far the largest distortion is drawn
NAMES, LONE, ROW = 1.85, 3.6, 2.9  # inches: right of lines for their names, height of a lone bore and of one of several
LEGEND_LETTERS = 26


def draw_cell(
    findings: CellFindings, solved: SolvedCell, fields: Sequence[FullField], folder: Path, units: str = "si"
) -> list[Path]:
    """Draw every picture of the nominal tightening into `folder` and return the paths."""
    drawn = save_pictures(
        (
            ("gasket_pressure", lambda: pressure_plan(findings, solved, units)),
            ("sealing_line", lambda: sealing_lines(findings, units)),
            ("bore_shape", lambda: bore_shape_picture(findings, units)),
        ),
        folder,
    )
    return drawn + draw_views(findings, solved, fields, folder, units)


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
    """Pressure along the sealing lines over the angle, with what is needed; bores one below the other."""
    pressure = Scales(units).pressure
    states = findings.states["nominal"]
    bores, width = len(states[0].lines), findings.cell.joint.gasket.sealing_zone.line_width
    each = LONE if bores == 1 else ROW
    height = 0.72 + each * bores + 0.5
    figure = blank_figure(PAGE, height)
    headline(figure, f"Pressure along the sealing line, nominal preload: {findings.cell.joint.name}")
    for bore in range(bores):
        bottom = 0.5 + each * (bores - 1 - bore)
        place = (
            0.64 / PAGE,
            bottom / height,
            1.0 - (0.64 + NAMES) / PAGE,
            (each - (0.1 if bores == 1 else 0.8)) / height,
        )
        fired = "fired" if states[0].lines[bore].fired else "not fired"
        title = "" if bores == 1 else f"bore {bore + 1}, {fired}"
        across = f"angle from the {ANGLE_FROM[type(findings.cell.layout)]}, deg"
        axes = placed_axes(figure, place, title, across, pressure.axis("pressure"))
        ends = []
        for state in states:
            line = state.lines[bore]
            colour, dashes = COLOURS.get(state.kind, INK), DASHES.get(state.kind, "-")
            axes.plot(line.angle, pressure(line.pressure), color=colour, ls=dashes, lw=1.8)
            ends.append((state.name, pressure(float(line.pressure[-1])), colour))
            if state.gas_pressure > 0.0:
                needed = pressure(line.need.over(width))
                axes.axhline(needed, color=colour, lw=1.0, ls=(0, (2, 2)))
                ends.append((f"needed, {state.name}", needed, colour))
        least = pressure(min((state.lines[bore].need.over(width) for state in states), default=0.0))
        axes.axhline(least, color=QUIET, lw=1.0, ls=(0, (2, 2)))
        axes.set_ylim(bottom=0.0)
        axes.margins(x=0.0)
        name_at_ends(axes, [*ends, ("needed, no gas", least, QUIET)])
    return figure


def bore_shape_picture(findings: CellFindings, units: str = "si") -> Figure:
    """Bore outlines at each depth, assembly and last hot or fired state, distortion enlarged by a round factor.

    Growth (order 0) and shift (order 1) hide the shape and are taken out.
    """
    scales, kinds = Scales(units), {state.name: state.kind for state in findings.states["nominal"]}
    first, other = _states_compared(findings, kinds)
    bore = findings.cell.layout.bore / 2.0
    shapes = _of_fired(findings, first)
    drawn = [shape for one in (first, other) for shape in _of_fired(findings, one)]
    largest = max(1e-9, *(float(np.abs(_distortion(shape)).max()) for shape in drawn))
    factor = round_down(DISTORTED * bore / largest)
    rows = -(-len(shapes) // 2)
    height = 1.0 + 3.5 * rows + 0.35
    figure = blank_figure(PAGE, height)
    headline(
        figure,
        f"Shape of the fired bore, growth and shift taken out; distortion, at most {scales.small.text(largest)}, "
        f"magnified {factor:g} times: {findings.cell.joint.name}",
    )
    reach = bore + 1.06 * factor * largest
    for index, shape in enumerate(shapes):
        row, column = divmod(index, 2)
        place = (0.01 + 0.5 * column, (0.35 + 3.5 * (rows - 1 - row)) / height, 0.48, 3.2 / height)
        axes = figure.add_axes(place)
        axes.plot(bore * np.cos(TURN), bore * np.sin(TURN), color="#b3b8be", lw=1.0, label="round")
        axes.plot([0.0, 0.94 * bore], [0.0, 0.0], color=QUIET, lw=0.7, ls=(0, (8, 3, 2, 3)))
        axes.text(
            0.45 * bore, 0.03 * bore, ANGLE_FROM[type(findings.cell.layout)], fontsize=8.5, color=QUIET, ha="center"
        )
        for one in (first, other):
            for own in (own for own in _of_fired(findings, one) if abs(own.depth - shape.depth) < 1e-6):
                turn = np.radians(np.append(own.angle, own.angle[0]))
                radius = bore + factor * _distortion(own)
                colour, dashes = COLOURS.get(kinds[one.name], INK), "-" if one is other else (0, (5, 1.5))
                look: dict[str, Any] = {"color": colour, "ls": dashes, "lw": 1.6, "label": one.name}
                axes.plot(radius * np.cos(turn), radius * np.sin(turn), **look)
        axes.set_aspect("equal")
        axes.set_xlim(-reach, reach)
        axes.set_ylim(-reach, reach)
        axes.axis("off")
        axes.set_title(f"{scales.length.text(shape.depth, '.0f')} below the deck", fontsize=10, color=INK)
    handles, labels = axes.get_legend_handles_labels()
    labels = [wrapped(label, LEGEND_LETTERS) for label in labels]
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
