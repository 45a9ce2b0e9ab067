"""Pictures of a pressed bead: line load over closure, and its section free, pressed and let go."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.cases.bead.pressing import Pressed
from headjoint.model.base.arrays import FloatArray
from headjoint.model.bead.bead import Bead
from headjoint.postproc.bead.findings import AtTemperature, BeadFindings
from headjoint.postproc.bead.law import BeadLaw
from headjoint.postproc.present.drawing import (
    COLOURS,
    INK,
    QUIET,
    blank_figure,
    headline,
    placed_axes,
    save_pictures,
)
from headjoint.postproc.present.scale import Scales

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LOOKS: dict[str, dict[str, Any]] = {
    "loading": {"color": COLOURS["assembly"], "linewidth": 2.0},
    "opening": {"color": INK, "linewidth": 1.1},
    "closing again": {"color": COLOURS["settled"], "linewidth": 1.2, "linestyle": (0, (4, 2))},
    "gas": {"color": COLOURS["firing"], "linewidth": 1.6},
}
NAMES = {"gas": "small strokes, as under gas"}
MOST_STRAIN = 1e-4  # below which a section has no scale of plastic strain


def draw(found: BeadFindings, carried: BeadLaw, folder: Path, units: str) -> list[Path]:
    """Draw all pictures into a folder and return them."""
    return save_pictures(
        [
            ("line_load", lambda: curve_picture(found, carried, units)),
            ("section", lambda: section_picture(found, units)),
        ],
        folder,
    )


def curve_picture(found: BeadFindings, carried: BeadLaw, units: str) -> Figure:
    """Return line load over closure of the whole gasket, every leg, with the law that follows."""
    scales, bead, first = Scales(units), found.bead, found.at[0]
    load = scales.of("N/mm")
    figure = blank_figure(10.4, 5.6)
    headline(figure, f"{bead.name}: line load of the {'ring' if bead.solid else 'bead'}")
    across, up = scales.fine.axis("closure of the gasket from first touch"), load.axis("line load")
    title = f"at {scales.temperature.text(first.temperature, 'g')}"
    axes = placed_axes(figure, (0.075, 0.11, 0.63, 0.76), title, across, up)
    named = set[str]()
    for leg in first.history.legs:
        label = None if leg.kind in named else NAMES.get(leg.kind, leg.kind)
        named.add(leg.kind)
        axes.plot(scales.fine(bead.in_series * leg.closures), load(leg.loads), label=label, **LOOKS[leg.kind])
    for one in found.at[1:]:
        degrees = scales.temperature.text(one.temperature, "g")
        axes.plot(scales.fine(one.closure), load(one.line_load), color=COLOURS["hot"], linewidth=1.8,
                  label=f"loading at {degrees}")  # fmt: skip
    curve = carried.law.curves[0]
    pressure = bead.zone_width * np.array(curve.pressure)
    axes.plot(scales.fine(curve.closure), load(pressure), "o", color=COLOURS["hot"], markersize=3.5,
              label="rows of the law")  # fmt: skip
    for opening in first.openings:
        axes.plot([scales.fine(opening.set)], [0.0], "o", color=INK, markersize=4.5, clip_on=False, zorder=4)
    axes.plot([], [], "o", color=INK, markersize=4.5, label="permanent set")
    axes.set_xlim(left=0.0)
    axes.set_ylim(bottom=0.0)
    axes.legend(loc="upper left", bbox_to_anchor=(1.01, 1.02), frameon=False, fontsize=9, labelspacing=0.9)
    return figure


def section_picture(found: BeadFindings, units: str) -> Figure:
    """Return the section of one bead free, pressed and let go, true to scale, plastic strain in colour."""
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize

    at, scales = found.at[0], Scales(units)
    history = at.history
    rest = history.opened[-1].state
    states: list[tuple[str, Pressed, float | None]] = [
        ("free" if history.start.dies is None else "stamped, free", history.start.state, None),
        (f"closed by {scales.fine.text(history.deepest.closure, '.3f')}", history.deepest, history.deepest.closure),
        ("let go", rest, None),
    ]
    figure = blank_figure(10.4, 4.6)
    headline(figure, f"{found.bead.name}: {_what(found.bead)} in section, true to scale")
    most = max(float(rest.metal.equivalent.max()), MOST_STRAIN)
    norm = Normalize(0.0, 100.0 * most)
    for number, (name, state, closure) in enumerate(states):
        axes = figure.add_axes((0.03, 0.68 - 0.235 * number, 0.94, 0.19))
        _draw_section(axes, at, state, closure, norm)
        axes.set_title(name, loc="left", fontsize=10.0, color=INK)
    bar = figure.add_axes((0.3, 0.075, 0.4, 0.018))
    figure.colorbar(ScalarMappable(norm, "YlOrRd"), cax=bar, orientation="horizontal")
    bar.set_title("equivalent plastic strain, %", fontsize=9, color=QUIET, pad=3)
    bar.tick_params(labelsize=8)
    return figure


def _what(bead: Bead) -> str:
    return "the ring" if bead.solid else "its layers" if bead.stack.laid else "one bead"


def _draw_section(axes: Any, at: AtTemperature, state: Pressed, closure: float | None, norm: Any) -> None:
    from matplotlib.collections import PolyCollection

    mesh, share = at.history.pressing.sheet.mesh, at.history.share
    places = mesh.points + state.displacement.reshape(-1, 2)
    strain = state.metal.equivalent.reshape(-1, 4).mean(axis=1)
    outlines: list[FloatArray] = [places[mesh.cells[:, [0, 4, 1, 5, 2, 6, 3, 7]]]]
    if share < 1.0:
        outlines.append(outlines[0] * np.array([-1.0, 1.0]))
    for outline in outlines:
        axes.add_collection(
            PolyCollection(
                list(outline), array=100.0 * strain, norm=norm, cmap="YlOrRd", edgecolors=QUIET, linewidths=0.15
            )
        )
    reach, low, high = 1.03 * float(places[:, 0].max()), float(places[:, 1].min()), float(places[:, 1].max())
    top = at.history.pressing.top - (closure or 0.0)
    if closure is not None:
        axes.plot([-reach, reach], [top, top], color=INK, linewidth=1.2)
    if state is at.history.start.state or closure is not None:
        axes.plot([-reach, reach], [0.0, 0.0], color=INK, linewidth=1.2)
    axes.set_xlim(-reach, reach)
    axes.set_ylim(low - 0.05, max(high, at.history.pressing.top) + 0.05)
    axes.set_aspect("equal")
    axes.axis("off")
