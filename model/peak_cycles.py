"""Peak pressure from cycle to cycle: what the greatest of many cycles reaches over the mean.

Ordinary cycles scatter normally round the mean peak. A share of all cycles may knock; their peaks lie higher by an
amount that is exponentially distributed (common practice, no source), so that the tail of knock is far longer than
that of a normal distribution. The greatest of N independent cycles stays below x with a chance of F(x)^N (extreme
values, any textbook of statistics).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from headjoint.model.base.roots import rising_root

EVEN_CHANCE = 0.5


@dataclass(frozen=True)
class PeakCycles:
    """How peaks scatter and how many of them a joint meets.

    variation : standard deviation of ordinary peaks over their mean. cycles : number of which the greatest is judged.
    knock_share : of all cycles. knock_rise : mean of what knock adds, over the mean peak.
    """

    variation: float
    cycles: float
    knock_share: float = 0.0
    knock_rise: float = 0.0

    def beyond(self, over: float) -> float:
        """Return the share of cycles whose peak exceeds the mean by more than `over` times the mean."""
        v, r = self.variation, self.knock_rise
        ordinary = _upper(over / v)
        if self.knock_share == 0.0:
            return ordinary
        # normal plus exponential: P(X + Y > y) = Q(y/v) + exp(v^2/2r^2 - y/r) Phi(y/v - v/r)
        knocking = ordinary + math.exp(v**2 / (2.0 * r**2) - over / r) * _upper(v / r - over / v)
        return (1.0 - self.knock_share) * ordinary + self.knock_share * min(1.0, knocking)

    def greatest(self, chance: float = EVEN_CHANCE) -> float:
        """Return the greatest of all cycles over the mean peak, that it stays below with a `chance`; never below 1."""
        # F^N = chance: the share beyond is 1 - chance^(1/N)
        wanted = -math.expm1(math.log(chance) / self.cycles)
        return 1.0 + rising_root(
            lambda over: wanted - self.beyond(over), 0.0, 40.0 * (self.variation + self.knock_rise)
        )


def _upper(z: float) -> float:
    """Return Q(z) = 1 - Phi(z), exact far out."""
    return 0.5 * math.erfc(z / math.sqrt(2.0))


def greatest_peak(peaks: PeakCycles | None) -> float:
    """Return the factor from the peak pressure that a file states to the one that joints are judged at.

    Where nothing is said of cycles, the stated peak is taken as the greatest one.
    """
    return 1.0 if peaks is None else peaks.greatest()


def peak_words(peaks: PeakCycles | None) -> str:
    """Say at which peak a joint is judged."""
    if peaks is None:
        return "the stated peak is taken as the greatest of all cycles: [gas.peaks] states how it scatters"
    knock = ""
    if peaks.knock_share > 0.0:
        knock = (
            f", {100.0 * peaks.knock_share:.3g} % of cycles knocking {100.0 * peaks.knock_rise:.3g} % higher on average"
        )
    return (
        f"the stated peak is the mean; judged at {peaks.greatest():.3f} times it, the greatest of {peaks.cycles:.3g} "
        f"cycles at even chance (coefficient of variation {100.0 * peaks.variation:.3g} %{knock})"
    )
