"""What is near a design that is to be solved: a like one at several tightenings, to start from or to take over."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

import numpy as np

from headjoint.cases.condensed.reduced_joint import Demand, ReducedJoint
from headjoint.model.base.arrays import FloatArray
from headjoint.model.formulas.tightened import Tightened

BEYOND = 0.5  # of the preloads' range, how far beyond it states are still told from those of other tightenings


def shares_of(wanted: Tightened, near: Sequence[Tightened]) -> FloatArray:
    """Return the share (k,) of every near tightening in one that is wanted, by the preload.

    The polynomial through all of them, or the nearest one where that lies beyond them.
    """
    forces, force = np.array([float(one.forces.mean()) for one in near]), float(wanted.forces.mean())
    share = np.zeros(len(near))
    share[int(np.abs(forces - force).argmin())] = 1.0
    room = BEYOND * float(np.ptp(forces))
    apart = np.abs(np.subtract.outer(forces, forces))[~np.eye(len(forces), dtype=bool)]
    if len(near) > 1 and apart.min() > 0.0 and forces.min() - room <= force <= forces.max() + room:
        for number, own in enumerate(forces):
            others = np.delete(forces, number)
            share[number] = np.prod((force - others) / (own - others))
    return share


def places_of(wanted: Tightened, near: Sequence[tuple[Tightened, Sequence[FloatArray]]]) -> list[FloatArray]:
    """Return the unknowns (n,) that states of a tightening are near, one after the other; none where nothing is near.

    near : tightenings, and the unknowns in every state of each.
    """
    if not near:
        return []
    share = shares_of(wanted, [one for one, _ in near])
    return [share @ np.stack(alike) for alike in zip(*(places for _, places in near), strict=True)]


def all_asked(reduced: ReducedJoint, demand: Demand, before: FloatArray) -> tuple[object, ...]:
    """Return all that the solution of one state of a stiffness follows from; before : (g,) permanent sets."""
    if demand.creep is not None or demand.series is not None:
        return (object(),)  # like no other: these are not compared
    arrays = (demand.load, demand.growth, demand.force, demand.overlap, before, reduced.series_compliance)
    digest = hashlib.blake2b(digest_size=16)
    for one in arrays:
        digest.update(b"none" if one is None else one.tobytes())
    for group in reduced.groups:
        digest.update(np.asarray(group.step, dtype=float).tobytes())
    laws = tuple((group.law, group.hotter) for group in reduced.groups)
    return digest.digest(), demand.gasket_temperature, demand.reference_force, laws
