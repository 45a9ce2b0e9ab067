"""The picture of sizing: factors over each quantity, what holds shaded, the answers marked."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from headjoint.postproc.designs.outcome import judged_by
from headjoint.postproc.present.drawing import (
    HOLDS,
    INK,
    QUIET,
    blank_figure,
    headline,
    placed_axes,
    save_pictures,
)
from headjoint.postproc.studies.size import Found, Sized
from headjoint.postproc.studies.sweep_pictures import name_at_ends
from headjoint.postproc.verdict.table import requirement

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MOST_SHOWN = 2.4


def draw_sized(sized: Sized, folder: Path) -> list[Path]:
    """Draw the answers into `folder` and return the path."""
    return save_pictures([("size", lambda: size_figure(sized))], folder)


def size_figure(sized: Sized) -> Figure:
    """One field for every continuous question."""
    height = 0.6 + 3.2 * len(sized.answers)
    figure = blank_figure(11, height)
    headline(figure, f"{sized.joint.name}: what meets every requirement")
    for number, answer in enumerate(sized.answers):
        bottom = 1.0 - (0.6 + 3.2 * (number + 1) - 0.62) / height
        _field(figure, (0.07, bottom, 0.7, 2.15 / height), answer)
    return figure


def _field(figure: Figure, place: tuple[float, float, float, float], answer: Found) -> None:
    title = f"{answer.question[0].upper()}{answer.question[1:]}: factor over need, 1 holds"
    axes = placed_axes(figure, place, title, f"{answer.question} [{answer.unit}]", "factor over need")
    curve = [(x, outcome) for x, outcome in answer.curve if not outcome.problem]
    x = np.array([at for at, _ in curve])
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
    axes.set_ylim(0.4, MOST_SHOWN)
    axes.axhline(1.0, color=INK, linewidth=1.0, linestyle=(0, (4, 2)))
    if answer.found:
        low = answer.least.at if answer.least is not None else x.min()
        high = answer.greatest.at if answer.greatest is not None else x.max()
        axes.axvspan(low, high, color=HOLDS, alpha=0.12, linewidth=0, zorder=0)
        for limit, side in ((answer.least, "right"), (answer.greatest, "left")):
            if limit is not None:
                axes.plot(limit.at, 1.0, "o", color=INK, markersize=6, markerfacecolor="white", zorder=5)
                axes.annotate(
                    f"{limit.at:.4g} {answer.unit}", (limit.at, 1.0), xytext=(-7 if side == "right" else 7, -14),
                    textcoords="offset points", fontsize=9, color=INK, ha=side,
                    bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 1.0}, zorder=6,
                )  # fmt: skip
    else:
        axes.annotate(
            "nothing holds", (0.5, 0.9), xycoords="axes fraction", fontsize=10, color="#a8323e", ha="center"
        )  # fmt: skip
    if x.min() <= answer.own <= x.max():
        axes.axvline(answer.own, color=QUIET, linewidth=0.9, linestyle=(0, (1, 2)))
        axes.annotate(
            "as in the file", (answer.own, 1.0), xycoords=("data", "axes fraction"), xytext=(3, -3),
            textcoords="offset points", fontsize=8, color=QUIET, va="top", rotation=90,
        )  # fmt: skip
    name_at_ends(axes, ends)
