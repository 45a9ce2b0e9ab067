"""Studies of a joint that springs in a row solve exactly: probabilities, what matters, and sizes in closed form.

The bolt is twice as stiff as the gasket on a rigid sleeve, gas acts at the gasket: what is left of the clamp is
F_M - F_A/3, linear in both, so that normal scatter of preload and gas gives a normal rest.
"""

from __future__ import annotations

import math
from pathlib import Path

from scipy import stats

from headjoint.model.reading.reading import parse_content
from headjoint.postproc.designs.outcome import Source
from headjoint.postproc.designs.run import Workers
from headjoint.postproc.studies.scatter import Scatter, run_scatter
from headjoint.postproc.studies.size import run_size
from validation.check import Check
from validation.joint_limits import RIGID, SHANK_AREA, SLEEVE_AREA, Sleeve, case

SAMPLES = 2048
PRELOAD, GAS, LEFT = 10_000.0, 18_000.0, 3_300.0  # N: clamp, gas force, rest of the clamp that is needed
PRELOAD_SCATTER, GAS_SCATTER = 0.05, 0.05  # standard deviations
SEPARATION = 1.2


def source() -> Source:
    """Return the joint with its distributions; everything else is fixed."""
    slope = 200e3 * SHANK_AREA / 4000.0 / 2.0 / SLEEVE_AREA
    sleeve = Sleeve(
        sleeve=RIGID,
        law=f"closure = [0, 1]\npressure = [0, {slope}]",
        preload=PRELOAD,
        cases=case("load", "firing", 15.0, GAS),
    )
    more = f"""
[requirements]
sealing_ratio = 0
sealing_minimum = {LEFT / SLEEVE_AREA}
separation_factor = {SEPARATION}
fatigue_factor = 0.01
[scatter]
samples = {SAMPLES}
[scatter.inputs]
preload = {{ distribution = "normal", mean = 1, deviation = {PRELOAD_SCATTER} }}
"gas pressure" = {{ distribution = "normal", mean = 1, deviation = {GAS_SCATTER} }}
"gasket pressure, seat" = {{ distribution = "fixed" }}
"bead height" = {{ distribution = "fixed" }}
"deck unevenness" = {{ distribution = "fixed" }}
"""
    return Source(parse_content(sleeve.text() + more), "bolt in a sleeve", Path())


def scattered() -> Scatter:
    return run_scatter(source(), None, None, None, Workers(1))


def checks() -> list[Check]:
    return [*bounds(), *probability(), *sizes()]


def bounds() -> list[Check]:
    """Exact bounds on a probability from counts."""
    few = stats.binomtest(1, 10).proportion_ci(0.95, "exact")
    none = stats.binomtest(0, 1000).proportion_ci(0.95, "exact")
    table = "Clopper and Pearson, Biometrika 26 (1934); printed tables give 0.0025 and 0.4450 (from memory)"
    closed = "1 - (0.05/2)^(1/n), n = 1000 without any failure (closed form)"
    return [
        Check("lower bound, 1 of 10", table, 0.0025, few.low, 0.02, "", "rounded in the table"),
        Check("upper bound, 1 of 10", table, 0.4450, few.high, 0.001, "", "rounded in the table"),
        Check("upper bound, none of 1000", closed, 1.0 - 0.025 ** (1 / 1000), none.high, 1e-6),
    ]


def probability() -> list[Check]:
    found = scattered()
    event = next(one for one in found.events if one.figure == "sealing-line pressure")
    mean = PRELOAD - GAS / 3.0
    of_preload, of_gas = PRELOAD_SCATTER * PRELOAD, GAS_SCATTER * GAS / 3.0
    deviation = math.hypot(of_preload, of_gas)
    exact = float(stats.norm.cdf((LEFT - mean) / deviation))
    source_ = "normal law of a linear joint: Phi((3300 - 4000)/583) (closed form)"
    shares = {name: share for name, share, _ in event.matters}
    bounded = float(event.low < exact < event.high)
    return [
        Check("probability of too little clamp left", source_, exact, event.probability, 0.03, "", "2048 Sobol points"),
        Check("exact value within the bounds", source_, 1.0, bounded, 0.0),
        Check("the same by mean and deviation", source_, exact, event.by_normal, 0.02, "", "ends of the bolt"),
        Check(
            "share of preload in the spread", "variances of a sum add up (closed form)", (of_preload / deviation) ** 2,
            shares["preload"], 0.05, "", "estimated from samples",
        ),
    ]  # fmt: skip


def sizes() -> list[Check]:
    sized = run_size(source(), ["torque", "gas"], None, Workers(1))
    found = {one.question: one for one in sized.answers}
    preload, pressure = found["preload"], found["cylinder pressure"]
    assert preload.least is not None
    assert pressure.greatest is not None
    need = "F_M - 1.2 F_A/3 = what must be left (closed form)"
    gas = (PRELOAD - LEFT) * 3.0 / SEPARATION / SLEEVE_AREA * 10.0
    _, slope = next(one for one in preload.least.sensitivity if one[0] == "gas pressure +1 %")
    return [
        Check("least preload", need, (LEFT + SEPARATION * GAS / 3.0) / 1e3, preload.least.at, 0.002, "kN", "ends"),
        Check("greatest gas pressure", need, gas, pressure.greatest.at, 0.002, "bar", "ends"),
        Check(
            "least preload for 1 % more gas", need, 0.01 * SEPARATION * GAS / 3.0 / 1e3, slope, 0.02, "kN",
            "finite step; ends",
        ),
    ]  # fmt: skip
