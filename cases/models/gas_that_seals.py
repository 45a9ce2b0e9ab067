"""The search for the largest factor on gas that a line still seals, whatever runs the trials."""

from __future__ import annotations

from collections.abc import Callable

from headjoint.model.base.roots import rising_bracket, rising_root
from headjoint.model.formulas.estimate import LARGEST_MARGIN

ACCURACY = 1e-3  # of the factor; a cell's trial costs a tenth of a second


def factor_that_seals(short: Callable[[float], float], at_rest: float, accuracy: float = ACCURACY) -> float | None:
    """Return the largest factor on gas pressure that a line still seals, to its accuracy on the side that seals.

    short : what a line lacks at a factor, above 0 where it falls short. at_rest : the same without gas.
    """
    if at_rest >= 0.0:
        return 0.0
    bracket = rising_bracket(short, LARGEST_MARGIN)
    if bracket is None:
        return None
    low, high = bracket
    while low == 0.0 and short(high / 2.0) >= 0.0:  # a factor far below one, so that the accuracy is relative
        high /= 2.0
    found = rising_root(short, low, high, accuracy * high)
    return found - accuracy * high
