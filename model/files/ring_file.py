"""What a file may say of a solid ring of metal between flat decks: a wire, a flat ring."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, field

from headjoint.model.base.units import PositiveLength
from headjoint.model.files.bead_file import DecksTable, HardeningTable, PathTable, TolerancesTable
from headjoint.model.files.table import Table


class WireTable(Table, kw_only=True):
    """A wire inside the ring."""

    diameter: PositiveLength
    material: Annotated[str | HardeningTable, Meta(description="designation, or figures")]


class RingTable(Table, kw_only=True):
    """The section of the ring and its metal."""

    section: Annotated[Literal["round", "rectangular"], Meta(description="a wire, or a flat ring")]
    height: Annotated[PositiveLength, Meta(description="free height; of a round section its diameter")]
    width: Annotated[PositiveLength | None, Meta(description="of a rectangular section")] = None
    radius: Annotated[
        PositiveLength | None, Meta(description="of the ring, to the middle of its section; left out: straight")
    ] = None
    material: Annotated[
        str | HardeningTable, Meta(description="designation with temper, as EN CW004A R220, or figures")
    ]
    wire: Annotated[
        WireTable | None, Meta(description="a round wire of another metal in its middle, taken as bonded to it")
    ] = None


class SectionMeshTable(Table, kw_only=True):
    """How fine the section is divided."""

    size: Annotated[PositiveLength | None, Meta(description="of elements; default a twelfth of the height")] = None


class RingFile(Table, kw_only=True):
    """A file of a solid ring."""

    name: str
    note: str = ""
    ring: RingTable
    decks: DecksTable = field(default_factory=DecksTable)
    tolerances: TolerancesTable = field(default_factory=TolerancesTable)
    path: PathTable = field(default_factory=PathTable)
    zone_width: Annotated[
        PositiveLength | None,
        Meta(description="width over which a joint's zone smears the line load; default the width of the section"),
    ] = None
    mesh: SectionMeshTable = field(default_factory=SectionMeshTable)
