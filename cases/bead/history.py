"""A bead pressed as its file says: first loading, openings from several depths, small strokes of gas.

States are values, so every opening goes out from the very state of first loading, whatever other openings do. One half
stands for a straight full bead whose ends are alike; loads are always those of the whole bead.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np

from headjoint.cases.bead.pressing import NOTHING, Pace, Pressed, Pressing, pressed_to
from headjoint.cases.bead.side_by_side import Ask, here
from headjoint.cases.bead.start import Formed, Start, start_of
from headjoint.model.base.arrays import FloatArray
from headjoint.model.bead.bead import Bead
from headjoint.model.bead.hardening import SpringSteel

STEPS, FIRST, TURN = 24, 160, 1280  # steps over the bead's reach, the first one of closing, and of opening
SOLID_FIRST = 1e-4  # of the height, of a solid ring on opening: it springs back by some thousandths
CLOSED_AGAIN = 2  # every so many depths from the deepest it is closed again, too: the law takes nothing from that
LOAD_STEPS = 12  # steps of load over the peak
STROKE_STEPS, STROKE_FIRST = 4, 32  # steps of a small stroke, and the first one of opening


@dataclass(frozen=True)
class Leg:
    """One way between two turns.

    kind : loading, opening, closing again, or gas. closures (mm), loads (N/mm) : of the bead. end : state at its end.
    """

    kind: str
    closures: FloatArray
    loads: FloatArray
    end: Pressed = field(repr=False)


@dataclass(frozen=True)
class History:
    """All legs of one bead at one temperature, loading in pieces between the depths it is opened from.

    start : the bead as it begins.
    deepest : the state at the deepest closure first reached. opened : states without load, after each opening.
    strokes : states at the ends of the last small stroke, opened and closed. iterations : of Newton, in all.
    """

    bead: Bead
    temperature: float
    start: Start = field(repr=False)
    legs: tuple[Leg, ...]
    deepest: Pressed = field(repr=False)
    opened: tuple[Opened, ...]
    strokes: tuple[Pressed, Pressed] = field(repr=False)
    iterations: int

    @property
    def pressing(self) -> Pressing:
        """The bead between its decks."""
        return self.start.pressing

    @property
    def share(self) -> float:
        """How much of the bead the mesh is, 1 or 1/2."""
        return self.start.share


@dataclass(frozen=True)
class Opened:
    """A bead opened wholly from a closure (mm). set : closure at which its load vanished. lost : of crown height, mm.

    peak : load (N/mm) before.
    """

    closure: float
    peak: float
    set: float
    lost: float
    state: Pressed = field(repr=False)


_Way = tuple[Opened, list[Leg], int]  # what an opening shows, its legs, iterations


def pressed(
    bead: Bead,
    temperature: float,
    steel: SpringSteel,
    told: Callable[[str], None] | None = None,
    formed: Formed | None = None,
    ask: Ask = here,
) -> History:
    """Return what a bead does at one temperature (degC); raises SolveError where it finds no equilibrium.

    formed : a stamped bead as it left its dies, where that is known. ask : has openings done side by side.
    """
    start = start_of(bead, steel, formed)
    run = _Run(bead, start)
    # each opening goes out from its own state, so that it may be done elsewhere, from the moment that this is reached
    asked = list[tuple[Pressed, Callable[[], _Way]]]()
    depths = (*bead.path.open_from, bead.path.deepest)
    for number, closure in enumerate(depths, start=1):
        if told is not None:
            told(f"bead at {temperature:g} degC, closed by {closure:.3g} mm")
        state = run.to(closure, "loading")
        again = (len(depths) - number) % CLOSED_AGAIN == 0
        asked.append((state, ask(_opened_from, bead, start, state, run.peak, again)))
    deepest, before = run.state, len(run.legs)
    strokes = run.small_strokes(bead.path.stroke, bead.path.cycles)
    run.legs, gas = run.legs[:before], run.legs[before:]
    opened = []
    for state, result in asked:
        if told is not None:
            told(f"bead at {temperature:g} degC, opened from {state.closure:.3g} mm")
        one, legs, iterations = result()
        opened.append(one)
        run.legs += legs
        run.iterations += iterations
    run.legs += gas
    return History(bead, temperature, start, tuple(run.legs), deepest, tuple(opened), strokes, run.iterations)


def _opened_from(bead: Bead, start: Start, state: Pressed, peak: float, again: bool) -> _Way:
    """Open a bead wholly and close it `again`; return what that shows, its legs, and how many iterations it took."""
    run = _Run(bead, start)
    run.state, run.peak = state, peak
    rest = run.to(0.0, "opening", opens=True)
    left = _vanished(run.legs[-1])
    if again:
        run.to(state.closure, "closing again")
    one = Opened(state.closure, state.line_load / run.share, left, run.lost_height(rest), rest)
    return one, run.legs, run.iterations


def _vanished(leg: Leg) -> float:
    """Return the closure (mm) at which the load of an opening came to nothing, from its last two places that bear."""
    bears = np.flatnonzero(leg.loads > NOTHING * leg.loads[0])
    last = int(bears[-1]) if len(bears) else 0
    if last + 1 >= len(leg.loads):
        return float(leg.closures[-1])
    # between the last place that bears and the next, on the chord before
    before = max(last - 1, 0)
    slope = (leg.loads[before] - leg.loads[last]) / max(leg.closures[before] - leg.closures[last], 1e-12)
    reach = leg.loads[last] / slope if slope > 0.0 else 0.0
    return float(max(leg.closures[last + 1], leg.closures[last] - reach))


class _Run:
    """A bead on its way, leg by leg."""

    def __init__(self, bead: Bead, start: Start) -> None:
        self.bead, self.pressing, self.share, self.state = bead, start.pressing, start.share, start.state
        self.legs: list[Leg] = []
        self.iterations, self.peak = 0, 0.0

    def to(self, closure: float, kind: str, opens: bool = False) -> Pressed:
        """Press or open to a closure (mm), or until nothing is borne."""
        reach = self.bead.reach
        load = np.inf if kind == "loading" else max(self.peak / LOAD_STEPS, 1e-6)
        first = reach / (TURN if kind == "opening" else FIRST)
        if self.bead.solid and kind != "loading":
            first = SOLID_FIRST * self.bead.height
        pace = Pace(reach / STEPS, first, load)
        return self._leg(pressed_to(self.pressing, self.state, closure, pace, opens), kind)

    def small_strokes(self, stroke: float, cycles: int) -> tuple[Pressed, Pressed]:
        """Open and close by a stroke so many times; return both ends of the last."""
        largest = stroke / STROKE_STEPS
        opens, closes = Pace(largest, stroke / STROKE_FIRST), Pace(largest, largest)
        top = self.state.closure
        for _ in range(cycles):
            opened = self._leg(pressed_to(self.pressing, self.state, top - stroke, opens), "gas")
            closed = self._leg(pressed_to(self.pressing, self.state, top, closes), "gas")
        return opened, closed

    def _leg(self, states: Iterator[Pressed], kind: str) -> Pressed:
        rows = [(self.state.closure, self.state.line_load)]
        for state in states:
            rows.append((state.closure, state.line_load))
            self.iterations += state.iterations + 1
            self.state = state
        table = np.array(rows).T
        self.peak = max(self.peak, float(table[1].max()))
        self.legs.append(Leg(kind, table[0], table[1] / self.share, self.state))
        return self.state

    def lost_height(self, state: Pressed) -> float:
        """Return how much lower the crown stands over the lowest place of the sheet than at first, mm."""
        mesh = self.pressing.sheet.mesh
        now = mesh.points[:, 1] + state.displacement[1::2]
        return float(self.pressing.top - (now[mesh.upper].max() - now[mesh.lower].min()))
