"""Root of a rising function. Written out here because importing a library for it takes longer than an estimate."""

from __future__ import annotations

from collections.abc import Callable


def rising_root(rising: Callable[[float], float], low: float, high: float, accuracy: float = 1e-13) -> float:
    """Return the root of a never-falling function between two signs (false position, Illinois variant).

    Returns `low` when the function is not negative there; on a flat stretch, its upper end.
    """
    f_low, f_high = rising(low), rising(high)
    if f_low >= 0.0:
        return low
    last = 0
    for _ in range(200):
        middle = high - f_high * (high - low) / (f_high - f_low)
        if not low < middle < high:
            middle = (low + high) / 2.0
        value = rising(middle)
        if value < 0.0:
            low, f_low = middle, value
            f_high = f_high / 2.0 if last < 0 else f_high
            last = -1
        else:
            high, f_high = middle, value
            f_low = f_low / 2.0 if last > 0 else f_low
            last = 1
        if value == 0.0 or high - low < accuracy:
            return middle if value == 0.0 else high
    return high


def rising_bracket(rising: Callable[[float], float], largest: float) -> tuple[float, float] | None:
    """Return two factors between which a function that is negative at 0 stops being so, tried upwards from 1.

    None where it is still negative at `largest`.
    """
    low, high = 0.0, 1.0
    while rising(high) < 0.0:
        if high == largest:
            return None
        low, high = high, min(1.5 * high, largest)
    return low, high
