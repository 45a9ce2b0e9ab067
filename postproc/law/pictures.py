"""Pictures of gasket laws: loading, the range to carry along, unloading and reloading, crush pressure."""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.model.base.whole_files import draft_of
from headjoint.model.gasket.law import GasketLaw
from headjoint.postproc.joint.fields import UNFIT_FOR_FILES
from headjoint.postproc.present.drawing import COLOURS, INK, save_picture, wrapped
from headjoint.postproc.present.scale import Scale, Scales
from headjoint.postproc.present.stack import Graph, Room, stacked

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PLOT_HEIGHT = 3.6  # inches
PEAKS = (0.4, 0.7, 0.97)  # where the zone is opened again, as shares of the closures in the table
CAPTION_WIDTH, CAPTION_LINES = 98, 7  # characters, lines
LONGEST_NAME, LONGEST_TITLE, TITLE_WIDTH = 80, 140, 74  # characters in the headline, over the axes, and in a line there
MOST_NAMED = 8  # temperatures in the legend
DOTS = 25  # rows that are marked
ROOM_FOR_ARROWS = 0.08  # of the picture's height
BEYOND = 1.07  # how far past its last row a curve is drawn
WELL_BEYOND = 1.5  # times the crush pressure
LONGEST_STEM = 80  # characters of a file name
CURVED = "along curves, in the mean by\n"
TYPICAL = "typical shape"  # in the source of laws from memory
FROM_MEMORY = (
    "Shipped laws are typical shapes from memory, each with a range to carry along; no measurement stands behind them."
)


def draw_laws(laws: Sequence[GasketLaw], paths: Sequence[Path], units: str = "si") -> None:
    """Draw one picture per law, all of them or, where one fails, none."""
    with ExitStack() as drafts:
        for law, path in zip(laws, paths, strict=True):
            save_picture(partial(law_picture, law, units), drafts.enter_context(draft_of(path)))


def picture_names(laws: Sequence[GasketLaw]) -> list[str]:
    """Return a file name for each law; laws whose names differ only in signs unfit for files are numbered."""
    names: list[str] = []
    for law in laws:
        stem = f"law-{re.sub(UNFIT_FOR_FILES, '-', law.name)}"[:LONGEST_STEM]
        again = sum(re.fullmatch(rf"{re.escape(stem)}(-\d+)?\.png", name) is not None for name in names)
        names.append(f"{stem}-{again + 1}.png" if again else f"{stem}.png")
    return names


def law_picture(law: GasketLaw, units: str = "si") -> Figure:
    """Return the picture of one law, pressure over closure."""
    scales = Scales(units)
    caption = textwrap.wrap(_caption(law), CAPTION_WIDTH, max_lines=CAPTION_LINES, placeholder=" ...")
    title = wrapped(_short(law.title, LONGEST_TITLE), TITLE_WIDTH) if law.title != law.name else ""
    across, up = scales.fine.axis("closure from first touch"), scales.pressure.axis("contact pressure")
    graph = Graph(title, across, up, partial(_draw_law, law=law, scales=scales))
    headline = f"Gasket law: {_short(law.name, LONGEST_NAME)}"
    return stacked(headline, [[graph]], Room(PLOT_HEIGHT), "\n".join(caption))


def _draw_law(axes: Any, law: GasketLaw, scales: Scales) -> None:
    """Draw pressure over closure."""
    reach = _reach(law)
    end = BEYOND * reach
    shown = max(curve.at(end) for curve in law.curves) * (1.0 + (law.spread or 0.0)) or 1.0
    top = 1.04 * shown
    if law.crush_pressure is not None and law.crush_pressure < 1.5 * shown:
        top = max(top, 1.06 * law.crush_pressure)
    _draw_loading(axes, law, end, scales)
    _draw_range(axes, law, end, scales)
    _draw_unloading(axes, law, reach, ROOM_FOR_ARROWS * top, scales)
    _draw_crush(axes, law, top, scales.pressure)
    axes.set_xlim(0.0, scales.fine(end))
    axes.set_ylim(0.0, scales.pressure(top))


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 3] + "..."


def _reach(law: GasketLaw) -> float:
    """Return the closure (mm) to be shown: the whole table, or up to well beyond the crush pressure."""
    whole = max(curve.closure[-1] for curve in law.curves)
    curve, most = law.curves[0], WELL_BEYOND * (law.crush_pressure or math.inf)
    if curve.at(whole) <= most:
        return whole
    low, high = 0.0, whole
    for _ in range(40):
        middle = (low + high) / 2.0
        low, high = (middle, high) if curve.at(middle) < most else (low, middle)
    return high


def _digits(value: float) -> str:
    return ".0f" if abs(value) >= 1000.0 else ".4g"


def _caption(law: GasketLaw) -> str:
    said = [f"Source: {law.source}."]
    if TYPICAL in law.source:
        said.append(FROM_MEMORY)
    if law.spread is None:
        said.append("No range is known for this law.")
    if not law.keeps_set:
        said.append("It keeps no set: it comes back along its loading curve.")
    return " ".join(said)


def _draw_range(axes: Any, law: GasketLaw, end: float, scales: Scales) -> None:
    if law.spread is None:
        return
    first = law.curves[0]
    rows = [*(row for row in first.closure if row < end), end]
    low, high = (scales.pressure([(1.0 + sign * law.spread) * first.at(row) for row in rows]) for sign in (-1.0, 1.0))
    degrees = scales.temperature.text(first.temperature, "g")
    label = f"range at {degrees}:\nplus-minus {100 * law.spread:.0f} % of pressure"
    axes.fill_between(scales.fine(rows), low, high, color="#dfe7ef", linewidth=0, label=label)


def _draw_loading(axes: Any, law: GasketLaw, end: float, scales: Scales) -> None:
    from matplotlib.colors import LinearSegmentedColormap

    # in the colours that assembly and a hot joint have elsewhere
    shades = LinearSegmentedColormap.from_list("heat", [COLOURS["assembly"], COLOURS["hot"]])
    last = len(law.curves) - 1
    named = {round(place * last / max(MOST_NAMED - 1, 1)) for place in range(MOST_NAMED)}
    looks = [
        {"color": shades(number / max(last, 1)), "linewidth": 2.0, "zorder": 3 - 0.5 * number / max(last, 1)}
        for number in range(last + 1)
    ]
    for number, (curve, look) in enumerate(zip(law.curves, looks, strict=True)):
        # a dot at each row, as long as dots stay apart
        dots = {"marker": "o", "markersize": 3.5} if len(curve.closure) <= DOTS else {}
        degrees = scales.temperature.text(curve.temperature, "g")
        label = f"loading at {degrees}" if number in named else None
        axes.plot(scales.fine(curve.closure), scales.pressure(curve.pressure), label=label, **look, **dots)
    label = "beyond the table the last\nslope goes on"
    for curve, look in zip(law.curves, looks, strict=True):
        if curve.closure[-1] < end:
            beyond = (curve.closure[-1], end)
            pressures = [curve.at(place) for place in beyond]
            dotted = look | {"linestyle": (0, (1, 1.4))}
            axes.plot(scales.fine(beyond), scales.pressure(pressures), label=label, **dotted)
            label = None


@dataclass(frozen=True)
class _Unloading:
    """A zone opened again from a peak: closure (mm) and pressure (MPa) there, closure at which it lifts off, set."""

    peak: float
    pressure: float
    foot: float
    left: float

    @property
    def stiffness(self) -> float:
        """Mean stiffness on the way, MPa/mm."""
        return self.pressure / (self.peak - self.foot)


def _unloadings(law: GasketLaw, reach: float) -> list[_Unloading]:
    """Return what a zone does that is opened and closed again from some peaks on the coldest curve."""
    if not law.keeps_set:
        return []
    curve, permanent_set, found = law.curves[0], 0.0, []
    for share in PEAKS:
        peak = curve.closure[0] + share * (reach - curve.closure[0])
        permanent_set = law.set_after(peak, permanent_set, curve.temperature)
        pressure = law.pressure(peak, permanent_set, curve.temperature)
        if pressure > 0.0:
            found.append(_Unloading(peak, pressure, law.lift_off(permanent_set), permanent_set))
    return found


def _opening(law: GasketLaw, one: _Unloading) -> tuple[list[float], list[float]]:
    """Return closures (mm) and pressures (MPa) on the way from lifting off to the peak."""
    temperature = law.curves[0].temperature
    corners = law.corners(one.left, temperature) if law.opening_sets else ()  # else straight up to the loading curve
    between = [place for place in corners if one.foot < place < one.peak]
    inside = [law.pressure(place, one.left, temperature) for place in between]
    return [one.foot, *between, one.peak], [0.0, *inside, one.pressure]


def _draw_unloading(axes: Any, law: GasketLaw, reach: float, least: float, scales: Scales) -> None:
    """Draw opening and closing again; lines up to more than `least` MPa have room for arrows."""
    unloadings = _unloadings(law, reach)
    if not unloadings:
        return
    closure, pressure, small, stiffness = scales.fine, scales.pressure, scales.small, scales.stiffness
    values = dict.fromkeys(stiffness.number(one.stiffness, _digits(one.stiffness)) for one in unloadings)
    curved = bool(law.opening_sets)
    label = (
        f"unloading and reloading at {scales.temperature.text(law.curves[0].temperature, 'g')}\n"
        f"{CURVED if curved else 'along '}{', '.join(values)} {stiffness.unit};\n"
        f"sets left: {', '.join(small.number(one.left, '.3g') for one in unloadings)} {small.unit}"
    )
    for one in unloadings:
        places, borne = _opening(law, one)
        x, p = closure(places), pressure(borne)
        axes.plot(x, p, color=INK, linewidth=1.2, label=label, zorder=2.5)
        label = ""
        axes.plot([x[0]], [0.0], "o", color=INK, markersize=4.5, clip_on=False, zorder=4)
        if one.pressure < least:
            continue
        across = [x[0] + share * (x[-1] - x[0]) for share in ((0.44, 0.56) if curved else (0.32, 0.68))]
        thirds = [(place, float(np.interp(place, x, p))) for place in across]
        arrow = {"arrowstyle": "<|-|>", "color": INK, "linewidth": 1.2, "mutation_scale": 9, "shrinkA": 0, "shrinkB": 0}
        axes.annotate("", thirds[1], xytext=thirds[0], arrowprops=arrow)


def _draw_crush(axes: Any, law: GasketLaw, top: float, pressure: Scale) -> None:
    if law.crush_pressure is None:
        axes.plot([], [], " ", label="crush pressure not known")
        return
    look: dict[str, Any] = {"color": COLOURS["firing"], "linewidth": 1.4, "linestyle": (0, (6, 3))}
    text = f"crush pressure {pressure.text(law.crush_pressure, _digits(law.crush_pressure))}"
    if law.crush_pressure < top:
        axes.axhline(pressure(law.crush_pressure), label=text, **look)
        return
    axes.plot([], [], label=f"{text},\nabove the picture", **look)
    arrow = {"arrowstyle": "-|>", "color": look["color"], "linewidth": 1.4}
    box = {"xycoords": "axes fraction", "textcoords": "axes fraction"}
    axes.annotate("", (0.03, 1.0), xytext=(0.03, 0.9), arrowprops=arrow, **box)
    axes.annotate(text, (0.045, 0.95), fontsize=9, color=look["color"], va="center", **box)
