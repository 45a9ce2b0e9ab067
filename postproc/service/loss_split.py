"""Where clamp went: the loss since the latest tightening, split by cause.

A joint is not quite linear, so what a cause takes depends on which went before it. Every cause is taken once in order
and once in reverse order, and the two are averaged (Shapley's two extreme orders): the parts add up to the whole.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from headjoint.cases.service.memory import Memory
from headjoint.cases.service.model import ServiceModel
from headjoint.cases.service.run import Record
from headjoint.cases.service.steps import cold_force

CAUSES = ("embedding", "bearing set", "gasket set", "gasket creep", "fastener yield", "fastener relaxation", "retorque")


@dataclass(frozen=True)
class LossSplit:
    """Mean clamp (N) at the peak of the tightening, what each cause has taken since (gains negative), and what is left.

    error : share of the whole loss by which the parts miss it.
    """

    peak: float
    parts: dict[str, float]
    left: float
    error: float


def at_peak(memory: Memory) -> Memory:
    """Return the memory as it was while the wrench still pulled: nothing embedded since."""
    return dataclasses.replace(memory, embedded=memory.embedded_before, embedding_share=np.zeros(1))


def split_loss(model: ServiceModel, tightened: Record, now: Record) -> LossSplit:
    """Return the loss between a tightening and a later record, both as the joint would be cold and without gas.

    Raises SolveError where a joint of part of the causes does not come to equilibrium.
    """
    before, after = at_peak(tightened.memory), now.memory

    def clamp(memory: Memory) -> float:
        return model.mean(cold_force(model, memory))

    peak, left = clamp(_mixed(before, after, ())), clamp(_mixed(before, after, CAUSES))
    parts = dict.fromkeys(CAUSES, 0.0)
    for order in (CAUSES, CAUSES[::-1]):
        taken: tuple[str, ...] = ()
        clamp_so_far = peak
        for cause in order:
            taken = (*taken, cause)
            next_clamp = left if len(taken) == len(CAUSES) else clamp(_mixed(before, after, taken))
            parts[cause] += (clamp_so_far - next_clamp) / 2.0
            clamp_so_far = next_clamp
    whole = peak - left
    actual = peak - model.mean(now.cold_force) if now.cold_force is not None else whole
    error = abs(sum(parts.values()) - actual) / max(abs(actual), 1e-9 * peak, 1e-6)
    return LossSplit(peak, parts, left, error)


def _mixed(before: Memory, after: Memory, causes: Sequence[str]) -> Memory:
    """Return a memory that has changed by some causes only; nothing yields anew in it."""

    def of(cause: str) -> Memory:
        return after if cause in causes else before

    plastic_set = of("gasket set").permanent_set - of("gasket set").crept
    crept = of("gasket creep").crept
    return dataclasses.replace(
        after,
        permanent_set=plastic_set + crept,
        crept=crept,
        travel=of("retorque").travel,
        axial=of("fastener yield").axial,
        creep=of("fastener relaxation").creep,
        embedded=of("embedding").embedded,
        bearing_set=of("bearing set").bearing_set,
        q=before.q,
    )
