"""What a tightening gives, as numbers, and where a closed formula tells them.

The scatter of tightening multiplies what is found. A fastener tightened past yield carries more only where it is
stronger, so that its strength scatters with its preload: at the greatest preload it is as much stronger, at the least
as much weaker. The greatest preload is thereby that of the strongest fastener the class of scatter allows for.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field

import numpy as np

from headjoint.model.base.arrays import FloatArray
from headjoint.model.formulas.turning import torsion_of
from headjoint.model.joint import Joint, Tightening


@dataclass(frozen=True)
class Tightened:
    """What a tightening gives.

    preload : N, mean of all fasteners at its end, the tool still on; of a tensioner once it has let go. forces : (f,) N
    of each. peak : N, the greatest that any bears on the way. torsion : N.mm in a shank at the end, and torsion_left of
    it once the wrench is off, both means. strain : plastic strain of the weakest length, uniform : where it necks; 0
    and None where a closed formula told. past_yield : whether it is past yield on purpose. strength : of the fasteners
    over the stated one.
    """

    preload: float
    forces: FloatArray = field(repr=False)
    peak: float
    torsion: float
    torsion_left: float
    strain: float = 0.0
    uniform: float | None = None
    past_yield: bool = False
    strength: float = 1.0

    def at(self, share: float) -> Tightened:
        """Return a tightening to a share of this one."""
        strength = share * self.strength if self.past_yield else self.strength
        scaled = {name: share * getattr(self, name) for name in ("preload", "peak", "torsion", "torsion_left")}
        return dataclasses.replace(self, **scaled, forces=share * self.forces, strength=strength)

    def as_one(self) -> Tightened:
        """Return this of one fastener that stands for all."""
        return dataclasses.replace(self, forces=np.array([self.preload]))

    def over(self, tightening: Tightening) -> dict[str, Tightened]:
        """Return this as "nominal" between the "least" and the "greatest" of the scatter of tightening."""
        scatter = tightening.scatter
        return {"least": self.at(1.0 - scatter), "nominal": self, "greatest": self.at(1.0 + scatter)}


def by_formula(joint: Joint, preload: float, fasteners: int = 1) -> Tightened:
    """Return an elastic tightening of so many fasteners to a preload (N), with the torsion that turning puts in."""
    torsion = torsion_of(joint, preload)
    return Tightened(preload, np.full(fasteners, preload), preload, torsion.tightening, torsion.left)
