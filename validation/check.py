"""One published check: quantity, source, published and computed value, tolerance."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Check:
    """A computed figure beside a published one.

    quantity : what is compared. source : where `published` comes from, and how well it is known (seen in the
    source, from memory, recomputed from the published formula). tolerance : allowed relative difference.
    reason : why the tolerance is what it is. scale : what the difference is measured against when the
    published value is zero or small; the published value by default.
    """

    quantity: str
    source: str
    published: float
    computed: float
    tolerance: float
    unit: str = ""
    reason: str = ""
    scale: float | None = None

    @property
    def difference(self) -> float:
        """Relative difference."""
        return (self.computed - self.published) / abs(self.scale or self.published)

    @property
    def passed(self) -> bool:
        """Whether the difference is within tolerance (never for a figure that is not a number)."""
        return abs(self.difference) <= self.tolerance
