"""The section of a solid ring of metal: round, as of a wire, or rectangular."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Section = Literal["round", "rectangular"]


@dataclass(frozen=True)
class Solid:
    """A section between decks, its middle at x = 0. kind : round or rectangular. height, width : mm."""

    kind: Section
    height: float
    width: float

    def higher(self, change: float) -> Solid:
        """Return a section higher by `change` (mm); a round one stays round."""
        return Solid(self.kind, self.height + change, self.width + (change if self.kind == "round" else 0.0))
