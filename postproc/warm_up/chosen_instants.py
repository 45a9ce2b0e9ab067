"""Which instants of a warm-up are worth showing."""

from __future__ import annotations

import numpy as np

from headjoint.cases.warm_up.instant import Instant
from headjoint.cases.warm_up.warm_up import Checkpoint, WarmUp

SHOWN = 16


def shown(warmed: WarmUp) -> list[Instant]:
    """Return instants between which temperatures change alike, and the extremes."""
    instants = warmed.instants
    found = [one.instant for one in spread_moments(warmed, SHOWN)]
    extremes = [warmed.extreme(lambda one: one.force), warmed.extreme(lambda one: -one.force)]
    fired = [one for one in instants if one.fired_sealing is not None]
    if fired:
        extremes.append(min(fired, key=lambda one: one.fired_sealing or 0.0))
    apart = 0.004 * instants[-1].time
    found = [one for one in found if all(abs(one.time - other.time) > apart for other in extremes)]
    ends = [instants[0], instants[-1]]
    return sorted({one.time: one for one in [*found, *extremes, *ends]}.values(), key=lambda one: one.time)


def spread_moments(warmed: WarmUp, count: int) -> list[Checkpoint]:
    """Return at most `count` moments, start and end among them, closest together where temperatures change most."""
    moments = warmed.checkpoints
    change = [
        float(np.abs(after.temperature - before.temperature).max())
        for before, after in zip(moments, moments[1:], strict=False)
    ]
    travelled = np.concatenate([[0.0], np.cumsum(change)])
    wanted = np.linspace(0.0, travelled[-1], count)
    chosen = {int(np.abs(travelled - place).argmin()) for place in wanted}
    return [moments[index] for index in sorted(chosen)]
