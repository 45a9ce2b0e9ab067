"""Rows of a log that belong together: pieces of a step, turning that carries on from what was reached before."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from headjoint.model.base.arrays import FloatArray
from headjoint.model.rig.log import RigLog

BoolArray = NDArray[np.bool_]
FEWEST = 2  # readings that a line needs
FURTHER_ON = 1.01  # of the force reached before, from which turning on again makes torque as before
STRAY = 1.05  # of the third greatest force, beyond which the greatest of many readings is a stray one
MANY = 30


def pieces(mask: BoolArray) -> list[NDArray[np.int64]]:
    """Return the rows of a mask in pieces that hang together."""
    rows = np.flatnonzero(mask)
    return np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1) if len(rows) else []


def tightening(log: RigLog, use: int) -> BoolArray:
    """Return the rows (n,) in which a fastener is tightened further than before in that use.

    Where it is turned on after a wait, the nut first has to break loose: torque rises there and clamp does not.
    """
    chosen: BoolArray = log.at("tighten", use) & np.isfinite(log.channels["force"])
    force, reached = log.channels["force"], 0.0
    for number, piece in enumerate(pieces(chosen)):
        if number:
            chosen[piece[force[piece] < FURTHER_ON * reached]] = False
        reached = max(reached, float(np.max(force[piece])))
    return chosen


def in_one_go(log: RigLog, use: int) -> BoolArray:
    """Return the rows (n,) of the piece of a tightening in which the force rose most."""
    chosen = np.zeros(log.rows, dtype=bool)
    parts = pieces(tightening(log, use))
    if parts:
        chosen[max(parts, key=lambda piece: float(np.ptp(log.channels["force"][piece])))] = True
    return chosen


def greatest_of(force: FloatArray) -> float:
    """Return the greatest of some forces (N); of many, not one that stands alone."""
    known = np.sort(force[np.isfinite(force)])
    if not len(known):
        return 0.0
    stray = len(known) >= MANY and known[-1] > STRAY * known[-3]
    return float(known[-3] if stray else known[-1])


def uses_tightened(log: RigLog) -> list[int]:
    """Return the uses of which the log has a tightening."""
    return [use for use in log.uses if tightening(log, use).sum() >= FEWEST]
