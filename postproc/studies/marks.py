"""What pictures of studies share: names beside the ends of lines, what holds, what the file states."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from headjoint.model.base.arrays import FloatArray
from headjoint.postproc.designs.axes import Axis
from headjoint.postproc.present.drawing import HOLDS, INK, QUIET
from headjoint.postproc.present.scale import Scale

NAME_LETTERS = 24
LINE = 0.15  # inches, height of one line of a name
FINE = 800  # places at which what holds is looked for between the points
BOX = {"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 1.0}  # behind words over lines


def axis_words(axis: Axis) -> str:
    """Return quantity and unit of an axis, in the unit that the user named."""
    return Scale(axis.unit).axis(axis.name)


def spread(wanted: FloatArray, heights: FloatArray, low: float, high: float) -> FloatArray:
    """Return the middles of words of some heights, as near to the wanted places as keeps them apart and in bounds.

    Least squares: where words stand in rows, a place less all heights below it may not fall; which is isotonic
    regression, and bounds cut its answer off.
    """
    from scipy.optimize import isotonic_regression

    order = np.argsort(wanted, kind="stable")
    own = heights[order]
    below = np.concatenate([[0.0], np.cumsum((own[1:] + own[:-1]) / 2.0)])
    kept = isotonic_regression(wanted[order] - below).x
    inside = np.clip(kept, low + own[0] / 2.0, max(high - own[-1] / 2.0 - below[-1], low + own[0] / 2.0))
    places = np.empty_like(kept)
    places[order] = inside + below
    return places


def name_at_ends(axes: Any, lines: Sequence[tuple[str, float, str]]) -> None:
    """Write names right of the axes, each led to from the end of its line: (name, height there, colour)."""
    if not lines:
        return
    low, high = axes.get_ylim()
    inches = axes.get_figure().get_size_inches()[1] * axes.get_position().height
    words = [textwrap.wrap(name, NAME_LETTERS) for name, _, _ in lines]
    ends = np.array([(min(max(height, low), high) - low) / (high - low) for _, height, _ in lines])
    heights = np.array([(0.04 + LINE * len(one)) / inches for one in words])
    for (_, _, colour), end, place, text in zip(lines, ends, spread(ends, heights, 0.0, 1.0), words, strict=True):
        leader = {"xycoords": "axes fraction", "textcoords": "axes fraction", "annotation_clip": False}
        line = {"arrowstyle": "-", "color": colour, "linewidth": 0.7, "shrinkA": 0.0, "shrinkB": 0.0}
        axes.annotate("", (1.002, end), xytext=(1.03, place), arrowprops=line, **leader)
        axes.annotate("\n".join(text), (1.034, place), fontsize=8.5, color=colour, va="center", **leader)


def shade(axes: Any, x: NDArray[np.float64], least: NDArray[np.float64]) -> None:
    """Shade the stretches of x where all requirements hold, their ends where the least factor crosses 1."""
    fine = np.linspace(x[0], x[-1], FINE)
    good = np.interp(fine, x, np.nan_to_num(least, nan=0.0)) >= 1.0
    low, high = axes.get_ylim()
    axes.fill_between(fine, low, high, where=good, color=HOLDS, alpha=0.10, linewidth=0, zorder=0)
    axes.set_ylim(low, high)
    if good.any():
        middle = float(np.median(fine[good]))
        axes.annotate(
            "all met", (middle, low), xytext=(0, 4), textcoords="offset points", fontsize=9, color=HOLDS, ha="center"
        )


def mark_own(axes: Any, own: float | None, low: float, high: float) -> None:
    """Mark what the file itself states, where it lies between two ends."""
    if own is None or not low <= own <= high:
        return
    axes.axvline(own, color=QUIET, linewidth=0.9, linestyle=(0, (1, 2)))
    to_left = own > low + 0.97 * (high - low)
    axes.annotate(
        "as in the file", (own, 1.0), xycoords=("data", "axes fraction"), xytext=(-4 if to_left else 4, -3),
        textcoords="offset points", fontsize=8, color=QUIET, va="top", ha="right" if to_left else "left", rotation=90,
        bbox=BOX, zorder=4,
    )  # fmt: skip


def need_line(axes: Any) -> None:
    """Draw the line at which a requirement just holds."""
    axes.axhline(1.0, color=INK, linewidth=1.0, linestyle=(0, (4, 2)))
