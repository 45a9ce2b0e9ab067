"""What a rig log cannot tell, why, and which measurement would."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from headjoint.cases.rig.cleaning import Cleaned
from headjoint.cases.rig.fits import FURTHER, LOWEST, Values, greatest
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
        *_of_time(clean, values),
        *_of_heat(clean, values),
    ]
    if not any(", use" in key for key in values):
        missing.append(Missing("second use", "the log holds one use", "loosen, tighten again, column 'use' at 2"))
    return tuple(missing)


def _readings(clean: Cleaned, step: str, *channels: str) -> int:
    """Return in how many rows of a step, under a load worth fitting, force and channels were read."""
    log = clean.log
    rows = log.at(step) & (clean.force > LOWEST * greatest(clean, np.isfinite(clean.force)))
    for name in channels:
        rows = rows & np.isfinite(log.channels[name])
    return int(rows.sum())


def _of_friction(clean: Cleaned, values: Values) -> Iterator[Missing]:
    log = clean.log
    if not log.has("torque"):
        yield Missing("nut factor and friction", "no torque was read", "a torque wrench read beside the force")
        return
    if "nut_factor" not in values:
        count = _readings(clean, "tighten", "torque")
        yield Missing(
            "nut factor and friction",
            f"a slope needs two readings of torque and force under load, and the log has {count}",
            "read both at three loads or more",
        )
        return
    if "thread_friction" not in values:
        why = "torque and force give only the sum of thread and bearing friction"
        if log.has("angle"):
            back = _readings(clean, "loosen", "angle")
            why += f". {ANGLE_SAYS}"
            if back:
                why += (
                    f". The log has {back} such readings under load; the least are two beyond the first slip, far apart"
                )
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
        lacks = [name for name in ("angle", "stretch", "torque") if not clean.log.has(name)]
        if lacks:
            why = "angle and stretch of one tightening are needed, and torque for the twist; the log has no "
            why += " and no ".join(lacks)
        else:
            count = _readings(clean, "tighten", "angle", "stretch")
            why = f"{count} readings of angle and stretch under load, in one go, give no two lines over force"
        yield Missing(
            "compliance of the set-up",
            why,
            "an angle gauge, an indicator and a wrench, read together at three loads or more",
        )


def _of_strength(clean: Cleaned, rig: Rig, values: Values) -> Iterator[Missing]:
    log = clean.log
    reached = greatest(clean, np.isfinite(clean.force))
    if rig.stated.load is not None and rig.stated.load > FURTHER * reached:
        yield Missing(
            "torque and stretch at the load",
            f"the rig states a load of {rig.stated.load / 1e3:.4g} kN, and the greatest force of the log is "
            f"{reached / 1e3:.4g} kN",
            "tighten that far, or state a lower [rig] load",
        )
    if "yield_force" not in values:
        most = greatest(clean, log.at("tighten") | log.at("pull"))
        why = f"no yield was reached: it lies above {most / 1e3:.1f} kN" if most else "nothing was tightened or pulled"
        yield Missing("yield", why, "pull or turn on until the curve bends, with stretch read, behind a guard")
    if "ultimate_force" not in values:
        yield Missing("ultimate", "the force never fell again in a pull", "a pull to the greatest force (step 'pull')")


def _of_time(clean: Cleaned, values: Values) -> Iterator[Missing]:
    log = clean.log
    held = log.at("hold") & np.isfinite(clean.force)
    timed = held & np.isfinite(log.channels["time"]) if "time" in log.channels else np.zeros(log.rows, dtype=bool)
    open_ = {"per_decade": "lost per tenfold time", "settled": "settled soon", "lost_in_a_day": "lost in a day"}
    open_ = {key: name for key, name in open_.items() if key not in values}
    if not held.any():
        yield Missing(
            "settling and relaxation", "no clamp was left standing (step 'hold')", "step 'hold', an hour or more"
        )
    elif not timed.any():
        yield Missing("settling and relaxation", "a clamp was left standing, but no time was read", "column 'time [s]'")
    elif open_:
        times = log.channels["time"][timed]
        long = float(times.max() - times.min())
        yield Missing(
            ", ".join(open_.values()),
            f"{int(timed.sum())} readings over {_span(long)} leave it open within what is usual anyway",
            "readings at 5 min, 1 h and 24 h at least, the last one under the wrench before them, and a finer scale",
        )
    if len(open_) < 3:
        yield Missing(
            "whose loss it is",
            "seals of the ram, faces and fastener lose clamp together, and the pressure tells the sum",
            "the same wait with a plain bar in place of the fastener, or on a load cell in place of the ram",
        )
    if log.at("strike").any() and "struck" not in values:
        yield Missing(
            "change by hammer",
            "no reading of the same clamp stands before the blow, or scatter hides it",
            "the force read before and after, by several readings each",
        )


def _span(seconds: float) -> str:
    for unit, size in (("h", 3600.0), ("min", 60.0)):
        if seconds >= 2.0 * size:
            return f"{seconds / size:.3g} {unit}"
    return f"{seconds:.3g} s"


def _of_heat(clean: Cleaned, values: Values) -> Iterator[Missing]:
    if "per_degree" in values:
        return
    log = clean.log
    hot = log.at("heat") & np.isfinite(clean.force)
    would = "warm the rig by 20 K or more and let it cool, nut untouched, temperature read"
    if not hot.any():
        why = "the log has no step 'heat'"
    elif not log.has("temperature"):
        why = "step 'heat' was logged without a temperature"
    else:
        near = hot | np.append(hot[1:], False)
        span = float(np.nanmax(log.channels["temperature"][near]) - np.nanmin(log.channels["temperature"][near]))
        why = f"its temperatures span {span:.1f} K, and 5 K are the least; a reading before it was warmed counts"
    yield Missing("clamp per degree", why, would)
