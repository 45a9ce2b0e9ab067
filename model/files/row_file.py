"""What a cell file may say of one stud, one bore or one place of the row that is unlike the others."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta, field

from headjoint.model.base.units import AngleRound, PositiveLength, TemperatureRise, ZeroOrLength
from headjoint.model.files.table import Table, bare

Number = Annotated[int, Meta(ge=1, le=999)]
Share = Annotated[float, Meta(gt=0, le=2)]  # nobody turns a stud to twice the preload: common practice, no source


class OddStudTable(Table, kw_only=True):
    """A stud unlike the others."""

    stud: Annotated[
        Number, Meta(description="its number along the row, from 1; at each place the one at positive y first")
    ]
    slack: Annotated[bool, Meta(description="it carries nothing: left slack, or broken")] = False
    preload: Annotated[Share, Meta(description="its preload over that of the others")] = 1.0
    retorque: Annotated[
        Share | None, Meta(description="share of the preload to which it is turned once more, after all the others")
    ] = None
    longer: Annotated[ZeroOrLength, Meta(description="free length more than the others have, in the block")] = bare(0.0)


class HotterTable(Table, kw_only=True):
    """By how much one bore's parts are hotter than stated, in every load case whose head is warmer than at assembly."""

    head: TemperatureRise = bare(0.0)
    block: Annotated[TemperatureRise, Meta(description="liner included")] = bare(0.0)
    gasket: Annotated[TemperatureRise | None, Meta(description="default: the mean of head and block")] = None


class DamageTable(Table, kw_only=True):
    """A part of a gasket zone round one bore that is not as it was made."""

    zone: Annotated[str, Meta(description="name of a ring, or 'body'")]
    law: Annotated[str | None, Meta(description="law there; default: that of the zone")] = None
    step: Annotated[ZeroOrLength | None, Meta(description="clearance there; default: that of the zone")] = None
    start: Annotated[
        AngleRound | None,
        Meta(description="where it begins, anticlockwise from the row's direction; default: all round"),
    ] = None
    end: Annotated[AngleRound | None, Meta(description="where it ends; default: all round")] = None


class OddBoreTable(Table, kw_only=True):
    """A bore unlike the others."""

    bore: Annotated[Number, Meta(description="its number along the row, from 1")]
    hotter: HotterTable = field(default_factory=HotterTable)
    damage: list[DamageTable] = field(default_factory=list)


class HollowTable(Table, kw_only=True):
    """Faces that are not flat between two bores."""

    after_bore: Annotated[Number, Meta(description="number of the bore before it, from 1")]
    depth: Annotated[PositiveLength, Meta(description="of head and deck together, where it is deepest")]
    width: Annotated[PositiveLength | None, Meta(description="across the row; default: the pitch of the bores")] = None


class RowTable(Table, kw_only=True):
    """What is not alike along the row, for the whole head."""

    studs: list[OddStudTable] = field(default_factory=list)
    bores: list[OddBoreTable] = field(default_factory=list)
    hollows: list[HollowTable] = field(default_factory=list)
