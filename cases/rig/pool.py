"""Several logs of one treatment as one: the means of what they found, for the fragment that joint files include."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from headjoint.cases.rig.evaluation import QUANTITIES, Evaluated, Finding
from headjoint.cases.rig.least_squares import CONFIDENCE, COVERAGE
from headjoint.model.base.errors import InputError


def check_one_treatment(logs: Sequence[Evaluated], field: str) -> None:
    """Raise InputError where logs that are to tell one treatment state different lubricants."""
    for one in logs[1:]:
        if one.lubricant != logs[0].lubricant:
            first, other = logs[0].clean.log.file, one.clean.log.file
            raise InputError(
                f"the logs of one side must be of one treatment: {first} states the lubricant {logs[0].lubricant!r}, "
                f"{other} {one.lubricant!r}; put those of one behind --against",
                field=field,
                value=other,
            )


def pooled(logs: Sequence[Evaluated]) -> tuple[Finding, ...]:
    """Return the mean of every finding of the first use over the logs that have it; for one log, its own.

    The interval is that of the mean: Student's t by the scatter between the logs, and the gauges' errors, which all
    logs of one rig share.
    """
    means = []
    for key in QUANTITIES:
        values = [value for log in logs if (value := log.get(key)) is not None]
        if values:
            means.append(values[0] if len(values) == 1 else _mean(values))
    return tuple(means)


def mean_variance(values: Sequence[Finding]) -> float:
    """Return the variance of the mean by scatter: between several logs, or of the one log's readings."""
    readings = float(np.mean([finding.scatter**2 for finding in values]))
    if len(values) == 1:
        return readings
    # few logs agree by luck, too: they scatter at least as their readings do
    return max(float(np.var([finding.value for finding in values], ddof=1)), readings) / len(values)


def mean_shifts(values: Sequence[Finding]) -> dict[str, float]:
    """Return by how much one standard deviation of every source of error moves the mean."""
    names = {name for finding in values for name in finding.shifts}
    return {name: sum(finding.shifts.get(name, 0.0) for finding in values) / len(values) for name in names}


def _mean(values: Sequence[Finding]) -> Finding:
    from scipy.stats import t

    first, count = values[0], len(values)
    factor = max(COVERAGE, float(t.ppf(0.5 + CONFIDENCE / 2.0, count - 1)))
    return Finding(
        first.key,
        first.name,
        first.use,
        float(np.mean([finding.value for finding in values])),
        first.unit,
        factor / COVERAGE * math.sqrt(mean_variance(values)),
        mean_shifts(values),
        f"mean of {count} logs; {first.method}",
    )
