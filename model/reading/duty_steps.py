"""From the steps of a duty - cold start, loads, shutdown, soak - to time tables of what surrounds the joint."""

from __future__ import annotations

from dataclasses import dataclass

from headjoint.model.base.errors import InputError, unknown_name
from headjoint.model.base.time_table import TimeTable
from headjoint.model.base.units import StepTime
from headjoint.model.files.heat_file import STEPS, DutyStepTable
from headjoint.model.heat.duty import DutyStep
from headjoint.model.heat.transfer import film
from headjoint.model.reading.operating_points import DIRECT, POINTS, GasSide

# the operating point at which the engine runs in a step; in the others it stands
RUNS_AT = {"cold start": "idle"} | {point: point for point in POINTS}
RAMP = 5.0  # s, of gas and films; common practice, no source
COOLANT_RAMP = 300.0  # s, of coolant and ambient temperature; typical, from memory, low confidence
WARM_COOLANT = 90.0  # degC, where the thermostat holds it; common practice, no source
# W/(m2 K) by the speed at which the pump turns; typical, from memory, low confidence
COOLANT_FILM = {"idle": 600.0, "part load": 1000.0, "full load": 1500.0}
STANDING_FILM = 300.0  # W/(m2 K), natural convection with the pump at rest; typical, from memory, low confidence

USUAL_DUTY = tuple(
    DutyStepTable(step=step, duration=StepTime(duration))
    for step, duration in (
        ("cold start", 30.0),
        ("part load", 90.0),
        ("full load", 780.0),
        ("idle", 120.0),
        ("shutdown", 60.0),
        ("soak", 120.0),
        ("cool", 1500.0),
    )
)


@dataclass(frozen=True)
class Surroundings:
    """What surrounds the joint in time, as far as steps or lists of a duty set it: degC, W/(mm2 K), MPa."""

    gas_temperature: TimeTable
    gas_film: TimeTable
    gas_pressure: TimeTable
    coolant_temperature: TimeTable
    coolant_film: TimeTable
    ambient_temperature: TimeTable


def dated_steps(stated: list[DutyStepTable] | None) -> tuple[DutyStep, ...]:
    """Return the steps, or those of the usual duty, with start and end; InputError for a word or name not allowed."""
    steps: list[DutyStep] = []
    start = 0.0
    for index, table in enumerate(stated or USUAL_DUTY):
        field = f"heat.duty[{index}]"
        if table.step not in STEPS:
            raise unknown_name("step of a duty", table.step, STEPS, field=f"{field}.step")
        taken = [one.name for one in steps]
        if table.name in taken:
            raise InputError("names of steps must differ", field=f"{field}.name", value=table.name)
        name, number = table.name or table.step, 2
        while name in taken:
            name, number = f"{table.step} {number}", number + 1
        steps.append(DutyStep(name, table.step, start, start + table.duration))
        start = steps[-1].end
    return tuple(steps)


def surroundings_over_steps(
    stated: list[DutyStepTable] | None,
    steps: tuple[DutyStep, ...],
    sides: dict[str, GasSide],
    start_temperature: float,
    ambient_temperature: float,
) -> Surroundings:
    """Return what surrounds the joint over dated steps; sides : the gas of operating points.

    Before the first step nothing burns, and all is at `start_temperature`. A step shorter than the usual ramp of the
    coolant brings it part of the way. Raises InputError with the path of what a step lacks or cannot have.
    """
    rows: dict[str, list[tuple[float, float]]] = {
        "gas_temperature": [(0.0, start_temperature)],
        "gas_film": [(0.0, 0.0)],
        "gas_pressure": [(0.0, 0.0)],
        "coolant_temperature": [(0.0, start_temperature)],
        "coolant_film": [],
        "ambient_temperature": [(0.0, ambient_temperature)],
    }
    for index, (table, step) in enumerate(zip(stated or USUAL_DUTY, steps, strict=True)):
        place = f"heat.duty[{index}]"
        ambient = ambient_temperature if table.ambient_temperature is None else table.ambient_temperature
        side = _gas(table, sides, ambient, place if stated else "")
        targets = {"gas_temperature": side.temperature, "gas_film": side.film, "gas_pressure": side.pressure}
        targets["coolant_temperature"] = _coolant_temperature(table, rows["coolant_temperature"][-1][1], ambient)
        targets["coolant_film"] = _coolant_film(table)
        targets["ambient_temperature"] = ambient
        ramp, coolant_ramp = _ramps(table, place)
        rows["coolant_film"] = rows["coolant_film"] or [(0.0, targets["coolant_film"])]
        for name, target in targets.items():
            slow = name in ("coolant_temperature", "ambient_temperature")
            _lead(rows[name], step, target, coolant_ramp if slow else ramp)
    return Surroundings(**{name: TimeTable.from_rows(entries) for name, entries in rows.items()})


def _lead(rows: list[tuple[float, float]], step: DutyStep, target: float, ramp: float) -> None:
    """Lead a quantity over a step from where it is towards a target."""
    before = rows[-1][1]
    if target == before:
        return
    if rows[-1][0] < step.start:
        rows.append((step.start, before))
    if ramp < step.end - step.start:
        rows.append((step.start + ramp, target))
    else:
        rows.append((step.end, before + (target - before) * (step.end - step.start) / ramp))


def _gas(table: DutyStepTable, sides: dict[str, GasSide], ambient: float, place: str) -> GasSide:
    """Return the gas towards which a step goes; place : of the step in the file, empty for the usual duty."""
    own = {name: getattr(table, name) for name in DIRECT}
    stated = [name for name, value in own.items() if value is not None]
    if table.step not in RUNS_AT:
        if stated:
            raise InputError(f"nothing burns in a step '{table.step}'; leave it out", field=f"{place}.{stated[0]}")
        return GasSide(ambient, 0.0, 0.0)
    point = RUNS_AT[table.step]
    side = sides.get(point)
    if side is None and len(stated) < len(own):
        if not place:
            raise InputError(
                f"is required but missing: the usual duty has a step '{table.step}'; state this point too, or "
                "your own [[heat.duty]]",
                field=f"heat.{POINTS[point]}",
            )
        raise InputError(
            f"'{table.step}' has no gas data: state [heat.{POINTS[point]}], as other points are stated, or "
            "gas_temperature, gas_film and gas_pressure in the step",
            field=place,
        )
    temperature, coefficient, pressure = own.values()
    if side is None:
        return GasSide(float(temperature), film(coefficient), float(pressure))
    return GasSide(
        side.temperature if temperature is None else float(temperature),
        side.film if coefficient is None else film(coefficient),
        side.pressure if pressure is None else float(pressure),
    )


def _coolant_temperature(table: DutyStepTable, last: float, ambient: float) -> float:
    if table.coolant_temperature is not None:
        return float(table.coolant_temperature)
    if table.step in POINTS:
        return WARM_COOLANT
    return ambient if table.step == "cool" else last


def _coolant_film(table: DutyStepTable) -> float:
    if table.coolant_film is not None:
        return film(table.coolant_film)
    return film(COOLANT_FILM[RUNS_AT[table.step]] if table.step in RUNS_AT else STANDING_FILM)


def _ramps(table: DutyStepTable, place: str) -> tuple[float, float]:
    """Return the ramps (s) of gas and films, and of coolant and ambient temperature."""
    for name in ("ramp", "coolant_ramp"):
        value = getattr(table, name)
        if value is not None and value > table.duration:
            raise InputError(
                f"takes longer than the step, which lasts {table.duration:g} s", field=f"{place}.{name}", value=value
            )
    ramp = min(RAMP, table.duration) if table.ramp is None else table.ramp
    stated = table.ramp if table.coolant_ramp is None else table.coolant_ramp
    return float(ramp), float(COOLANT_RAMP if stated is None else stated)
