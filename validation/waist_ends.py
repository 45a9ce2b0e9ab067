"""What a one-dimensional law of yield leaves out at the ends of a waist: how its figures differ from a solid's.

`python -m validation.waist_ends [--coarse]` takes studs of several waists, with and without fillets, of steel that
hardens much and little, through the service of `validation.waisted_stud`, by headjoint and as a solid that flows in
another finite-element library (`validation.independent_yield`). It prints, for each, headjoint's figures over the
solid's, and how much of either end of the solid's waist hardly flows. The guide's `service` page has these figures;
tests/test_waist_ends.py holds the page against them. --coarse : elements of twice the size.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from functools import cache

from rich.console import Console
from rich.table import Table

from validation.independent_cell import felupe
from validation.independent_yield import FINE, OtherService
from validation.waisted_stud import THIN, Served, Stud, own_service

END, FILLET = 40.0, 1.5  # mm, of the thick ends; of the fillets
STUDS = {
    f"{waist:g} diameters{', fillets' if fillet else ''}, hardens by {hardening:g} MPa": Stud(
        END, waist * THIN, fillet, hardening
    )
    for waist, hardening in ((3.0, 5000.0), (5.0, 5000.0), (10.0, 5000.0), (5.0, 1000.0), (5.0, 500.0))
    for fillet in (0.0, FILLET)
}


@dataclass(frozen=True)
class LeftOut:
    """By how much the law's figures are above the solid's, as shares of these.

    clamps : hot, under gas, after gas, cold. longer, elongation : after and under the first and the second pull.
    strain, strain_again : half-way along the waist, after heat and gas, and after the second pull. idle : how much of
    either end of the solid's waist does not flow, in diameters, by its growth and by the strain half-way, both times.
    """

    clamps: tuple[float, float, float, float]
    lost: float
    longer: tuple[float, float]
    elongation: tuple[float, float]
    strain: float
    strain_again: float
    idle: tuple[float, float]


def left_out(stud: Stud, own: Served, solid: Served) -> LeftOut:
    """Return what the law leaves out of one stud."""

    def above(name: str) -> float:
        return float(getattr(own, name) / getattr(solid, name)) - 1.0

    def idle(longer: float, strain: float) -> float:
        return (stud.waist - longer / strain) / 2.0 / THIN

    return LeftOut(
        clamps=(above("hot"), above("fired"), above("run"), above("cold")),
        lost=(own.first - own.cold) / (solid.first - solid.cold) - 1.0,
        longer=(above("let_go"), above("longer")),
        elongation=(above("stretch"), above("again")),
        strain=above("strain"),
        strain_again=above("strain_again"),
        idle=(idle(solid.let_go, solid.strain), idle(solid.longer, solid.strain_again)),
    )


@cache
def found(name: str, fineness: float = FINE) -> LeftOut:
    """Return what the law leaves out of a stud of `STUDS`; the solid has `fineness` elements for one usual."""
    stud = STUDS[name]
    return left_out(stud, own_service(stud), OtherService(felupe(), stud, fineness).served())


def main() -> None:
    """Print the table."""
    fineness = FINE / 2.0 if "--coarse" in sys.argv else FINE
    table = Table(
        "waist", "clamp, hot, fired, after, cold", "lost", "longer", "elongation", "strain by heat", "by the pull",
        "end that does not flow", title="The law over the solid, %; diameters",
    )  # fmt: skip

    def percent(*shares: float) -> str:
        return ", ".join(f"{100.0 * share:+.1f}" for share in shares)

    for name in STUDS:
        one = found(name, fineness)
        rows = (one.clamps, (one.lost,), one.longer, one.elongation, (one.strain,), (one.strain_again,))
        table.add_row(name, *(percent(*row) for row in rows), ", ".join(f"{idle:.2f}" for idle in one.idle))
    Console(width=None if sys.stdout.isatty() else 170).print(table)


if __name__ == "__main__":
    main()
