"""Roots of many rising functions at once, each with its slope: Newton kept within a bracket."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import SolveError

LARGEST_ITERATIONS = 200


def rising_roots(
    function: Callable[[FloatArray], tuple[FloatArray, FloatArray | float]],
    high: FloatArray,
    accuracy: float,
    what: str,
) -> FloatArray:
    """Return the roots in [0, high] of rising functions that give value and slope at every point.

    accuracy : of the root, relative to it or to 1 where it is smaller. Where Newton gains little, as on a steep power
    law, the bracket is halved instead. Raises SolveError naming `what` was not found.
    """
    low, root, before = np.zeros_like(high), high, np.full_like(high, np.inf)
    for _ in range(LARGEST_ITERATIONS):
        error, slope = function(root)
        high, low = np.where(error > 0.0, root, high), np.where(error > 0.0, low, root)
        newer = root - error / slope
        slow = (np.abs(error) > 0.5 * before) | (newer < low) | (newer > high)
        newer = np.where(slow, (low + high) / 2.0, newer)
        done = np.abs(newer - root) <= accuracy * np.maximum(root, 1.0)
        root, before = newer, np.abs(error)
        if done.all():
            return root
    raise SolveError(f"{what} was not found")
