"""The section of a solid ring of metal: round, as of a wire, or rectangular."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Section = Literal["round", "rectangular"]


@dataclass(frozen=True)
class Solid:
    """A section between decks, its middle at x = 0. kind : round or rectangular. height, width : mm. core : diameter of
    a wire in its middle, of another metal and bonded to it, mm; 0 for none."""

    kind: Section
    height: float
    width: float
    core: float = 0.0

    def higher(self, change: float) -> Solid:
        """Return a section higher by `change` (mm); a round one stays round."""
        return Solid(self.kind, self.height + change, self.width + (change if self.kind == "round" else 0.0), self.core)
