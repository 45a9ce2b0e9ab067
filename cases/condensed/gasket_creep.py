"""Creep of gasket zones: the set that grows under pressure with time, at all interface points at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from headjoint.cases.condensed import interface_laws
from headjoint.cases.condensed.interface_laws import PointGroup
from headjoint.cases.condensed.rising_roots import rising_roots
from headjoint.model.base.arrays import FloatArray
from headjoint.model.gasket.laws import GasketLaw
from headjoint.model.library.plasticity import time_shift


def creep_growth(
    group: PointGroup, pressure: FloatArray, crept: FloatArray, temperature: float, duration: float
) -> tuple[FloatArray, FloatArray]:
    """Return the growth of the creep set (mm) over `duration` (s) at constant `pressure` (MPa), and its slope (mm/MPa).

    crept : mm, creep set so far. Strain hardening: the set carries on along the curve of the present pressure and
    temperature from where it stands, s = a ln(1 + t/onset) or a (t/onset)^m, exactly over the duration.
    """
    law, creep = group.law, group.law.creep
    if creep is None or duration == 0.0 or law.unloading_stiffness is None:
        return np.zeros_like(pressure), np.zeros_like(pressure)
    per_pressure = creep.rate.at(temperature) / law.unloading_stiffness
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
    return np.where(creeping, growth, 0.0), np.where(creeping, np.maximum(slope, 0.0) * per_pressure, 0.0)


@dataclass(frozen=True)
class CreepStep:
    """A time over which gasket zones creep while they come to equilibrium; crept : (g,) mm at its beginning."""

    crept: FloatArray
    duration: float


def creeping_pressure(
    group: PointGroup, closure: FloatArray, permanent_set: FloatArray, temperature: float, step: CreepStep
) -> tuple[FloatArray, FloatArray]:
    """Return pressure (MPa) and slope (MPa/mm) of a zone's points that creep under that very pressure over the step.

    p = min(L(c), k_u (c - s - growth(p))): growth never falls with p, so there is one solution and it rises with c.
    Taking the pressure at the step's end keeps long steps stable where a gasket creeps much.
    """
    p, slope = interface_laws.pressure(group.law, closure, permanent_set, temperature)
    stiffness = group.law.unloading_stiffness
    if group.law.creep is None or stiffness is None or step.duration == 0.0:
        return p, slope
    crept = step.crept[group.points]
    reach = closure - permanent_set

    def too_closed(pressure: FloatArray) -> tuple[FloatArray, FloatArray]:
        growth, growth_slope = creep_growth(group, pressure, crept, temperature, step.duration)
        return pressure / stiffness + growth - reach, 1.0 / stiffness + growth_slope

    most = np.maximum(stiffness * reach, 0.0)
    relaxed = rising_roots(too_closed, most, 1e-13, "the pressure of a creeping gasket")
    _, growth_slope = creep_growth(group, relaxed, crept, temperature, step.duration)
    below = relaxed < p
    return np.where(below, relaxed, p), np.where(below, 1.0 / (1.0 / stiffness + growth_slope), slope)


# A leak-test ring of EN 13555, 92 x 49 mm, in a rig of the usual stiffness: from memory, medium confidence
RIG_AREA, RIG_STIFFNESS = np.pi / 4.0 * (92.0**2 - 49.0**2), 500e3  # mm2, N/mm
RIG_SUBSTEPS = 60


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
    pressure: the set s lowers the pressure by s/(1/k_u + area/stiffness). ASTM F38 asks the same of a calibrated bolt
    and reports the loss, 1 - P_QR.
    """
    assert law.unloading_stiffness is not None
    group = PointGroup("ring", "gasket", np.zeros(1, dtype=np.int64), law)
    softness = 1.0 / law.unloading_stiffness + area / stiffness
    crept, before = np.zeros(1), 0.0
    for time in np.geomspace(1.0, duration, RIG_SUBSTEPS):
        now = np.array([max(0.0, pressure - float(crept[0]) / softness)])
        crept = crept + creep_growth(group, now, crept, temperature, float(time) - before)[0]
        before = float(time)
    return max(0.0, 1.0 - float(crept[0]) / softness / pressure)
