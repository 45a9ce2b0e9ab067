"""Root of a rising function. Written out here because importing a library for it takes longer than an estimate."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


@dataclass
class Bracket:
    """Two places round the root of a rising function, negative at `low` and not so at `high`, with its values there.

    Narrowed by false position, Illinois variant: a value that stays twice is halved. last : the side that moved last.
    """

    low: float
    high: float
    f_low: float
    f_high: float
    last: int = 0

    @property
    def secant(self) -> float:
        """Root of the line through both."""
        return self.high - self.f_high * (self.high - self.low) / (self.f_high - self.f_low)

    def take(self, place: float, value: float) -> None:
        """Take a place between both, and the function's value there, in place of one of them."""
        if value < 0.0:
            self.low, self.f_low = place, value
            self.f_high = self.f_high / 2.0 if self.last < 0 else self.f_high
            self.last = -1
        else:
            self.high, self.f_high = place, value
            self.f_low = self.f_low / 2.0 if self.last > 0 else self.f_low
            self.last = 1


def rising_root(rising: Callable[[float], float], low: float, high: float, accuracy: float = 1e-13) -> float:
    """Return the root of a never-falling function between two signs (false position, Illinois variant).

    Returns `low` when the function is not negative there; on a flat stretch, its upper end.
    """
    f_low, f_high = rising(low), rising(high)
    if f_low >= 0.0:
        return low
    bracket = Bracket(low, high, f_low, f_high)
    for _ in range(200):
        middle = bracket.secant
        if not bracket.low < middle < bracket.high:
            middle = (bracket.low + bracket.high) / 2.0
        value = rising(middle)
        bracket.take(middle, value)
        if value == 0.0 or bracket.high - bracket.low < accuracy:
            return middle if value == 0.0 else bracket.high
    return bracket.high


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
