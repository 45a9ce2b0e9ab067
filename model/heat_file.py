"""What a joint file may say of heat: [heat], films round the joint in time, and faces that heat crosses."""

from __future__ import annotations

from typing import Annotated, Any

from msgspec import Meta, field

from headjoint.model.table import Table
from headjoint.model.units import (
    GasPressure,
    GasTemperature,
    PositiveConductivity,
    PositiveLength,
    PositivePressure,
    PositiveTime,
    Temperature,
    ZeroOrConductivity,
    ZeroOrFilm,
    ZeroOrLength,
    ZeroOrTime,
)

# W/(m K) near 100 degC; from memory, high confidence for air, medium for oil
FILLINGS = {"none": 0.0, "air": 0.03, "oil": 0.13}
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

    roughness: Annotated[PositiveLength, Meta(description="combined rms height of both faces")] = 2e-3
    slope: Annotated[Slope, Meta(description="combined mean absolute slope of both faces")] = 0.15
    hardness: Annotated[PositivePressure, Meta(description="of the softer face")] = 1000.0
    gap_conductivity: Annotated[ZeroOrConductivity, Meta(description="of what fills the gaps")] = 0.13
    jump_distance: Annotated[ZeroOrLength, Meta(description="temperature jump of a gas; 0 for a liquid")] = 0.0


class GasketFacesTable(Table, kw_only=True):
    """Both faces of the gasket, with air in their gaps; defaults are typical, from memory, low confidence."""

    roughness: Annotated[PositiveLength, Meta(description="combined rms height of casting and gasket")] = 2e-3
    slope: Annotated[Slope, Meta(description="combined mean absolute slope of casting and gasket")] = 0.15
    hardness: Annotated[PositivePressure, Meta(description="of the softer side")] = 1000.0
    gap_conductivity: Annotated[ZeroOrConductivity, Meta(description="of what fills the gaps")] = 0.03
    jump_distance: Annotated[ZeroOrLength, Meta(description="temperature jump of a gas; 0 for a liquid")] = 4e-4
    body_conductivity: Annotated[
        PositiveConductivity,
        Meta(description="through the gasket, coatings and inner faces in it; default like layers of steel"),
    ] = 5.0


class HeatTable(Table, kw_only=True):
    """Films over a warm-up: lists over `time`, one value for each; defaults are typical, from memory, low confidence."""

    time: Annotated[list[ZeroOrTime], Meta(min_length=1, description="rising; values between are linear")] = field(
        default_factory=lambda: [0.0, 5.0, 300.0, 900.0, 905.0, 1500.0]
    )
    gas_temperature: Annotated[
        list[GasTemperature], Meta(min_length=1, description="effective, of the chamber's gas")
    ] = field(default_factory=lambda: [20.0, 800.0, 800.0, 800.0, 90.0, 20.0])
    gas_film: Annotated[list[ZeroOrFilm], Meta(min_length=1, description="cycle average on the chamber face")] = field(
        default_factory=lambda: [0.0, 400.0, 400.0, 400.0, 0.0, 0.0]
    )
    gas_pressure: Annotated[
        Annotated[list[GasPressure], Meta(min_length=1)] | None,
        Meta(description="peak; default: of the first load case with gas, while there is a gas film"),
    ] = None
    coolant_temperature: Annotated[list[Temperature], Meta(min_length=1, description="round head and block")] = field(
        default_factory=lambda: [20.0, 20.0, 90.0, 90.0, 90.0, 20.0]
    )
    coolant_film: Annotated[list[ZeroOrFilm], Meta(min_length=1)] = field(default_factory=lambda: [1500.0])
    ambient_temperature: Temperature = 20.0
    ambient_film: Annotated[ZeroOrFilm, Meta(description="on the head's top, nut and stud end")] = 15.0
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
        Filling,
        Meta(description="what fills the gap between shank and hole: air (default), oil, none, or a conductivity"),
    ] = field(default_factory=lambda: Filling(FILLINGS["air"]))
    duration: Annotated[PositiveTime, Meta(description="of warm-up and cooling")] = 2400.0
    start_temperature: Annotated[Temperature | None, Meta(description="of all parts; default that of assembly")] = None
