"""Creep of gasket zones: the set that grows under pressure with time, at all interface points at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from headjoint.cases.condensed.interface_laws import PointGroup
from headjoint.cases.condensed.rising_roots import rising_roots
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.roots import rising_root
from headjoint.model.gasket.law import GasketLaw
from headjoint.model.library.plasticity import time_shift


def creep_growth(
    group: PointGroup, pressure: FloatArray, crept: FloatArray, temperature: float, duration: float
) -> tuple[FloatArray, FloatArray]:
    """Return the growth of the creep set (mm) over `duration` (s) at constant `pressure` (MPa), and its slope (mm/MPa).

    crept : mm, creep set so far. Strain hardening: the set carries on along the curve of the present pressure and
    temperature from where it stands, s = a ln(1 + t/onset) or a (t/onset)^m, exactly over the duration.
    """
    law, creep = group.law, group.law.creep
    if creep is None or duration == 0.0 or not law.keeps_set:
        return np.zeros_like(pressure), np.zeros_like(pressure)
    stiffness, stiffer = law.stiffness_at(pressure)
    per_pressure = creep.rate.at(temperature) / stiffness
    a = np.maximum(per_pressure * pressure, 1e-30)
    time = duration * time_shift(creep.activation_energy, temperature) / creep.onset
    with np.errstate(over="ignore", under="ignore", invalid="ignore"):
        if creep.kind == "logarithmic":
            x = time * np.exp(-crept / a)
            growth = a * np.log1p(x)
            slope = np.log1p(x) + x / (1.0 + x) * (crept / a)
        else:
            m = creep.exponent
            before = (crept / a) ** (1.0 / m)
            y = before + time
            growth = a * y**m - crept
            slope = y**m - y ** (m - 1.0) * before
    creeping = (pressure > 0.0) & np.isfinite(growth) & np.isfinite(slope) & (growth > 0.0)
    # a = rate p/k(p), so da/dp = rate/k (1 - p k'/k)
    slope = np.maximum(slope, 0.0) * per_pressure * (1.0 - pressure * stiffer / stiffness)
    return np.where(creeping, growth, 0.0), np.where(creeping, slope, 0.0)


@dataclass(frozen=True)
class CreepStep:
    """A time over which gasket zones creep while they come to equilibrium; crept : (g,) mm at its beginning."""

    crept: FloatArray
    duration: float


def creeping_pressure(
    group: PointGroup, closure: FloatArray, permanent_set: FloatArray, temperature: float, step: CreepStep
) -> tuple[FloatArray, FloatArray]:
    """Return pressure (MPa) and slope (MPa/mm) of a zone's points that creep under that very pressure over the step.

    p = min(L(c), p on the line of the set s + growth(p)): growth never falls with p, and neither does the closure at
    which the zone bears p, so there is one solution and it rises with c. Taking the pressure at the step's end keeps
    long steps stable where a gasket creeps much.
    """
    law = group.law
    p, slope = law.pressures(closure, permanent_set, temperature)
    if law.creep is None or not law.keeps_set or step.duration == 0.0:
        return p, slope
    crept = step.crept[group.points]
    reach = closure - permanent_set

    def too_closed(pressure: FloatArray) -> tuple[FloatArray, FloatArray]:
        growth, growth_slope = creep_growth(group, pressure, crept, temperature, step.duration)
        back, by_pressure, by_set = law.springback(pressure, permanent_set + growth)
        return back + growth - reach, by_pressure + (1.0 + by_set) * growth_slope

    bound = law.bound(closure, permanent_set)
    relaxed = rising_roots(too_closed, bound, 1e-13, "the pressure of a creeping gasket")
    _, softness = too_closed(relaxed)
    below = relaxed < p
    return np.where(below, relaxed, p), np.where(below, 1.0 / softness, slope)


# A leak-test ring of EN 13555, 92 x 49 mm, in a rig of the usual stiffness: from memory, medium confidence
RIG_AREA, RIG_STIFFNESS = np.pi / 4.0 * (92.0**2 - 49.0**2), 500e3  # mm2, N/mm
RIG_SUBSTEPS = 60
FARTHEST = 1e3  # times the closures of the table; a law that bears no more until then never does


def kept_in_rig(
    law: GasketLaw,
    pressure: float,
    temperature: float,
    duration: float,
    area: float = RIG_AREA,
    stiffness: float = RIG_STIFFNESS,
) -> float:
    """Return the share of its pressure (MPa) that a zone keeps in a test rig over `duration` (s) at a temperature.

    This is P_QR of EN 13555 for a ring of `area` (mm2) in a rig of `stiffness` (N/mm), heat brought in before the
    pressure. What the ring sets, its springback and the rig's give back: with one unloading stiffness the set s lowers
    the pressure by s/(1/k_u + area/stiffness). ASTM F38 asks the same of a calibrated bolt and reports the loss,
    1 - P_QR.
    """
    group = PointGroup("ring", "gasket", np.zeros(1, dtype=np.int64), law)
    start, rig = np.array([pressure]), area / stiffness
    loaded = np.array([law.set_after(_closure_at(law, pressure, temperature), 0.0, temperature)])
    whole, _, _ = law.springback(start, loaded)
    now, crept, before = start, np.zeros(1), 0.0
    for time in np.geomspace(1.0, duration, RIG_SUBSTEPS):
        crept = crept + creep_growth(group, now, crept, temperature, float(time) - before)[0]
        before = float(time)

        def too_closed(p: FloatArray, crept: FloatArray = crept) -> tuple[FloatArray, FloatArray | float]:
            back, by_pressure, _ = law.springback(p, loaded + crept)
            return back - whole + crept + (p - start) * rig, by_pressure + rig

        now = rising_roots(too_closed, start, 1e-13, "the pressure of a ring in its rig")
    return float(now[0]) / pressure


def _closure_at(law: GasketLaw, pressure: float, temperature: float) -> float:
    """Return the closure (mm) at which a zone first bears `pressure`, that of its last row where it never does."""
    last = max(curve.closure[-1] for curve in law.curves)
    high = last
    while law.loading(high, temperature) < pressure:
        if high > FARTHEST * last:
            return last
        high *= 2.0
    return rising_root(lambda closure: law.loading(closure, temperature) - pressure, 0.0, high)
