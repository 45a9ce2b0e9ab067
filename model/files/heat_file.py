"""What a joint file may say of heat: [heat], films round the joint in time, operating points, and faces that heat crosses."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from msgspec import Meta

from headjoint.model.base.units import (
    CylinderPressure,
    GasPressure,
    GasTemperature,
    PositiveConductivity,
    PositiveLength,
    PositivePressure,
    PositiveSpeed,
    PositiveTime,
    StepTime,
    Temperature,
    ZeroOrConductivity,
    ZeroOrFilm,
    ZeroOrLength,
    ZeroOrTime,
)
from headjoint.model.files.table import Table, bare

# W/(m K) near 100 degC; from memory, high confidence for air, medium for oil
FILLINGS = {"none": 0.0, "air": 0.03, "oil": 0.13}
# the engine runs in the first four and stands in the others
STEPS = ("cold start", "idle", "part load", "full load", "shutdown", "soak", "cool")
Slope = Annotated[float, Meta(gt=0, le=1)]


class Filling:
    """What fills a gap, by name or by its conductivity in W/(m K)."""

    def __init__(self, conductivity: float) -> None:
        self.conductivity = conductivity

    @classmethod
    def read(cls, value: object) -> Filling:
        """Return what `value` states; ValueError with a sentence for the user otherwise."""
        if isinstance(value, str) and value in FILLINGS:
            return cls(FILLINGS[value])
        try:
            return cls(float(ZeroOrConductivity.read(value)))
        except ValueError as error:
            names = ", ".join(f"'{name}'" for name in FILLINGS)
            raise ValueError(f"{names}, or a conductivity: {error}") from None

    @classmethod
    def schema(cls) -> dict[str, Any]:
        """Return the JSON schema."""
        return {"anyOf": [{"enum": list(FILLINGS)}, ZeroOrConductivity.schema()]}


class FacesTable(Table, kw_only=True):
    """Bearing faces, machined, with oil in their gaps; defaults are typical, from memory, low confidence."""

    roughness: Annotated[PositiveLength, Meta(description="combined rms height of both faces")] = bare(2e-3)
    slope: Annotated[Slope, Meta(description="combined mean absolute slope of both faces")] = 0.15
    hardness: Annotated[PositivePressure, Meta(description="of the softer face")] = bare(1000.0)
    gap_conductivity: Annotated[ZeroOrConductivity, Meta(description="of what fills the gaps")] = bare(0.13)
    jump_distance: Annotated[ZeroOrLength, Meta(description="temperature jump of a gas; 0 for a liquid")] = bare(0.0)


class GasketFacesTable(Table, kw_only=True):
    """Both faces of the gasket, with air in their gaps; defaults are typical, from memory, low confidence."""

    roughness: Annotated[PositiveLength, Meta(description="combined rms height of casting and gasket")] = bare(2e-3)
    slope: Annotated[Slope, Meta(description="combined mean absolute slope of casting and gasket")] = 0.15
    hardness: Annotated[PositivePressure, Meta(description="of the softer side")] = bare(1000.0)
    gap_conductivity: Annotated[ZeroOrConductivity, Meta(description="of what fills the gaps")] = bare(0.03)
    jump_distance: Annotated[ZeroOrLength, Meta(description="temperature jump of a gas; 0 for a liquid")] = bare(4e-4)
    body_conductivity: Annotated[
        PositiveConductivity,
        Meta(description="through the gasket, coatings and inner faces in it; default like layers of steel"),
    ] = bare(5.0)


class EngineTable(Table, kw_only=True):
    """The cylinder, for operating points by correlation: films of an ideal cycle, averaged over it."""

    bore: Annotated[PositiveLength | None, Meta(description="in a cell file left out: that of the layout")] = None
    stroke: PositiveLength
    compression_ratio: Annotated[float, Meta(gt=1, le=40)]
    rod_ratio: Annotated[float, Meta(gt=0, le=0.5, description="crank radius over rod length")] = 0.3
    law: Annotated[Literal["woschni", "hohenberg"], Meta(description="of the film")] = "woschni"


class PointTable(Table, kw_only=True):
    """An operating point: its gas directly, or speed and pressures from which [heat.engine] finds it."""

    gas_temperature: Annotated[
        GasTemperature | None, Meta(description="effective, cycle average weighted with the film")
    ] = None
    gas_film: Annotated[ZeroOrFilm | None, Meta(description="cycle average on the chamber face")] = None
    gas_pressure: Annotated[GasPressure | None, Meta(description="peak")] = None
    speed: PositiveSpeed | None = None
    intake_pressure: Annotated[CylinderPressure | None, Meta(description="absolute, boost in it")] = None
    peak_pressure: Annotated[
        CylinderPressure | None, Meta(description="absolute; also the gas pressure of the point")
    ] = None
    intake_temperature: Annotated[
        Temperature | None, Meta(description="at the start of compression; default 60 degC")
    ] = None
    exhaust_pressure: Annotated[CylinderPressure | None, Meta(description="absolute; default 1.05 bar")] = None


class DutyStepTable(Table, kw_only=True):
    """A step of a duty: what the engine does, how long, and what differs from the usual."""

    step: Annotated[str, Meta(description="what the engine does", extra_json_schema={"enum": list(STEPS)})]
    name: Annotated[str | None, Meta(description="default: the word of the step")] = None
    duration: StepTime
    ramp: Annotated[
        StepTime | None,
        Meta(
            description="films and temperatures go linearly to those of the step; default 5 s for gas and films, 5 min for coolant and ambient temperature"
        ),
    ] = None
    coolant_ramp: Annotated[StepTime | None, Meta(description="the same of coolant and ambient temperature alone")] = (
        None
    )
    gas_temperature: Annotated[GasTemperature | None, Meta(description="default: of the operating point")] = None
    gas_film: Annotated[ZeroOrFilm | None, Meta(description="default: of the operating point")] = None
    gas_pressure: Annotated[GasPressure | None, Meta(description="peak; default: of the operating point")] = None
    coolant_temperature: Annotated[
        Temperature | None, Meta(description="default: 90 degC at idle and load; ambient in 'cool'; else as it was")
    ] = None
    coolant_film: Annotated[
        ZeroOrFilm | None,
        Meta(description="default by load, 300 W/m2K with the pump at rest; from memory, low confidence"),
    ] = None
    ambient_temperature: Annotated[
        Temperature | None, Meta(description="during this step; default: that of [heat]")
    ] = None


class HeatTable(Table, kw_only=True):
    """What surrounds the joint in time: steps of a `duty`, or lists over `time`; left out, a cold start to cold again."""

    duty: Annotated[Annotated[list[DutyStepTable], Meta(min_length=1)] | None, Meta(description="in order")] = None
    idle: Annotated[PointTable | None, Meta(description="operating point; also of a cold start")] = None
    part_load: Annotated[PointTable | None, Meta(description="operating point")] = None
    full_load: Annotated[PointTable | None, Meta(description="operating point")] = None
    engine: Annotated[
        EngineTable | None,
        Meta(
            description="for points by speed and pressures; films within some 30 %, gas temperature low where late combustion holds the peak pressure down"
        ),
    ] = None
    time: Annotated[
        Annotated[list[ZeroOrTime], Meta(min_length=1)] | None,
        Meta(description="rising, in place of a duty; values between are linear"),
    ] = None
    gas_temperature: Annotated[
        Annotated[list[GasTemperature], Meta(min_length=1)] | None,
        Meta(description="over time: effective, of the chamber's gas"),
    ] = None
    gas_film: Annotated[
        Annotated[list[ZeroOrFilm], Meta(min_length=1)] | None,
        Meta(description="over time: cycle average on the chamber face"),
    ] = None
    gas_pressure: Annotated[
        Annotated[list[GasPressure], Meta(min_length=1)] | None,
        Meta(description="over time: peak; default: of the first load case with gas, while there is a gas film"),
    ] = None
    coolant_temperature: Annotated[
        Annotated[list[Temperature], Meta(min_length=1)] | None, Meta(description="over time: round head and block")
    ] = None
    coolant_film: Annotated[
        Annotated[list[ZeroOrFilm], Meta(min_length=1)] | None, Meta(description="over time; default 1500 W/m2K")
    ] = None
    duration: Annotated[
        PositiveTime | None,
        Meta(description="of lists over time; default: 40 min, or the last time where that is later"),
    ] = None
    start_temperature: Annotated[
        Temperature | None, Meta(description="of all parts and the coolant; default that of assembly")
    ] = None
    ambient_temperature: Annotated[
        Temperature | None, Meta(description="default 20 degC, or that of the start where it is colder")
    ] = None
    ambient_film: Annotated[ZeroOrFilm, Meta(description="on the head's top, nut and stud end")] = bare(15.0)
    gasket_conductance: Annotated[
        ZeroOrFilm | None,
        Meta(description="across the gasket, whatever its pressure; default: by pressure, from gasket_faces"),
    ] = None
    bearing_conductance: Annotated[
        ZeroOrFilm | None,
        Meta(description="across bearing faces, whatever their pressure; default: by pressure, from bearing_faces"),
    ] = None
    gasket_faces: GasketFacesTable | None = None
    bearing_faces: FacesTable | None = None
    shank_gap: Annotated[
        Filling | None,
        Meta(description="what fills the gap between shank and hole: air (default), oil, none, or a conductivity"),
    ] = None
