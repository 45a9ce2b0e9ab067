"""How a bead's load scatters by tolerances of its height and sheet: a few beads pressed, many drawn from a surrogate.

Loads are those of decks as far apart as the stated bead has them at each of its depths: a bead that is higher is closed
so much further. A thicker sheet keeps decks apart by its body, too, so its bead is closed no further. A tolerance is
read as two standard deviations of a normal distribution, as `headjoint scatter` reads every range. The surrogate is
quadratic in both, through the stated bead and those pressed; one more bead is pressed that it was not fitted to.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from headjoint.cases.bead.history import STEPS
from headjoint.cases.bead.pressing import Pace, pressed_to
from headjoint.cases.bead.side_by_side import Ask, here
from headjoint.cases.bead.start import start_of
from headjoint.model.base.arrays import FloatArray
from headjoint.model.bead.bead import Bead

DRAWN = 10_000  # beads; 200 would leave the ends of their range to chance, by a twentieth of it
OUTSIDE = 0.025  # of all beads, on either side of what is told
NAMES = ("height", "thickness")
# offsets of height and thickness, in tolerances: to which the surrogate is fitted, and by which it is checked
BOTH = ((-1.0, 0.0), (1.0, 0.0), (0.0, -1.0), (0.0, 1.0), (1.0, 1.0)), (-1.0, -1.0)
ONE = ((-1.0, 0.0), (1.0, 0.0)), (0.5, 0.0)
POWERS = ((1, 0), (0, 1), (2, 0), (0, 2), (1, 1))


@dataclass(frozen=True)
class Sensitivity:
    """What a tolerance does to the load at the deepest closure. name : height or thickness; tolerance : plus-minus, mm;
    low, high : change of the load at either limit, as a share of it."""

    name: str
    tolerance: float
    low: float
    high: float


@dataclass(frozen=True)
class AtDepth:
    """Loads of many beads in one gap. closure : of the stated gasket there, mm. low, high : change of the load, as a
    share, that 95 of 100 beads stay within. error : of the surrogate for the bead it was not fitted to, so, too."""

    closure: float
    low: float
    high: float
    error: float


@dataclass(frozen=True)
class Spread:
    """The range of load that tolerances make. at : by depth. share : plus-minus, of the load, the surrogate's error
    counted: at the deepest closure where a stopper ends it there, else at the worst depth. drawn : how many beads."""

    of: tuple[Sensitivity, ...]
    at: tuple[AtDepth, ...]
    share: float
    drawn: int = DRAWN


def asked_loads(bead: Bead, ask: Ask) -> dict[tuple[float, float], Callable[[], FloatArray]]:
    """Ask for the loads (N/mm) of all beads that a spread is made of, by their offsets in tolerances."""
    names = _scattering(bead)
    if not names:
        return {}
    fitted, other = _offsets(names)
    return {place: ask(_loads_of, bead, _depths(bead), *place) for place in (*fitted, other)}


def others(bead: Bead) -> int:
    """Return how many beads are pressed for a spread."""
    names = _scattering(bead)
    return len(_offsets(names)[0]) + 1 if names else 0


def spread_of(
    bead: Bead, loads: Sequence[float], asked: dict[tuple[float, float], Callable[[], FloatArray]] | None = None
) -> Spread | None:
    """Return how loads (N/mm) at the depths of a bead's path spread, None where no tolerance is stated.

    asked : what `asked_loads` gave, None to press all here.

    Raises SolveError where a bead at a limit finds no equilibrium.
    """
    names = _scattering(bead)
    if not names:
        return None
    found = asked_loads(bead, here) if asked is None else asked
    limits, at = scattered(lambda x, y: found[x, y]() / np.array(loads) - 1.0, names, bead.in_series * _depths(bead))
    of = tuple(
        Sensitivity(NAMES[one], bead.tolerances[one], float(low), float(high))
        for one, (low, high) in zip(names, limits, strict=True)
    )
    counted = at if bead.stopper is None else at[-1:]
    return Spread(of, at, max(max(-one.low, one.high) + one.error for one in counted))


def _scattering(bead: Bead) -> list[int]:
    """Return which of height and thickness, 0 and 1, have a tolerance."""
    return [one for one in (0, 1) if bead.tolerances[one] > 0.0]


def _offsets(names: Sequence[int]) -> tuple[tuple[tuple[float, float], ...], tuple[float, float]]:
    """Return offsets of height and thickness to which the surrogate is fitted, and by which it is checked."""
    if len(names) == 2:
        return BOTH
    fitted, (x, y) = ONE
    return ONE if names[0] == 0 else (tuple((b, a) for a, b in fitted), (y, x))


def _depths(bead: Bead) -> FloatArray:
    return np.array([*bead.path.open_from, bead.path.deepest])


def scattered(
    change: Callable[[float, float], FloatArray], names: Sequence[int], depths: FloatArray
) -> tuple[list[tuple[float, float]], tuple[AtDepth, ...]]:
    """Return changes at the limits of each tolerance at the last depth, and what many beads make at every depth.

    change : from offsets of height and thickness, in tolerances, to the change of load (d,) at depths (d,) mm.
    names : which of both scatter, 0 and 1.
    """
    fitted, other = _offsets(names)
    found = np.array([change(*place) for place in fitted])
    powers = POWERS if len(names) == 2 else [one for one in POWERS if one[1] == 0]

    def terms(places: FloatArray) -> FloatArray:
        x, y = places[:, names[0]], places[:, names[-1]]
        return np.stack([x**a * y**b for a, b in powers], axis=1)

    weights = np.linalg.solve(terms(np.array(fitted)), found)
    error = np.abs(terms(np.array([other])) @ weights - change(*other))[0]
    drawn = terms(_drawn()) @ weights
    low, high = np.quantile(np.maximum(drawn, -1.0), [OUTSIDE, 1.0 - OUTSIDE], axis=0)
    limits = [(float(found[2 * i, -1]), float(found[2 * i + 1, -1])) for i in range(len(names))]
    rows = zip(depths, low, high, error, strict=True)
    return limits, tuple(AtDepth(*(float(value) for value in row)) for row in rows)


def _drawn() -> FloatArray:
    """Return offsets (n, 2) in tolerances: a Latin hypercube of normal values, the same every time."""
    rng = np.random.default_rng(1)
    shares = np.stack([rng.permutation(DRAWN), rng.permutation(DRAWN)], axis=1) + 0.5
    return ndtri(shares / DRAWN) / 2.0


def _loads_of(bead: Bead, depths: FloatArray, height: float, thickness: float) -> FloatArray:
    """Return line loads (N/mm) of a bead that is off by so many tolerances, in gaps that close the stated one by
    `depths`."""
    more = height * bead.tolerances[0]
    other = dataclasses.replace(
        bead, profile=bead.profile.higher(more), thickness=bead.thickness + thickness * bead.tolerances[1]
    )
    start = start_of(other, other.steel)
    pressing, share, state = start.pressing, start.share, start.state
    step, loads = bead.reach / STEPS, []
    for closure in depths + more:
        # a bead so much lower that decks do not touch it bears nothing
        *_, state = state, *pressed_to(pressing, state, max(closure, 0.0), Pace(step, step))
        loads.append(state.line_load / share)
    return np.array(loads)
