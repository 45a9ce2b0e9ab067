"""What a sealing line must bear, and how far a state falls short of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from headjoint.model.base.arrays import FloatArray
from headjoint.model.joint import Joint


@dataclass(frozen=True)
class SealNeed:
    """What the sealing line needs: contact pressure (MPa) and line load (N/mm); 0 where that is not asked of it."""

    pressure: float
    line_load: float

    def over(self, width: float) -> float:
        """Return the contact pressure (MPa) that meets both on a bead of a width (mm)."""
        return max(self.pressure, self.line_load / width)

    def met(self, seal: Seal) -> float:
        """Return how often a seal meets the harder of both; inf where nothing is needed."""
        return min(
            seal.pressure / self.pressure if self.pressure > 0.0 else np.inf,
            seal.line_load / self.line_load if self.line_load > 0.0 else np.inf,
        )


@dataclass(frozen=True)
class Seal:
    """The least contact pressure (MPa) and line load (N/mm) along the sealing lines that gas reaches."""

    pressure: float
    line_load: float


def seal_need(joint: Joint, gas_pressure: float) -> SealNeed:
    """Return what the sealing line needs at a gas pressure (MPa).

    A bead whose law states line loads is judged by those; the ratio of smeared pressure to gas counts where the law
    states none, or where the file asks for it.
    """
    needs, limits = joint.requirements, joint.gasket.sealing_zone.law.limits
    pressure = max(needs.sealing_ratio * gas_pressure, needs.sealing_minimum)
    return SealNeed(pressure, 0.0 if limits is None else limits.line_load(gas_pressure))


def lacking(need: SealNeed, pressure: FloatArray | float, line_load: FloatArray | float, width: float) -> float:
    """Return by how much (MPa) a line falls short at its worst place; below 0 it seals.

    pressure, line_load : along the line, MPa and N/mm. width : of the bead (mm), over which line load is smeared.
    """
    short = [-np.inf]
    if need.pressure > 0.0:
        short.append(float(np.max(need.pressure - np.asarray(pressure))))
    if need.line_load > 0.0:
        short.append(float(np.max(need.line_load - np.asarray(line_load))) / width)
    return max(short)
