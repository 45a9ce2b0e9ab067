"""Yield and ultimate of a fastener from a pull, or from turning on past yield.

Yield by offset as ISO 6892-1 constructs R_p: a line parallel to the elastic one, at the offset's distance along the
extension axis, meets the curve (from memory, high confidence). The extensometer's length is the rig's offset length.
For whole fasteners ISO 898-1 takes an offset of 0.0048 d instead (from memory, medium confidence): state that as
`offset` times `offset_length`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from headjoint.cases.rig.cleaning import Cleaned
from headjoint.cases.rig.fits import YIELDED, FittedValue, Values, elastic_rows, greatest, turning_fit
from headjoint.cases.rig.least_squares import ANGLE, FORCE, LEAST_ROWS, STRETCH, Line, Points, line
from headjoint.model.base.arrays import FloatArray
from headjoint.model.library.tightening import plastic_torsion_modulus
from headjoint.model.rig.rig import Rig, thread_arm

USUAL_FRICTION = (0.12, 0.04)  # of a thread where none is known, and its standard deviation; common practice, no source
FALLEN = 0.98  # of the greatest force, below which the force has fallen for certain


def strength_fits(clean: Cleaned, rig: Rig, stretch: Line | None, friction: FittedValue | None) -> Values:
    """Return offset yield and ultimate; empty where the log does not go so far.

    friction : of the thread, for the torsion that lowers the axial force at yield while the nut is turned; None in a
    pull.
    """
    log = clean.log
    pulled = log.at("pull").sum() >= LEAST_ROWS
    use = 1
    rows = log.at("pull") if pulled else log.at("tighten", use)
    values: Values = {}
    if "stretch" in log.channels and stretch is not None and elastic_rows(clean, rig, rows)[1]:
        read = _Read(log.channels["stretch"], stretch, 1.0)
        values |= _offset_yield(clean, rig, rows, read, pulled, friction)
    elif not pulled and "angle" in log.channels and "stretch" not in log.channels:
        values |= _yield_by_angle(clean, rig, rows, use, friction)
    values |= _ultimate(clean, rig, rows)
    return values


def offset_crossing(force: FloatArray, reading: FloatArray, elastic: Line, offset: float) -> tuple[float, float] | None:
    """Return the force (N) at which the reading has left the elastic line by `offset`, and its variance.

    Round the crossing the force is linear in the logarithm of what is permanent, as a power law of hardening is.
    """
    good = np.isfinite(force) & np.isfinite(reading)
    top = int(np.argmax(np.where(good, force, -np.inf)))
    permanent = reading - elastic.intercept - elastic.slope * force
    near = good & (permanent > 0.4 * offset) & (permanent < 2.0 * offset) & (np.arange(len(force)) <= top)
    if not (good & (permanent > offset) & (np.arange(len(force)) <= top)).any():
        return None
    fitted = line(np.log(permanent[near] / offset), force[near])
    if fitted is None:
        return _between_two(force, permanent, good & (np.arange(len(force)) <= top), elastic, offset)
    at = fitted.at(0.0)
    # an error of the elastic line shifts what is permanent
    shift = elastic.variance_at(at) / offset**2 * fitted.slope**2
    return at, fitted.variance_at(0.0) + shift


def _between_two(
    force: FloatArray, permanent: FloatArray, good: NDArray[np.bool_], elastic: Line, offset: float
) -> tuple[float, float] | None:
    """Return the same where readings are few: between the last below the offset and the first above it.

    On its way the force is anywhere between linear and its first slope carried on; an even chance between the two.
    """
    rows = np.flatnonzero(good)
    over = int(np.argmax(permanent[rows] > offset))
    if over == 0:
        return None
    low, high = rows[over - 1], rows[over]
    share = (offset - permanent[low]) / (permanent[high] - permanent[low])
    straight = float(force[low] + share * (force[high] - force[low]))
    stiff = min(float(force[low]) + max(offset - permanent[low], 0.0) / elastic.slope, float(force[high]))
    at, apart = (straight + max(stiff, straight)) / 2.0, max(stiff - straight, 0.0)
    steep = (force[high] - force[low]) / max(float(permanent[high] - permanent[low]), 1e-12)
    return at, apart**2 / 12.0 + elastic.variance_at(at) * float(steep) ** 2


@dataclass(frozen=True)
class _Read:
    """A reading of length: in all rows, its elastic line over force, and what it reads of a mm."""

    reading: FloatArray
    elastic: Line
    per_length: float


def _offset_yield(
    clean: Cleaned, rig: Rig, rows: NDArray[np.bool_], read: _Read, pulled: bool, friction: FittedValue | None
) -> Values:
    reading, elastic = read.reading, read.elastic
    offset = rig.stated.offset * rig.offset_length * read.per_length
    crossing = offset_crossing(clean.force[rows], reading[rows], elastic, offset)
    if crossing is None:
        return {}
    force, variance = crossing
    shown = rows & np.isfinite(reading) & np.isfinite(clean.force)
    points = Points(
        "force over stretch" if read.per_length == 1.0 else "force over angle",
        reading[shown],
        clean.force[shown],
        (reading[shown] - elastic.intercept) / elastic.slope,
        STRETCH if read.per_length == 1.0 else ANGLE,
        FORCE,
    )
    length = rig.offset_length
    method = f"offset of {100 * rig.stated.offset:.3g} % of {length:.4g} mm, as ISO 6892-1 constructs R_p"
    area = rig.joint.fastener.smallest_area
    # sigma_red = sqrt(sigma^2 + 3 tau^2): turned, the fastener yields at a lower force than pulled
    more, by_friction = 1.0, 0.0
    if not pulled:
        mu, doubt = USUAL_FRICTION if friction is None else (friction.value, math.sqrt(friction.variance))
        more = _with_torsion(rig, mu)
        by_friction = (_with_torsion(rig, mu + doubt) - more) * force / area
    return {
        "yield_force": FittedValue(
            force, variance, method + ("" if pulled else "; while turned, torsion lowers it"), points
        ),
        "proof_stress": FittedValue(
            more * force / area,
            variance * (more / area) ** 2 + by_friction**2,
            "yield force over the smallest section" + ("" if pulled else ", torsion counted by von Mises"),
        ),
    }


def _with_torsion(rig: Rig, friction: float) -> float:
    """Return sqrt(1 + 3 (tau/sigma)^2) of the smallest section while the nut is turned."""
    area = rig.joint.fastener.smallest_area
    return math.sqrt(1.0 + 3.0 * (thread_arm(rig.thread, friction) * area / plastic_torsion_modulus(area)) ** 2)


def _yield_by_angle(
    clean: Cleaned, rig: Rig, rows: NDArray[np.bool_], use: int, friction: FittedValue | None
) -> Values:
    """Return the offset yield from angle where the stretch was not read: the offset is turned, not read."""
    elastic = _first_line(clean, rows)
    if elastic is None or turning_fit(clean, rig, use) is None:
        return {}
    most = greatest(clean, rows)
    angle = clean.log.channels["angle"]
    top = rows & (clean.force > 0.9 * most) & np.isfinite(angle)
    beyond = float(np.max(angle[top] - elastic.intercept - elastic.slope * clean.force[top], initial=0.0))
    if beyond < max(YIELDED * elastic.slope * most, 6.0 * elastic.scatter):
        return {}
    read = _Read(angle, elastic, 2.0 * math.pi / rig.thread.pitch)
    return _offset_yield(clean, rig, rows, read, False, friction)


def _first_line(clean: Cleaned, rows: NDArray[np.bool_]) -> Line | None:
    most = greatest(clean, rows)
    chosen = rows & (clean.force > 0.25 * most) & (clean.force < 0.55 * most)
    return line(clean.force[chosen], clean.log.channels["angle"][chosen])


def _ultimate(clean: Cleaned, rig: Rig, rows: NDArray[np.bool_]) -> Values:
    """Return the greatest force where the force has fallen after it, by a median of three against stray readings."""
    force = clean.force[rows & np.isfinite(clean.force)]
    if len(force) < 2 * LEAST_ROWS:
        return {}
    smooth = np.median(np.stack([force[:-2], force[1:-1], force[2:]]), axis=0)
    at = int(np.argmax(smooth))
    after = smooth[at:]
    if len(after) < 3 or after[-1] > FALLEN * smooth[at] or not clean.log.at("pull").any():
        return {}
    rough = float(np.std(np.diff(force[: max(at // 2, 8)], n=2)) / math.sqrt(6.0))
    area = rig.joint.fastener.smallest_area
    return {
        "ultimate_force": FittedValue(float(smooth[at]), rough**2, "greatest force, after which it falls"),
        "ultimate_strength": FittedValue(float(smooth[at]) / area, (rough / area) ** 2, "over the smallest section"),
    }
