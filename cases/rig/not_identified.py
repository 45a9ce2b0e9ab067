"""What a rig log cannot tell, why, and which measurement would."""

from __future__ import annotations

from collections.abc import Iterator
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
    missing = [
        *_of_friction(clean, values),
        *_of_stretch(clean, rig, values),
        *_of_strength(clean, rig, values),
        *_of_time_and_heat(values),
    ]
    if not any(key.startswith("nut_factor, use") for key in values):
        missing.append(Missing("second use", "the log holds one use", "loosen, tighten again, column 'use' at 2"))
    return tuple(missing)


def _of_friction(clean: Cleaned, values: Values) -> Iterator[Missing]:
    log = clean.log
    if not log.has("torque"):
        yield Missing("nut factor and friction", "no torque was read", "a torque wrench read beside the force")
        return
    if "thread_friction" not in values:
        why = "torque and force give only the sum of thread and bearing friction"
        if log.has("angle"):
            why += f". {ANGLE_SAYS}"
        would = (
            "turn the nut back in the same log (step 'loosen', angle read at the nut); or torque measured in the shank "
            "(column 'shank torque'); or a run on a thrust bearing of known friction ([rig.bearing])"
        )
        yield Missing("thread and bearing friction apart", why, would)
    yield Missing(BETWEEN_FASTENERS, "one log holds one fastener", "several fasteners, one log each, given together")


def _of_stretch(clean: Cleaned, rig: Rig, values: Values) -> Iterator[Missing]:
    if "stretch_compliance" not in values:
        yield Missing(
            "elastic slope, effective length, zero offset", "no stretch was read", "a dial indicator over both ends"
        )
    elif rig.stated.gauges.stretch.position == "end to base":
        yield Missing(
            "the fastener's own stretch",
            "the indicator stands on the base, so what lower thread and base give way is in its reading",
            "an indicator over both ends",
        )
    if "setup_compliance" not in values:
        twist = "" if clean.log.has("torque") else ", and torque for the twist"
        why = f"angle and stretch of one tightening are both needed{twist}"
        yield Missing("compliance of the set-up", why, "an angle gauge and an indicator, read together")


def _of_strength(clean: Cleaned, rig: Rig, values: Values) -> Iterator[Missing]:
    log = clean.log
    reached = greatest(clean, np.isfinite(clean.force))
    if rig.stated.load is not None and rig.stated.load > FURTHER * reached:
        yield Missing(
            "torque and stretch at the load",
            f"the rig states a load of {rig.stated.load / 1e3:.4g} kN, and no more than two readings of the log lie "
            f"above {reached / 1e3:.4g} kN",
            "tighten that far and read more often, or state a lower [rig] load",
        )
    if "yield_force" not in values:
        most = greatest(clean, log.at("tighten") | log.at("pull"))
        why = f"no yield was reached: it lies above {most / 1e3:.1f} kN" if most else "nothing was tightened or pulled"
        yield Missing("yield", why, "pull or turn on until the curve bends, with stretch read, behind a guard")
    if "ultimate_force" not in values:
        yield Missing("ultimate", "the force never fell again in a pull", "a pull to the greatest force (step 'pull')")


def _of_time_and_heat(values: Values) -> Iterator[Missing]:
    if "per_decade" not in values:
        yield Missing(
            "settling and relaxation", "no clamp was left standing with time read", "step 'hold', an hour or more"
        )
    else:
        yield Missing(
            "whose loss it is",
            "seals of the ram, faces and fastener lose clamp together, and the pressure tells the sum",
            "the same wait with a plain bar in place of the fastener, or on a load cell in place of the ram",
        )
    if "per_degree" not in values:
        yield Missing(
            "clamp per degree",
            "no step 'heat' with temperature read over at least 5 K",
            "warm the rig by 20 K or more and let it cool, nut untouched",
        )
