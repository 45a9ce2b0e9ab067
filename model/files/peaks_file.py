"""What a file may say of peak pressure from cycle to cycle."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta

from headjoint.model.files.table import Table


class PeaksTable(Table, kw_only=True):
    """How peak pressure scatters; gas pressures of load cases, steps and heat are then means of ordinary cycles."""

    variation: Annotated[
        Annotated[float, Meta(gt=0, le=0.5)],
        Meta(description="coefficient of variation: typically 0.05 to 0.15 with boost (common practice, no source)"),
    ]
    cycles: Annotated[
        Annotated[float, Meta(ge=1, le=1e12)], Meta(description="number of which the greatest is judged")
    ] = 1e6
    knock_share: Annotated[
        Annotated[float, Meta(ge=0, le=1)], Meta(description="share of cycles that knock; needs `knock_rise`")
    ] = 0.0
    knock_rise: Annotated[
        Annotated[float, Meta(ge=0, le=2)],
        Meta(description="mean of what knock adds, as a share of the mean peak; exponential tail"),
    ] = 0.0
