"""What a fragment may say: measured values that a joint file includes, where they come from and where they hold."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from msgspec import Meta, field

from headjoint.model.base.units import Force, Temperature
from headjoint.model.files.table import Table

Outside = Literal["thread", "lubricant", "material"]


class IncludeTable(Table, kw_only=True):
    """A fragment to include."""

    file: Annotated[str, Meta(description="beside this file, as `headjoint rig` writes it")]
    accept: Annotated[list[Outside], Meta(description="use it although the joint is another in this")] = field(default_factory=list)


# a fragment is named, or stated with what is accepted of it
Include = str | IncludeTable | list[str | IncludeTable]


class MeasuredTable(Table, kw_only=True):
    """Provenance and range of validity of a fragment."""

    log: str
    rig: str
    note: str = ""
    written_by: str = ""
    thread: Annotated[str, Meta(description="that was turned")]
    material: str
    lubricant: str = ""
    temperature: Annotated[list[Temperature], Meta(min_length=2, max_length=2)]
    force: Annotated[list[Force], Meta(min_length=2, max_length=2)]
    values: dict[str, Any] = field(default_factory=dict)
