"""Pictures of a whole head in plan: pressure over every bore, forces at every stud, what one fired bore takes away."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from headjoint.cases.whole_head.solved import HeadState, SolvedHead
from headjoint.model.base.arrays import FloatArray
from headjoint.postproc.present.drawing import INK, QUIET, blank_figure, headline, round_ticks, save_pictures
from headjoint.postproc.present.scale import Scales
from headjoint.postproc.whole_head.findings import HeadFindings
from headjoint.postproc.whole_head.studs_picture import framed, studs_in_plan

if TYPE_CHECKING:
    from matplotlib.figure import Figure

TURN = np.radians(np.linspace(0.0, 360.0, 121))
CORNERS = [0, 4, 1, 5, 2, 6, 3, 7]  # of an eight-node face, round its edge
BEYOND = 0.995  # share of the pressures that colours tell apart
WIDTH = 12.0  # inches


def draw_head(solved: SolvedHead, findings: HeadFindings, folder: Path, units: str = "si") -> list[Path]:
    """Draw the pictures into `folder` and return the paths."""
    pictures = (
        ("gasket_in_plan", lambda: gasket_in_plan(solved, units)),
        ("studs_in_plan", lambda: studs_in_plan(solved, findings, units)),
    )
    return save_pictures(pictures, folder)


def gasket_in_plan(solved: SolvedHead, units: str = "si") -> Figure:
    """The pressure after tightening and while the bore fires that seals least, and what the gas there takes away."""
    scales, states = Scales(units), solved.levels["nominal"]
    worst = _worst(states)
    before = _before(states, worst)
    means = [solved.row.model.points.face_means(one.state.equilibrium.pressure) for one in (states[0], worst, before)]
    lost = means[2] - means[1]
    panels = [(f"{states[0].name}", means[0], states[0]), (f"{worst.name}", means[1], worst)]
    unit = scales.pressure.unit
    high = round_ticks(float(scales.pressure(float(np.quantile(np.concatenate(means[:2]), BEYOND)))))
    drop = round_ticks(max(float(scales.pressure(float(np.quantile(lost, BEYOND)))), 1e-3))
    xy = scales.length(solved.row.outline[CORNERS])
    wide, deep = np.ptp(xy[..., 0]), np.ptp(xy[..., 1])
    panel = (WIDTH - 2.2) * deep / wide
    count = 2 if worst.fired is None else 3
    height = 0.7 + count * (panel + 0.55)
    figure = blank_figure(WIDTH, height)
    headline(figure, f"Gasket pressure in plan, forces at the studs ({scales.force.unit}): {solved.cell.joint.name}")
    words = f"pressure, {unit}"
    drawn = [_Map(title, scales.pressure(values), high, "viridis", words, one) for title, values, one in panels]
    if count == 3:
        title = f"What {worst.name} takes away, from {before.name}"
        drawn.append(_Map(title, scales.pressure(lost), drop, "magma_r", f"pressure less, {unit}", worst))
    for number, one in enumerate(drawn):
        bottom = height - 0.7 - (number + 1) * (panel + 0.55) + 0.2
        place = (0.75 / WIDTH, bottom / height, (WIDTH - 2.2) / WIDTH, panel / height)
        _draw_map(figure, place, one, xy, solved, scales)
    return figure


def _before(states: tuple[HeadState, ...], worst: HeadState) -> HeadState:
    """Return the last state without gas before a state."""
    at = next(number for number, one in enumerate(states) if one is worst)
    return [one for one in states[: at + 1] if one.fired is None][-1]


def _worst(states: tuple[HeadState, ...]) -> HeadState:
    """Return the state whose fired bore, or where none fires any bore, has the least sealing pressure."""
    fired = [one for one in states if one.fired is not None] or list(states)

    def least(one: HeadState) -> float:
        lines = one.lines if one.fired is None else [line for line in one.lines if line.fired]
        return min(float(line.pressure.min()) for line in lines)

    return min(fired, key=least)


@dataclass(frozen=True)
class _Map:
    """What is painted over the gasket's faces: values in the reader's unit, ticks and words of the bar beside them.

    state : whose forces stand at the studs.
    """

    title: str
    values: FloatArray
    ticks: list[float]
    colours: str
    words: str
    state: HeadState


def _draw_map(
    figure: Figure,
    place: tuple[float, float, float, float],
    one: _Map,
    xy: FloatArray,
    solved: SolvedHead,
    scales: Scales,
) -> None:
    """Draw a map at its place (shares of the figure) over the gasket's faces xy (8, f, 2), in the reader's unit."""
    from matplotlib.cm import ScalarMappable
    from matplotlib.collections import PolyCollection
    from matplotlib.colors import Normalize

    axes = figure.add_axes(place)
    axes.set_title(one.title, loc="left", fontsize=10.5, color=INK)
    mapped = ScalarMappable(Normalize(0.0, float(one.ticks[-1])), one.colours)
    painted = mapped.to_rgba(one.values)
    axes.add_collection(
        PolyCollection(list(xy.transpose(1, 0, 2)), facecolors=painted, edgecolors=painted, linewidths=0.2)
    )
    radius = scales.length(solved.cell.sealing_zone.sealing_diameter / 2.0)
    for bore, (x, y) in enumerate(solved.cell.bore_centres):
        at = (scales.length(x), scales.length(y))
        axes.plot(at[0] + radius * np.cos(TURN), at[1] + radius * np.sin(TURN), color="white", lw=0.8, ls=(0, (4, 3)))
        fired = "\nfires" if one.state.fired == bore else ""
        axes.text(*at, f"{bore + 1}{fired}", ha="center", va="center", fontsize=10, color=INK)
    for stud, force in enumerate(one.state.state.force):
        x, y = (scales.length(float(value)) for value in solved.row.places[:, stud])
        inside = min(max(x, xy[..., 0].min()), xy[..., 0].max())
        axes.text(
            inside, y, scales.force.number(float(force)), ha="center", va="center", fontsize=8, color=INK,
            bbox={"boxstyle": "round,pad=0.15", "facecolor": "white", "edgecolor": QUIET, "linewidth": 0.5},
        )  # fmt: skip
    framed(axes, solved, xy, scales)
    left, bottom, width, high = place
    bar = figure.colorbar(mapped, cax=figure.add_axes((left + width + 0.025, bottom, 0.013, high)), ticks=one.ticks)
    bar.set_label(one.words, color=INK, fontsize=9)
    bar.ax.tick_params(labelsize=8)
