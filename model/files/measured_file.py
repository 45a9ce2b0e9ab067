"""What a file may say of a gasket sheet whose compression was measured: thickness under pressure, there and back."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta, field

from headjoint.model.base.units import PositiveLength, Pressure, Temperature
from headjoint.model.files.table import Table


class MeasuredTable(Table, kw_only=True):
    """The measured rows, in the order in which they were read."""

    data: Annotated[
        str | None, Meta(description="CSV beside this file, columns 'thickness [mm]' and 'pressure [MPa]'")
    ] = None
    rows: Annotated[
        list[tuple[PositiveLength, Pressure]] | None, Meta(description="thickness and pressure in place of `data`")
    ] = None
    specimens: Annotated[
        list[str], Meta(max_length=50, description="CSV of further pieces of the sheet, from which the range comes")
    ] = field(default_factory=list)
    range: Annotated[
        Annotated[float, Meta(gt=0, le=1)] | None,
        Meta(description="plus-minus of pressure, as a share; in place of `specimens`"),
    ] = None
    temperature: Annotated[Temperature, Meta(description="at which it was pressed")] = field(
        default_factory=lambda: Temperature(20.0)
    )
    source: Annotated[str, Meta(description="who measured, when, by what")] = ""


class MeasuredFile(Table, kw_only=True):
    """A file of a sheet of stated compression data, as of compressed fibre."""

    name: str
    note: str = ""
    measured: MeasuredTable
