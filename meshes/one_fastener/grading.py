"""One-dimensional grid lines: fine at given breaks, growing between them."""

from __future__ import annotations

import numpy as np

from headjoint.model.base.arrays import FloatArray


def graded_lines(breaks: dict[float, float], growth: float, largest: float) -> FloatArray:
    """Return ascending grid lines that hit every break.

    Parameters
    ----------
    breaks : coordinate (mm) -> wanted element size there (mm).
    growth : ratio of neighbouring sizes away from a break, above 1.
    largest : upper bound of the size (mm).

    Notes
    -----
    The size at x is h(x) = min(largest, min_b(h_b + (growth - 1)|x - b|)), the continuous form of a
    geometric series; each interval holds ceil(integral dx/h) elements of equal integral.
    """
    places = np.array(sorted(breaks))
    sizes = np.array([breaks[x] for x in places])
    lines = [places[:1]]
    for left, right in zip(places, places[1:], strict=False):
        x = np.linspace(left, right, 201)
        h = np.minimum(largest, (sizes + (growth - 1.0) * np.abs(x[:, None] - places)).min(axis=1))
        density = 1.0 / h
        total = np.concatenate([[0.0], np.cumsum((density[1:] + density[:-1]) / 2.0 * np.diff(x))])
        count = max(1, int(np.ceil(total[-1] - 1e-6)))
        inside = np.interp(np.linspace(0.0, total[-1], count + 1), total, x)
        inside[-1] = right
        lines.append(inside[1:])
    return np.concatenate(lines)
