"""What the fits should find in a log of the stepped rig."""

from __future__ import annotations

import math

import numpy as np

from headjoint.model.rig.rig import Rig
from validation.stepped_rig import COLD, DAY, Bench, Machine, flank_arms, settled_share


def truth(rig: Rig, bench: Bench, machine: Machine) -> dict[str, float]:
    """Return what the fits should find, internal units, by key."""
    d = rig.thread.nominal_diameter
    found: dict[str, float] = {}
    for use, more in ((1, 1.0), (2, bench.second)):
        of = "" if use == 1 else f", use {use}"
        arm = flank_arms(rig, bench.thread_friction * more)[0]
        arm += rig.bearing_diameter / 2.0 * bench.bearing_friction * more
        found |= {
            f"nut_factor{of}": arm / d,
            f"thread_friction{of}": bench.thread_friction * more,
            f"bearing_friction{of}": bench.bearing_friction * more,
            f"stretch_compliance{of}": bench.stretch,
            f"setup_compliance{of}": bench.setup,
            f"stretch_zero{of}": bench.dial_at,
            f"pitch{of}": rig.thread.pitch,
        }
        if rig.stated.load is not None:
            found[f"torque_at_load{of}"] = arm * rig.stated.load
    E = rig.joint.fastener.material.E.at(COLD)
    found["effective_length"] = bench.stretch * E * rig.shank.area
    if rig.stated.load is not None:
        found["stretch_at_load"] = bench.stretch * rig.stated.load
    found |= {
        "settled": sum(share for share, _ in bench.settles),
        "per_decade": bench.creep,
        "lost_in_a_day": settled_share(bench, DAY),
        "struck": -bench.struck,
        "per_degree": bench.per_degree,
        "lost_by_heat": _flowed_in_heat(bench, machine),
    }
    return found | _strength(rig, machine)


def _flowed_in_heat(bench: Bench, machine: Machine) -> float:
    """Return the share of clamp that went with what the fastener flowed while it was hot."""
    hot = [at for at, word in enumerate(machine.words) if word == ("heat", 1)]
    if not hot:
        return 0.0
    before, after = machine.rows[hot[0] - 1], machine.rows[hot[-1]]
    top = max(row["force"] for row, word in zip(machine.rows, machine.words, strict=True) if word == ("tighten", 1))
    return (after["plastic"] - before["plastic"]) / (bench.stretch + bench.setup) / top


def _strength(rig: Rig, machine: Machine) -> dict[str, float]:
    force, plastic, twist = (np.array([row[name] for row in machine.rows]) for name in ("force", "plastic", "twist"))
    offset = rig.stated.offset * rig.offset_length
    if plastic.max() < offset:
        return {}
    at = int(np.argmax(plastic >= offset))
    share = (offset - plastic[at - 1]) / (plastic[at] - plastic[at - 1])
    yielding = force[at - 1] + share * (force[at] - force[at - 1])
    shear = abs(twist[at] / machine.bench.torsion) / (math.pi / 12.0 * machine.core**3)
    found = {"yield_force": yielding, "proof_stress": math.sqrt((yielding / machine.section) ** 2 + 3.0 * shear**2)}
    if any(step == "pull" for step, _ in machine.words):
        found |= {
            "ultimate_force": force.max(),
            "ultimate_strength": force.max() / machine.section,
            "proof_stress": yielding / machine.section,
        }
    return found
