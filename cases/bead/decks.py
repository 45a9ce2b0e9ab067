"""Flat decks that a sheet touches: pressure by overlap, friction with memory, at the nodes of its faces.

Pressure is a stiff spring whose first hundredths of a micrometre are softer (quadratic up to `SOFT`, straight beyond),
so that a touch has no corner; a coating is a spring in series with it. Friction is Coulomb's, with an elastic part of
some tenths of a micrometre. Nodes carry the length of face that Simpson's rule gives them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from headjoint.model.base.arrays import FloatArray, IntArray

RIGID = 4e6  # MPa/mm: 200 MPa overlap by 0.05 um
SOFT = 2e-5  # mm of overlap over which the spring comes in
FADES, SLIPPING = 0.3, 10.0  # of the slope of a node that turned round, at every try; MPa/mm, below which it is none
STICKING = 2e5  # MPa/mm: friction of 20 MPa gives way by 0.1 um before it slips


class Rub(NamedTuple):
    """Friction of nodes (k,): shear and what it were if they stuck (MPa), its slopes by way (MPa/mm) and pressure."""

    shear: FloatArray
    stuck: FloatArray
    by_way: FloatArray
    by_pressure: FloatArray


class Tried(NamedTuple):
    """What Newton knows of contact before it looks again.

    bore : pressure (MPa) of nodes (k,) in the state before, at the first try alone; see `sprung`. rub : friction at the
    try before, none at the first.
    """

    bore: FloatArray | None = None
    rub: Rub | None = None


NOTHING_TRIED = Tried()


@dataclass(frozen=True)
class Deck:
    """A flat face across y. side : 1 where it lies below the sheet, -1 above. nodes, weight (mm) : of the sheet's face.

    stiffness : MPa/mm of deck and coating together. friction : coefficient.
    """

    side: int
    nodes: IntArray = field(repr=False)
    weight: FloatArray = field(repr=False)
    stiffness: float
    friction: float

    def touched(
        self, height: float, places: FloatArray, moved: FloatArray, anchor: FloatArray, tried: Tried = NOTHING_TRIED
    ) -> Touch:
        """Return what the deck does at `height` (mm) to nodes at `places` (k, 2); see `touch`."""
        return touch(self, height, places[:, 1], moved, anchor, tried)


class Touch(NamedTuple):
    """What a deck does: pressure (MPa) and friction on its nodes, and derivatives by (x, y) of node, N/mm2 times mm.

    force : (k, 2) that nodes feel, N/mm. by_x, by_y : derivative of the residual across by x and y. normal, lean : of
    the residual upwards by y and x.
    """

    pressure: FloatArray
    rub: Rub
    force: FloatArray
    normal: FloatArray
    by_x: FloatArray
    by_y: FloatArray
    lean: FloatArray


def in_series(coating: float | None) -> float:
    """Return the stiffness (MPa/mm) of a rigid deck behind a coating of given stiffness, None for bare metal."""
    return RIGID if coating is None else 1.0 / (1.0 / RIGID + 1.0 / coating)


def touch(
    deck: Deck, height: float, places: FloatArray, moved: FloatArray, anchor: FloatArray, tried: Tried = NOTHING_TRIED
) -> Touch:
    """Return what a deck at `height` (mm) does to nodes.

    places : (k,) present y of the nodes. moved : (k,) their x displacement. anchor : (k,) displacement from which
    friction pulls. tried : what is known of the try before.
    """
    pressure, slope = sprung(deck.side * (height - places), deck.stiffness, tried.bore)
    rub = rubbed(STICKING * (moved - anchor), deck.friction, pressure, tried)
    w = deck.weight
    force = np.column_stack([-rub.shear * w, deck.side * pressure * w])
    by_x = rub.by_way * w * (slope > 0.0)
    by_y = -deck.side * rub.by_pressure * slope * w
    return Touch(pressure, rub, force, slope * w, by_x, by_y, np.zeros_like(w))


def rubbed(stuck: FloatArray, friction: float, pressure: FloatArray, tried: Tried) -> Rub:
    """Return the friction of nodes under pressure (MPa) that it were `stuck` (MPa) of if they stuck.

    Where all that touches slides, slipping one way and the other would follow each other without end: a node that
    turned round has the slope between both tries, which fades as it goes on one way.
    """
    limit, sign = friction * pressure, np.sign(stuck)
    # at the first try, they slip where friction of what they bore is overcome
    known = pressure if tried.bore is None else np.where(tried.bore > 0.0, tried.bore, pressure)
    slips = np.abs(stuck) > friction * known
    shear = np.where(slips, sign * limit, stuck)
    slope = np.zeros_like(stuck)
    if tried.rub is not None:
        way = np.abs(stuck - tried.rub.stuck) / STICKING
        between = np.abs(shear - tried.rub.shear) / np.maximum(way, 1e-12)
        turned = sign * tried.rub.shear < 0.0
        slipped = np.abs(tried.rub.stuck) > np.abs(tried.rub.shear)
        slope = np.where(turned, np.minimum(between, STICKING), FADES * tried.rub.by_way * slipped)
        slope[slope < SLIPPING] = 0.0
    # without friction there is nothing to stick by, not even for a node exactly in its place
    sticking = STICKING if friction > 0.0 else 0.0
    return Rub(shear, stuck, np.where(slips, slope, sticking), np.where(slips, sign * friction, 0.0))


def sprung(overlap: FloatArray, stiffness: float, bore: FloatArray | None = None) -> tuple[FloatArray, FloatArray]:
    """Return pressure (MPa) of overlaps (mm) and its slope (MPa/mm).

    bore : pressures (MPa) of a state before; where it bore, the spring is straight along its slope there, on both sides
    of nothing. A guess is off by more than springs give, so of itself it would not know what touches.
    """
    soft = np.clip(overlap, 0.0, SOFT)
    straight = stiffness * (overlap - SOFT / 2.0)
    pressure = np.where(overlap < SOFT, stiffness * soft**2 / (2.0 * SOFT), straight)
    if bore is None:
        return pressure, stiffness * soft / SOFT
    was = np.where(bore < stiffness * SOFT / 2.0, np.sqrt(2.0 * SOFT * bore / stiffness), bore / stiffness + SOFT / 2.0)
    slope = stiffness * np.minimum(was, SOFT) / SOFT
    bears = bore > 0.0
    return np.where(bears, bore + slope * (overlap - was), pressure), np.where(bears, slope, stiffness * soft / SOFT)


def anchored(moved: FloatArray, rub: Rub) -> FloatArray:
    """Return from where friction pulls next: where the node is less its elastic part."""
    return moved - rub.shear / STICKING
