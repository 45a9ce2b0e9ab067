"""Figures that are linear in a cell's displacements, as rows on its condensed unknowns: no full field is needed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from headjoint.model.base.arrays import FloatArray, IntArray


@dataclass(frozen=True)
class Rows:
    """Linear figures (r,) of a state: on_unknowns (r, n), on_loads name -> (r,) of unit loads."""

    on_unknowns: FloatArray = field(repr=False)
    on_loads: dict[str, FloatArray] = field(repr=False)

    def at(self, q: FloatArray, load_factors: Mapping[str, float]) -> FloatArray:
        """Return the figures (r,) at unknowns q (n,) under unit loads."""
        found: FloatArray = self.on_unknowns @ q
        for name, factor in load_factors.items():
            if name in self.on_loads:
                found = found + factor * self.on_loads[name]
        return found

    def part(self, which: slice | IntArray) -> Rows:
        """Return some of the rows."""
        return Rows(self.on_unknowns[which], {name: load[which] for name, load in self.on_loads.items()})


@dataclass(frozen=True)
class Watched:
    """Rows, and what the first of them do to each other.

    crossed : (b, b), the figure of a row under a load that is another row, interfaces held.
    """

    rows: Rows
    crossed: FloatArray = field(repr=False)


def watched_in(schur: FloatArray, unknowns: int, loads: list[str]) -> Watched:
    """Return what a Schur complement holds whose rows are unknowns, unit loads and watched rows, whose columns the
    same without most of the watched ones.
    """
    first = unknowns + len(loads)
    below = schur[first:]
    rows = Rows(below[:, :unknowns].copy(), {name: -below[:, unknowns + n] for n, name in enumerate(loads)})
    crossed = -below[: below.shape[1] - first, first:]
    return Watched(rows, np.ascontiguousarray((crossed + crossed.T) / 2.0))
