"""Answers to the usual questions as differences with an interval, and whether the data can tell.

Two logs of one rig share its gauge errors: both are shifted together, so that what the wrench or the ram reads wrong in
both drops out of their ratio. Several logs a side are compared by the scatter between them (Welch), which is what tells
two treatments apart; one log a side tells only these two runs apart.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from headjoint.cases.rig.evaluation import SHARES, Evaluated, Finding
from headjoint.cases.rig.least_squares import CONFIDENCE, COVERAGE
from headjoint.cases.rig.pool import mean_shifts, mean_variance

RELATIVE = (
    "nut_factor",
    "mean_friction",
    "thread_friction",
    "bearing_friction",
    "torque_at_load",
    "stretch_compliance",
    "stretch_at_load",
    "setup_compliance",
    "yield_force",
    "proof_stress",
    "ultimate_force",
    "per_degree",
)
# what two treatments are compared in
COMPARED = (
    "torque_at_load",
    "nut_factor",
    "thread_friction",
    "bearing_friction",
    "mean_friction",
    "stretch_compliance",
    "setup_compliance",
    "yield_force",
    "ultimate_force",
    "lost_in_a_day",
    "settled",
    "per_decade",
    "struck",
    "per_degree",
)
REUSED = (
    "nut_factor",
    "thread_friction",
    "bearing_friction",
    "stretch_at_load",
    "stretch_zero",
    "setup_compliance",
)
AT_LOAD = ("torque_at_load", "stretch_at_load")
# sources that belong to the fastener and not to the gauges: another fastener's are its own
OF_FASTENER = ("Young's modulus", "stiffness in torsion", "split of friction")
USED_AGAIN = "used again (use "
LONGEST_NAME = 24  # letters of a file that a heading has room for


@dataclass(frozen=True)
class Compared:
    """One quantity under two treatments. first, second : values. difference, low, high : of second against first.

    relative : whether the difference is a share of the first; else it is in the quantity's unit. logs : how many on
    either side.
    """

    question: str
    key: str
    name: str
    unit: str
    first: float
    second: float
    difference: float
    low: float
    high: float
    relative: bool
    logs: tuple[int, int]

    @property
    def can_tell(self) -> bool:
        """Whether the interval leaves out no difference at all."""
        return bool(self.low > 0.0 or self.high < 0.0)

    @property
    def verdict(self) -> str:
        """The statistical verdict in words."""
        return "the data can tell" if self.can_tell else "the data cannot tell"

    @property
    def between_logs(self) -> bool:
        """Whether different logs were compared."""
        return " against " in self.question and not self.question.startswith(USED_AGAIN)

    @property
    def smallest(self) -> float:
        """The smallest difference that data like these would show."""
        return (self.high - self.low) / 2.0


@dataclass(frozen=True)
class Repeated:
    """One quantity in several logs of one treatment: its mean, and its standard deviation between logs.

    low, high : between which the standard deviation of many such logs lies, by chi-square.
    """

    key: str
    name: str
    unit: str
    logs: int
    mean: float
    deviation: float
    low: float
    high: float


def repeated(logs: Sequence[Evaluated]) -> list[Repeated]:
    """Return how what all of several logs found scatters between them, first uses only; nothing for one log."""
    if len(logs) < 2:
        return []
    from scipy.stats import chi2

    one_load = all(math.isclose(one.load, logs[0].load, rel_tol=1e-3) for one in logs)
    found = []
    for key in COMPARED:
        values = [one.get(key) for one in logs]
        if any(value is None for value in values) or (key in AT_LOAD and not one_load):
            continue
        readings = [value.value for value in values if value is not None]
        first, free = logs[0].get(key), len(logs) - 1
        assert first is not None
        spread = float(np.std(readings, ddof=1))
        low, high = (spread * math.sqrt(free / float(chi2.ppf(part, free))) for part in (0.975, 0.025))
        found.append(Repeated(key, first.name, first.unit, len(logs), float(np.mean(readings)), spread, low, high))
    return found


def within(log: Evaluated) -> list[Compared]:
    """Return what one log answers of itself: a day's wait, a hammer, a heat cycle, the second use."""
    answers = []
    for key, question in (
        ("lost_in_a_day", "wait a day"),
        ("struck", "struck with a hammer"),
        ("lost_by_heat", "warmed and cooled"),
    ):
        if (value := log.get(key)) is not None:
            sign = -1.0 if key.startswith("lost") else 1.0
            low, high = sorted((sign * value.low, sign * value.high))
            after = 1.0 + sign * value.value
            answers.append(
                Compared(question, key, "clamp", "1", 1.0, after, sign * value.value, low, high, True, (1, 1))
            )
    later = sorted({finding.use for finding in log.findings if finding.use > 1})
    for use in later:
        for key in REUSED:
            first, second = log.get(key), log.get(key, use)
            if first is not None and second is not None:
                answers.append(compare_findings(f"{USED_AGAIN}{use} against 1)", [first], [second], shared=True))
    return answers


def against(first: Sequence[Evaluated], second: Sequence[Evaluated]) -> list[Compared]:
    """Return the differences of `second` against `first` in everything that both found in first uses.

    Rigs of the same ram and gauges share the errors of these, whatever fastener or stack is in them. What is reported
    at a load is compared only at one load.
    """
    everyone, rig = (*first, *second), first[0].rig
    shared = all(_hardware(each) == _hardware(first[0]) for each in everyone)
    alike = all(each.rig.joint.fastener == rig.joint.fastener for each in everyone)
    one_load = all(math.isclose(each.load, first[0].load, rel_tol=1e-3) for each in everyone)
    question = f"{_names(second)} against {_names(first)}"
    differences: list[Compared] = []
    for key in COMPARED:
        if key == "mean_friction" and any(each.key == "thread_friction" for each in differences):
            continue
        if key in AT_LOAD and not one_load:
            continue
        before, after = ([value for log in side if (value := log.get(key)) is not None] for side in (first, second))
        if len(before) == len(first) and len(after) == len(second):
            differences.append(compare_findings(question, before, after, shared=shared, alike=alike))
    return differences


def _hardware(log: Evaluated) -> tuple[object, ...]:
    stated = log.rig.stated
    return stated.ram, stated.gauges, stated.bearing


def _names(side: Sequence[Evaluated]) -> str:
    names = [one.clean.log.file.removesuffix(".csv") for one in side]
    shown = [name if len(name) <= LONGEST_NAME else f"{name[: LONGEST_NAME - 3]}..." for name in names[:2]]
    return " + ".join(shown) + (f" + {len(names) - 2} more" if len(names) > 2 else "")


def compare_findings(
    question: str, first: Sequence[Finding], second: Sequence[Finding], *, shared: bool, alike: bool = True
) -> Compared:
    """Return the difference of `second` against `first`.

    shared : whether both were read with the same gauges. alike : whether the fasteners are of one shape and material.
    """
    named = first[0]
    a, b = (float(np.mean([value.value for value in side])) for side in (first, second))
    relative = named.key in RELATIVE and a > 0.0 and b > 0.0
    scale_a, scale_b = (b / a**2, 1.0 / a) if relative else (1.0, 1.0)  # of b/a, or of b - a
    difference = b / a - 1.0 if relative else b - a
    variances, counts = [], (len(first), len(second))
    for side, scale in ((first, scale_a), (second, scale_b)):
        variances.append(scale**2 * mean_variance(side))
    shifts_a, shifts_b = mean_shifts(first), mean_shifts(second)
    gauges = 0.0
    for source in {*shifts_a, *shifts_b}:
        by_a, by_b = scale_a * shifts_a.get(source, 0.0), scale_b * shifts_b.get(source, 0.0)
        same = shared and (alike or source not in OF_FASTENER)
        gauges += (by_b - by_a) ** 2 if same else by_a**2 + by_b**2
    factor = _coverage(variances, counts)
    half = math.sqrt(factor**2 * sum(variances) + COVERAGE**2 * gauges)
    return Compared(
        question,
        named.key,
        named.name,
        named.unit,
        a,
        b,
        difference,
        difference - half,
        difference + half,
        relative,
        counts,
    )


def _coverage(variances: Sequence[float], counts: tuple[int, int]) -> float:
    """Return how many standard deviations an interval has: Student's t by Welch where scatter is between few logs."""
    few = [(variance, count - 1) for variance, count in zip(variances, counts, strict=True) if count > 1]
    if not few or sum(variances) == 0.0:
        return COVERAGE
    from scipy.stats import t

    freedom = sum(variances) ** 2 / max(sum(variance**2 / free for variance, free in few), 1e-300)
    return max(COVERAGE, float(t.ppf(0.5 + CONFIDENCE / 2.0, max(freedom, 1.0))))


def in_per_cent(compared: Compared) -> bool:
    """Return whether the difference reads as per cent: relative, or a difference of shares."""
    return compared.relative or compared.key in SHARES
