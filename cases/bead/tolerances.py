"""How much of a bead's load hangs on its height and the thickness of its sheet, by pressing it at their limits."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass

import numpy as np

from headjoint.cases.bead.history import STEPS, pressing_of
from headjoint.cases.bead.pressing import Pace, pressed_to, untouched
from headjoint.model.bead.bead import Bead
from headjoint.model.bead.profile import Profile


@dataclass(frozen=True)
class Sensitivity:
    """What a tolerance does to the load at the deepest closure. name : height or thickness; tolerance : plus-minus, mm;
    low, high : change of the load at either limit, as a share of it."""

    name: str
    tolerance: float
    low: float
    high: float


@dataclass(frozen=True)
class Spread:
    """The range of load that tolerances make. share : plus-minus, of the load: their worst sides as root of squares."""

    of: tuple[Sensitivity, ...]
    share: float


def spread_of(bead: Bead, load: float) -> Spread | None:
    """Return how the load (N/mm) at the deepest closure spreads, None where no tolerance is stated.

    Decks come as close as before: a bead that is higher is closed so much further. A thicker sheet keeps decks apart by
    its body, too, so its bead is closed no further.

    Raises SolveError where a bead at a limit finds no equilibrium.
    """
    found = []
    for name, tolerance in (("height", bead.tolerances[0]), ("thickness", bead.tolerances[1])):
        if tolerance > 0.0:
            low, high = (_load_of(bead, name, sign * tolerance) / load - 1.0 for sign in (-1.0, 1.0))
            found.append(Sensitivity(name, tolerance, low, high))
    if not found:
        return None
    return Spread(tuple(found), math.sqrt(sum(max(abs(one.low), abs(one.high)) ** 2 for one in found)))


def _load_of(bead: Bead, name: str, change: float) -> float:
    """Return the line load (N/mm) at the deepest closure of a bead with another height or thickness."""
    closure = bead.path.deepest
    if name == "height":
        closure += change
        bead = dataclasses.replace(bead, profile=higher(bead.profile, change))
    else:
        bead = dataclasses.replace(bead, thickness=bead.thickness + change)
    pressing, share = pressing_of(bead, bead.steel)
    step = bead.height / STEPS
    *_, state = pressed_to(pressing, untouched(pressing), closure, Pace(step, step))
    return state.line_load / share


def higher(profile: Profile, change: float) -> Profile:
    """Return a profile stretched upwards by `change` (mm)."""
    share = 1.0 + change / profile.height
    rows = profile.rows * np.array([[1.0], [share]])
    return Profile(profile.kind, profile.height + change, profile.width, rows, share * profile.slopes)
