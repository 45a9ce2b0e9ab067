"""What time, heat and a hammer do to a clamp that nobody turns: fits of the steps hold, heat and strike."""

from __future__ import annotations

import numpy as np

from headjoint.cases.rig.cleaning import Cleaned
from headjoint.cases.rig.fits import Raw, Values, key_of
from headjoint.cases.rig.least_squares import LEAST_ROWS, Linear, Points, least_squares
from headjoint.model.base.arrays import FloatArray

REFERENCE = 60.0  # s, t0 of log10(1 + t/t0)
DAY = 86400.0
WARM = 5.0  # K that a step must span for a temperature coefficient
STEADY = 3.0  # K beyond which a hold is no hold at one temperature
TIME_CONSTANTS = np.geomspace(5.0, 7200.0, 60)  # s, tried for the first settling
HOLD_ROWS = 12


def hold_fit(clean: Cleaned, use: int) -> tuple[Values, tuple[Linear, float, float] | None]:
    """Return settling and relaxation of a hold, and the fitted model with its time constant and start.

    F(t) = F0 (1 - a (1 - exp(-t/tau)) - b log10(1 + t/60 s)): what settles at once - faces, seals, torsion - and what
    goes on with the logarithm of time, as relaxation of steel and creep of faces do. a and b are shares of F0.
    """
    log = clean.log
    rows = np.flatnonzero(log.at("hold", use) & np.isfinite(clean.force))
    if "time" not in log.channels or len(rows) < HOLD_ROWS:
        return {}, None
    before = np.flatnonzero(log.at("tighten", use))
    start = float(log.channels["time"][before[-1] if len(before) else rows[0]])
    time, force = log.channels["time"][rows] - start, clean.force[rows]
    if not np.isfinite(time).all() or np.ptp(time) < REFERENCE:
        return {}, None

    def design(tau: float) -> FloatArray:
        return np.column_stack([np.ones_like(time), -(1.0 - np.exp(-time / tau)), -np.log10(1.0 + time / REFERENCE)])

    def misfit(tau: float) -> float:
        values = np.linalg.lstsq(design(tau), force, rcond=None)[0]
        return float(np.sum((force - design(tau) @ values) ** 2))

    from scipy.optimize import minimize_scalar

    best = int(np.argmin([misfit(tau) for tau in TIME_CONSTANTS]))
    low, high = TIME_CONSTANTS[max(best - 1, 0)], TIME_CONSTANTS[min(best + 1, len(TIME_CONSTANTS) - 1)]
    tau = float(np.exp(minimize_scalar(lambda x: misfit(np.exp(x)), bounds=(np.log(low), np.log(high))).x))
    values = np.linalg.lstsq(design(tau), force, rcond=None)[0]
    # the time constant is fitted, too: a fourth column carries its uncertainty into the other values
    slope = values[1] * time / tau * np.exp(-time / tau)
    whole = np.column_stack([design(tau), slope])
    found = least_squares(whole, force)
    # three columns where the quick part is too small to have a time constant of its own
    if values[1] < 3.0 * np.sqrt(np.mean((force - design(tau) @ values) ** 2)):
        found = least_squares(design(tau), force)
    linear = Linear(values, found.covariance[:3, :3])
    F0 = values[0]
    points = Points(
        "clamp over time, standing",
        np.log10(np.maximum(time, 1.0)),
        force,
        design(tau) @ values,
        "log10 of time in s",
        "force, kN",
        (1.0, 1e-3),
    )

    def share(row: FloatArray, method: str, with_points: Points | None = None) -> Raw:
        value = float(row @ values[1:] / F0)
        gradient = np.array([-value / F0, *(row / F0)])
        return Raw(value, float(gradient @ linear.covariance @ gradient), method, with_points)

    text = f"F0 (1 - a (1 - exp(-t/{tau:.0f} s)) - b log10(1 + t/60 s))"
    made = {
        "settled": share(np.array([1.0, 0.0]), f"a of {text}", points),
        "per_decade": share(np.array([0.0, 1.0]), f"b of {text}"),
        "lost_in_a_day": share(
            np.array([1.0 - np.exp(-DAY / tau), np.log10(1.0 + DAY / REFERENCE)]),
            "the same curve after 24 h"
            + ("" if time[-1] > 0.5 * DAY else f", from {time[-1] / 3600.0:.2g} h of readings"),
        ),
    }
    return {key_of(name, use): raw for name, raw in made.items()}, (linear, tau, start)


def heat_fit(clean: Cleaned, use: int) -> Values:
    """Return how the clamp follows temperature (N/K), what the heat cost, from a step that warms and cools.

    F = A + k (T - T0) + L after the peak; without cooling L cannot be told from k.
    """
    log = clean.log
    if "temperature" not in log.channels:
        return {}
    rows = np.flatnonzero(log.at("heat", use) & np.isfinite(clean.force) & np.isfinite(log.channels["temperature"]))
    if len(rows) < 2 * LEAST_ROWS or np.ptp(log.channels["temperature"][rows]) < WARM:
        return {}
    temperature, force = log.channels["temperature"][rows], clean.force[rows]
    peak = int(np.argmax(temperature))
    rise = temperature - temperature[:3].mean()
    columns = [np.ones_like(rise), rise]
    cooled = peak < len(rows) - LEAST_ROWS and rise[-3:].mean() < 0.5 * rise[peak]
    if cooled:
        columns.append((np.arange(len(rows)) > peak).astype(float))
    found = least_squares(np.column_stack(columns), force)
    fitted = np.column_stack(columns) @ found.values
    points = Points("clamp over temperature", temperature, force, fitted, "temperature, degC", "force, kN", (1.0, 1e-3))
    method = "clamp over temperature" + ("" if cooled else "; without cooling, what creeps on the way is in it")
    made = {"per_degree": Raw(float(found.values[1]), float(found.covariance[1, 1]), method, points)}
    if cooled:
        F0 = found.values[0]
        made["lost_by_heat"] = Raw(
            -float(found.values[2]) / F0,
            float(found.covariance[2, 2]) / F0**2,
            "step of clamp between warming and cooling",
        )
    return {key_of(name, use): raw for name, raw in made.items()}


def strike_fit(clean: Cleaned, use: int, held: tuple[Linear, float, float] | None) -> Values:
    """Return the share of clamp that blows cost: readings after them against the curve of the hold before."""
    log = clean.log
    rows = np.flatnonzero(log.at("strike", use) & np.isfinite(clean.force))
    if len(rows) < 3:
        return {}
    after = float(np.mean(clean.force[rows]))
    after_variance = float(np.var(clean.force[rows], ddof=1) / len(rows))
    if held is None:
        before_rows = np.flatnonzero((log.at("hold", use) | log.at("tighten", use)) & np.isfinite(clean.force))[-5:]
        before_rows = before_rows[before_rows < rows[0]]
        if len(before_rows) < 3:
            return {}
        before = float(np.mean(clean.force[before_rows]))
        variance = float(np.var(clean.force[before_rows], ddof=1) / len(before_rows))
        method = "mean after the blows against the last readings before"
    else:
        linear, tau, start = held
        time = float(np.mean(log.channels["time"][rows])) - start
        row = np.array([1.0, -(1.0 - np.exp(-time / tau)), -np.log10(1.0 + time / REFERENCE)])
        before, variance = float(row @ linear.values), float(row @ linear.covariance @ row)
        method = "mean after the blows against the curve of the hold before"
    value = (after - before) / before
    return {key_of("struck", use): Raw(value, (after_variance + variance) / before**2, method)}
