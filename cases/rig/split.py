"""Thread and bearing friction told apart, and the pitch as a check: what turning back says beside turning on."""

from __future__ import annotations

import numpy as np

from headjoint.cases.rig.cleaning import Cleaned
from headjoint.cases.rig.fits import (
    LOWEST,
    SEATED,
    SLIDING,
    Assumptions,
    FittedValue,
    Values,
    force_repeats,
    greatest,
    key_of,
    of_use,
    over_force,
    repeats,
)
from headjoint.cases.rig.least_squares import ANGLE, FEW_ROWS, FORCE, TORQUE, Line, Points
from headjoint.cases.rig.rows import FEWEST, in_one_go, pieces, tightening
from headjoint.model.rig.rig import Rig, friction_of_arm, friction_of_reversal, thread_arm, torsion_compliance

WHOLE = "total torque less the thread's part"
TURNED_ON = 1.005  # of the last force under the wrench, beyond which it was turned on unread


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
        rows = tightening(log, use)
        chosen = rows & (clean.force > LOWEST * greatest(clean, rows))
        shank = over_force(clean, rig, chosen, "shank torque", by_load=True)
        if shank is not None:
            threads = FittedValue(shank.slope, float(shank.covariance[1, 1]), "torque measured in the shank")
            return _apart(rig, use, FittedValue(arm, variance, WHOLE), threads)
    if rig.stated.bearing is not None:
        mu_K = rig.stated.bearing.friction + assumed.bearing
        r = arm - half * mu_K
        mu_G, slope = friction_of_arm(thread, r), _per_arm(rig, r)
        method = "total torque less that of the thrust bearing as stated"
        return {
            key_of("thread_friction", use): FittedValue(mu_G, variance * slope**2, method),
            key_of("bearing_friction", use): FittedValue(mu_K, 0.0, "as the rig states it for the thrust bearing"),
        }
    turned_back = dead_angle(clean, rig, use)
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
    threads = FittedValue(r, mu_variance / _per_arm(rig, r) ** 2, method, points)
    return _apart(rig, use, FittedValue(arm, variance, WHOLE), threads)


def _per_arm(rig: Rig, arm: float) -> float:
    return (friction_of_arm(rig.thread, arm + 1e-4) - friction_of_arm(rig.thread, arm - 1e-4)) / 2e-4


def _apart(rig: Rig, use: int, whole: FittedValue, threads: FittedValue) -> Values:
    """Return both frictions of torque over force (mm), the whole and the threads' part of it."""
    half = rig.bearing_diameter / 2.0
    slope = _per_arm(rig, threads.value)
    return {
        key_of("thread_friction", use): FittedValue(
            friction_of_arm(rig.thread, threads.value), threads.variance * slope**2, threads.method, threads.points
        ),
        key_of("bearing_friction", use): FittedValue(
            (whole.value - threads.value) / half, (whole.variance + threads.variance) / half**2, WHOLE
        ),
    }


def dead_angle(clean: Cleaned, rig: Rig, use: int) -> tuple[float, float, float, float, Points] | None:
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
    tops = (
        pieces(log.at("tighten", use) & good)[-1][-20:] if (log.at("tighten", use) & good).any() else np.empty(0, int)
    )
    back = np.flatnonzero(log.at("loosen", use) & good)
    if not len(tops) or len(back) < FEWEST or back[0] < tops[-1]:
        return None
    loosened, force_variance = _stood(clean, rig, use)
    sliding_rows = np.zeros(log.rows, dtype=bool)
    slid = back[force[back] < SLIDING * loosened]
    seated = slid[force[slid] > SEATED * loosened]
    sliding_rows[seated if len(seated) >= FEWEST else slid] = True
    top_rows = np.zeros(log.rows, dtype=bool)
    top_rows[tops] = True
    tightened, sliding = over_force(clean, rig, top_rows, "angle"), over_force(clean, rig, sliding_rows, "angle")
    if sliding is None:
        return None
    scatter = float(repeats(clean, "angle")[tops[-1]])
    if tightened is not None and len(tops) >= FEW_ROWS:
        scatter = tightened.scatter
    start, start_variance = float(angle[tops[-1]]), scatter**2
    waited = angle[tops[-1] + 1 : back[0]]
    waited = waited[np.isfinite(waited)]
    if len(waited) >= FEWEST and abs(float(np.mean(waited)) - start) < 3.0 * scatter:
        start = float(np.mean(waited))
        start_variance = float(np.var(waited) / len(waited)) if len(waited) >= FEW_ROWS else scatter**2 / 2.0
    end = float(np.mean(force[tops[-3:]])) if len(tops) >= FEW_ROWS else float(force[tops[-1]])
    went_on = over_force(clean, rig, in_one_go(log, use), "angle")
    after = [row for row in range(tops[-1] + 1, min(tops[-1] + 4, log.rows)) if log.step[row] in ("hold", "loosen")]
    left = float(np.median(force[after])) if after else 0.0
    if went_on is not None and left > TURNED_ON * float(force[tops[-1]]):
        # the wrench went on after its last reading, by what the greater clamp says
        start += went_on.slope * (left - float(force[tops[-1]]))
        start_variance += 2.0 * went_on.slope**2 * force_repeats(clean, rig) ** 2
        end = left
    turned_free = start - sliding.at(loosened)
    variance = start_variance + sliding.variance_at(loosened) + sliding.slope**2 * force_variance
    points = Points(
        f"angle, sliding back{of_use(use)}",
        sliding.x,
        sliding.y,
        sliding.fitted,
        FORCE,
        ANGLE,
    )
    return turned_free, variance, end, loosened, points


def _stood(clean: Cleaned, rig: Rig, use: int) -> tuple[float, float]:
    """Return the force (N) at which the fastener stood before it was loosened, and its variance.

    Of many readings of loosening, those before clamp falls; of few, the last reading before.
    """
    log, force = clean.log, clean.force
    back = np.flatnonzero(log.at("loosen", use) & np.isfinite(force))
    first = float(np.median(force[back[:3]])) if len(back) >= FEW_ROWS else 0.0
    still = back[force[back] > (1.0 - 0.25 * (1.0 - SLIDING)) * first] if first else back[:0]
    if len(still):
        loosened = float(np.median(force[still]))
        return loosened, 1.6 * float(np.var(force[still])) / len(still)  # of a median, pi/2 that of a mean
    before = np.flatnonzero((log.use == use) & np.isfinite(force) & (np.arange(log.rows) < back[0]))
    loosened = max(float(force[before[-1]]), float(np.max(force[back])))
    return loosened, force_repeats(clean, rig) ** 2


def pitch_fit(clean: Cleaned, rig: Rig, use: int, tight: Line | None, friction: float) -> Values:
    """Return what the pitch would be by the torques of both directions: a check of torque against force.

    The bearing face drops out: T/F up less T/F down = d2/2 (tan(rho' + phi) - tan(rho' - phi)), close to P/pi.
    """
    log = clean.log
    rows = log.at("loosen", use)
    if tight is None or "torque" not in log.channels or not rows.any():
        return {}
    most = greatest(clean, rows)
    force, torque = clean.force, log.channels["torque"]
    chosen = rows & (force > LOWEST * most) & (force < SLIDING * most) & (torque > 0.0)
    loose = over_force(clean, rig, chosen, "torque", by_load=True)
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
