"""The one search for the largest factor on gas that a line still seals, whatever runs the trials."""

from __future__ import annotations

from collections.abc import Callable, Generator

from headjoint.model.base.roots import Bracket
from headjoint.model.formulas.estimate import LARGEST_MARGIN

ACCURACY = 1e-5  # of the factor, far below what is printed: two commands that search the same joint say the same
NOTHING = 1e-6  # a factor that is not told from none

Search = Generator[float, float, float | None]
PairSearch = Generator[tuple[float, float], tuple[float, float], float | None]
FIRST_WIDTH, PAIRS = 1e-3, 4  # of the first pair round a guess, over it; pairs tried before the guess counts as bad


def search(at_rest: float, fired: float) -> Search:
    """Yield factors on gas to try, take what a line lacks at each, and return the largest that still seals.

    at_rest, fired : what the line lacks (above 0 where it falls short) without gas and at a factor of 1. The return is
    the side of the root that seals, to `ACCURACY`; None where the line seals up to `LARGEST_MARGIN`, 0 where it falls
    short without gas.

    What is lacking is nearly linear in the factor: every trial is a secant's root (Illinois variant), moved a little
    so that the next one lies on its other side.
    """
    if at_rest >= 0.0:
        return 0.0
    low, high, f_low, f_high = 0.0, 1.0, at_rest, fired
    while f_high < 0.0:
        if high == LARGEST_MARGIN:
            return None
        root = high - f_high * (high - low) / (f_high - f_low) if f_high > f_low else LARGEST_MARGIN
        beyond = min(max(root * (1.0 + 0.3 * ACCURACY), 1.001 * high), 1.5 * high, LARGEST_MARGIN)
        low, f_low, high = high, f_high, beyond
        f_high = yield high
    bracket = Bracket(low, high, f_low, f_high)
    while bracket.high - bracket.low > ACCURACY * bracket.high:
        if bracket.high < NOTHING:
            return 0.0
        accuracy, middle = ACCURACY * bracket.high, bracket.secant
        middle += 0.3 * accuracy if bracket.high - middle > middle - bracket.low else -0.3 * accuracy
        middle = min(max(middle, bracket.low + 0.1 * accuracy), bracket.high - 0.1 * accuracy)
        bracket.take(middle, (yield middle))
    return bracket.low


def search_near(guess: float) -> PairSearch:
    """Yield pairs of factors to try side by side, take what a line lacks at each, and return what `search` does.

    guess : a factor near the one sought. None where it is not found near it.
    """
    for width in (FIRST_WIDTH, *((PAIRS - 1) * (0.4 * ACCURACY,))):
        low, high = guess * (1.0 - width), guess * (1.0 + width)
        f_low, f_high = yield low, high
        if f_low < 0.0 <= f_high and width < ACCURACY:
            return low
        if not f_high > f_low:
            return None
        guess = low - f_low * (high - low) / (f_high - f_low)
        if not 0.0 < guess < LARGEST_MARGIN:
            return None
    return None


def factor_that_seals(short: Callable[[float], float], at_rest: float, fired: float) -> float | None:
    """Return what `search` does, trial after trial. short : what a line lacks at a factor."""
    trials = search(at_rest, fired)
    try:
        factor = next(trials)
        while True:
            factor = trials.send(short(factor))
    except StopIteration as done:
        return done.value
