"""Conjugate gradients with a row's tangent, in what slow directions of earlier solves leave to iterate."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from headjoint.cases.condensed.newton_step import Tangent
from headjoint.cases.whole_head.slow_directions import SlowDirections, Trace
from headjoint.model.base.arrays import FloatArray

SLOW = 8  # iterations from which on it is worth to look what made them many


@dataclass(frozen=True)
class Iterated:
    """What an iteration gives: solution (N,), None where it takes too many steps; slow directions from then on."""

    solution: FloatArray | None = field(repr=False)
    steps: int
    slow: SlowDirections = field(repr=False)


def iterated(
    tangent: Tangent,
    load: FloatArray,
    accuracy: float,
    most: int,
    near: Callable[[FloatArray], FloatArray],
    slow: SlowDirections,
    single: bool = False,
) -> Iterated:
    """Return the solution for a load (N,) on the free unknowns to a relative `accuracy`, in at most so many steps.

    near : the solution with a symmetric matrix near the tangent. single : elastic products in single precision, for a
    rough step; no direction is kept of them, for what is kept has to be exact.
    """
    held = np.ones(len(load), dtype=bool)
    held[tangent.free] = False
    some_held = bool(held.any())
    if not some_held:
        slow = slow.under(tangent)
    known = None if some_held else slow.deflation()
    x, r = (np.zeros_like(load), load.copy()) if known is None else known.solved(load)
    wanted = accuracy * float(np.linalg.norm(load))
    direction, before, trace = np.zeros_like(load), 1.0, Trace([], [], [], [])
    while (off := float(np.linalg.norm(r))) >= wanted and len(trace.lengths) < most:
        z = near(r)
        if some_held:
            z[held] = 0.0
        now = float(r @ z)
        if not np.isfinite(now) or now <= 0.0:
            break
        z = z if known is None else known.outside(z)
        direction = z + (now / before if trace.lengths else 0.0) * direction
        product = product_with(tangent, direction, single)
        if some_held:
            product[held] = 0.0
        curvature = float(direction @ product)
        if curvature <= 0.0:
            break
        x = x + now / curvature * direction
        r = r - now / curvature * product
        trace.add(direction, product, now / curvature, now)
        before = now
    steps = len(trace.lengths)
    if steps >= SLOW and not some_held and not single:
        slow = slow.with_more(trace, tangent)
    return Iterated(x if off < wanted else None, steps, slow)


def product_with(tangent: Tangent, v: FloatArray, single: bool = False) -> FloatArray:
    """Return the product of a row's tangent with a vector (N,); `single` : what is elastic in single precision."""
    elastic: FloatArray = tangent.K.roughly(v) if single else tangent.K @ v  # type: ignore[attr-defined]
    return elastic + tangent.transposed @ (tangent.weighted_slope * (tangent.B @ v)) + tangent.spring * v
