"""From what a file states under [heat] to the `HeatDuty`."""

from __future__ import annotations

from headjoint.model.errors import InputError
from headjoint.model.heat_duty import GasketFaces, HeatDuty, RoughFaces
from headjoint.model.heat_file import FacesTable, GasketFacesTable, HeatTable
from headjoint.model.heat_transfer import CONDUCTIVITY_UNIT, film
from headjoint.model.time_table import TimeTable


def resolve_heat(stated: HeatTable, assembly_temperature: float, gas_pressure: float) -> HeatDuty:
    """Return the duty that a file states.

    gas_pressure : of the first load case with gas, MPa, 0 where there is none. Raises InputError naming the list that
    does not fit its times, or what is stated twice.
    """
    times = [float(time) for time in stated.time]

    def table(name: str, values: list[float], factor: float = 1.0) -> TimeTable:
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

    start = assembly_temperature if stated.start_temperature is None else stated.start_temperature
    pressures = stated.gas_pressure
    if pressures is None:
        pressures = [gas_pressure if value > 0.0 else 0.0 for value in stated.gas_film]
    return HeatDuty(
        gas_temperature=table("gas_temperature", stated.gas_temperature),
        gas_film=table("gas_film", stated.gas_film, film(1.0)),
        gas_pressure=table("gas_pressure", pressures),
        coolant_temperature=table("coolant_temperature", stated.coolant_temperature),
        coolant_film=table("coolant_film", stated.coolant_film, film(1.0)),
        ambient_temperature=TimeTable((0.0,), (stated.ambient_temperature,)),
        ambient_film=TimeTable((0.0,), (film(stated.ambient_film),)),
        gasket_contact=_gasket_contact(stated),
        bearing_contact=_bearing_contact(stated),
        shank_gap=CONDUCTIVITY_UNIT * stated.shank_gap.conductivity,
        start_temperature=start,
        duration=stated.duration,
    )


def _gasket_contact(stated: HeatTable) -> float | GasketFaces:
    if stated.gasket_conductance is not None:
        if stated.gasket_faces is not None:
            raise InputError(
                "give gasket_conductance or [heat.gasket_faces], not both", field="heat.gasket_conductance"
            )
        return film(stated.gasket_conductance)
    faces = stated.gasket_faces or GasketFacesTable()
    return GasketFaces(**_faces(faces), body_conductivity=CONDUCTIVITY_UNIT * faces.body_conductivity)


def _bearing_contact(stated: HeatTable) -> float | RoughFaces:
    if stated.bearing_conductance is not None:
        if stated.bearing_faces is not None:
            raise InputError(
                "give bearing_conductance or [heat.bearing_faces], not both", field="heat.bearing_conductance"
            )
        return film(stated.bearing_conductance)
    return RoughFaces(**_faces(stated.bearing_faces or FacesTable()))


def _faces(stated: FacesTable | GasketFacesTable) -> dict[str, float]:
    return {
        "roughness": float(stated.roughness),
        "slope": stated.slope,
        "hardness": float(stated.hardness),
        "gap_conductivity": CONDUCTIVITY_UNIT * stated.gap_conductivity,
        "jump_distance": float(stated.jump_distance),
    }
