"""One load case: what the joint meets after assembly, in plain numbers."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class LoadCase:
    """One state of the joint. temperatures has every part of `PARTS`; gas_force is the ring force in N."""

    name: str
    kind: str
    temperatures: dict[str, float]
    gas_pressure: float
    gas_force: float
