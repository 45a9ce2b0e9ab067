"""Names beside the ends of lines, apart from each other: nobody looks from a legend to a curve and back."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from headjoint.model.base.arrays import FloatArray
from headjoint.postproc.present.drawing import wrapped

NAME_LETTERS = 24
LINE = 0.15  # inches, height of one line of a name


def spread(wanted: FloatArray, heights: FloatArray, low: float = -np.inf, high: float = np.inf) -> FloatArray:
    """Return the middles of words of some heights, as near to the wanted places as keeps them apart and in bounds.

    Least squares: where words stand in rows, a place less all heights below it may not fall; which is isotonic
    regression, and bounds cut its answer off.
    """
    from scipy.optimize import isotonic_regression

    if not len(wanted):
        return wanted
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
    words = [wrapped(name, NAME_LETTERS) for name, _, _ in lines]
    ends = np.array([(min(max(height, low), high) - low) / (high - low) for _, height, _ in lines])
    heights = np.array([(0.04 + LINE * (one.count("\n") + 1)) / inches for one in words])
    for (_, _, colour), end, place, text in zip(lines, ends, spread(ends, heights, 0.0, 1.0), words, strict=True):
        leader = {"xycoords": "axes fraction", "textcoords": "axes fraction", "annotation_clip": False}
        line = {"arrowstyle": "-", "color": colour, "linewidth": 0.7, "shrinkA": 0.0, "shrinkB": 0.0}
        axes.annotate("", (1.002, end), xytext=(1.03, place), arrowprops=line, **leader)
        axes.annotate(text, (1.034, place), fontsize=8.5, color=colour, va="center", **leader)
