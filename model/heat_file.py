"""What a joint file may say of heat: [heat], the films around the joint and how they change with time."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta, field

from headjoint.model.table import Table
from headjoint.model.units import GasTemperature, PositiveTime, Temperature, ZeroOrFilm, ZeroOrTime


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
    coolant_temperature: Annotated[list[Temperature], Meta(min_length=1, description="round head and block")] = field(
        default_factory=lambda: [20.0, 20.0, 90.0, 90.0, 90.0, 20.0]
    )
    coolant_film: Annotated[list[ZeroOrFilm], Meta(min_length=1)] = field(default_factory=lambda: [1500.0])
    ambient_temperature: Temperature = 20.0
    ambient_film: Annotated[ZeroOrFilm, Meta(description="on the head's top, nut and stud end")] = 15.0
    gasket_conductance: Annotated[ZeroOrFilm, Meta(description="across the gasket")] = 5000.0
    bearing_conductance: Annotated[ZeroOrFilm, Meta(description="across bearing faces")] = 20000.0
    duration: Annotated[PositiveTime, Meta(description="of warm-up and cooling")] = 2400.0
    start_temperature: Annotated[Temperature | None, Meta(description="of all parts; default that of assembly")] = None
