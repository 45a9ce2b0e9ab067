"""The gas side of operating points: stated, by the correlations of an ideal cycle, or typical."""

from __future__ import annotations

from dataclasses import dataclass

from headjoint.model.base.errors import InputError
from headjoint.model.files.heat_file import EngineTable, HeatTable, PointTable
from headjoint.model.heat.transfer import IdealCycle, film, gas_film

# word of the point -> key of its table
POINTS = {"idle": "idle", "part load": "part_load", "full load": "full_load"}
DIRECT = ("gas_temperature", "gas_film", "gas_pressure")
NEEDED = ("speed", "intake_pressure", "peak_pressure")
OPTIONAL = ("intake_temperature", "exhaust_pressure")
INTAKE_TEMPERATURE = 60.0  # degC; common practice, no source
EXHAUST_PRESSURE = 0.105  # MPa
# degC, W/(m2 K), share of the gas pressure of the first load case with gas; from memory, low confidence
TYPICAL = {"idle": (500.0, 80.0, 0.15), "part load": (650.0, 220.0, 0.5), "full load": (800.0, 400.0, 1.0)}


@dataclass(frozen=True)
class GasSide:
    """Effective gas temperature degC, film W/(mm2 K), peak pressure MPa."""

    temperature: float
    film: float
    pressure: float


def gas_sides(stated: HeatTable, gas_pressure: float) -> dict[str, GasSide]:
    """Return the gas of every operating point that is known.

    Where the file states points, these alone, so that no typical value slips in among them; otherwise typical ones with
    shares of `gas_pressure` (MPa). Raises InputError for points stated by halves or twice.
    """
    tables = {point: getattr(stated, key) for point, key in POINTS.items()}
    known = {
        point: _gas_side(f"heat.{POINTS[point]}", table, stated.engine)
        for point, table in tables.items()
        if table is not None
    }
    if stated.engine is not None and not any(
        table is not None and table.speed is not None for table in tables.values()
    ):
        raise InputError(
            "no operating point uses it; state speed, intake_pressure and peak_pressure of one in [heat.idle], "
            "[heat.part_load] or [heat.full_load]",
            field="heat.engine",
        )
    if known:
        return known
    return {point: GasSide(T, film(h), share * gas_pressure) for point, (T, h, share) in TYPICAL.items()}


def _gas_side(place: str, stated: PointTable, engine: EngineTable | None) -> GasSide:
    direct = [name for name in DIRECT if getattr(stated, name) is not None]
    by_cycle = [name for name in (*NEEDED, *OPTIONAL) if getattr(stated, name) is not None]
    either = f"give {_listed(DIRECT)}, or {_listed(NEEDED)} for [heat.engine]"
    if direct and by_cycle:
        raise InputError(f"{either}, not some of both", field=f"{place}.{direct[0]}")
    if not direct and not by_cycle:
        raise InputError(f"has no gas data; {either}", field=place)
    for name in DIRECT if direct else NEEDED:
        if getattr(stated, name) is None:
            raise InputError(f"is required but missing; {either}", field=f"{place}.{name}")
    if direct:
        assert stated.gas_temperature is not None
        assert stated.gas_film is not None
        assert stated.gas_pressure is not None
        return GasSide(float(stated.gas_temperature), film(stated.gas_film), float(stated.gas_pressure))
    if engine is None:
        raise InputError("needs the [heat.engine] table with stroke and compression_ratio", field=f"{place}.speed")
    return _by_cycle(place, stated, engine)


def _by_cycle(place: str, stated: PointTable, engine: EngineTable) -> GasSide:
    if engine.bore is None:
        raise InputError("is required but missing", field="heat.engine.bore")
    assert stated.speed is not None
    assert stated.intake_pressure is not None
    assert stated.peak_pressure is not None
    try:
        cycle = IdealCycle(
            bore=engine.bore,
            stroke=engine.stroke,
            compression_ratio=engine.compression_ratio,
            speed=stated.speed,
            intake_pressure=stated.intake_pressure,
            intake_temperature=INTAKE_TEMPERATURE if stated.intake_temperature is None else stated.intake_temperature,
            peak_pressure=stated.peak_pressure,
            exhaust_pressure=EXHAUST_PRESSURE if stated.exhaust_pressure is None else stated.exhaust_pressure,
            rod_ratio=engine.rod_ratio,
        )
    except InputError as error:
        raise InputError(error.problem, field=f"{place}.{error.field}", value=error.value) from None
    found = gas_film(cycle, engine.law)
    return GasSide(found.temperature, found.coefficient, float(stated.peak_pressure))


def _listed(names: tuple[str, ...]) -> str:
    return f"{', '.join(names[:-1])} and {names[-1]}"
