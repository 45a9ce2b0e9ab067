"""What one cleaned rig log says: every fit, each value with the variance that its readings' scatter leaves.

Gauge errors are no part of this; `rig_evaluation` shifts readings by them and fits again. Symbols as in `model.rig`; F
force, T torque, theta angle, c compliances, r torque over force.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from headjoint.cases.rig.cleaning import Cleaned
from headjoint.cases.rig.gauge_slips import REPEATS
from headjoint.cases.rig.least_squares import ANGLE, FORCE, STRETCH, TORQUE, Line, Points, line
from headjoint.cases.rig.rows import FEWEST, greatest_of, in_one_go, tightening
from headjoint.model.base.arrays import FloatArray
from headjoint.model.rig.rig import Rig, mean_friction, thread_arm, torsion_compliance

BoolArray = NDArray[np.bool_]

FURTHER = 1.1  # times the greatest force of the log, as far as a line is carried on to the load
LOWEST = 0.15  # of the greatest force: below it torque and zero errors rule
SEATED = 0.35  # of the greatest force from which angle is linear: faces have seated, air is compressed
SLIDING = 0.94  # of the force before loosening, below which the nut slides back for certain
ELASTIC = 0.5  # of the greatest force up to which a fastener is elastic that has yielded in this log
OF_RANGE = 5e-4  # of the range of a gauge of force, with which it repeats (common practice, no source)
EVEN = math.sqrt(3.0)  # an even chance within a limit a has a standard deviation of a/sqrt(3)
SPLIT_DOUBT = 0.3  # share by which the thread's torque may be off where friction is not known apart, one sd
YIELDED = 0.04  # of the stretch, by which the end must leave the first line to count as yielded


@dataclass(frozen=True)
class FittedValue:
    """A value, the variance of its scatter, and the points it came from; method says how, one sentence."""

    value: float
    variance: float
    method: str
    points: Points | None = field(default=None, repr=False)


@dataclass(frozen=True)
class Assumptions:
    """What the fits take for granted besides readings: factors 1 and shifts 0 unless an uncertainty is tried out.

    load : force (N) that stretch and torque are reported at. split : share by which the thread's part of the friction
    torque is off where it is not known.
    """

    load: float
    modulus: float = 1.0
    torsion: float = 1.0
    bearing: float = 0.0
    split: float = 0.0


Values = dict[str, FittedValue]


def key_of(name: str, use: int) -> str:
    """Return the key of a value of one use; the first has the plain name."""
    return name if use == 1 else f"{name}, use {use}"


def of_use(use: int) -> str:
    """Return what the title of a picture says of the use: nothing of the first."""
    return f", use {use}" if use > 1 else ""


def greatest(clean: Cleaned, rows: BoolArray) -> float:
    """Return the greatest force (N) of some rows; of many, not one that stands alone."""
    return greatest_of(clean.force[rows])


def thread_friction(values: Values, use: int = 1) -> FittedValue | None:
    """Return the thread's friction, told apart, or in doubt by `SPLIT_DOUBT` where one friction stands for two."""
    apart, alike = values.get(key_of("thread_friction", use)), values.get(key_of("mean_friction", use))
    if apart is not None or alike is None:
        return apart
    return replace(alike, variance=alike.variance + (SPLIT_DOUBT * alike.value) ** 2)


def repeats(clean: Cleaned, name: str) -> FloatArray:
    """Return the standard deviation (n,) with which a channel's readings repeat: scale, hand, and the force's own."""
    values = clean.log.channels[name]
    own = (
        REPEATS["torque"] * np.abs(values) if name.endswith("torque") else np.full(len(values), REPEATS.get(name, 0.0))
    )
    return np.hypot(clean.log.resolution.get(name, 0.0) / math.sqrt(12.0), own)


def force_repeats(clean: Cleaned, rig: Rig) -> float:
    """Return the standard deviation (N) with which a force repeats."""
    gauges, log = rig.stated.gauges, clean.log
    if "pressure" in log.channels:
        assert gauges.pressure is not None
        scale = log.resolution.get("pressure", 0.0) / math.sqrt(12.0)
        return rig.stated.ram.area * math.hypot(scale, OF_RANGE * gauges.pressure.range)
    assert gauges.force is not None
    return math.hypot(log.resolution.get("force", 0.0) / math.sqrt(12.0), OF_RANGE * gauges.force.range)


def over_force(clean: Cleaned, rig: Rig, chosen: BoolArray, name: str, *, by_load: bool = False) -> Line | None:
    """Return the line of a channel over force in some rows, None where they are fewer than two.

    by_load : whether scatter grows with the load, as that of a torque does.
    """
    force, values = clean.force, clean.log.channels[name]
    good = chosen & np.isfinite(force) & np.isfinite(values)
    if good.sum() < FEWEST or np.ptp(force[good]) < 0.05 * np.max(np.abs(force[good])):
        return None
    slope = np.ptp(values[good]) / np.ptp(force[good])
    noise = np.hypot(repeats(clean, name), slope * force_repeats(clean, rig))
    least = LOWEST * greatest(clean, good)
    return line(force[good], values[good], np.maximum(force[good], least) if by_load else None, noise[good])


def torque_fits(clean: Cleaned, rig: Rig, use: int, assumed: Assumptions) -> tuple[Values, Line | None]:
    """Return nut factor, mean friction and torque at load of one tightening, and its torque-force line."""
    log = clean.log
    rows = tightening(log, use)
    if "torque" not in log.channels:
        return {}, None
    most = greatest(clean, rows)
    chosen = rows & (clean.force > LOWEST * most) & (log.channels["torque"] > 0.0)
    fitted = over_force(clean, rig, chosen, "torque", by_load=True)
    if fitted is None:
        return {}, None
    d, diameter = rig.thread.nominal_diameter, rig.bearing_diameter
    arm, variance = fitted.slope, float(fitted.covariance[1, 1])
    points = Points(
        f"torque over force, tightening{of_use(use)}",
        fitted.x,
        fitted.y,
        fitted.fitted,
        FORCE,
        TORQUE,
    )
    made = {
        "nut_factor": FittedValue(
            arm / d, variance / d**2, "slope of torque over force, over the thread diameter", points
        )
    }
    slope = 1.0 / _derivative(lambda mu: thread_arm(rig.thread, mu) + diameter / 2.0 * mu)
    made["mean_friction"] = FittedValue(
        mean_friction(rig.thread, diameter, arm), variance * slope**2, "one friction for thread and bearing face"
    )
    if assumed.load <= FURTHER * most:
        made["torque_at_load"] = FittedValue(
            fitted.at(assumed.load), fitted.variance_at(assumed.load), "torque-force line at the load"
        )
    return {key_of(name, use): value for name, value in made.items()}, fitted


def _derivative(function: Callable[[float], float], at: float = 0.12, step: float = 1e-4) -> float:
    return (function(at + step) - function(at - step)) / (2.0 * step)


def elastic_rows(clean: Cleaned, rig: Rig, rows: BoolArray) -> tuple[BoolArray, bool]:
    """Return the rows in which the fastener is elastic, and whether it yielded beyond them."""
    log, force = clean.log, clean.force
    stretch = log.channels["stretch"]
    most = greatest(clean, rows)
    first = rows & (force > LOWEST * most) & (force < ELASTIC * most)
    if first.sum() < FEWEST:
        first = rows & (force < 1.2 * ELASTIC * most) & np.isfinite(stretch)
    fitted = over_force(clean, rig, first, "stretch")
    whole = rows & (force > LOWEST * most) & np.isfinite(stretch) & np.isfinite(force)
    if fitted is None:
        return whole, False
    top = whole & (force > 0.9 * most)
    beyond = float(np.max(stretch[top] - fitted.at(0.0) - fitted.slope * force[top], initial=0.0))
    yielded = beyond > max(
        YIELDED * fitted.slope * most, 6.0 * fitted.scatter, 4.0 * math.sqrt(fitted.variance_at(most))
    )
    return (first, True) if yielded else (whole, False)


def stretch_fits(clean: Cleaned, rig: Rig, use: int, assumed: Assumptions) -> tuple[Values, Line | None]:
    """Return elastic slope, effective length, zero offset and stretch at load, from tightening or pulling."""
    log, force = clean.log, clean.force
    if "stretch" not in log.channels:
        return {}, None
    rows = stretched_rows(clean, use)
    chosen, yielded = elastic_rows(clean, rig, rows)
    fitted = over_force(clean, rig, chosen, "stretch")
    if fitted is None:
        return {}, None
    c, variance = fitted.slope, float(fitted.covariance[1, 1])
    stiffness = rig.modulus * assumed.modulus * rig.shank.area
    points = Points(
        f"stretch over force{of_use(use)}",
        fitted.x,
        fitted.y,
        fitted.fitted,
        FORCE,
        STRETCH,
    )
    made = {
        "stretch_compliance": FittedValue(c, variance, "slope of stretch over force below yield", points),
        "effective_length": FittedValue(c * stiffness, variance * stiffness**2, "elastic slope times E A of the shank"),
        "stretch_zero": FittedValue(
            fitted.intercept, float(fitted.covariance[0, 0]), "reading where the elastic line meets no force"
        ),
    }
    near = rows & (np.abs(force / assumed.load - 1.0) < 0.12)
    local = over_force(clean, rig, near, "stretch")
    if not yielded and assumed.load <= FURTHER * greatest(clean, rows):
        made["stretch_at_load"] = FittedValue(
            c * assumed.load, variance * assumed.load**2, "elastic line at the load, zero taken off"
        )
    elif local is not None:
        variance = local.variance_at(assumed.load) + float(fitted.covariance[0, 0])
        made["stretch_at_load"] = FittedValue(
            local.at(assumed.load) - fitted.intercept, variance, "readings round the load, zero taken off"
        )
    return {key_of(name, use): value for name, value in made.items()}, fitted


def stretched_rows(clean: Cleaned, use: int) -> BoolArray:
    """Return the rows in which a use stretches its fastener: a tightening, else a pull."""
    log = clean.log
    known = np.isfinite(log.channels["stretch"]) & np.isfinite(clean.force)
    turned = tightening(log, use) & known
    return turned if turned.sum() >= FEWEST else log.at("pull", use) & known


def turning_fit(clean: Cleaned, rig: Rig, use: int) -> Line | None:
    """Return the line of angle over force of a tightening once faces have seated, None where it has no angle."""
    log = clean.log
    if "angle" not in log.channels:
        return None
    rows = in_one_go(log, use)
    most, least = greatest(clean, rows), SEATED
    upper = 1.01
    if "stretch" in log.channels and elastic_rows(clean, rig, stretched_rows(clean, use))[1]:
        upper, least = ELASTIC, LOWEST
    chosen = rows & (clean.force > least * most) & (clean.force < upper * most)
    for at in clean.joined:
        # what was turned in the row of a reset is not known: one side of it alone tells the slope
        sides = [chosen & (np.arange(log.rows) < at), chosen & (np.arange(log.rows) >= at)]
        better = max(sides, key=lambda side: float(np.ptp(clean.force[side])) if side.sum() >= FEWEST else 0.0)
        chosen = better if better.sum() >= FEWEST else chosen
    if chosen.sum() < FEWEST:
        chosen = rows & (clean.force > LOWEST * most) & (clean.force < upper * most)
    return over_force(clean, rig, chosen, "angle")


def setup_fit(
    clean: Cleaned,
    rig: Rig,
    use: int,
    assumed: Assumptions,
    stretch: Line | None,
    friction: FittedValue | None,
    *,
    apart: bool,
) -> Values:
    """Return what ram, stack, washer and threads give per force: turning less stretch less the fastener's twist."""
    turned = turning_fit(clean, rig, use)
    if turned is None or stretch is None or friction is None:
        return {}
    lead = rig.thread.pitch / (2.0 * np.pi)
    torsion = torsion_compliance(rig) * assumed.torsion
    wound = torsion * thread_arm(rig.thread, friction.value) * (1.0 if apart else 1.0 + assumed.split)
    per_friction = torsion * _derivative(lambda mu: thread_arm(rig.thread, mu))
    variance = lead**2 * (float(turned.covariance[1, 1]) + per_friction**2 * friction.variance)
    points = Points(
        f"angle over force, tightening{of_use(use)}",
        turned.x,
        turned.y,
        turned.fitted,
        FORCE,
        ANGLE,
    )
    return {
        key_of("setup_compliance", use): FittedValue(
            lead * (turned.slope - wound) - stretch.slope,
            variance + float(stretch.covariance[1, 1]),
            "travel of the nut per force, less stretch, less the twist of the fastener",
            points,
        )
    }
