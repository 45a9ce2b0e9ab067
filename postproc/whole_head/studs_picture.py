"""Picture of what the studs of a whole head bear, in plan: how each is bent, its yield and its amplitude by gas."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.cases.whole_head.solved import SolvedHead
from headjoint.model.base.arrays import FloatArray
from headjoint.postproc.cell.stuck_nuts import StudBending
from headjoint.postproc.present.drawing import FAILS, FASTENER, INK, QUIET, blank_figure, headline
from headjoint.postproc.present.scale import Scales
from headjoint.postproc.whole_head.findings import HeadFindings
from headjoint.postproc.whole_head.studs import first_of_most

if TYPE_CHECKING:
    from matplotlib.figure import Figure

TURN = np.radians(np.linspace(0.0, 360.0, 121))
WIDTH = 12.0  # inches
LONGEST = 0.28  # of the pitch, the arrow of the stud that bends most
BESIDE = 0.11  # of the pitch, how far from its stud a number stands


def studs_in_plan(solved: SolvedHead, findings: HeadFindings, units: str = "si") -> Figure:
    """The bending of every stud in the state where one bends most; yield over stress, and the range by gas, of each."""
    scales, bent = Scales(units), findings.bending["nominal"]
    state = first_of_most([float(one.stress.max()) for one in bent])
    name, unit = findings.states["nominal"][state].name, scales.pressure.unit
    needed = solved.cell.joint.requirements.yield_factor
    factors = [one.yield_factor for one in findings.studs]
    panels: list[tuple[str, list[str], list[bool]]] = [
        (
            f"Bending, {unit}, in '{name}' at the nominal preload; arrows point to the side that is pulled, at the end "
            "that bends more",
            [scales.pressure.number(float(one)) for one in bent[state].stress],
            [False] * len(factors),
        )
    ]
    if all(one is not None for one in factors):
        title = f"Yield strength over stress at the greatest preload, least in service; {needed:.2f} is needed"
        panels.append((title, [f"{one:.2f}" for one in factors], [one is not None and one < needed for one in factors]))
    if any(one.amplitude is not None for one in findings.studs):
        title = f"Stress amplitude by gas, {unit} on the stress area, greatest of all states"
        texts = ["" if one.amplitude is None else scales.pressure.number(one.amplitude) for one in findings.studs]
        panels.append((title, texts, [False] * len(factors)))
    xy = scales.length(solved.row.outline)
    panel = (WIDTH - 1.1) * float(np.ptp(xy[..., 1]) / np.ptp(xy[..., 0]))
    height = 0.7 + len(panels) * (panel + 0.6)
    figure = blank_figure(WIDTH, height)
    headline(figure, f"Stresses of the studs in plan: {solved.cell.joint.name}")
    for number, (title, texts, bad) in enumerate(panels):
        bottom = height - 0.7 - (number + 1) * (panel + 0.6) + 0.25
        axes = figure.add_axes((0.75 / WIDTH, bottom / height, (WIDTH - 1.1) / WIDTH, panel / height))
        axes.set_title(title, loc="left", fontsize=10.5, color=INK)
        _bores(axes, solved, xy, scales)
        towards = bent_towards(solved.row.watched.rows.arm, bent[state]) * (number == 0)
        _numbers(axes, solved, texts, bad, towards[:, 1], scales)
        if number == 0:
            _arrows(axes, solved, towards, scales)
    return figure


def _bores(axes: Any, solved: SolvedHead, xy: FloatArray, scales: Scales) -> None:
    radius = scales.length(solved.cell.layout.bore / 2.0)
    for bore, (x, y) in enumerate(solved.cell.bore_centres):
        at = (scales.length(x), scales.length(y))
        axes.plot(at[0] + radius * np.cos(TURN), at[1] + radius * np.sin(TURN), color=QUIET, lw=0.9)
        axes.text(*at, str(bore + 1), ha="center", va="center", fontsize=10, color=QUIET)
    framed(axes, solved, xy, scales)


def framed(axes: Any, solved: SolvedHead, xy: FloatArray, scales: Scales) -> None:
    """End axes where the gasket of a row does, its outline (8, f, 2) being `xy` in the reader's unit."""
    axes.set_xlim(xy[..., 0].min(), xy[..., 0].max())
    axes.set_ylim(xy[..., 1].min(), xy[..., 1].max())
    axes.set_aspect("equal")
    below = "; exhaust side below" if solved.row.unlike_sides else ""
    axes.set_ylabel(f"{scales.length.axis('across')}{below}", color=QUIET, fontsize=8)
    axes.tick_params(labelsize=8, colors=QUIET)
    axes.spines[["top", "right"]].set_visible(False)


def _numbers(
    axes: Any, solved: SolvedHead, texts: list[str], bad: list[bool], away: FloatArray, scales: Scales
) -> None:
    """Draw every stud with its number, inside the picture where a plane cuts it, away from its arrow (f,)."""
    left, right = axes.get_xlim()
    radius = scales.length(solved.cell.shank_diameter / 2.0)
    beside = scales.length(BESIDE * _pitch(solved))
    for stud, (text, fails) in enumerate(zip(texts, bad, strict=True)):
        x, y = (scales.length(float(value)) for value in solved.row.places[:, stud])
        axes.fill(x + radius * np.cos(TURN), y + radius * np.sin(TURN), color=FAILS if fails else FASTENER, lw=0.0)
        inside = min(max(x, left + 2.5 * radius), right - 2.5 * radius)
        at = y + (beside if away[stud] < 0.0 else -beside)
        axes.text(
            inside, at, text, ha="center", va="center", fontsize=9, color=FAILS if fails else INK,
            bbox={"boxstyle": "round,pad=0.15", "facecolor": "white", "edgecolor": QUIET, "linewidth": 0.5},
        )  # fmt: skip


def bent_towards(arm: FloatArray, bent: StudBending) -> FloatArray:
    """Return the bending stress (f, 2) MPa of studs towards the side that is pulled, at the end that bends more."""
    found = []
    for stud, own_arm in enumerate(arm):
        ends = [one for own in bent.gradients for one in (own[stud][:2], own[stud][:2] + own[stud][2:])]
        found.append(own_arm * max(ends, key=lambda one: float(np.hypot(one[0], one[1]))))
    return np.array(found)


def _arrows(axes: Any, solved: SolvedHead, towards: FloatArray, scales: Scales) -> None:
    """Draw which way studs bend, longest where the stress is greatest."""
    longest = LONGEST * _pitch(solved) / max(float(np.hypot(*towards.T).max()), 1e-9)
    for place, way in zip(solved.row.places.T, towards, strict=True):
        start, end = (tuple(scales.length(float(one)) for one in at) for at in (place, place + longest * way))
        axes.annotate("", end, start, arrowprops={"arrowstyle": "-|>", "color": FAILS, "lw": 1.6})


def _pitch(solved: SolvedHead) -> float:
    return float(solved.cell.layout.pitch)  # type: ignore[union-attr]
