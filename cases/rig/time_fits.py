"""What time, heat and a hammer do to a clamp that nobody turns: fits of the steps hold, heat and strike."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from headjoint.cases.rig.cleaning import Cleaned
from headjoint.cases.rig.fits import FittedValue, Values, key_of
from headjoint.cases.rig.least_squares import FORCE, LEAST_ROWS, TEMPERATURE, Linear, Points, least_squares
from headjoint.model.base.arrays import FloatArray

REFERENCE = 60.0  # s, t0 of log10(1 + t/t0)
DAY = 86400.0
WARM = 5.0  # K that a step must span for a temperature coefficient
STEADY = 3.0  # K beyond which a hold is no hold at one temperature
TIME_CONSTANTS = np.geomspace(5.0, 7200.0, 60)  # s, tried for the first settling
HOLD_ROWS = 12


@dataclass(frozen=True)
class HoldCurve:
    """F(t) = F0 (1 - a (1 - exp(-t/tau)) - b log10(1 + t/60 s)), t from `start`.

    linear : F0, F0 a, F0 b in N with their covariance. tau, start : s, start on the log's own clock.
    """

    linear: Linear
    tau: float
    start: float

    def terms(self, time: float) -> FloatArray:
        """Return what the three values are multiplied by at a time (s) of the log."""
        return np.array(_terms(time - self.start, self.tau))


def _terms(time: FloatArray | float, tau: float) -> tuple[FloatArray, ...]:
    """Return what F0, F0 a and F0 b are multiplied by at times (s) since the start."""
    return np.ones_like(time), -(1.0 - np.exp(-time / tau)), -np.log10(1.0 + time / REFERENCE)


def hold_fit(clean: Cleaned, use: int) -> tuple[Values, HoldCurve | None]:
    """Return settling and relaxation of a hold, and the fitted curve.

    The quick part a is what settles at once - faces, seals, torsion; b is what goes on with the logarithm of time, as
    relaxation of steel and creep of faces do. Both are shares of F0.
    """
    readings = _standing(clean, use)
    if readings is None:
        return {}, None
    start, time, force = readings
    tau = _time_constant(time, force)
    linear = _with_uncertain_tau(time, force, tau)
    values = linear.values
    F0 = values[0]
    points = Points(
        "clamp over time, standing",
        np.log10(np.maximum(time, 1.0)),
        force,
        np.column_stack(_terms(time, tau)) @ values,
        ("log10 of time in s", ""),
        FORCE,
    )

    def share(row: FloatArray, method: str, with_points: Points | None = None) -> FittedValue:
        value = float(row @ values[1:] / F0)
        gradient = np.array([-value / F0, *(row / F0)])
        return FittedValue(value, float(gradient @ linear.covariance @ gradient), method, with_points)

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
    return {key_of(name, use): value for name, value in made.items()}, HoldCurve(linear, tau, start)


def _standing(clean: Cleaned, use: int) -> tuple[float, FloatArray, FloatArray] | None:
    """Return the start (s), times (s) since then and forces (N) of a hold long enough to fit, else None."""
    log = clean.log
    rows = np.flatnonzero(log.at("hold", use) & np.isfinite(clean.force))
    if "time" not in log.channels or len(rows) < HOLD_ROWS:
        return None
    before = np.flatnonzero(log.at("tighten", use))
    start = float(log.channels["time"][before[-1] if len(before) else rows[0]])
    time = log.channels["time"][rows] - start
    if not np.isfinite(time).all() or np.ptp(time) < REFERENCE:
        return None
    return start, time, clean.force[rows]


def _time_constant(time: FloatArray, force: FloatArray) -> float:
    """Return the time constant (s) of the curve that fits best, the other three values fitted to each one tried."""

    def misfit(tau: float) -> float:
        columns = np.column_stack(_terms(time, tau))
        values = np.linalg.lstsq(columns, force, rcond=None)[0]
        return float(np.sum((force - columns @ values) ** 2))

    from scipy.optimize import minimize_scalar

    best = int(np.argmin([misfit(tau) for tau in TIME_CONSTANTS]))
    low, high = TIME_CONSTANTS[max(best - 1, 0)], TIME_CONSTANTS[min(best + 1, len(TIME_CONSTANTS) - 1)]
    return float(np.exp(minimize_scalar(lambda x: misfit(np.exp(x)), bounds=(np.log(low), np.log(high))).x))


def _with_uncertain_tau(time: FloatArray, force: FloatArray, tau: float) -> Linear:
    """Return F0, F0 a, F0 b at a fitted time constant, its uncertainty in their covariance."""
    columns = np.column_stack(_terms(time, tau))
    values: FloatArray = np.asarray(np.linalg.lstsq(columns, force, rcond=None)[0], dtype=np.float64)
    if values[1] < 3.0 * np.sqrt(np.mean((force - columns @ values) ** 2)):
        # the quick part is too small to have a time constant of its own
        covariance = least_squares(columns, force).covariance
    else:
        # the time constant is fitted, too: a fourth column carries its uncertainty into the other values
        slope = values[1] * time / tau * np.exp(-time / tau)
        covariance = least_squares(np.column_stack([columns, slope]), force).covariance
    return Linear(values, covariance[:3, :3])


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
    fit = least_squares(np.column_stack(columns), force)
    fitted = np.column_stack(columns) @ fit.values
    points = Points("clamp over temperature", temperature, force, fitted, TEMPERATURE, FORCE)
    method = "clamp over temperature" + ("" if cooled else "; without cooling, what creeps on the way is in it")
    made = {"per_degree": FittedValue(float(fit.values[1]), float(fit.covariance[1, 1]), method, points)}
    if cooled:
        F0 = fit.values[0]
        made["lost_by_heat"] = FittedValue(
            -float(fit.values[2]) / F0,
            float(fit.covariance[2, 2]) / F0**2,
            "step of clamp between warming and cooling",
        )
    return {key_of(name, use): value for name, value in made.items()}


def strike_fit(clean: Cleaned, use: int, held: HoldCurve | None) -> Values:
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
        row = held.terms(float(np.mean(log.channels["time"][rows])))
        before, variance = float(row @ held.linear.values), float(row @ held.linear.covariance @ row)
        method = "mean after the blows against the curve of the hold before"
    value = (after - before) / before
    return {key_of("struck", use): FittedValue(value, (after_variance + variance) / before**2, method)}
