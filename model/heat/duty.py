"""The heat that a joint meets over a duty, as time tables in internal units (W/(mm2 K), degC, MPa, s)."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

from headjoint.model.base.time_table import TimeTable


@dataclass(frozen=True)
class DutyStep:
    """One step of a duty: its name, what it is ("full load", "soak", ...), start and end, s."""

    name: str
    kind: str
    start: float
    end: float


@dataclass(frozen=True)
class RoughFaces:
    """Two machined faces that heat crosses, for `contact_heat`.

    roughness : combined rms height, mm. slope : combined mean absolute slope, 1. hardness : of the softer side, MPa.
    gap_conductivity : of what fills the gaps, W/(mm K). jump_distance : temperature jump of a gas there, mm.
    """

    roughness: float
    slope: float
    hardness: float
    gap_conductivity: float
    jump_distance: float


@dataclass(frozen=True)
class GasketFaces(RoughFaces):
    """Both faces of the gasket; body_conductivity : through its thickness, coatings and inner faces in it, W/(mm K)."""

    body_conductivity: float


@dataclass(frozen=True)
class HeatDuty:
    """What surrounds a joint in time.

    gas_temperature : effective temperature of the chamber's gas, degC. gas_film : cycle average, W/(mm2 K).
    gas_pressure : peak pressure of the cycles, MPa, 0 where nothing burns. coolant_temperature, ambient_temperature :
    degC. coolant_film, ambient_film : W/(mm2 K). gasket_contact, bearing_contact : a conductance in W/(mm2 K) that
    nothing changes, or the faces from which `contact_heat` finds it. shank_gap : conductivity of what fills the gap
    between shank and hole, W/(mm K), 0 for none. start_temperature : of all parts, degC. duration : s. steps : in
    order, without gaps; empty where the file gives lists over time.
    """

    gas_temperature: TimeTable
    gas_film: TimeTable
    gas_pressure: TimeTable
    coolant_temperature: TimeTable
    coolant_film: TimeTable
    ambient_temperature: TimeTable
    ambient_film: TimeTable
    gasket_contact: float | GasketFaces
    bearing_contact: float | RoughFaces
    shank_gap: float
    start_temperature: float
    duration: float
    steps: tuple[DutyStep, ...] = ()

    def slower(self, factor: float) -> HeatDuty:
        """Return the duty with all its times multiplied by a factor."""
        stretched: dict[str, Any] = {
            name: dataclasses.replace(table, times=tuple(factor * time for time in table.times))
            for name, table in vars(self).items()
            if isinstance(table, TimeTable)
        }
        steps = tuple(dataclasses.replace(one, start=factor * one.start, end=factor * one.end) for one in self.steps)
        return dataclasses.replace(self, **stretched, duration=factor * self.duration, steps=steps)
