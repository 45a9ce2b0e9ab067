"""What friction under the nuts does to the studs of a cell: they stick to the head as it grows, or slide (Coulomb).

A nut that sticks goes with the head from where it was tightened. One that slides bears the shear of friction, and where
it comes to rest it sticks again: so every state follows from the one before. More friction holds a nut while the head
grows, less lets it slip and be bent the other way in the cold; both are followed, and the greater bending counts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from headjoint.cases.condensed.reduced_joint import Equilibrium
from headjoint.cases.condensed.stud_rows import BendingRows, against_shears
from headjoint.cases.load_cases.load_history import History
from headjoint.cases.models.condensed import BoreCell
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import SolveError
from headjoint.model.formulas.stud_bending import friction_range, stiffened

ROUNDS = 20_000  # of nuts that slide, each after the other
SETTLED = 1e-9  # of the largest friction, below which shears no longer change
STICKS, EITHER, SLIDES, TIED = "sticks", "sticks or slides", "slides", "tied"


@dataclass(frozen=True)
class StudBending:
    """Bending of every fastener (f,) in one state, MPa at the smallest section; shears N of whole fasteners.

    sliding : while nuts slide freely. sticking : where they have not moved on the head since assembly. shear : that
    this takes. friction : shear that the least and the greatest friction bear. nut : what holds, in words. stress :
    that holds, the greater of both frictions. amplitude : of what holds, between gas and none; None without gas.
    stiffening : share that tension adds to sticking. gradients : of what holds at either friction. swings : what gas
    makes of those, and of the forces (f,) N; none without gas.
    """

    sliding: FloatArray
    sticking: FloatArray
    shear: FloatArray
    friction: tuple[FloatArray, FloatArray]
    nut: tuple[str, ...]
    stress: FloatArray
    amplitude: FloatArray | None
    stiffening: FloatArray
    gradients: tuple[list[FloatArray], ...] = field(repr=False)
    swings: tuple[tuple[FloatArray, list[FloatArray]], ...] = field(default=(), repr=False)


def stud_bending(
    rows: BendingRows,
    history: History[BoreCell],
    without: Sequence[Equilibrium | None],
    seen: Sequence[BoreCell] | None = None,
) -> tuple[StudBending, ...]:
    """Return the bending of every state of a history.

    without : the equilibrium of every state without its gas, None where it has none or nobody asked. seen : the model
    under whose loads each state stands, where that is not the history's own: a row whose bores fire one by one.
    """
    models = [history.model] * len(history.states) if seen is None else seen
    factors = [model.factors(state.case) for model, state in zip(models, history.states, strict=True)]
    calm = [model.factors(state.case, 0.0) for model, state in zip(models, history.states, strict=True)]
    free = [rows.slip.at(state.equilibrium.q, at) for state, at in zip(history.states, factors, strict=True)]
    under = [_Under(*one) for one in zip(free, without, factors, calm, strict=True)]
    nothing, frictions = np.zeros(len(rows.of)), friction_range(history.joint)
    followed = [_followed(rows, history, under, friction) for friction in frictions]
    found = []
    for index, state in enumerate(history.states):
        sliding = rows.gradients(state.equilibrium.q, factors[index])
        factor = _stiffening(rows, history, state.force)
        stuck = _stuck(_flexibility(rows, factor), free[index] - free[0], rows.loose)
        needed = _of_fasteners(rows, history, stuck)
        bears = tuple(friction * np.maximum(state.force, 0.0) for friction in frictions)
        own = [one[index] for one in followed]
        swings = tuple(one.swing for one in own if one.swing is not None)
        found.append(
            StudBending(
                sliding=rows.stress(_bent(rows, sliding, nothing)),
                sticking=rows.stress(_bent(rows, sliding, stuck)),
                shear=needed,
                friction=(bears[0], bears[1]),
                nut=_words(rows, needed, bears),
                stress=np.max([rows.stress(one.gradients) for one in own], axis=0),
                # bending is read off the difference of stresses, not the difference of bending
                amplitude=np.max([rows.stress(bent) / 2.0 for _, bent in swings], axis=0) if swings else None,
                stiffening=factor - 1.0,
                gradients=tuple(one.gradients for one in own),
                swings=swings,
            )
        )
    return tuple(found)


def range_of_states(rows: BendingRows, states: Sequence[StudBending]) -> FloatArray:
    """Return the amplitude (f,) MPa of bending between any two states, of whichever friction makes more of it."""
    largest = np.zeros(len(rows.bending))
    for index, one in enumerate(states):
        for other in states[index + 1 :]:
            for first, second in zip(one.gradients, other.gradients, strict=True):
                apart = [a - b for a, b in zip(first, second, strict=True)]
                largest = np.maximum(largest, rows.stress(apart) / 2.0)
    return largest


@dataclass(frozen=True)
class _Under:
    """What a state is under.

    free : slip (r,) mm of nuts that nothing holds. without : its equilibrium without gas, where that is known.
    factors, calm : of unit loads, and of those without gas.
    """

    free: FloatArray
    without: Equilibrium | None
    factors: Mapping[str, float]
    calm: Mapping[str, float]


@dataclass(frozen=True)
class _Followed:
    gradients: list[FloatArray]
    swing: tuple[FloatArray, list[FloatArray]] | None


def _followed(
    rows: BendingRows, history: History[BoreCell], under: Sequence[_Under], friction: float
) -> list[_Followed]:
    """Return the bending that holds state by state, each nut going on from where the state before left it."""
    rest, found = under[0].free, []
    for state, at in zip(history.states, under, strict=True):
        shear, rest = _held(rows, history, state.force, friction, at.free, rest)
        bent = _bent(rows, rows.gradients(state.equilibrium.q, at.factors), shear)
        swing = None
        other = at.without
        if other is not None:
            shear, _ = _held(rows, history, other.force, friction, rows.slip.at(other.q, at.calm), rest)
            quiet = _bent(rows, rows.gradients(other.q, at.calm), shear)
            swing = state.force - other.force, [one - two for one, two in zip(bent, quiet, strict=True)]
        found.append(_Followed(bent, swing))
    return found


def _held(
    rows: BendingRows,
    history: History[BoreCell],
    force: FloatArray,
    friction: float,
    free: FloatArray,
    rest: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Return the shears (r,) that friction makes of free slips, nuts coming from `rest`, and where they are then."""
    flexibility = _flexibility(rows, _stiffening(rows, history, force))
    bears = friction * np.maximum(force, 0.0) * history.reduced.share
    shear, slipped = coulomb_shear(flexibility, free - rest, rows.of, bears, rows.loose)
    return shear, rest + slipped


def coulomb_shear(
    flexibility: FloatArray, free: FloatArray, of: IntArray, bears: FloatArray, loose: FloatArray | None = None
) -> tuple[FloatArray, FloatArray]:
    """Return the shears (r,) N at faces that would slip by `free` (r,) mm, and how far they do slip then (r,) mm.

    They stick, or bear as much as each nut can. flexibility : (r, r) mm/N, positive definite. of : (r,) number of the
    nut of each row. bears : N of every nut. loose : (r, k) how slips change as the head moves where nothing but the
    shears holds it, which are in balance then. Slips d have the least of (d - free).K.(d - free)/2 + sum of
    bears |d|, K the stiffness against shears: found nut after nut, each time no higher.
    """
    stiffness = against_shears(flexibility, loose)
    shear = -stiffness @ free
    nuts = [np.flatnonzero(of == number) for number in sorted(set(of.tolist()))]  # of so few, sooner than by `unique`
    if all(np.linalg.norm(shear[own]) <= bears[of[own[0]]] for own in nuts):
        return shear, np.zeros(len(free))
    slip = np.zeros(len(free))
    steps = [float(np.linalg.eigvalsh(stiffness[np.ix_(own, own)]).max()) for own in nuts]
    for _ in range(ROUNDS):
        change = 0.0
        for own, step in zip(nuts, steps, strict=True):
            # what the nut would bear if it had not moved, the others where they are
            pull = step * slip[own] - stiffness[own] @ (slip - free)
            size = float(np.linalg.norm(pull))
            moved = pull * (max(0.0, 1.0 - bears[of[own[0]]] / max(size, 1e-300)) / step)
            change = max(change, step * float(np.abs(moved - slip[own]).max()))
            slip[own] = moved
        if change <= SETTLED * max(float(bears.max()), 1e-9):
            return stiffness @ (slip - free), slip
    raise SolveError(f"the friction under the nuts was not found in {ROUNDS} rounds")


def _stuck(flexibility: FloatArray, free: FloatArray, loose: FloatArray | None = None) -> FloatArray:
    """Return the shears (r,) N of nuts that stick."""
    found: FloatArray = -against_shears(flexibility, loose) @ free
    return found


def _flexibility(rows: BendingRows, stiffening: FloatArray) -> FloatArray:
    """Return the flexibility of studs that tension stiffens by so much each (f,)."""
    own = 1.0 / np.sqrt(stiffening[rows.of])
    return own[:, None] * rows.flexibility * own


def _stiffening(rows: BendingRows, history: History[BoreCell], force: FloatArray) -> FloatArray:
    return np.array([stiffened(history.joint, *one) for one in zip(force.tolist(), rows.longer.tolist(), strict=True)])


def _bent(rows: BendingRows, sliding: list[FloatArray], shear: FloatArray) -> list[FloatArray]:
    """Return the gradients of every fastener with shears on all nuts."""
    return [one + by @ shear for one, by in zip(sliding, rows.by_shear, strict=True)]


def _of_fasteners(rows: BendingRows, history: History[BoreCell], shear: FloatArray) -> FloatArray:
    """Return the size (f,) N of shears of whole fasteners."""
    squares = np.bincount(rows.of, weights=shear**2, minlength=len(rows.bending))
    sizes: FloatArray = np.sqrt(squares) / history.reduced.share
    return sizes


def _words(rows: BendingRows, needed: FloatArray, bears: Sequence[FloatArray]) -> tuple[str, ...]:
    if not len(rows.of):
        return tuple(TIED for _ in needed)
    low, high = bears
    return tuple(
        STICKS if shear <= least else EITHER if shear <= most else SLIDES
        for shear, least, most in zip(needed, low, high, strict=True)
    )
