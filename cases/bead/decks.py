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
STICKING = 2e5  # MPa/mm: friction of 20 MPa gives way by 0.1 um before it slips


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

    def touched(self, height: float, places: FloatArray, moved: FloatArray, anchor: FloatArray) -> Touch:
        """Return what the deck does at `height` (mm) to nodes at `places` (k, 2); see `touch`."""
        return touch(self, height, places[:, 1], moved, anchor)


class Touch(NamedTuple):
    """What a deck does: pressure and friction on its nodes in MPa, and derivatives by (x, y) of node, N/mm2 times mm.

    force : (k, 2) that nodes feel, N/mm. by_x, by_y : derivative of the residual across by x and y. normal, lean : of
    the residual upwards by y and x.
    """

    pressure: FloatArray
    shear: FloatArray
    force: FloatArray
    normal: FloatArray
    by_x: FloatArray
    by_y: FloatArray
    lean: FloatArray


def in_series(coating: float | None) -> float:
    """Return the stiffness (MPa/mm) of a rigid deck behind a coating of given stiffness, None for bare metal."""
    return RIGID if coating is None else 1.0 / (1.0 / RIGID + 1.0 / coating)


def touch(deck: Deck, height: float, places: FloatArray, moved: FloatArray, anchor: FloatArray) -> Touch:
    """Return what a deck at `height` (mm) does to nodes.

    places : (k,) present y of the nodes. moved : (k,) their x displacement. anchor : (k,) displacement from which
    friction pulls.
    """
    pressure, slope = sprung(deck.side * (height - places), deck.stiffness)
    sticks = STICKING * (moved - anchor)
    limit = deck.friction * pressure
    slips = np.abs(sticks) > limit
    sign = np.sign(sticks)
    shear = np.where(slips, sign * limit, sticks)
    w = deck.weight
    force = np.column_stack([-shear * w, deck.side * pressure * w])
    by_x = np.where(slips, 0.0, STICKING) * w * (limit > 0.0)
    by_y = np.where(slips, -deck.side * sign * deck.friction * slope, 0.0) * w
    return Touch(pressure, shear, force, slope * w, by_x, by_y, np.zeros_like(w))


def sprung(overlap: FloatArray, stiffness: float) -> tuple[FloatArray, FloatArray]:
    """Return pressure (MPa) of overlaps (mm) and its slope (MPa/mm)."""
    soft = np.clip(overlap, 0.0, SOFT)
    straight = stiffness * (overlap - SOFT / 2.0)
    return np.where(overlap < SOFT, stiffness * soft**2 / (2.0 * SOFT), straight), stiffness * soft / SOFT


def anchored(moved: FloatArray, shear: FloatArray) -> FloatArray:
    """Return from where friction pulls next: where the node is less its elastic part."""
    return moved - shear / STICKING
