"""What pictures of studies share: what holds, what the file states."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from headjoint.postproc.designs.axes import Axis
from headjoint.postproc.present.drawing import HOLDS, INK, QUIET
from headjoint.postproc.present.scale import Scale

FINE = 800  # places at which what holds is looked for between the points
BOX = {"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 1.0}  # behind words over lines


def axis_words(axis: Axis) -> str:
    """Return quantity and unit of an axis, in the unit that the user named."""
    return Scale(axis.unit).axis(axis.name)


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
