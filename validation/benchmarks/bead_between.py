"""How far the laws of shipped beads are off between their openings, beside what their answers say of it.

Every bead is pressed and opened from many depths; a law is made of its own depths alone and held against all others.
Answers say how much more a law may bear than its bead, and how much less those of shipped beads do. Run as `python -m
validation.benchmarks.bead_between [NAME ...]` (minutes); exits with 1 where a law bears more than is said, or less.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace

import numpy as np
from threadpoolctl import threadpool_limits

from headjoint.cases.bead.history import Leg
from headjoint.cases.command.stated_files import shipped_files
from headjoint.model.bead.bead import Bead
from headjoint.model.bead.measured_sheet import MeasuredSheet
from headjoint.model.bead.reading import read_gasket
from headjoint.postproc.bead.findings import AtTemperature, find
from headjoint.postproc.bead.law import LESS, _over, law_of

SHARES = np.array([0.06, 0.185, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.89, 0.96])  # of the deepest, beside a bead's own depths
APART = 0.01  # of the deepest, by which depths are apart at least


@dataclass(frozen=True)
class Compared:
    """How much more and less than its bead a law bears at depths that it does not know, within the stroke of gas and
    over whole openings; said : of more, None where nothing is."""

    more: tuple[float, float]
    less: tuple[float, float]
    said: tuple[float, float] | None

    @property
    def holds(self) -> bool:
        """Whether a law bears no more than is said of it, and no less than is said of shipped beads."""
        said = self.more if self.said is None else self.said
        return max(self.less) <= LESS and all(found <= told for found, told in zip(self.more, said, strict=True))

    def __str__(self) -> str:
        said = "nothing" if self.said is None else _percents(self.said)
        return f"{_percents(self.more):>16} {said:>16} {_percents(self.less):>16}{'' if self.holds else '   NOT SO'}"


def main() -> None:
    """Print the table; exit with 1 where a law bears more than is said."""
    print(f"{'bead':20} {'more, %':>16} {'said':>16} {'less, %':>16}   within the stroke, over whole openings")
    hold = True
    for name, path in shipped_files("beads").items():
        bead = read_gasket(path)
        if not isinstance(bead, MeasuredSheet) and (name in sys.argv[1:] or not sys.argv[1:]):
            one = compared(replace(bead, tolerances=(0.0, 0.0)))
            hold = hold and one.holds
            print(f"{name:20} {one}", flush=True)
    if not hold:
        sys.exit(1)


def compared(bead: Bead) -> Compared:
    """Return how far the law of a bead is off between its openings, beside what its answer says."""
    deepest = bead.path.deepest
    own = np.array([*bead.path.open_from, deepest])
    more = [float(one) for one in SHARES * deepest if np.abs(own - one).min() > APART * deepest]
    dense = find(
        replace(bead, path=replace(bead.path, open_from=tuple(sorted([*bead.path.open_from, *more])))), lambda _: None
    )
    kept = {round(bead.in_series * float(one), 9) for one in own}
    carried = law_of(replace(dense, at=tuple(_only(at, kept) for at in dense.at)))
    over = [
        _over(carried.law, leg, at, bead)
        for at in dense.at
        for leg in _openings(at)
        if round(bead.in_series * float(leg.closures[0]), 9) not in kept
    ]
    near, whole = (np.concatenate(part) for part in zip(*over, strict=True))
    return Compared(
        (float(near.max()), float(whole.max())), (float(-near.min()), float(-whole.min())), carried.off.between
    )


def _percents(pair: tuple[float, float]) -> str:
    return f"{100 * pair[0]:.1f} {100 * pair[1]:.1f}"


def _openings(at: AtTemperature) -> list[Leg]:
    return [leg for leg in at.history.legs if leg.kind == "opening"]


def _only(at: AtTemperature, kept: set[float]) -> AtTemperature:
    """Return what a bead shows that was opened from kept closures (mm) alone."""
    own = [round(one.closure, 9) in kept for one in at.openings]
    chosen = {id(leg) for leg, one in zip(_openings(at), own, strict=True) if one}
    legs = tuple(leg for leg in at.history.legs if leg.kind != "opening" or id(leg) in chosen)
    openings = tuple(one for one, stays in zip(at.openings, own, strict=True) if stays)
    return replace(at, openings=openings, history=replace(at.history, legs=legs))


if __name__ == "__main__":
    with threadpool_limits(limits=1):
        main()
