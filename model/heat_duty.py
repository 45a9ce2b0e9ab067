"""The heat that a joint meets over a warm-up, as time tables in internal units (W/(mm2 K), degC, s)."""

from __future__ import annotations

from dataclasses import dataclass

from headjoint.model.errors import InputError
from headjoint.model.heat_file import HeatTable
from headjoint.model.heat_transfer import film
from headjoint.model.time_table import TimeTable


@dataclass(frozen=True)
class HeatDuty:
    """Films and their temperatures in time; conductances of gasket and bearing faces; start and duration."""

    gas_temperature: TimeTable
    gas_film: TimeTable
    coolant_temperature: TimeTable
    coolant_film: TimeTable
    ambient_temperature: float
    ambient_film: float
    gasket_conductance: float
    bearing_conductance: float
    start_temperature: float
    duration: float


def resolve_heat(stated: HeatTable, assembly_temperature: float) -> HeatDuty:
    """Return the duty that a file states; InputError naming the list that does not fit its times."""
    times = [float(time) for time in stated.time]

    def table(name: str, factor: float = 1.0) -> TimeTable:
        values = getattr(stated, name)
        if len(values) == 1:
            values = values * len(times)
        if len(values) != len(times):
            raise InputError(
                f"has {len(values)} values for {len(times)} times; give as many, or one", field=f"heat.{name}"
            )
        try:
            return TimeTable(tuple(times), tuple(factor * float(value) for value in values))
        except InputError as error:
            raise InputError(error.problem, field="heat.time", value=error.value) from None

    start = stated.start_temperature
    return HeatDuty(
        gas_temperature=table("gas_temperature"),
        gas_film=table("gas_film", film(1.0)),
        coolant_temperature=table("coolant_temperature"),
        coolant_film=table("coolant_film", film(1.0)),
        ambient_temperature=stated.ambient_temperature,
        ambient_film=film(stated.ambient_film),
        gasket_conductance=film(stated.gasket_conductance),
        bearing_conductance=film(stated.bearing_conductance),
        start_temperature=assembly_temperature if start is None else start,
        duration=stated.duration,
    )
