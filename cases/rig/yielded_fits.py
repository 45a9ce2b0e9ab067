"""Torsion kept and hot strength, from the log of a bolt turned past yield, let go and heated.

While turned, the whole section flows under tension and torsion together, sigma_red = sqrt(sigma^2 + 3 tau^2) (VDI
2230-1 sec. 5.4.2) with the plastic W_P. Letting go, the turned end springs back by what of the torsion is lost,

    angle back = (1 - k) M_G C_t,    C_t twist per torque, M_G = F r thread torque as turning ends

Heated, the clamp rises along its elastic line until the bolt, with k M_G left in it, yields again; at the hottest it
stands on its strength there,

    sigma_red(F_hot, k M_G)/sigma_red(F_end, M_G) = strength hot over cold

a strength of minutes (short-time): longer heat leaves less. What the bolt hardens by on the way is not taken off, so
that the strength reads up to 1 % too high where it yields on by some tenths of a per cent.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from headjoint.cases.rig.cleaning import Cleaned
from headjoint.cases.rig.fits import EVEN, Assumptions, FittedValue, Values, thread_friction
from headjoint.cases.rig.least_squares import FORCE, LEAST_ROWS, TEMPERATURE, Line, Points, line
from headjoint.cases.rig.not_identified import Missing
from headjoint.model.base.arrays import FloatArray
from headjoint.model.library.tightening import plastic_torsion_modulus
from headjoint.model.rig.rig import Rig, thread_arm, torsion_compliance

TYPICAL_KEPT, KEPT_DOUBT = 0.5, 0.15  # VDI 2230-1's k_tau, and its standard deviation (from memory, low confidence)
WARM = 20.0  # K that a heat must span
TOP = 0.04  # of the rise in temperature: readings so near to the hottest stand for it
LATE, BENT = 0.15, 0.75  # the last of the warming, and the share of cooling's slope below which it was not elastic


def yielded_fits(clean: Cleaned, rig: Rig, values: Values, assumed: Assumptions) -> Values:
    """Return torsion kept and hot strength of the first use; empty where it was not turned past yield.

    values : what has been fitted already: yield and friction.
    """
    known = thread_friction(values)
    friction = None if known is None else (known.value, known.variance)
    ends = np.flatnonzero(clean.log.at("tighten", 1) & np.isfinite(clean.force))
    if "yield_force" not in values or friction is None or len(ends) < LEAST_ROWS or clean.log.at("pull").any():
        return {}
    end = float(np.mean(clean.force[ends[-3:]]))
    kept = _kept(clean, rig, ends, end, friction, assumed)
    found = {} if kept is None else {"torsion_kept": kept}
    hot = _hot_strength(clean, rig, end, friction, kept)
    return found if hot is None else found | {"hot_strength": hot}


def open_of_yielded(clean: Cleaned, values: Values) -> Iterator[Missing]:
    """Yield what a log of a bolt turned past yield leaves open of its torsion and hot strength."""
    if "yield_force" not in values or clean.log.at("pull").any():
        return
    if "torsion_kept" not in values:
        yield Missing(
            "torsion kept",
            "the turned end was not seen to spring back as the wrench let go",
            "angle read at nut or bolt head while it stands (step 'hold')",
        )
    if "hot_strength" not in values:
        heated = warming_and_cooling(clean)
        why = "it was not heated and cooled with temperature read"
        if heated is not None:
            _, _, rows, peak = heated
            hottest = clean.log.channels["temperature"][rows[peak]]
            why = f"at {hottest:.0f} degC it was still elastic, or friction is not known"
        yield Missing("strength when hot", why, "more heat, until the clamp leaves its line; then cool (step 'heat')")


def hot_ratio(rig: Rig, end: float, hot: float, friction: float, kept: float) -> float:
    """Return combined stress at `hot` (N) with a share `kept` of torsion over that as turning ended at `end` (N)."""
    area = rig.joint.fastener.smallest_area
    twist = thread_arm(rig.thread, friction) * end / plastic_torsion_modulus(area)
    return math.hypot(hot / area, math.sqrt(3.0) * kept * twist) / math.hypot(end / area, math.sqrt(3.0) * twist)


def _kept(
    clean: Cleaned, rig: Rig, ends: NDArray[np.int64], end: float, friction: tuple[float, float], assumed: Assumptions
) -> FittedValue | None:
    """Return the share of torsion kept by the angle sprung back; None where none was seen to spring back."""
    log = clean.log
    if "angle" not in log.channels:
        return None
    angle = log.channels["angle"]
    stood = np.flatnonzero(log.at("hold", 1) & np.isfinite(angle))
    turned = ends[np.isfinite(angle[ends])]
    if len(stood) == 0 or len(turned) < 3 or stood[0] < turned[-1]:
        return None
    # the turning goes on to its last reading: a line through the last ones says where the wrench stopped
    last = turned[-LEAST_ROWS:]
    slope, start = np.polyfit(np.arange(len(last)) - len(last) + 1.0, angle[last], 1)
    scatter = float(np.std(angle[last] - start - slope * (np.arange(len(last)) - len(last) + 1.0)))
    back = float(start) - float(np.mean(angle[stood]))
    variance = scatter**2 * (0.5 + 1.0 / len(stood)) + (rig.stated.gauges.angle.accuracy / EVEN) ** 2
    if back < 2.0 * math.sqrt(variance):
        return None
    twist = torsion_compliance(rig) * assumed.torsion * end

    def kept(sprung: float, mu: float) -> float:
        return 1.0 - sprung / (twist * thread_arm(rig.thread, mu))

    value, spread = _with_variance(kept, (back, friction[0]), (variance, friction[1]))
    method = "angle sprung back as the wrench let go, over the fastener's stiffness in torsion"
    return FittedValue(min(max(value, 0.0), 1.0), spread, method)


def _hot_strength(
    clean: Cleaned, rig: Rig, end: float, friction: tuple[float, float], kept: FittedValue | None
) -> FittedValue | None:
    """Return strength at the hottest reading over that when cold; None where heat did not make the bolt yield on."""
    found = warming_and_cooling(clean)
    if found is None:
        return None
    warm, cool, rows, peak = found
    if warm.slope > BENT * cool.slope or cool.slope <= 0.0:
        return None
    temperature, force = clean.log.channels["temperature"][rows], clean.force[rows]
    top = temperature > temperature[peak] - TOP * np.ptp(temperature)
    hot, spread = float(np.mean(force[top])), float(np.var(force[top]) / top.sum())
    k = (TYPICAL_KEPT, KEPT_DOUBT**2) if kept is None else (kept.value, kept.variance)

    def ratio(at: float, mu: float, left: float) -> float:
        return hot_ratio(rig, end, at, mu, left)

    value, variance = _with_variance(ratio, (hot, friction[0], k[0]), (spread, friction[1], k[1]))
    said = "with the torsion kept" if kept is not None else "with half the torsion kept (VDI 2230-1)"
    method = f"combined stress at {temperature[peak]:.0f} degC over that as turning ended, {said}; short-time"
    fitted = cool.intercept + cool.slope * temperature
    points = Points("clamp while cooling", temperature, force, fitted, TEMPERATURE, FORCE)
    return FittedValue(value, variance, method, points)


def warming_and_cooling(clean: Cleaned) -> tuple[Line, Line, NDArray[np.int64], int] | None:
    """Return force over temperature late in the warming and while cooling, the rows, and the hottest.

    None where the log does not warm and cool. The line of cooling is clean: nothing yields on the way down.
    """
    log = clean.log
    if "temperature" not in log.channels:
        return None
    temperature = log.channels["temperature"]
    rows = np.flatnonzero(log.at("heat", 1) & np.isfinite(clean.force) & np.isfinite(temperature))
    if len(rows) < 2 * LEAST_ROWS or np.ptp(temperature[rows]) < WARM:
        return None
    peak = int(np.argmax(temperature[rows]))
    up, down = rows[: peak + 1], rows[peak:]
    hottest, coldest = float(temperature[rows[peak]]), float(temperature[rows].min())
    late = up[temperature[up] > hottest - LATE * (hottest - coldest)]
    late = late if len(late) >= LEAST_ROWS else up[-LEAST_ROWS:]
    warm, cool = (line(temperature[some], clean.force[some]) for some in (late, down))
    return None if warm is None or cool is None else (warm, cool, rows, peak)


def _with_variance(
    function: Callable[..., float], at: Sequence[float], variances: Sequence[float]
) -> tuple[float, float]:
    """Return a function's value and its variance by those of its arguments, to first order."""
    value = function(*at)
    total = 0.0
    for place, variance in enumerate(variances):
        step = max(1e-3 * abs(at[place]), 1e-9)
        moved: FloatArray = np.array(at, dtype=float)
        moved[place] += step
        total += ((function(*moved) - value) / step) ** 2 * variance
    return value, total
