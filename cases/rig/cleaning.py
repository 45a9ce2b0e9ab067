"""What is put right in a rig log before anything is fitted, and said: zeros, resets, a stalled or slipping gauge."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import InputError
from headjoint.model.rig.log import RigLog
from headjoint.model.rig.rig import Rig

MOVING = ("tighten", "loosen", "pull")
STALL_ROWS = 5  # same readings in a row before an indicator counts as stuck
STALL_SHARE = 0.04  # of the step's range of force that passes meanwhile
JUMP = 12.0  # times the usual scatter of increments beyond which a reading jumps
JUMP_SHARE = 0.02  # of the range, that a jump has at least
RESET_SHARE = 0.2  # of the angle so far that a reset takes off in one row


@dataclass(frozen=True)
class Cleaned:
    """A log put right: force in every row, zeros taken off, suspect readings taken out.

    tare : channel -> standard error of the zero that was taken off it, from rows at no load. taken_out : channel ->
    (n,) readings that no fit sees, not-a-number elsewhere. notes : what was done. faults : what makes figures
    untrustworthy, sentences.
    """

    log: RigLog
    tare: dict[str, float] = field(default_factory=dict)
    taken_out: dict[str, FloatArray] = field(default_factory=dict, repr=False)
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
    gauges = rig.stated.gauges
    if "pressure" in log.channels and gauges.pressure is None:
        raise InputError(
            "the log reads a pressure, but the rig states no gauge for it", field="rig.gauges.pressure", file=log.file
        )
    if "force" in log.channels and gauges.force is None:
        raise InputError(
            "the log reads a force, but the rig states no gauge for it", field="rig.gauges.force", file=log.file
        )
    if log.has("torque") and gauges.torque is None:
        raise InputError(
            "the log reads a torque, but the rig states no gauge for it", field="rig.gauges.torque", file=log.file
        )
    notes, faults = list(log.notes), []
    channels = dict(log.channels)
    log = replace(log, channels=channels)
    tare = _tared(log, channels)
    if "pressure" in channels:
        channels["force"] = rig.stated.ram.area * channels["pressure"]
    for name in ("torque", "shank torque"):
        if name in channels:
            channels[name] = np.abs(channels[name])  # loosening is read with either sign
    notes += _joined_resets(log, channels)
    notes += _sorted_time(log, channels)
    before: dict[str, FloatArray] = {name: channels[name].copy() for name in ("stretch", "angle") if name in channels}
    for name, what in (("stretch", "the indicator"), ("angle", "the angle gauge")):
        if name in channels:
            notes += _unstuck(log, channels, name, what)
    if "stretch" in channels:
        faults += _after_jumps(log, channels)
    lost = {name: np.where(np.isnan(channels[name]), values, np.nan) for name, values in before.items()}
    return Cleaned(replace(log, channels=channels), tare, lost, tuple(notes), tuple(faults))


def _tared(log: RigLog, channels: dict[str, FloatArray]) -> dict[str, float]:
    """Take the mean reading at no load off pressure, force and torque; return its standard error."""
    free = log.at("zero")
    tare: dict[str, float] = {}
    for name in ("pressure", "force", "torque", "shank torque"):
        if name in channels and (rows := int(np.isfinite(channels[name][free]).sum())):
            readings = channels[name][free]
            channels[name] = channels[name] - np.nanmean(readings)
            tare[name] = float(np.nanstd(readings) / np.sqrt(max(rows - 1, 1)))
    return tare


def _joined_resets(log: RigLog, channels: dict[str, FloatArray]) -> list[str]:
    """Join the angle where the gauge was set to zero within a tightening: it falls at once and the force does not."""
    if "angle" not in channels:
        return []
    notes = []
    angle = channels["angle"].copy()
    for use in log.uses:
        rows = np.flatnonzero(log.at("tighten", use) & np.isfinite(angle) & np.isfinite(channels["force"]))
        if len(rows) < 4:
            continue
        force = channels["force"][rows]
        step, rise = np.diff(angle[rows]), np.diff(force)
        usual = float(np.median(np.abs(step)))
        for at in np.flatnonzero(step < -max(RESET_SHARE * np.ptp(angle[rows]), 10.0 * usual)):
            if rise[at] > -0.05 * np.ptp(force):
                # what was turned in the row of the reset follows from the force, by the turning just before
                near = slice(max(0, at - 5), at)
                per_force = float(np.sum(step[near]) / max(float(np.sum(rise[near])), 1e-9))
                later = rows[at + 1 :]
                angle[later] += per_force * rise[at] - step[at]
                notes.append(
                    f"the angle gauge was set to zero at line {log.line[rows[at + 1]]}; its readings were joined there"
                )
    channels["angle"] = angle
    return notes


def _sorted_time(log: RigLog, channels: dict[str, FloatArray]) -> list[str]:
    """Let time go on where the logger began anew."""
    if "time" not in channels:
        return []
    time = channels["time"].copy()
    back = np.flatnonzero(np.diff(time) < 0.0)
    for at in back:
        time[at + 1 :] += time[at] - time[at + 1]
    channels["time"] = time
    return [f"time starts anew at line {log.line[at + 1]}; it was joined there" for at in back]


def _unstuck(log: RigLog, channels: dict[str, FloatArray], name: str, what: str) -> list[str]:
    """Take out readings that stay the same to the last digit while the force goes on changing."""
    said = []
    values = channels[name].copy()
    for step in MOVING:
        for use in log.uses:
            rows = np.flatnonzero(log.at(step, use) & np.isfinite(values) & np.isfinite(channels["force"]))
            if len(rows) < 2 * STALL_ROWS or (name == "angle" and step == "pull"):
                continue
            force = channels["force"][rows]
            reading = channels[name][rows]
            edges = np.flatnonzero(np.diff(reading) != 0.0) + 1
            for run in np.split(np.arange(len(rows)), edges):
                passed = abs(force[run[-1]] - force[run[0]])
                expected = passed * np.ptp(reading) / max(np.ptp(force), 1e-9)
                finest = np.min(np.abs(np.diff(reading))[np.diff(reading) != 0.0], initial=np.inf)
                stuck = len(run) >= STALL_ROWS and passed > STALL_SHARE * np.ptp(force) and expected > 3.0 * finest
                # a nut whose thread stands still at the start of loosening keeps its angle no row long
                if stuck and np.isfinite(finest):
                    values[rows[run[1:]]] = np.nan
                    said.append(
                        f"{what} stood still from line {log.line[rows[run[0]]]} to {log.line[rows[run[-1]]]} while the "
                        f"force changed by {passed / 1e3:.1f} kN; those readings were taken out"
                    )
    channels[name] = values
    return said


def _after_jumps(log: RigLog, channels: dict[str, FloatArray]) -> list[str]:
    """Take out stretch beyond a jump that the force does not make: the indicator slipped or was set anew."""
    said = []
    values = channels["stretch"].copy()
    for use in log.uses:
        for step in MOVING:
            rows = np.flatnonzero(log.at(step, use) & np.isfinite(values) & np.isfinite(channels["force"]))
            if len(rows) < 12:
                continue
            force, reading = channels["force"][rows], values[rows]
            odd, off = _jumps(force, reading)
            if not len(odd):
                continue
            pieces = np.split(np.arange(len(rows)), odd + 1)
            kept = max(pieces, key=lambda piece: np.ptp(force[piece]))
            lost = np.setdiff1d(np.arange(len(rows)), kept)
            values[rows[lost]] = np.nan
            at = ", ".join(str(log.line[rows[one + 1]]) for one in odd)
            sizes = ", ".join(f"{size:+.3f} mm" for size in off)
            said.append(
                f"the indicator jumps at line {at} ({sizes}) while the force does not: it slipped or was set anew. "
                f"Only lines {log.line[rows[kept[0]]]} to {log.line[rows[kept[-1]]]} of that step are used for stretch"
            )
    channels["stretch"] = values
    return said


def _jumps(force: FloatArray, reading: FloatArray) -> tuple[NDArray[np.int64], FloatArray]:
    """Return the rows after which the reading jumps, told from its neighbours' increments per force, and how far."""
    step, rise = np.diff(reading), np.diff(force)
    slope = float(np.median(step[np.abs(rise) > 0.0] / rise[np.abs(rise) > 0.0])) if np.any(rise) else 0.0
    rest = step - slope * rise
    # plastic flow makes rests that go on; a jump stands alone among its neighbours
    padded = np.pad(rest, 3, mode="reflect")
    around = np.stack([padded[i : i + len(rest)] for i in range(7) if i != 3])
    usual = np.median(around, axis=0)
    scatter = 1.5 * np.median(np.abs(rest - usual)) + 1e-9
    stand_out = np.abs(rest - usual) > np.maximum(JUMP * scatter, JUMP_SHARE * np.ptp(reading))
    odd = np.flatnonzero(stand_out & (np.abs(rest - usual) > 3.0 * np.max(np.abs(around - usual), axis=0)))
    return odd, (rest - usual)[odd]
