"""A sheet pressed between two decks: equilibrium at given closures, step by step, with memory of metal and friction.

Newton with consistent tangents on all displacements at once; steps are halved where it does not converge and grow where
it is easy. A sheet that nothing holds is kept in place by drag against its own place a step ago, far below any load.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.linalg.lapack import dgbsv

from headjoint.cases.bead.decks import NOTHING_TRIED, Deck, Touch, Tried, anchored
from headjoint.cases.bead.dies import Die
from headjoint.cases.bead.layers import Between, Pushed, added, pushed
from headjoint.cases.bead.plasticity import PlasticState
from headjoint.cases.bead.sheet import Sheet
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import SolveError

DRAG = 2e-5  # N/mm2 per node and mm of motion since the step before
ACCURACY = 1e-7  # residual over inner forces
PROP = 1e3  # N/mm2, of springs that help to solve for it
LEVEL = 1e-9  # mm, to which nodes kept level lie equally high
FLOOR = 1e-7  # N/mm, residual of a sheet that bears nothing
ITERATIONS, EASY = 18, 6
NOTHING, NEARLY_NOTHING = 1e-4, 5e-3  # of the load that a sheet is opened from, at which it counts as open
LIGHT = 0.01  # of that load, above which no step goes to where the last chord bears nothing
SHORT, BEYOND = 0.75, 1.5  # of the way there, that a step goes at most above that load and below it
SMALLEST = 1e-6  # mm of closure, the least step


@dataclass(frozen=True)
class Pressing:
    """A sheet, its decks or dies (below, above), how far apart (mm) they first touch, and unknowns that are held.

    between : layers of it that lie on each other. level : two nodes that are kept equally high, as the edges of a ring
    that would dish alone, by forces that balance each other; None where none are.
    """

    sheet: Sheet
    below: Deck | Die
    above: Deck | Die
    top: float
    held: IntArray = field(repr=False)
    between: tuple[Between, ...] = field(default=(), repr=False)
    level: tuple[int, int] | None = None


@dataclass(frozen=True)
class Pressed:
    """A state in equilibrium.

    closure : mm. displacement : (n,) mm. metal : memory. anchors : of friction at both decks and between layers, mm.
    line_load : N/mm on the upper deck, of what is meshed. stress : (4 m, 4) MPa. touches : at both decks. layers :
    pressures (MPa) of layers on each other. iterations : of Newton.
    """

    closure: float
    displacement: FloatArray = field(repr=False)
    metal: PlasticState = field(repr=False)
    anchors: tuple[FloatArray, ...] = field(repr=False)
    line_load: float
    stress: FloatArray = field(repr=False)
    touches: tuple[Touch, Touch] = field(repr=False)
    iterations: int = 0
    layers: tuple[FloatArray, ...] = field(default=(), repr=False)


def untouched(pressing: Pressing) -> Pressed:
    """Return the sheet as it lies between decks that just touch."""
    sheet = pressing.sheet
    nothing = np.zeros(sheet.unknowns)
    return placed(pressing, nothing, sheet.new())


def placed(pressing: Pressing, displacement: FloatArray, metal: PlasticState) -> Pressed:
    """Return the sheet as it lies displaced by so much (n,) mm between what just touches it."""
    anchors = (
        displacement[2 * pressing.below.nodes],
        displacement[2 * pressing.above.nodes],
        *(pushed(one, displacement, np.zeros(len(one.nodes))).slid for one in pressing.between),
    )
    touches = tuple(_touches(pressing, 0.0, displacement, anchors))
    stress = pressing.sheet.forces(displacement, metal).stress
    bare = tuple(np.zeros(len(one.nodes)) for one in pressing.between)
    return Pressed(0.0, displacement, metal, anchors, 0.0, stress, touches, layers=bare)  # type: ignore[arg-type]


def _touches(
    pressing: Pressing,
    closure: float,
    displacement: FloatArray,
    anchors: tuple[FloatArray, ...],
    tried: Sequence[Tried] = (NOTHING_TRIED, NOTHING_TRIED),
) -> Iterator[Touch]:
    moved = displacement.reshape(-1, 2)
    heights = (0.0, pressing.top - closure)
    decks = (pressing.below, pressing.above)
    for deck, height, anchor, known in zip(decks, heights, anchors[:2], tried[:2], strict=True):
        places = pressing.sheet.mesh.points[deck.nodes] + moved[deck.nodes]
        yield deck.touched(height, places, moved[deck.nodes, 0], anchor, known)


def settled(pressing: Pressing, before: Pressed, closure: float, guess: FloatArray) -> Pressed:
    """Return the state at a closure (mm), from the one before and a guess of displacements.

    Raises SolveError where Newton does not converge.
    """
    sheet, held = pressing.sheet, pressing.held
    band = sheet.band
    u, worst = guess.copy(), np.inf
    # at first, what bore before bears on, for the guess is off by more than its springs give
    tried = [Tried(bore=one) for one in (*(touch.pressure for touch in before.touches), *before.layers)]
    keeping = 0.0  # N/mm, up on the second node kept level and down on the first
    for iteration in range(ITERATIONS):
        body = sheet.forces(u, before.metal)
        touches = tuple(_touches(pressing, closure, u, before.anchors, tried))
        residual = body.force + DRAG * (u - before.displacement)
        for deck, one in zip((pressing.below, pressing.above), touches, strict=True):
            residual[2 * deck.nodes] -= one.force[:, 0]
            residual[2 * deck.nodes + 1] -= one.force[:, 1]
        layers = [
            pushed(one, u, at, known)
            for one, at, known in zip(pressing.between, before.anchors[2:], tried[2:], strict=True)
        ]
        for push in layers:
            np.subtract.at(residual, push.unknowns, push.force)
        if pressing.level is not None:
            residual[2 * np.array(pressing.level) + 1] += [keeping, -keeping]
        reaction = float(np.linalg.norm(residual[held]))
        residual[held] = 0.0
        size = float(np.linalg.norm(residual))
        scale = max(float(np.linalg.norm(body.force)), reaction)
        uneven = _uneven(pressing, u)
        if iteration and size <= ACCURACY * scale + FLOOR and abs(uneven) <= LEVEL:
            anchors = tuple(
                anchored(u[2 * deck.nodes], one.rub)
                for deck, one in zip((pressing.below, pressing.above), touches, strict=True)
            )
            load = -float(touches[1].force[:, 1].sum())
            anchors += tuple(push.anchors for push in layers)
            pressures = tuple(push.pressure for push in layers)
            return Pressed(closure, u, body.after, anchors, load, body.stress, touches, iteration, pressures)  # type: ignore[arg-type]
        if iteration > 8 and size > 1e3 * worst:
            break
        worst = min(worst, size)
        K = _stiffness(pressing, body.stiffness(), touches, layers)
        tried = [Tried(rub=rub) for rub in (*(one.rub for one in touches), *(one.rub for one in layers))]
        if pressing.level is None:
            step = _solved(K, residual, band)
        else:
            step, more = _levelled(K, residual, band, pressing.level, uneven)
            keeping += more
        if not np.isfinite(step).all():
            break
        u -= step
    raise SolveError("no equilibrium found")


def _stiffness(pressing: Pressing, K: FloatArray, touches: Sequence[Touch], layers: Sequence[Pushed]) -> FloatArray:
    """Return a sheet's stiffness, in band storage, with drag and all that touches it, held unknowns crossed out."""
    band = pressing.sheet.band
    K[band] += DRAG
    for deck, one in zip((pressing.below, pressing.above), touches, strict=True):
        x, y = 2 * deck.nodes, 2 * deck.nodes + 1
        K[band, y] += one.normal
        K[band, x] += one.by_x
        K[band - 1, y] += one.by_y
        K[band + 1, x] += one.lean
    for push in layers:
        added(K, band, push)
    _hold(K, pressing.held, band, pressing.sheet.unknowns)
    return K


def _uneven(pressing: Pressing, displacement: FloatArray) -> float:
    """Return how much higher (mm) the first of two nodes kept level lies than the second, nothing where none are."""
    if pressing.level is None:
        return 0.0
    nodes = np.array(pressing.level)
    high, low = pressing.sheet.mesh.points[nodes, 1] + displacement[2 * nodes + 1]
    return float(high - low)


def _levelled(
    K: FloatArray, residual: FloatArray, band: int, level: tuple[int, int], uneven: float
) -> tuple[FloatArray, float]:
    """Return the step that leaves two nodes equally high and by how much the force grows that keeps them so, N/mm.

    A sheet of which drag alone holds the turning would be solved to few digits: both nodes rest on springs, which
    three equations more take out again. With K' = K + k (e1 e1' + e2 e2') and d = -step,
    K' d = -r + a e1 + b e2, e1.d = s, e2.d = s + uneven, a + b = k (2 s + uneven); the force grows by k s - a.
    """
    up = 2 * np.array(level) + 1
    K[band, up] += PROP
    right = np.zeros((len(residual), 3))
    right[:, 0] = residual
    right[up, [1, 2]] = 1.0
    solved = _solved(K, right, band)
    (g1, a1, b1), (g2, a2, b2) = solved[up]
    system = np.array([[a1, b1, -1.0], [a2, b2, -1.0], [1.0, 1.0, -2.0 * PROP]])
    a, b, s = np.linalg.solve(system, [g1, g2 + uneven, PROP * uneven])
    return solved @ [1.0, -a, -b], PROP * s - a


def _solved(K: FloatArray, right: FloatArray, band: int) -> FloatArray:
    """Return the solution of a banded system, not a number where there is none.

    LAPACK is called in its own storage: through `solve_banded` it takes three times as long (own measurement).
    """
    storage = np.zeros((3 * band + 1, K.shape[1]), order="F")
    storage[band:] = K
    _, _, found, singular = dgbsv(band, band, storage, right, overwrite_ab=1)
    return np.full_like(right, np.nan) if singular else found


def _hold(K: FloatArray, held: IntArray, band: int, n: int) -> None:
    """Cross out rows and columns of held unknowns."""
    K[:, held] = 0.0
    rows = held[:, None] + np.arange(-band, band + 1)  # columns in which a held unknown has a row
    inside = (rows >= 0) & (rows < n)
    line = band + held[:, None] - rows
    K[line[inside], rows[inside]] = 0.0
    K[band, held] = 1.0


@dataclass(frozen=True)
class Pace:
    """How fast closure may go: largest step (mm), first step after a turn (mm), and largest change of load, N/mm."""

    largest: float
    first: float
    load: float = np.inf


def pressed_to(
    pressing: Pressing, start: Pressed, closure: float, pace: Pace, opens: bool = False
) -> Iterator[Pressed]:
    """Yield states from `start` to a closure (mm), or with `opens` on the way there until the sheet bears nothing.

    Raises SolveError with closure and load where no smaller step helps.
    """
    state, step, rate = start, pace.first, np.zeros_like(start.displacement)
    way = 1.0 if closure > start.closure else -1.0
    nothing = NOTHING * start.line_load
    while way * (closure - state.closure) > 1e-12:
        taken = min(step, way * (closure - state.closure))
        target = state.closure + way * taken
        try:
            found = settled(pressing, state, target, state.displacement + rate * taken)
        except SolveError as error:
            step = taken / 2.0
            rate = np.zeros_like(rate)
            if step < SMALLEST and opens and state.line_load <= NEARLY_NOTHING * start.line_load:
                return  # the last touches let go all at once
            if step < SMALLEST:
                raise SolveError(
                    f"the bead finds no equilibrium beyond a closure of {state.closure:.4f} mm, where it bears "
                    f"{state.line_load:.4g} N/mm ({error}); it may snap through or its mesh be too coarse: state a "
                    "smaller deepest closure or a finer mesh"
                ) from None
            continue
        rate = (found.displacement - state.displacement) / taken
        change = abs(found.line_load - state.line_load)
        grown = 1.6 if found.iterations <= EASY else 1.0
        if change > 0.0:
            grown = min(grown, max(0.3, pace.load / change))
        step = min(pace.largest, taken * grown if taken == step or grown < 1.0 else step)
        if opens and found.line_load < state.line_load:
            share = SHORT if found.line_load > LIGHT * start.line_load else BEYOND
            step = min(step, share * taken * max(found.line_load, 0.0) / change + SMALLEST)
        state = found
        yield state
        if opens and state.line_load <= nothing:
            return
