"""Creep of gasket zones: the set that grows under pressure with time, at all interface points at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from headjoint.cases.interface_laws import PointGroup
from headjoint.model.flow import time_shift

FloatArray = NDArray[np.float64]


def creep_growth(
    group: PointGroup, pressure: FloatArray, crept: FloatArray, temperature: float, duration: float
) -> FloatArray:
    """Return the growth of the creep set (mm) of a zone's points over `duration` (s) at constant `pressure` (MPa).

    crept : mm, creep set so far. Strain hardening: the set carries on along the curve of the present pressure and
    temperature from where it stands, s = a ln(1 + t/onset) or a (t/onset)^m, exactly over the duration.
    """
    law, creep = group.law, group.law.creep
    if creep is None or duration == 0.0 or law.unloading_stiffness is None:
        return np.zeros_like(pressure)
    amplitude = creep.rate.at(temperature) * np.maximum(pressure, 0.0) / law.unloading_stiffness
    time = duration * time_shift(creep.activation_energy, temperature) / creep.onset
    base = np.maximum(amplitude, 1e-30)
    with np.errstate(over="ignore", under="ignore"):
        if creep.kind == "logarithmic":
            return np.where(amplitude > 0.0, base * np.log1p(time * np.exp(-crept / base)), 0.0)
        before = (crept / base) ** (1.0 / creep.exponent)
        after = base * (before + time) ** creep.exponent
    return np.where((amplitude > 0.0) & np.isfinite(before), np.maximum(after - crept, 0.0), 0.0)
