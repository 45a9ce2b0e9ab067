"""What the trade judges a bead by, whatever the width over which a law smears it: line load, and stroke under gas."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class BeadLimits:
    """Line load that seals, and the stroke that a bead stands.

    line_load_least : N/mm that the bead keeps in every state. line_load_per_gas : N/mm for every MPa of gas, which is a
    width in mm. stroke : mm between gas and none beyond which it wears out, None when not known. source : of all three.
    """

    line_load_least: float
    line_load_per_gas: float
    stroke: float | None
    source: str

    def line_load(self, gas_pressure: float) -> float:
        """Return the line load (N/mm) that seals against a gas pressure (MPa)."""
        return max(self.line_load_least, self.line_load_per_gas * gas_pressure)
