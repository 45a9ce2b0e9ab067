"""A service at the ends of the scatter of its tightening."""

from __future__ import annotations

import dataclasses

from headjoint.model.service import Retorque, Step, Tighten


def at_scatter(steps: tuple[Step, ...], factor: float) -> tuple[Step, ...]:
    """Return steps whose tightening reaches `factor` of its clamp.

    Torques, snug forces, angles, stretch, pull and preload are scaled: below yield clamp is in proportion to each.
    Yield control stops where the fastener yields, whatever the tool; there the factor says nothing.
    """
    return tuple(_scaled(step, factor) for step in steps)


def _scaled(step: Step, factor: float) -> Step:
    def scaled(value: float | None) -> float | None:
        return None if value is None else factor * value

    if isinstance(step, Tighten):
        return dataclasses.replace(
            step,
            torques=tuple(factor * torque for torque in step.torques),
            angles=tuple(factor * angle for angle in step.angles),
            stretch=scaled(step.stretch),
            pull=scaled(step.pull),
            snug=scaled(step.snug),
            preload=scaled(step.preload),
        )
    if isinstance(step, Retorque):
        return dataclasses.replace(step, torque=scaled(step.torque))
    return step
