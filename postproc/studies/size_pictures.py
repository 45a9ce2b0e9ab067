"""The picture of sizing: factors over each quantity, what holds shaded, the answers marked."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.postproc.designs.outcome import judged_by
from headjoint.postproc.present.drawing import (
    FAILS,
    HOLDS,
    INK,
    PAGE,
    Place,
    blank_figure,
    headline,
    placed_axes,
    save_pictures,
)
from headjoint.postproc.present.end_names import name_at_ends
from headjoint.postproc.present.scale import Scale
from headjoint.postproc.studies.marks import BOX, mark_own, need_line
from headjoint.postproc.studies.size import Sized
from headjoint.postproc.studies.size_search import Found
from headjoint.postproc.verdict.table import requirement

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LEAST_SHOWN, MOST_SHOWN = 0.4, 2.4  # factors over need


def draw_sized(sized: Sized, folder: Path, units: str = "si") -> list[Path]:
    """Draw the answers into `folder` and return the path."""
    return save_pictures([("size", lambda: size_figure(sized, units))], folder)


def size_figure(sized: Sized, units: str = "si") -> Figure:
    """One field for every continuous question."""
    height = 0.6 + 3.2 * len(sized.answers)
    figure = blank_figure(PAGE, height)
    headline(figure, f"{sized.joint.name}: what meets every requirement")
    for number, answer in enumerate(sized.answers):
        bottom = 1.0 - (0.6 + 3.2 * (number + 1) - 0.62) / height
        _field(figure, (0.1, bottom, 0.635, 2.15 / height), answer, Scale(answer.unit, units))
    return figure


def _field(figure: Figure, place: Place, answer: Found, scale: Scale) -> None:
    title = f"{answer.question[0].upper()}{answer.question[1:]}: factor over need, 1 holds"
    axes = placed_axes(figure, place, title, scale.axis(answer.question), "factor over need")
    curve = [(x, outcome) for x, outcome in answer.curve if not outcome.problem]
    x = scale.of_table([at for at, _ in curve])
    ends = []
    for key in judged_by(outcome for _, outcome in curve):
        found = [outcome.criterion(key) for _, outcome in curve]
        values = np.array([np.nan if one is None else one.in_hand for one in found])
        if not np.nanmin(values) < MOST_SHOWN:
            continue
        name, colour = requirement(key).title, requirement(key).colour
        axes.plot(x, values, color=colour, linewidth=1.6)
        ends.append((name, float(values[np.isfinite(values)][-1]), colour))
    axes.set_xlim(x.min(), x.max())
    axes.set_ylim(LEAST_SHOWN, MOST_SHOWN)
    need_line(axes)
    own = scale.of_table(answer.own)
    _draw_answer(axes, answer, scale, own)
    mark_own(axes, own, x.min(), x.max())
    name_at_ends(axes, ends)


def _draw_answer(axes: Any, answer: Found, scale: Scale, own: float | None) -> None:
    """Shade what holds, and mark its ends; `own` is the file's value, which is named along its own line."""
    if not answer.found:
        beside = 0.25 if own is not None and own > sum(axes.get_xlim()) / 2.0 else 0.75
        axes.annotate("nothing holds", (beside, 0.9), xycoords="axes fraction", fontsize=10, color=FAILS, ha="center")
        return
    low, high = axes.get_xlim()
    if answer.least is not None:
        low = scale.of_table(answer.least.at)
    if answer.greatest is not None:
        high = scale.of_table(answer.greatest.at)
    axes.axvspan(low, high, color=HOLDS, alpha=0.12, linewidth=0, zorder=0)
    for limit, side in ((answer.least, "right"), (answer.greatest, "left")):
        if limit is not None:
            at = scale.of_table(limit.at)
            axes.plot(at, 1.0, "o", color=INK, markersize=6, markerfacecolor="white", zorder=5)
            axes.annotate(
                scale.text_of_table(limit.at, ".4g"), (at, 1.0),
                xytext=(-7 if side == "right" else 7, -14), textcoords="offset points", fontsize=9, color=INK, ha=side,
                bbox=BOX, zorder=6,
            )  # fmt: skip
