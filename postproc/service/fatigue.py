"""Fatigue of the fastener over a whole service: cycles counted by rainflow, lives by VDI 2230-1, damage by Miner.

Cycle counting is ASTM E1049 rainflow through the `rainflow` package. The finite life follows VDI 2230-1 sec. 5.5.3
(from memory, high confidence): sigma_A(N) = sigma_A (N_D/N)^(1/3) for threads rolled before heat treatment, ^(1/6) for
those rolled after it, for more than 1e4 cycles, N_D = 2e6. Amplitudes below the endurance limit do no damage (Miner,
original form); where the Miner sum comes near 1, that form is known to be optimistic.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from headjoint.cases.service.run import Service
from headjoint.model.formulas.strength import ENDURANCE_CYCLES, endurance_limit, force_at_yield
from headjoint.model.joint import Joint
from headjoint.model.service import Repeat

EXPONENT = {"before heat treatment": 3.0, "after heat treatment": 6.0}
FEWEST_CYCLES = 1e4  # below, the life formula does not hold


@dataclass(frozen=True)
class CountedCycle:
    """Cycles of one size: amplitude and mean force of a fastener (N), how often, and how hot (degC) it gets in them."""

    amplitude: float
    mean: float
    count: float
    temperature: float


@dataclass(frozen=True)
class FatigueRow:
    """Cycles of one size as stress on A_S (MPa): endurance limit at their mean, life, share of it used."""

    amplitude: float
    mean: float
    count: float
    limit: float
    life: float
    damage: float


@dataclass(frozen=True)
class ServiceFatigue:
    """Fatigue of the worst fastener. miner : sum of count/life. factor : least of endurance limit over amplitude.

    trusted : False where some cycles last fewer than `FEWEST_CYCLES`, beyond the formula.
    """

    fastener: int
    rows: tuple[FatigueRow, ...]
    miner: float
    factor: float | None
    trusted: bool


def rainflow_cycles(
    points: Sequence[float], weights: Sequence[float], temperatures: Sequence[float]
) -> list[CountedCycle]:
    """Return the rainflow cycles of a sequence of forces (N) at temperatures (degC) of the fastener.

    Each counts as often as the weight of its last point, and is as hot as the hottest point in its span.

    A half cycle that is left over spans what happened once, and counts as the least weight in its span.
    """
    import rainflow

    found = []
    for size, mean, count, start, end in rainflow.extract_cycles(points):
        times = weights[end] if count == 1.0 else min(weights[start : end + 1])
        found.append(CountedCycle(size / 2.0, mean, count * times, max(temperatures[start : end + 1])))
    return found


def life(amplitude: float, limit: float, rolled: str) -> float:
    """Return the cycles that a stress amplitude (MPa) lasts against an endurance limit (MPa); infinite below it."""
    if amplitude <= limit:
        return math.inf
    return ENDURANCE_CYCLES * (limit / amplitude) ** EXPONENT[rolled]


def miner_sum(cycles: Iterable[CountedCycle], joint: Joint) -> tuple[FatigueRow, ...]:
    """Return every size of cycle with its life and damage; stresses on A_S as in VDI 2230-1.

    Of threads that are not known to be rolled before or after heat treatment, the shorter life: the lower limit
    decides small amplitudes, the steeper line large ones.
    """
    thread = joint.fastener.thread
    ways = [joint.fastener.rolled] if joint.fastener.rolled in EXPONENT else list(EXPONENT)
    rows = []
    for cycle in cycles:
        amplitude = cycle.amplitude / thread.stress_area
        hot = force_at_yield(joint, cycle.temperature)
        limits = [endurance_limit(thread, rolled, cycle.mean, hot) for rolled in ways]
        limit = min(limits)
        lasts = min(life(amplitude, one, rolled) for one, rolled in zip(limits, ways, strict=True))
        rows.append(
            FatigueRow(amplitude, cycle.mean / thread.stress_area, cycle.count, limit, lasts, cycle.count / lasts)
        )
    return tuple(rows)


def represented(service: Service) -> list[float]:
    """Return for every record how many times its step ran: a cycle stands for those since the one before it."""
    weights = []
    for index, record in enumerate(service.records):
        step = service.steps[record.step]
        weight = 1.0
        if isinstance(step, Repeat) and record.cycle > 0:
            earlier = [
                other.cycle
                for other in service.records[:index]
                if other.step == record.step and other.cycle < record.cycle
            ]
            weight = float(record.cycle - max(earlier, default=0))
        weights.append(weight)
    return weights


def counted_cycles(service: Service, fastener: int) -> list[CountedCycle]:
    """Return the cycles of one fastener's force: service steps by rainflow, pressure cycles within a run by number."""
    points: list[float] = []
    weights: list[float] = []
    temperatures: list[float] = []
    cold = service.model.joint.load_cases[0]
    extra: list[CountedCycle] = []
    for record, times in zip(service.records, represented(service), strict=True):
        forces, hot = [float(record.force[fastener])], (record.case or cold).temperatures["fastener"]
        if record.fired_force is not None and record.first_fired_force is not None:
            low, high = forces[0], float(record.fired_force[fastener])
            # the run's first peak belongs to the heat cycle; the others are as at its end
            forces = [float(record.first_fired_force[fastener]), low]
            more = max(0.0, record.pressure_cycles - 1.0) * times
            if more > 0.0:
                extra.append(CountedCycle(abs(high - low) / 2.0, (high + low) / 2.0, more, hot))
        points += forces
        weights += [times] * len(forces)
        temperatures += [hot] * len(forces)
    found = rainflow_cycles(points, weights, temperatures) if len(points) > 2 else []
    return [cycle for cycle in found if cycle.amplitude > 1.0] + extra


def service_fatigue(service: Service) -> ServiceFatigue:
    """Return the fatigue of the fastener that uses up most of its life."""
    joint = service.model.joint
    worst: ServiceFatigue | None = None
    for fastener in range(service.model.fasteners):
        rows = miner_sum(counted_cycles(service, fastener), joint)
        rows = tuple(sorted(rows, key=lambda row: (-row.damage, -row.amplitude)))
        repeated = [row for row in rows if row.count >= FEWEST_CYCLES]
        ratios = [row.limit / row.amplitude for row in repeated if row.amplitude > 0.0]
        short = any(row.life < FEWEST_CYCLES for row in rows)
        found = ServiceFatigue(fastener, rows, sum(row.damage for row in rows), min(ratios, default=None), not short)
        if worst is None or (found.miner, -(found.factor or math.inf)) > (worst.miner, -(worst.factor or math.inf)):
            worst = found
    assert worst is not None
    return worst
