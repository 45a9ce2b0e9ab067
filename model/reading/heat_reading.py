"""From what a file states under [heat] to the `HeatDuty`."""

from __future__ import annotations

from collections.abc import Sequence

from headjoint.model.base.errors import InputError
from headjoint.model.base.time_table import TimeTable
from headjoint.model.files.heat_file import FILLINGS, FacesTable, GasketFacesTable, HeatTable
from headjoint.model.heat.duty import DutyStep, GasketFaces, HeatDuty, RoughFaces
from headjoint.model.heat.transfer import CONDUCTIVITY_UNIT, film
from headjoint.model.reading.duty_steps import Surroundings, dated_steps, surroundings_over_steps
from headjoint.model.reading.operating_points import gas_sides

LISTS = ("time", "gas_temperature", "gas_film", "gas_pressure", "coolant_temperature", "coolant_film")
FOR_STEPS = ("idle", "part_load", "full_load", "engine")
COOLANT_FILM = 1500.0  # W/(m2 K) where lists leave it out; typical, from memory, low confidence
LIST_DURATION = 2400.0  # s
AMBIENT = 20.0  # degC


def resolve_heat(
    stated: HeatTable, assembly_temperature: float, gas_pressure: float, greatest: float = 1.0
) -> HeatDuty:
    """Return the duty that a file states by steps or by lists, or the usual one.

    gas_pressure : of the first load case with gas as stated, MPa, 0 where there is none. greatest : of all cycles'
    peaks over a stated one; films and gas temperatures go by the stated one. Raises InputError naming what a step or
    an operating point lacks, the list that does not fit its times, or what is stated twice.
    """
    start = float(assembly_temperature if stated.start_temperature is None else stated.start_temperature)
    ambient = float(min(AMBIENT, start) if stated.ambient_temperature is None else stated.ambient_temperature)
    by_lists = [name for name in LISTS if getattr(stated, name) is not None]
    if stated.duty is not None:
        for name in (*by_lists, *(["duration"] if stated.duration is not None else [])):
            raise InputError(
                "belongs to lists over `time`; give those or [[heat.duty]], not both: a step states its own",
                field=f"heat.{name}",
            )
    steps: tuple[DutyStep, ...] = ()
    if by_lists:
        _refuse_points(stated)
        around = _lists(stated, gas_pressure, ambient)
        duration = max(LIST_DURATION, around.gas_film.times[-1]) if stated.duration is None else float(stated.duration)
    else:
        if stated.duration is not None:
            raise InputError("belongs to lists over `time`; a duty lasts as long as its steps", field="heat.duration")
        steps = dated_steps(stated.duty)
        around = surroundings_over_steps(stated.duty, steps, gas_sides(stated, gas_pressure), start, ambient)
        duration = steps[-1].end
    return HeatDuty(
        **vars(around) | {"gas_pressure": around.gas_pressure.times_factor(greatest)},
        ambient_film=TimeTable((0.0,), (film(stated.ambient_film),)),
        gasket_contact=_gasket_contact(stated),
        bearing_contact=_bearing_contact(stated),
        shank_gap=CONDUCTIVITY_UNIT * (FILLINGS["air"] if stated.shank_gap is None else stated.shank_gap.conductivity),
        start_temperature=start,
        duration=duration,
        steps=steps,
    )


def _refuse_points(stated: HeatTable) -> None:
    for name in FOR_STEPS:
        if getattr(stated, name) is not None:
            raise InputError(
                "means something only for the steps of a duty, and this file gives lists over `time`",
                field=f"heat.{name}",
            )


def _lists(stated: HeatTable, gas_pressure: float, ambient: float) -> Surroundings:
    for name in ("time", "gas_temperature", "gas_film", "coolant_temperature"):
        if getattr(stated, name) is None:
            raise InputError("is required but missing: lists go over `time` together", field=f"heat.{name}")
    assert stated.time is not None
    assert stated.gas_film is not None
    assert stated.gas_temperature is not None
    assert stated.coolant_temperature is not None
    times = tuple(float(time) for time in stated.time)

    def table(name: str, values: Sequence[float], factor: float = 1.0) -> TimeTable:
        if len(values) == 1:
            values = [*values] * len(times)
        if len(values) != len(times):
            raise InputError(
                f"has {len(values)} values for {len(times)} times; give as many, or one", field=f"heat.{name}"
            )
        try:
            return TimeTable(times, tuple(factor * float(value) for value in values))
        except InputError as error:
            raise InputError(error.problem, field="heat.time", value=error.value) from None

    pressures: Sequence[float] | None = stated.gas_pressure
    if pressures is None:
        pressures = [gas_pressure if value > 0.0 else 0.0 for value in stated.gas_film]
    return Surroundings(
        gas_film=table("gas_film", stated.gas_film, film(1.0)),
        gas_temperature=table("gas_temperature", stated.gas_temperature),
        gas_pressure=table("gas_pressure", pressures),
        coolant_temperature=table("coolant_temperature", stated.coolant_temperature),
        coolant_film=table("coolant_film", stated.coolant_film or [COOLANT_FILM], film(1.0)),
        ambient_temperature=TimeTable((0.0,), (ambient,)),
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
