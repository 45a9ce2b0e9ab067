"""What decides how tight a joint is: the one quantity of its method that sizing varies."""

from __future__ import annotations

import math

from headjoint.model.joint import Tightening


def how_tight(tight: Tightening) -> tuple[str, str, float, str]:
    """Return path, name, value and unit of what decides how tight; stages count as one."""
    step = tight.step
    if tight.torque is not None:
        return "tightening.torque", "tightening torque", tight.torque / 1e3, "N.m"
    if step.preload is not None:
        return "tightening.preload", "preload", step.preload / 1e3, "kN"
    if step.pull is not None:
        return "tightening.pull", "pull of the tensioner", step.pull / 1e3, "kN"
    if step.stretch is not None:
        return "tightening.stretch", "stretch of the fastener", step.stretch, "mm"
    if step.gradient is not None:
        return "tightening.yield_slope", "slope at which yield control stops", step.gradient, ""
    return "tightening.angle", "angle of tightening", math.degrees(sum(step.angles)), "deg"
