"""One load case: what the joint meets after assembly, in plain numbers."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class CaseHeat:
    """Where a load case has its temperatures from: the conduction of the joint's duty at a time (s).

    steady : as they would be if what surrounds the joint then stayed so for ever.
    """

    time: float
    steady: bool


@dataclass(frozen=True)
class LoadCase:
    """One state of the joint. temperatures has every part of `PARTS`; gas_force is the ring force in N.

    heat : where the temperatures come from, None where they are stated. They are not-a-number until conduction has been
    solved, then means of the parts, and finite elements take the whole field.
    """

    name: str
    kind: str
    temperatures: dict[str, float]
    gas_pressure: float
    gas_force: float
    heat: CaseHeat | None = None
