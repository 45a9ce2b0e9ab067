"""Friction of the ram's seals: pressure reads low while clamp rises, high while it falls, by a share of the force."""

from __future__ import annotations

import math

from headjoint.cases.rig.cleaning import Cleaned
from headjoint.cases.rig.fits import LOWEST, SLIDING, elastic_rows, greatest, over_force
from headjoint.cases.rig.rows import FEWEST, tightening
from headjoint.model.rig.rig import Rig


def seal_share(clean: Cleaned, rig: Rig, use: int) -> float:
    """Return the share of the force that seals may carry either way: root mean square of what rig file and log say.

    Stretch per force up against that down tells twice the share; the rig file's limit counts as even chances below it.
    """
    if "pressure" not in clean.log.channels:
        return 0.0
    limit = rig.stated.ram.seal_friction
    mean, variance = limit / 2.0, limit**2 / 12.0
    measured = _up_against_down(clean, rig, use)
    if measured is not None and variance > 0.0:
        share, doubt = measured
        weight = variance / (variance + doubt)
        mean, variance = mean + weight * (max(share, 0.0) - mean), variance * (1.0 - weight)
    return math.hypot(mean, math.sqrt(variance))


def _up_against_down(clean: Cleaned, rig: Rig, use: int) -> tuple[float, float] | None:
    """Return half the share by which stretch per force is greater up than down, and its variance."""
    log = clean.log
    if "stretch" not in log.channels:
        return None
    up_rows, down_rows = tightening(log, use), log.at("loosen", use)
    if up_rows.sum() < FEWEST or down_rows.sum() < FEWEST:
        return None
    chosen, yielded = elastic_rows(clean, rig, up_rows)
    most = greatest(clean, down_rows)
    down = over_force(clean, rig, down_rows & (clean.force > LOWEST * most) & (clean.force < SLIDING * most), "stretch")
    up = over_force(clean, rig, chosen, "stretch")
    if up is None or down is None or yielded or not up.slope > 0.0:
        return None
    variance = float(up.covariance[1, 1] + down.covariance[1, 1]) / (2.0 * up.slope) ** 2
    return (up.slope - down.slope) / (2.0 * up.slope), variance
