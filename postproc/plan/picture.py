"""The picture of a gasket's pressure in plan: one state large, with all that is to be said of it, the others small."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.model.base.arrays import IntArray
from headjoint.postproc.plan.panel import Panel, PlanBore, PlanWindow, PlanZone
from headjoint.postproc.present.drawing import (
    FAILS,
    INK,
    PAGE,
    QUIET,
    blank_figure,
    headline,
    round_ticks,
    wrapped,
)
from headjoint.postproc.present.scale import Scale, Scales

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PRESSURES = "viridis"  # its lightness rises evenly: it reads the same in grey, and to people who see few colours
BEYOND = 0.995  # share of the pressures that colours tell apart
LEAST_SCALE = 1.0  # of pressure as shown: where faces have parted, a solver's rounding would fill the scale
TURN = np.radians(np.linspace(0.0, 360.0, 181))
# inches: room left of the plan, for the colours at its right, above it and below it, below a small one, and heights
LEFT, BAR, TOP, BELOW, SMALL_BELOW, TALLEST, GAP = 0.68, 1.05, 0.82, 0.5, 0.32, 5.6, 0.12
ENTRY = 0.165  # inches, height of one line of the legend
FINE = 0.09  # inches of a sealing ring's width below which its outline is drawn thin
LETTER = 0.078  # inches of a letter of 9 points
NAMED = 1.5  # inches across a bore from which zones are named in it


def plan_picture(
    title: str,
    panels: Sequence[Panel],
    window: PlanWindow,
    zones: Sequence[PlanZone],
    units: str = "si",
    ticks: Sequence[float] | None = None,
) -> Figure:
    """Return the picture: the first panel large, the others below it, one scale for all.

    zones : from the bore outwards, pointed to in the first bore. ticks : of the pressures as shown; those that
    `pressure_ticks` finds unless given.
    """
    scales = Scales(units)
    (wide, high), main = window.high - window.low, panels[0]
    inch = min((PAGE - LEFT - BAR) / wide, TALLEST / high)  # of the large panel, per mm
    small = _small_places(len(panels) - 1, wide, high)
    named = inch * 2.0 * main.bores[0].radius > NAMED
    entries = _legend(main, scales, zones, named=named)
    below = BELOW + ENTRY * len(entries)
    small_below = max((bottom + SMALL_BELOW for *_, bottom in small), default=0.1)
    height = TOP + inch * high + below + small_below
    figure = blank_figure(PAGE, height)
    headline(figure, title)
    ticks = pressure_ticks(panels, window, units) if ticks is None else ticks
    left = LEFT + (PAGE - LEFT - BAR - inch * wide) / 2.0
    place = (left / PAGE, 1.0 - (TOP + inch * high) / height, inch * wide / PAGE, inch * high / height)
    axes = figure.add_axes(place)
    painted = _draw_panel(axes, main, window, scales, ticks[-1], inch)
    axes.set_title(main.title, loc="left", fontsize=10.5, color=INK)
    axes.set_xlabel(scales.length.axis(window.across), fontsize=9.5)
    axes.set_ylabel(scales.length.axis(window.up), fontsize=9.5)
    _write_bores(axes, main, zones, scales, inch)
    _write_forces(axes, main, scales.force, inch)
    bar_place = (1.0 - (BAR - 0.22) / PAGE, place[1] + 0.1 * place[3], 0.17 / PAGE, 0.8 * place[3])
    bar = figure.colorbar(painted, cax=figure.add_axes(bar_place), ticks=ticks, extend="max", extendfrac=0.03)
    bar.set_label(scales.pressure.axis("contact pressure"), color=INK, fontsize=9.5)
    at = ((LEFT - 0.2) / PAGE, place[1] - BELOW / height)
    figure.legend(
        handles=entries, loc="upper left", bbox_to_anchor=at, frameon=False, fontsize=8.5, borderaxespad=0.0,
        borderpad=0.0, labelspacing=0.25,
    )  # fmt: skip
    top = TOP + inch * high + below + SMALL_BELOW
    for one, (x, y, width, _) in zip(panels[1:], small, strict=True):
        ratio = width / wide
        size = (x / PAGE, 1.0 - (top + y + ratio * high) / height, width / PAGE, ratio * high / height)
        axes = figure.add_axes(size)
        _draw_panel(axes, one, window, scales, ticks[-1], ratio)
        axes.set_xticks([])
        axes.set_yticks([])
        axes.set_title(wrapped(one.title, int(width / LETTER)), loc="left", fontsize=9.5, color=INK)
    return figure


def pressure_ticks(panels: Sequence[Panel], window: PlanWindow, units: str = "si") -> list[float]:
    """Return round pressures, as shown, up to what nearly all that is seen of some panels presses."""
    seen = []
    for one in panels:
        inside = ((window.low <= one.places.T) & (window.high >= one.places.T)).all(axis=1)
        seen.append(Scales(units).pressure(one.pressure[inside]))
    return round_ticks(max(float(np.quantile(np.concatenate(seen), BEYOND)), LEAST_SCALE))


def _small_places(count: int, wide: float, high: float) -> list[tuple[float, float, float, float]]:
    """Return left, top, width and bottom (inches) of small panels, as many side by side as stay readable."""
    if not count:
        return []
    columns = min(count, 4 if high > 0.8 * wide else 3 if count > 4 else 2)
    columns = max(columns, 2)
    room = (PAGE - 2.0 * GAP - GAP * (columns - 1)) / columns
    width = min(room, 1.7 * wide / high)
    places = []
    for number in range(count):
        row, column = divmod(number, columns)
        down = row * (width * high / wide + SMALL_BELOW)
        places.append((GAP + column * (room + GAP), down, width, down + width * high / wide + GAP))
    return places


def _in_window(panel: Panel, triangles: IntArray, window: PlanWindow) -> IntArray:
    corners = panel.places[:, triangles]
    low, high = window.low[:, None], window.high[:, None]
    return triangles[((corners.max(axis=2) > low) & (corners.min(axis=2) < high)).all(axis=0)]


def _draw_panel(axes: Any, panel: Panel, window: PlanWindow, scales: Scales, limit: float, inch: float) -> Any:
    """Draw the pressure shaded within every triangle, bores, what seals and what does not; return what is painted.

    inch : inches of the panel per mm.
    """
    large = inch * 2.0 * panel.bores[0].radius > NAMED
    fine = inch * panel.ring_width < FINE
    from matplotlib.collections import LineCollection, PolyCollection

    places = scales.length(panel.places)
    painted = axes.tripcolor(
        *places, _in_window(panel, panel.triangles, window), scales.pressure(panel.pressure),
        shading="gouraud", cmap=PRESSURES, vmin=0.0, vmax=limit,
    )  # fmt: skip
    short = _in_window(panel, panel.short, window)
    if len(short):
        axes.add_collection(
            PolyCollection(
                list(places[:, short].transpose(1, 2, 0)),
                facecolors=FAILS,
                edgecolors="white",
                linewidths=0.0,
                hatch="xxxx",
            )
        )
    for width, colour in ((0.6, INK),) if fine else ((2.6, "white"), (1.2, INK)):
        lines = LineCollection(list(scales.length(panel.sealed)), colors=colour, linewidths=width, capstyle="round")
        axes.add_collection(lines)
    for bore in panel.bores:
        _circle(axes, scales, bore.x, bore.y, bore.radius, color=INK, lw=0.8 if large else 0.4)
        size = 5.0 if large else 3.0
        for weakest in bore.weakest:
            mark = {"marker": "D", "color": FAILS, "markeredgecolor": "white", "markersize": size}
            axes.plot(*scales.length(weakest), markeredgewidth=0.16 * size, **mark)
    for stud in panel.studs:
        _circle(axes, scales, stud.x, stud.y, stud.radius, color=INK, lw=0.8 if large else 0.4)
        if stud.turned:
            _circle(axes, scales, stud.x, stud.y, 1.35 * stud.radius, color=FAILS, lw=2.4, ls=(0, (3.0, 1.0)))
    axes.set_aspect("equal")
    axes.set_xlim(*scales.length([window.low[0], window.high[0]]))
    axes.set_ylim(*scales.length([window.low[1], window.high[1]]))
    axes.tick_params(labelsize=9, colors=QUIET)
    axes.spines[["top", "right"]].set_visible(False)
    return painted


def _circle(axes: Any, scales: Scales, x: float, y: float, radius: float, **look: Any) -> None:
    axes.plot(scales.length(x + radius * np.cos(TURN)), scales.length(y + radius * np.sin(TURN)), **look)


def _write_bores(axes: Any, panel: Panel, zones: Sequence[PlanZone], scales: Scales, inch: float) -> None:
    """Write in every bore how it seals, and in the first, where there is room, the names of the zones round it."""
    across = inch * 2.0 * panel.bores[0].radius
    longest = max(len(line) for bore in panel.bores for line in (*bore.words, ""))
    size = min(9.0, 9.0 * 0.85 * across / (LETTER * max(longest, 1)))
    for bore in panel.bores:
        at = scales.length([bore.x, bore.y - 0.1 * bore.radius])
        axes.text(*at, "\n".join(bore.words), ha="center", va="center", fontsize=size, color=INK)
    if across > NAMED:
        _name_zones(axes, panel.bores[0], zones, scales)


def _name_zones(axes: Any, bore: PlanBore, zones: Sequence[PlanZone], scales: Scales) -> None:
    """Write the zones' names one below the other in a bore, each led to its zone."""
    heights = np.linspace(0.66, 0.66 - 0.17 * (len(zones) - 1), len(zones))
    for zone, up in zip(zones, heights, strict=True):
        start = (bore.x + 0.05 * bore.radius, bore.y + up * bore.radius)
        turn = np.arcsin(min(up * bore.radius / zone.radius, 1.0))
        end = (bore.x + zone.radius * np.cos(turn), bore.y + zone.radius * np.sin(turn))
        line = {"arrowstyle": "-", "color": INK, "linewidth": 0.7, "shrinkA": 2, "shrinkB": 0, "relpos": (1.0, 0.5)}
        axes.annotate(
            zone.name, scales.length(end), xytext=scales.length(start), fontsize=8.5, color=INK, ha="right",
            va="center", arrowprops=line,
        )  # fmt: skip
        axes.plot(
            *scales.length(end), marker="o", markersize=4.0, color=INK, markeredgecolor="white", markeredgewidth=0.7
        )


def _write_forces(axes: Any, panel: Panel, force: Scale, inch: float) -> None:
    """Write every stud's force in its hole; the unit stands in the legend."""
    length = Scales(force.units).length
    for stud in panel.studs:
        text = force.number(stud.force)
        size = min(9.0, max(9.0 * 1.7 * inch * stud.radius / (LETTER * len(text)), 6.5))
        box = {"facecolor": "white", "edgecolor": "none", "boxstyle": "round,pad=0.1"}
        axes.text(*length([stud.x, stud.y]), text, ha="center", va="center", fontsize=size, color=INK, bbox=box)


def _legend(panel: Panel, scales: Scales, zones: Sequence[PlanZone], *, named: bool) -> list[Any]:
    """Return what lines, marks and numbers of the large panel mean."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    mark: dict[str, Any] = {"marker": "D", "color": FAILS, "markersize": 4.5, "linestyle": "none"}
    entries: list[Any] = [
        Line2D([], [], color=INK, linewidth=1.1, label="round what of the sealing ring presses as hard as needed"),
        Line2D([], [], label="where a sealing line presses least", **mark),
        Line2D([], [], linestyle="none", label=f"number in a stud's hole: its force, {scales.force.unit}"),
    ]
    if any(stud.turned for stud in panel.studs):
        entries.append(Line2D([], [], color=FAILS, linewidth=2.4, linestyle=(0, (3.0, 1.0)), label="is being turned"))
    if len(panel.short):
        entries.insert(
            1,
            Patch(
                facecolor=FAILS, edgecolor="white", hatch="xxxx", label="of the sealing ring, presses less than needed"
            ),
        )
    if not named:
        words = "zones from the bore outwards: " + ", ".join(zone.name for zone in zones)
        entries.append(Line2D([], [], linestyle="none", label=words))
    return entries
