"""What is put right in a rig log before anything is fitted, and said: order, uses, zeros; gauges in `gauge_slips`."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from headjoint.cases.rig.faults import STANDING, Fault
from headjoint.cases.rig.gauge_slips import after_jumps, joined_resets, unstuck
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import InputError
from headjoint.model.rig.log import RigLog
from headjoint.model.rig.rig import Rig

LOOSE = 0.5  # of the greatest force of a use, below which what is tightened next is another use
ANEW = 0.05  # of the time logged: below it a clock that falls back has begun anew
BELOW = 0.005  # of the gauge's range that a pressure may read below nothing besides its class
MOVED = 1.0  # times the gauge's class, by which its zero may differ between start and end


@dataclass(frozen=True)
class Cleaned:
    """A log put right: force in every row, zeros taken off, suspect readings taken out.

    tare : channel -> standard error of the zero that was taken off it, from rows at no load. taken_out : channel ->
    (n,) readings that no fit sees, not-a-number elsewhere. joined : rows from which the angle counts on from a gauge
    set to zero. notes : what was done. faults : what makes figures untrustworthy, sentences.
    """

    log: RigLog
    tare: dict[str, float] = field(default_factory=dict)
    taken_out: dict[str, FloatArray] = field(default_factory=dict, repr=False)
    joined: tuple[int, ...] = ()
    notes: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()

    @property
    def force(self) -> FloatArray:
        """Force (n,), N."""
        return self.log.channels["force"]


def cleaned(log: RigLog, rig: Rig) -> Cleaned:
    """Return the log with force from pressure and area, zeros taken off, resets joined, stuck readings taken out.

    Raises InputError where the rig states no gauge for what the log reads.
    """
    _check_gauges(log, rig)
    notes: list[str] = list(log.notes)
    faults: list[str] = []
    log, said = _in_order(log)
    notes += said
    channels = dict(log.channels)
    log = replace(log, channels=channels)
    faults += _below_nothing(log, rig) + _moved_zero(log, rig)
    tare = _tared(log, channels)
    if "pressure" in channels:
        channels["force"] = rig.stated.ram.area * channels["pressure"]
    for name in ("torque", "shank torque"):
        if name in channels:
            channels[name] = np.abs(channels[name])  # loosening is read with either sign
    log, said = _uses_told_apart(log)
    notes += said
    before: dict[str, FloatArray] = {
        name: channels[name].copy() for name in ("stretch", "angle", "force") if name in channels
    }
    said, joined = joined_resets(log, channels)
    before |= {"angle": channels["angle"].copy()} if joined else {}
    notes += said + unstuck(log, channels)
    faults += after_jumps(log, channels, rig)
    lost: dict[str, FloatArray] = {
        name: np.where(np.isnan(channels[name]), values, np.nan) for name, values in before.items()
    }
    return Cleaned(replace(log, channels=channels), tare, lost, joined, tuple(notes), tuple(faults))


def _check_gauges(log: RigLog, rig: Rig) -> None:
    gauges = rig.stated.gauges
    stated = {"pressure": gauges.pressure, "force": gauges.force, "torque": gauges.torque}
    for name, gauge in stated.items():
        if name in log.channels and gauge is None and (name != "torque" or log.has("torque")):
            raise InputError(
                f"the log reads a {name}, but the rig states no gauge for it", field=f"rig.gauges.{name}", file=log.file
            )


def _in_order(log: RigLog) -> tuple[RigLog, list[str]]:
    """Let time go on where the logger began anew; put rows in the order of time where some stand elsewhere."""
    if "time" not in log.channels:
        return log, []
    time, said = log.channels["time"].copy(), []
    for at in np.flatnonzero(np.diff(time) < 0.0):
        if time[at + 1] - time[0] > ANEW * (time[at] - time[0]):
            continue
        time[at + 1 :] += time[at] - time[at + 1]
        said.append(f"time starts anew at line {log.line[at + 1]}; it was joined there")
    order = np.arange(log.rows)
    known = np.flatnonzero(np.isfinite(time))
    if len(known) and np.any(np.diff(time[known]) < 0.0):
        filled = np.interp(order, known, time[known])
        order = np.argsort(filled, kind="stable")
        moved = [str(log.line[row]) for row in np.flatnonzero(np.diff(time[known]) < 0.0)[:3] + 1]
        said.append(f"rows are not in the order of time (line {', '.join(moved)}); they were put in order")
    channels = {name: values[order] for name, values in (log.channels | {"time": time}).items()}
    ordered = replace(log, channels=channels, step=log.step[order], use=log.use[order], line=log.line[order])
    return ordered, said


def _uses_told_apart(log: RigLog) -> tuple[RigLog, list[str]]:
    """Count a use more where the fastener is tightened again after it was let loose, and no column says so."""
    force, use, said = log.channels["force"], log.use.copy(), []
    top, turned, loose = 0.0, False, False
    for row in range(log.rows):
        if row and log.use[row] != log.use[row - 1]:
            top, turned, loose = 0.0, False, False
        if log.step[row] == "loosen":
            loose = loose or (turned and force[row] < max(LOOSE * top, 1e-9))
        elif log.step[row] == "tighten":
            if loose and force[row] < top:
                use[row:] += 1
                said.append(
                    f"tightened again from line {log.line[row]} on after it was let loose: counted as use {use[row]}"
                )
                top, loose = 0.0, False
            turned = True
        if np.isfinite(force[row]):
            top = max(top, float(force[row]))
    return replace(log, use=use), said


def _below_nothing(log: RigLog, rig: Rig) -> list[str]:
    """Find pressures that no gauge can read."""
    gauge = rig.stated.gauges.pressure
    if gauge is None or "pressure" not in log.channels:
        return []
    pressure = log.channels["pressure"]
    low = pressure < -(gauge.accuracy + BELOW) * gauge.range
    if not low.any():
        return []
    row = int(np.nanargmin(pressure))
    return [
        Fault(
            f"pressure reads {pressure[row]:.3g} MPa at line {log.line[row]}, far below nothing: sign or zero of the "
            "gauge is wrong, or the column holds something else. Forces are not to be trusted"
        )
    ]


def _moved_zero(log: RigLog, rig: Rig) -> list[str]:
    """Find a gauge whose reading at no load is not what it was at the start."""
    gauge, free = rig.stated.gauges.pressure, np.flatnonzero(log.at("zero"))
    if gauge is None or "pressure" not in log.channels or not len(free):
        return []
    pressure = log.channels["pressure"]
    loaded = np.flatnonzero(~log.at("zero"))
    if not len(loaded) or not (free < loaded[0]).any() or not (free > loaded[0]).any():
        return []
    first = float(np.nanmean(pressure[free[free < loaded[0]]]))
    moved = float(np.nanmean(pressure[free[free > loaded[0]]])) - first
    if abs(moved) < MOVED * gauge.accuracy * gauge.range:
        return []
    return [
        Fault(
            f"the pressure gauge's zero moved by {moved:+.3g} MPa between the first and the later rows at no load: "
            "what the clamp lost while it stood may be the gauge's",
            STANDING,
        )
    ]


def _tared(log: RigLog, channels: dict[str, FloatArray]) -> dict[str, float]:
    """Take the mean reading at no load off pressure, force and torque; return its standard error."""
    free = log.at("zero")
    tare: dict[str, float] = {}
    for name in ("pressure", "force", "torque", "shank torque"):
        if name in channels and (rows := int(np.isfinite(channels[name][free]).sum())):
            readings = channels[name][free]
            channels[name] = channels[name] - np.nanmean(readings)
            least = log.resolution.get(name, 0.0) / np.sqrt(12.0)
            tare[name] = max(float(np.nanstd(readings) / np.sqrt(max(rows - 1, 1))), least)
    return tare
