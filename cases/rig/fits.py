"""What one cleaned rig log says: every fit, each value with the variance that its readings' scatter leaves.

Gauge errors are no part of this; `rig_evaluation` shifts readings by them and fits again. Symbols as in `model.rig`; F
force, T torque, theta angle, c compliances, r torque over force.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from headjoint.cases.rig.cleaning import Cleaned
from headjoint.cases.rig.least_squares import ANGLE, FORCE, LEAST_ROWS, STRETCH, TORQUE, Line, Points, line
from headjoint.model.rig.rig import (
    Rig,
    friction_of_arm,
    friction_of_reversal,
    mean_friction,
    thread_arm,
    torsion_compliance,
)

BoolArray = NDArray[np.bool_]

FURTHER = 1.1  # times the greatest force of the log, as far as a line is carried on to the load
LOWEST = 0.15  # of the greatest force: below it torque and zero errors rule
SEATED = 0.35  # of the greatest force from which angle is linear: faces have seated, air is compressed
SLIDING = 0.94  # of the force before loosening, below which the nut slides back for certain
ELASTIC = 0.5  # of the greatest force up to which a fastener is elastic that has yielded in this log
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


def uses_tightened(clean: Cleaned) -> list[int]:
    """Return the uses of which the log has a tightening."""
    return [use for use in clean.log.uses if clean.log.at("tighten", use).sum() >= LEAST_ROWS]


def key_of(name: str, use: int) -> str:
    """Return the key of a value of one use; the first has the plain name."""
    return name if use == 1 else f"{name}, use {use}"


def of_use(use: int) -> str:
    """Return what the title of a picture says of the use: nothing of the first."""
    return f", use {use}" if use > 1 else ""


def greatest(clean: Cleaned, rows: BoolArray) -> float:
    """Return the greatest force (N) of some rows, by the third largest against stray readings."""
    force = np.sort(clean.force[rows & np.isfinite(clean.force)])
    return float(force[-min(3, len(force))]) if len(force) else 0.0


def torque_fits(clean: Cleaned, rig: Rig, use: int, assumed: Assumptions) -> tuple[Values, Line | None]:
    """Return nut factor, mean friction and torque at load of one tightening, and its torque-force line."""
    log = clean.log
    rows = log.at("tighten", use)
    if "torque" not in log.channels:
        return {}, None
    torque = log.channels["torque"]
    force = clean.force
    most = greatest(clean, rows)
    chosen = rows & (force > LOWEST * most) & (torque > 0.0)
    fitted = line(force[chosen], torque[chosen], np.maximum(force[chosen], LOWEST * most))
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


def split_fits(clean: Cleaned, rig: Rig, use: int, assumed: Assumptions, tight: Line | None) -> Values:
    """Return thread and bearing friction apart, by the first way that the log allows.

    By torque in the shank; by a thrust bearing of known friction; by the angle that the nut turns back before its
    thread slips, which is the fastener's own twist.
    """
    if tight is None:
        return {}
    arm, variance = tight.slope, float(tight.covariance[1, 1])
    half = rig.bearing_diameter / 2.0
    log, thread = clean.log, rig.thread
    if "shank torque" in log.channels:
        rows = log.at("tighten", use)
        chosen = rows & (clean.force > LOWEST * greatest(clean, rows))
        shank = line(clean.force[chosen], log.channels["shank torque"][chosen], clean.force[chosen])
        if shank is not None:
            r, r_variance, method = shank.slope, float(shank.covariance[1, 1]), "torque measured in the shank"
            return _apart(rig, use, arm, variance, r, r_variance, method)
    if rig.stated.bearing is not None:
        mu_K = rig.stated.bearing.friction + assumed.bearing
        r = arm - half * mu_K
        mu_G, slope = friction_of_arm(thread, r), _per_arm(rig, r)
        method = "total torque less that of the thrust bearing as stated"
        return {
            key_of("thread_friction", use): FittedValue(mu_G, variance * slope**2, method),
            key_of("bearing_friction", use): FittedValue(mu_K, 0.0, "as the rig states it for the thrust bearing"),
        }
    turned_back = dead_angle(clean, use)
    if turned_back is None:
        return {}
    angle, angle_variance, tightened, loosened, points = turned_back
    if angle < 2.0 * np.sqrt(angle_variance):
        return {}
    compliance = torsion_compliance(rig) * assumed.torsion
    torque = angle / compliance
    mu_G = friction_of_reversal(thread, torque, tightened, loosened)
    step = max(1e-3 * torque, 1.0)
    per_torque = (friction_of_reversal(thread, torque + step, tightened, loosened) - mu_G) / step
    mu_variance = (per_torque / compliance) ** 2 * angle_variance
    r = thread_arm(thread, mu_G)
    method = "angle turned back before the thread slips, over the fastener's stiffness in torsion"
    return _apart(rig, use, arm, variance, r, mu_variance / _per_arm(rig, r) ** 2, method, points)


def _per_arm(rig: Rig, arm: float) -> float:
    return (friction_of_arm(rig.thread, arm + 1e-4) - friction_of_arm(rig.thread, arm - 1e-4)) / 2e-4


def _apart(
    rig: Rig,
    use: int,
    arm: float,
    variance: float,
    r: float,
    r_variance: float,
    method: str,
    points: Points | None = None,
) -> Values:
    half = rig.bearing_diameter / 2.0
    slope = _per_arm(rig, r)
    return {
        key_of("thread_friction", use): FittedValue(
            friction_of_arm(rig.thread, r), r_variance * slope**2, method, points
        ),
        key_of("bearing_friction", use): FittedValue(
            (arm - r) / half, (variance + r_variance) / half**2, "total torque less the thread's part"
        ),
    }


def dead_angle(clean: Cleaned, use: int) -> tuple[float, float, float, float, Points] | None:
    """Return the angle (rad) turned back before the thread slips, its variance, and the forces (N) before and after.

    It starts from where the nut was left: the last reading under the wrench, together with those while it stood where
    they agree (they do not where the wrench was let go and the nut sprang back). It ends where the line of angle over
    force of the nut sliding back meets the force at which it stood.
    """
    log = clean.log
    if "angle" not in log.channels:
        return None
    angle, force = log.channels["angle"], clean.force
    good = np.isfinite(angle) & np.isfinite(force)
    tops = np.flatnonzero(log.at("tighten", use) & good)[-20:]
    back = np.flatnonzero(log.at("loosen", use) & good)
    if len(tops) < LEAST_ROWS or len(back) < 2 * LEAST_ROWS or back[0] < tops[-1]:
        return None
    stood = float(np.median(force[back[:3]]))
    still = back[force[back] > (1.0 - 0.25 * (1.0 - SLIDING)) * stood]
    loosened = float(np.median(force[still]))
    sliding_rows = back[force[back] < SLIDING * loosened]
    tightened, sliding = line(force[tops], angle[tops]), line(force[sliding_rows], angle[sliding_rows])
    if tightened is None or sliding is None:
        return None
    start, start_variance = float(angle[tops[-1]]), tightened.scatter**2
    waited = angle[tops[-1] + 1 : back[0]]
    waited = waited[np.isfinite(waited)]
    if len(waited) >= LEAST_ROWS and abs(float(np.mean(waited)) - start) < 3.0 * tightened.scatter:
        start, start_variance = float(np.mean(waited)), float(np.var(waited) / len(waited))
    turned_free = start - sliding.at(loosened)
    force_variance = 1.6 * float(np.var(force[still])) / len(still)  # of a median, pi/2 that of a mean
    variance = start_variance + sliding.variance_at(loosened) + sliding.slope**2 * force_variance
    end = float(np.mean(force[tops[-3:]]))
    points = Points(
        f"angle, sliding back{of_use(use)}",
        sliding.x,
        sliding.y,
        sliding.fitted,
        FORCE,
        ANGLE,
    )
    return turned_free, variance, end, loosened, points


def pitch_fit(clean: Cleaned, rig: Rig, use: int, tight: Line | None, friction: float) -> Values:
    """Return what the pitch would be by the torques of both directions: a check of torque against force.

    The bearing face drops out: T/F up less T/F down = d2/2 (tan(rho' + phi) - tan(rho' - phi)), close to P/pi.
    """
    log = clean.log
    rows = log.at("loosen", use)
    if tight is None or "torque" not in log.channels or rows.sum() < LEAST_ROWS:
        return {}
    most = greatest(clean, rows)
    force, torque = clean.force, log.channels["torque"]
    chosen = rows & (force > LOWEST * most) & (force < SLIDING * most) & (torque > 0.0)
    loose = line(force[chosen], torque[chosen], np.maximum(force[chosen], LOWEST * most))
    if loose is None:
        return {}
    exact = thread_arm(rig.thread, friction) - thread_arm(rig.thread, friction, loosening=True)
    factor = rig.thread.pitch / exact
    points = Points(
        f"torque over force, loosening{of_use(use)}",
        loose.x,
        loose.y,
        loose.fitted,
        FORCE,
        TORQUE,
    )
    variance = factor**2 * float(tight.covariance[1, 1] + loose.covariance[1, 1])
    method = "torque over force up less down: friction of the bearing face drops out"
    return {key_of("pitch", use): FittedValue(factor * (tight.slope - loose.slope), variance, method, points)}


def elastic_rows(clean: Cleaned, rows: BoolArray) -> tuple[BoolArray, bool]:
    """Return the rows in which the fastener is elastic, and whether it yielded beyond them."""
    log, force = clean.log, clean.force
    stretch = log.channels["stretch"]
    most = greatest(clean, rows)
    first = rows & (force > LOWEST * most) & (force < ELASTIC * most)
    fitted = line(force[first], stretch[first])
    whole = rows & (force > LOWEST * most) & np.isfinite(stretch) & np.isfinite(force)
    if fitted is None:
        return whole, False
    top = whole & (force > 0.9 * most)
    beyond = float(np.max(stretch[top] - fitted.at(0.0) - fitted.slope * force[top], initial=0.0))
    yielded = beyond > max(YIELDED * fitted.slope * most, 6.0 * fitted.scatter)
    return (first, True) if yielded else (whole, False)


def stretch_fits(clean: Cleaned, rig: Rig, use: int, assumed: Assumptions) -> tuple[Values, Line | None]:
    """Return elastic slope, effective length, zero offset and stretch at load, from tightening or pulling."""
    log = clean.log
    rows = log.at("tighten", use) if log.at("tighten", use).sum() >= LEAST_ROWS else log.at("pull", use)
    if "stretch" not in log.channels or not np.isfinite(log.channels["stretch"][rows]).sum() >= LEAST_ROWS:
        return {}, None
    stretch, force = log.channels["stretch"], clean.force
    chosen, yielded = elastic_rows(clean, rows)
    fitted = line(force[chosen], stretch[chosen])
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
    local = line(force[near], stretch[near])
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


def turning_fit(clean: Cleaned, use: int) -> Line | None:
    """Return the line of angle over force of a tightening once faces have seated, None where it has no angle."""
    log = clean.log
    if "angle" not in log.channels:
        return None
    rows = log.at("tighten", use)
    most, least = greatest(clean, rows), SEATED
    upper = 1.01
    if "stretch" in log.channels and elastic_rows(clean, rows)[1]:
        upper, least = ELASTIC, LOWEST
    chosen = rows & (clean.force > least * most) & (clean.force < upper * most)
    return line(clean.force[chosen], log.channels["angle"][chosen])


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
    turned = turning_fit(clean, use)
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
