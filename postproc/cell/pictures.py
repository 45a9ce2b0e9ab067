"""Pictures and VTU files of a solved cell: pressure maps, sealing lines, bore shapes, views in the round."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from headjoint.cases.load_cases.solved import SolvedCell
from headjoint.postproc.cell.assessment import ANGLE_FROM, CellFindings
from headjoint.postproc.cell.views import draw_views
from headjoint.postproc.present.drawing import COLOURS, DASHES, DPI, INK, QUIET, blank_figure, placed_axes


def draw_cell(findings: CellFindings, solved: SolvedCell, folder: Path) -> list[Path]:
    """Draw every picture of the nominal tightening into `folder` and return the paths."""
    import matplotlib

    drawn = []
    for name, draw in (
        ("gasket_pressure", lambda: pressure_maps(findings, solved)),
        ("sealing_line", lambda: sealing_lines(findings)),
        ("bore_shape", lambda: bore_shape_picture(findings)),
    ):
        path = folder / f"{name}.png"
        with matplotlib.rc_context({"text.parse_math": False}):
            draw().savefig(path, dpi=DPI, pil_kwargs={"compress_level": 2})
        drawn.append(path)
    return drawn + draw_views(findings, solved, folder)


def pressure_maps(findings: CellFindings, solved: SolvedCell) -> Any:
    """Contact pressure in plan, one map per state, one scale for all."""
    points = solved.assembled.points
    faces = points.gasket_faces
    xy = solved.assembled.mesh.points[:2]
    outline = xy[:, faces[[0, 4, 1, 5, 2, 6, 3, 7] if len(faces) == 8 else [0, 3, 1, 4, 2, 5]]].transpose(2, 1, 0)
    states = solved.nominal.states
    means = [points.face_means(s.equilibrium.pressure) for s in states]
    top = float(np.quantile(np.concatenate(means), 0.995))
    wide, high = np.ptp(xy[0, faces]), np.ptp(xy[1, faces])
    columns = len(states) if wide < 1.6 * high else 2
    rows = -(-len(states) // columns)
    panel = 2.6 if columns > 2 else 5.4
    figure = blank_figure(panel * columns + 1.3, 0.75 + rows * (panel * high / wide + 0.45))
    from matplotlib.collections import PolyCollection

    grid = figure.add_gridspec(
        rows, columns, left=0.05, right=1.0 - 1.3 / (panel * columns + 1.3), top=0.86 if rows == 1 else 0.92,
        bottom=0.09, wspace=0.14, hspace=0.25,
    )  # fmt: skip
    for index, (state, mean) in enumerate(zip(states, means, strict=True)):
        axes = figure.add_subplot(grid[index // columns, index % columns])
        drawn = PolyCollection(outline, array=mean, cmap="viridis", edgecolors="face", linewidths=0.2)
        drawn.set_clim(0.0, top)
        axes.add_collection(drawn)
        axes.set_aspect("equal")
        axes.autoscale_view()
        axes.set_title(state.name, loc="left", fontsize=10.5, color=INK)
        axes.tick_params(labelsize=8, colors=QUIET)
        axes.spines[["top", "right"]].set_visible(False)
        for bx, by in solved.cell.bore_centres:
            turn = np.radians(np.linspace(0, 360, 181))
            radius = solved.cell.sealing_zone.sealing_diameter / 2.0
            axes.plot(bx + radius * np.cos(turn), by + radius * np.sin(turn), color="white", lw=0.8, ls=(0, (4, 3)))
        axes.set_xlim(xy[0, faces].min() - 1, xy[0, faces].max() + 1)
        axes.set_ylim(xy[1, faces].min() - 1, xy[1, faces].max() + 1)
    bar = figure.colorbar(drawn, cax=figure.add_axes([1.0 - 0.95 / (panel * columns + 1.3), 0.2, 0.018, 0.6]))
    bar.set_label("contact pressure, MPa", color=INK)
    figure.suptitle("Gasket contact pressure in plan (mm); dashed: sealing line", x=0.05, ha="left", fontsize=12)
    return figure


def sealing_lines(findings: CellFindings) -> Any:
    """Pressure along the sealing lines over the angle, with what is needed."""
    states = findings.states["nominal"]
    bores, bead = len(states[0].lines), findings.cell.sealing_zone.line_width
    width = 3.6 * bores + 4.4
    figure = blank_figure(width, 4.4)
    step = (width - 2.6) / bores  # room for the legend is kept at the right
    for bore in range(bores):
        place = ((0.65 + bore * step) / width, 0.14, (step - 0.55) / width, 0.74)
        fired = "fired" if states[0].lines[bore].fired else "not fired"
        title = "Pressure along the sealing line" if bores == 1 else f"Bore {bore + 1}, {fired}"
        axes = placed_axes(
            figure,
            place,
            title,
            f"angle from the {ANGLE_FROM[type(findings.cell.layout)]}, deg",
            "MPa" if bore == 0 else "",
        )
        for state in states:
            line = state.lines[bore]
            colour = COLOURS.get(state.kind, INK)
            axes.plot(line.angle, line.pressure, color=colour, ls=DASHES.get(state.kind, "-"), lw=1.8, label=state.name)
            if state.gas_pressure > 0.0:
                axes.axhline(line.need.over(bead), color=colour, lw=1.0, ls=(0, (2, 2)), label=f"needed, {state.name}")
        least = min((state.lines[bore].need.over(bead) for state in states), default=0.0)
        axes.axhline(least, color=QUIET, lw=1.0, ls=(0, (2, 2)), label="needed, no gas")
        axes.set_ylim(bottom=0.0)
    axes.legend(loc="center left", bbox_to_anchor=(1.02, 0.5), frameon=False, fontsize=9)
    return figure


def bore_shape_picture(findings: CellFindings) -> Any:
    """Bore outlines at each depth, assembly and last hot state, distortion enlarged."""
    chosen = [one for one in findings.fields if one.shapes]
    first, other = chosen[0], next((o for o in reversed(chosen) if o.name != chosen[0].name), chosen[-1])
    kinds = {state.name: state.kind for state in findings.states["nominal"]}
    firing = [one for one in chosen if kinds[one.name] == "firing"]
    other = firing[-1] if firing else other
    bore = findings.cell.layout.bore / 2.0
    shapes = [s for s in first.shapes if s.bore == findings.cell.fired[0]]
    figure = blank_figure(3.0 * len(shapes) + 1.0, 3.9)
    # growth (order 0) and shift (order 1) hide the shape and are taken out
    largest = 1e-9
    curves = []
    for one in (first, other):
        for shape in (s for s in one.shapes if s.bore == findings.cell.fired[0]):
            turn = np.radians(np.append(shape.angle, shape.angle[0]))
            radial = np.append(shape.radial, shape.radial[0]) - shape.orders[0]
            largest = max(largest, float(np.abs(radial).max()))
            curves.append((one, shape, turn, radial))
    scale = 0.25 * bore / largest
    for index, shape in enumerate(shapes):
        axes = figure.add_axes((0.02 + index / len(shapes) * 0.97, 0.14, 0.94 / len(shapes), 0.68))
        circle = np.radians(np.linspace(0, 360, 181))
        axes.plot(bore * np.cos(circle), bore * np.sin(circle), color="#c9cdd2", lw=1.0)
        for one, own, turn, radial in curves:
            if abs(own.depth - shape.depth) < 1e-6:
                r = bore + scale * radial
                colour = COLOURS.get(kinds[one.name], INK)
                axes.plot(r * np.cos(turn), r * np.sin(turn), color=colour, lw=1.6, label=one.name)
        axes.set_aspect("equal")
        axes.axis("off")
        axes.set_title(f"{shape.depth:.0f} mm below the deck", fontsize=10, color=INK)
        if index == 0:
            axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.02), ncol=2, frameon=False, fontsize=9)
    figure.suptitle(
        f"Bore shape, distortion enlarged {scale:.0f} times, growth taken out (largest {1e3 * largest:.1f} um)",
        x=0.02, ha="left", fontsize=12, y=0.97,
    )  # fmt: skip
    return figure
