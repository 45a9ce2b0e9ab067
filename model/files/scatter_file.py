"""What a file may say of scatter: how many samples, and distributions in place of the usual ones."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, field

from headjoint.model.files.table import Table

Bound = str | float
Kind = Literal["normal", "lognormal", "half-normal", "uniform", "triangular", "fixed"]


class DistributionTable(Table, kw_only=True):
    """Distribution of one input, in its own unit; inputs by name are factors unless `headjoint scatter` says otherwise."""

    distribution: Kind
    mean: Annotated[Bound | None, Meta(description="of normal and lognormal; mode of triangular")] = None
    deviation: Annotated[
        Bound | None, Meta(description="standard deviation of normal and lognormal; of the normal behind a half-normal")
    ] = None
    low: Annotated[Bound | None, Meta(description="of uniform and triangular")] = None
    high: Annotated[Bound | None, Meta(description="of uniform and triangular")] = None


class ScatterTable(Table, kw_only=True):
    """How a batch of such joints differs from joint to joint."""

    samples: Annotated[int, Meta(ge=16, le=1_000_000)] = 1000
    seed: Annotated[int, Meta(ge=0, le=2**32 - 1)] = 7
    sampling: Literal["sobol", "latin hypercube"] = "sobol"
    inputs: Annotated[
        dict[str, DistributionTable],
        Meta(description='by name, such as "thread friction", or by path, such as "head.height"'),
    ] = field(default_factory=dict)
