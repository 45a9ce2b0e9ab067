"""Two beads beside each other in the same gap between decks, with the reason why they differ."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from headjoint.model.base.figure import Figure
from headjoint.model.bead.bead import Bead
from headjoint.postproc.bead.findings import BeadFindings
from headjoint.postproc.present.report import Sheet
from headjoint.postproc.present.units import figure_text, shown, unit_in


@dataclass(frozen=True)
class Beside:
    """Figures of two beads where the decks are equally far apart. left : height that they leave the beads, mm.

    closures (mm) and loads (N/mm) : of the gaskets there, the bead's own first. reasons : what of their shape differs.
    """

    own: BeadFindings
    other: BeadFindings
    left: float
    closures: tuple[float, float]
    loads: tuple[float, float]


def beside(own: BeadFindings, other: BeadFindings) -> Beside:
    """Compare two gaskets at the closest distance of the decks that both were pressed to, counted per bead."""
    both = (own, other)
    left = max(one.bead.height - one.bead.path.deepest for one in both)
    closures = [one.bead.stack.beads * (one.bead.height - left) for one in both]
    loads = [
        float(np.interp(closure, one.at[0].closure, one.at[0].line_load))
        for closure, one in zip(closures, both, strict=True)
    ]
    return Beside(own, other, left, (closures[0], closures[1]), (loads[0], loads[1]))


def sheet(found: Beside, units: str) -> Sheet:
    """Return both as a table."""
    rows: list[tuple[str, str, float, float]] = [
        ("height of the bead", "mm", found.own.bead.height, found.other.bead.height),
        ("closure in that gap", "um", 1e3 * found.closures[0], 1e3 * found.closures[1]),
        ("line load there", "N/mm", *found.loads),
        *(
            (name, unit, *(value(one) for one in (found.own, found.other)))
            for name, unit, value in (
                ("set after the deepest closure", "um", lambda one: 1e3 * one.at[0].openings[-1].set),
                ("stiffness under gas, per mm", "N/mm", lambda one: one.at[0].gas_stiffness),
                ("greatest plastic strain", "%", lambda one: 100.0 * one.at[0].plastic_strain),
            )
        ),
    ]
    lines = tuple(
        (name, unit_in(unit, units)[0], *(figure_text(shown(value, unit, units)[0]) for value in (own, other)))
        for name, unit, own, other in rows
    )
    headings = ("", "unit", found.own.bead.name, found.other.bead.name)
    return Sheet(f"Beside {found.other.bead.name}, decks equally far apart", headings, lines, left=(1,))


def sentence(found: Beside, units: str) -> str:
    """Return the difference in line load with its reason, as a builder would say it."""
    own, other = found.own.bead, found.other.bead
    change = found.loads[1] / found.loads[0] - 1.0
    load = Figure(found.loads[1] - found.loads[0], "N/mm", "+.1f").written(units)
    reasons = _reasons(own, other, units)
    closed = Figure(1e3 * (found.closures[1] - found.closures[0]), "um", "+.0f").written(units)
    why = "; ".join(reasons) or "nothing in their shape or steel differs"
    deeper = f", so that in the same gap it is closed by {closed} further" if own.height != other.height else ""
    return f"'{other.name}' bears {load} ({100 * change:+.0f} %) in the same gap as '{own.name}': {why}{deeper}"


def _reasons(own: Bead, other: Bead, units: str) -> list[str]:
    """Return in what the second bead differs from the first."""
    pairs = (
        ("its bead is {} higher", "its bead is {} lower", own.height, other.height),
        ("{} wider", "{} narrower, which makes it stiffer", own.profile.width, other.profile.width),
        ("its sheet is {} thicker, which counts by the cube", "its sheet is {} thinner, which counts by the cube",
         own.thickness, other.thickness),
    )  # fmt: skip
    found = []
    for more, less, one, two in pairs:
        if abs(two - one) > 1e-9:
            found.append((more if two > one else less).format(Figure(abs(two - one), "mm", ".3g").written(units)))
    if own.steel != other.steel:
        found.append(f"its steel is {other.steel.name}, not {own.steel.name}")
    if own.stack.beads != other.stack.beads:
        found.append(f"it has {other.stack.beads} beaded layers, not {own.stack.beads}")
    return found
