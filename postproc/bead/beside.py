"""Two beads beside each other in the same gap between decks, with the reason why they differ."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from headjoint.model.base.errors import InputError
from headjoint.model.base.figure import Figure
from headjoint.model.bead.bead import Bead
from headjoint.model.bead.profile import Profile
from headjoint.model.bead.solid import Solid
from headjoint.postproc.bead.findings import BeadFindings
from headjoint.postproc.present.report import Sheet
from headjoint.postproc.present.units import figure_text, shown, unit_in

BY_THICKNESS = " (a beam's stiffness goes with the cube of it)"  # beam theory: E t^3/12 of a unit width
ANOTHER_SHAPE = 1e-3  # of the height, by which middle lines are apart
ENDS = {
    (False, False): "free",
    (True, True): "held",
    (True, False): "held inside alone",
    (False, True): "held outside alone",
}
START = {True: "starts free of stress", False: "is stamped"}
KEPT = {"normal": "across itself", "vertical": "straight up"}


@dataclass(frozen=True)
class Beside:
    """Figures of two beads where the decks are equally far apart. left : height that they leave each bead, mm.

    closures (mm) and loads (N/mm) : of the gaskets there, the bead's own first.
    """

    own: BeadFindings
    other: BeadFindings
    left: float
    closures: tuple[float, float]
    loads: tuple[float, float]


def same_gap(own: Bead, other: Bead) -> tuple[float, tuple[float, float]]:
    """Return the height (mm) that decks leave each bead where they are as close as both gaskets are pressed to, and the
    closures (mm) of the gaskets there.

    Raises InputError where decks so far apart do not touch both.
    """
    # layers in contact are pressed as one: theirs is counted per bead, too
    left = [one.in_series * (one.free - one.path.deepest) / one.stack.beads for one in (own, other)]
    most = max(left)
    closures = [one.in_series * one.free - one.stack.beads * most for one in (own, other)]
    for closure, low, high in zip(closures, (own, other), (other, own), strict=True):
        if closure <= 0.0:
            raise InputError(
                f"'{high.name}' is pressed until {most:.3g} mm are left of its height, and '{low.name}' is no higher, "
                f"so that nothing presses it in that gap; press '{high.name}' deeper (path.deepest)",
                field="--against",
            )
    return most, (closures[0], closures[1])


def beside(own: BeadFindings, other: BeadFindings) -> Beside:
    """Compare two gaskets at the closest distance of the decks that both were pressed to, counted per bead."""
    left, closures = same_gap(own.bead, other.bead)
    loads = [
        float(np.interp(closure, one.at[0].closure, one.at[0].line_load))
        for closure, one in zip(closures, (own, other), strict=True)
    ]
    return Beside(own, other, left, closures, (loads[0], loads[1]))


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
    why = "; ".join(reasons) or "nothing that is compared here differs"
    deeper = f", so that in the same gap it is closed by {closed} further" if own.height != other.height else ""
    return f"'{other.name}' bears {load} ({100 * change:+.0f} %) in the same gap as '{own.name}': {why}{deeper}"


def _reasons(own: Bead, other: Bead, units: str) -> list[str]:
    """Return in what the second bead differs from the first, of all that its load hangs on."""
    what = "ring" if own.solid else "bead"
    lengths = (
        (f"its {what} is {{}} higher", f"its {what} is {{}} lower", own.height, other.height),
        ("{} wider", "{} narrower", own.profile.width, other.profile.width),
        (f"its sheet is {{}} thicker{BY_THICKNESS}", f"its sheet is {{}} thinner{BY_THICKNESS}",
         own.thickness, other.thickness),
        ("its legs are {} longer", "its legs are {} shorter", own.legs, other.legs),
    )  # fmt: skip
    found = []
    for more, less, one, two in lengths:
        if abs(two - one) > 1e-9:
            found.append((more if two > one else less).format(Figure(abs(two - one), "mm", ".3g").written(units)))
    if own.steel != other.steel:
        named = f"its steel is {other.steel.name}, not {own.steel.name}"
        found.append(named if own.steel.name != other.steel.name else "its steel has other figures")
    words = (
        (f"it is a {other.profile.kind} {what}, not a {own.profile.kind} one", own.profile.kind, other.profile.kind),
        ("its middle line has another shape", False, _shaped_otherwise(own.profile, other.profile)),
        (
            f"it {START[other.stamped_in is None]}, the other {START[own.stamped_in is None]}",
            own.stamped_in is None,
            other.stamped_in is None,
        ),
        (f"its ends are {ENDS[other.held]}, not {ENDS[own.held]}", own.held, other.held),
        (f"it is {_ring(other, units)}, not {_ring(own, units)}", own.stated_ring, other.stated_ring),
        (f"it is {_coated(other, units)}, not {_coated(own, units)}", own.coating, other.coating),
        (f"its friction is {other.friction:g}, not {own.friction:g}", own.friction, other.friction),
        (f"its sheet is as thick measured {KEPT[other.kept]}, not {KEPT[own.kept]}", own.kept, other.kept),
        (f"it has {_layers(other.stack.beads, 'beaded')}, not {own.stack.beads}", own.stack.beads, other.stack.beads),
        ("its layers lie otherwise", own.stack.laid, other.stack.laid),
        (f"it has {_layers(other.stack.flats, 'flat')}, not {own.stack.flats}", own.stack.flats, other.stack.flats),
    )
    return [*found, *(said for said, one, two in words if one != two)]


def _shaped_otherwise(own: Profile | Solid, other: Profile | Solid) -> bool:
    """Say whether middle lines of one kind, height and width differ, as by their radii."""
    if (
        isinstance(own, Solid)
        or isinstance(other, Solid)
        or (own.kind, own.height, own.width) != (other.kind, other.height, other.width)
    ):
        return False
    x = np.linspace(-0.5, 0.5, 201) * own.width
    return bool(np.abs(own.at(x)[0] - other.at(x)[0]).max() > ANOTHER_SHAPE * own.height)


def _ring(bead: Bead, units: str) -> str:
    if bead.stated_ring is None:
        return "straight"
    ring = f"a ring of {Figure(bead.stated_ring, 'mm', '.4g').written(units)} radius"
    return ring if bead.great_ring is None else f"{ring} (pressed as a straight bead)"


def _coated(bead: Bead, units: str) -> str:
    if bead.coating is None:
        return "bare"
    stiffness, unit = shown(bead.coating, "MPa/mm", units)
    return f"coated with {figure_text(stiffness)} {unit}"


def _layers(count: int, kind: str) -> str:
    return f"{count} {kind} layer{'s' * (count != 1)}"
