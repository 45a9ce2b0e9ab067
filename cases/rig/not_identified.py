"""What a rig log cannot tell, why, and which measurement would."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from headjoint.cases.rig.cleaning import Cleaned
from headjoint.cases.rig.fits import FURTHER, Values, greatest
from headjoint.model.rig.rig import Rig

BETWEEN_FASTENERS = "scatter from fastener to fastener"
ANGLE_SAYS = (
    "While the nut is turned on, angle tells travel: pitch times turns is stretch plus shortening of the set-up, "
    "whatever friction is. Friction enters angle only through the fastener's twist, a few degrees. It shows when the "
    "nut is turned back: it turns by that twist, and by that of loosening, before its thread slips and clamp falls"
)


@dataclass(frozen=True)
class Missing:
    """A quantity that the log leaves open: why, and what would tell."""

    name: str
    why: str
    would: str


def missing_from(clean: Cleaned, rig: Rig, values: Values) -> tuple[Missing, ...]:
    """Return what could not be identified from this log."""
    log = clean.log
    found: list[Missing] = []
    torque = log.has("torque")
    if not torque:
        found.append(Missing("nut factor and friction", "no torque was read", "a torque wrench read beside the force"))
    elif "thread_friction" not in values:
        why = "torque and force give only the sum of thread and bearing friction"
        if log.has("angle"):
            why += f". {ANGLE_SAYS}"
        would = (
            "turn the nut back in the same log (step 'loosen', angle read at the nut); or torque measured in the shank "
            "(column 'shank torque'); or a run on a thrust bearing of known friction ([rig.bearing])"
        )
        found.append(Missing("thread and bearing friction apart", why, would))
    if torque:
        found.append(
            Missing(
                BETWEEN_FASTENERS,
                "one log holds one fastener",
                "several fasteners, one log each, given together",
            )
        )
    if "stretch_compliance" not in values:
        found.append(
            Missing(
                "elastic slope, effective length, zero offset", "no stretch was read", "a dial indicator over both ends"
            )
        )
    elif rig.stated.gauges.stretch.position == "end to base":
        found.append(
            Missing(
                "the fastener's own stretch",
                "the indicator stands on the base, so what lower thread and base give way is in its reading",
                "an indicator over both ends",
            )
        )
    if "setup_compliance" not in values:
        why = "angle and stretch of one tightening are both needed" + ("" if torque else ", and torque for the twist")
        found.append(Missing("compliance of the set-up", why, "an angle gauge and an indicator, read together"))
    reached = greatest(clean, np.isfinite(clean.force))
    if rig.stated.load is not None and rig.stated.load > FURTHER * reached:
        found.append(
            Missing(
                "torque and stretch at the load",
                f"the rig states a load of {rig.stated.load / 1e3:.4g} kN, and the log ends at {reached / 1e3:.4g} kN",
                "tighten that far, or state a lower [rig] load",
            )
        )
    if "yield_force" not in values:
        most = greatest(clean, log.at("tighten") | log.at("pull"))
        why = f"no yield was reached: it lies above {most / 1e3:.1f} kN" if most else "nothing was tightened or pulled"
        found.append(Missing("yield", why, "pull or turn on until the curve bends, with stretch read, behind a guard"))
    if "ultimate_force" not in values:
        found.append(
            Missing("ultimate", "the force never fell again in a pull", "a pull to the greatest force (step 'pull')")
        )
    if "per_decade" not in values:
        found.append(
            Missing(
                "settling and relaxation", "no clamp was left standing with time read", "step 'hold', an hour or more"
            )
        )
    else:
        found.append(
            Missing(
                "whose loss it is",
                "seals of the ram, faces and fastener lose clamp together, and the pressure tells the sum",
                "the same wait with a plain bar in place of the fastener, or on a load cell in place of the ram",
            )
        )
    if "per_degree" not in values:
        found.append(
            Missing(
                "clamp per degree",
                "no step 'heat' with temperature read over at least 5 K",
                "warm the rig by 20 K or more and let it cool, nut untouched",
            )
        )
    if not any(key.startswith("nut_factor, use") for key in values):
        found.append(Missing("second use", "the log holds one use", "loosen, tighten again, column 'use' at 2"))
    return tuple(found)
