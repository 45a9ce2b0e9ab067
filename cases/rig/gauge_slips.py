"""Gauges that were set anew, stood still, jumped: joined, taken out, said - and which gauge it was where several tell.

Turning nut, stretch and torque all follow the force. Where two of them part from the force at one place by the same
force, it is the force that jumped; where one parts from it alone, it is that gauge.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from headjoint.cases.rig.faults import STRETCH, Fault
from headjoint.cases.rig.least_squares import least_squares
from headjoint.cases.rig.rows import pieces
from headjoint.model.base.arrays import FloatArray
from headjoint.model.rig.log import RigLog
from headjoint.model.rig.rig import Rig

MOVING = ("tighten", "loosen", "pull")
STALL_ROWS, FEW_STALL_ROWS = 5, 2  # same readings in a row before a gauge counts as stuck: of many rows, of few
STALL_SHARE, FEW_STALL_SHARE = 0.04, 0.15  # of the step's range that the others pass meanwhile
CATCHES_UP = 0.6  # of what it missed, that a stuck pressure makes up afterwards; a yielding fastener does not
JUMP = 12.0  # times the usual scatter of increments beyond which a reading jumps
JUMP_SHARE = 0.02  # of the range, that a jump has at least
LOADED = 0.03  # of the greatest force: below it faces seat and nothing is proportional
MANY = 12  # rows from which a jump is told from its neighbours; with fewer, from two lines with one slope
FEW_JUMP = 5.0  # standard deviations of its size that a jump of few rows has at least
RESET_SHARE = 0.1  # of the range of angle that a reset takes off in one row
REPEATS = {
    "stretch": 0.002,
    "angle": 0.004,
    "torque": 0.015,
}  # mm, rad, share: how readings by hand repeat (common practice, no source)
SAME = 0.35  # share by which two gauges may differ in the force that both say is missing
NAMES = {"stretch": "the indicator", "angle": "the angle gauge", "force": "the pressure gauge", "torque": "the wrench"}


def joined_resets(log: RigLog, channels: dict[str, FloatArray]) -> tuple[list[str], tuple[int, ...]]:
    """Join the angle where the gauge was set to zero within a tightening: it falls at once and the force does not.

    What stands after the tightening - waits, loosening - counts on from the new zero where that fits it better.
    """
    if "angle" not in channels:
        return [], ()
    notes, joined = [], []
    angle = channels["angle"].copy()
    for use in log.uses:
        rows = np.flatnonzero(log.at("tighten", use) & np.isfinite(angle) & np.isfinite(channels["force"]))
        if len(rows) < 3:
            continue
        force, span = channels["force"][rows], float(np.ptp(angle[rows]))
        step, rise = np.diff(angle[rows]), np.diff(force)
        offset = 0.0
        for at in np.flatnonzero((step < -RESET_SHARE * span) & (rise > -0.05 * np.ptp(force))):
            # what was turned in the row of the reset follows from the force, by the turning beside it
            near = np.arange(max(0, int(at) - 5), int(at)) if at else np.arange(1, min(6, step.size))
            per_force = float(np.sum(step[near]) / max(float(np.sum(rise[near])), 1e-9)) if len(near) else 0.0
            more = per_force * rise[at] - step[at]
            angle[rows[at + 1 :]] += more
            offset += more
            joined.append(int(rows[at + 1]))
            notes.append(
                f"the angle gauge was set to zero at line {log.line[rows[at + 1]]}; its readings were joined there"
            )
        after = np.flatnonzero((log.use == use) & np.isfinite(angle) & (np.arange(log.rows) > rows[-1]))
        if (
            offset
            and len(after)
            and abs(angle[after[0]] + offset - angle[rows[-1]]) < abs(angle[after[0]] - angle[rows[-1]])
        ):
            angle[after] += offset
    channels["angle"] = angle
    return notes, tuple(joined)


def unstuck(log: RigLog, channels: dict[str, FloatArray]) -> list[str]:
    """Take out readings that stay the same to the last digit while the others go on changing."""
    said = []
    for name in ("stretch", "angle", "force"):
        if name in channels:
            values = channels[name].copy()
            for step in MOVING:
                for use in log.uses:
                    if not (name != "stretch" and step == "pull"):
                        said += _stuck_in(log, channels, name, values, log.at(step, use))
            channels[name] = values
    return said


def _stuck_in(
    log: RigLog, channels: dict[str, FloatArray], name: str, values: FloatArray, mask: NDArray[np.bool_]
) -> list[str]:
    beside = "force" if name != "force" else next((one for one in ("stretch", "angle") if one in channels), None)
    if beside is None or (name == "force" and "angle" not in channels):
        return []
    rows = np.flatnonzero(mask & np.isfinite(values) & np.isfinite(channels[beside]))
    if len(rows) < FEW_STALL_ROWS + 1:
        return []
    reading, other = values[rows], channels[beside][rows]
    many = len(rows) >= 2 * STALL_ROWS
    least, share = (STALL_ROWS, STALL_SHARE) if many else (FEW_STALL_ROWS, FEW_STALL_SHARE)
    changes = np.abs(np.diff(reading))
    finest = np.min(changes[changes != 0.0], initial=np.inf)
    # steps of the scale that must be missing: with few rows its least change may be a whole row's
    missing = 3.0 * finest if many else 4.0 * max(log.resolution.get(name, 0.0), REPEATS.get(name, 0.0))
    said = []
    for run in np.split(np.arange(len(rows)), np.flatnonzero(np.diff(reading) != 0.0) + 1):
        passed = abs(other[run[-1]] - other[run[0]])
        expected = passed * np.ptp(reading) / max(np.ptp(other), 1e-9)
        stuck = len(run) >= least and passed > share * np.ptp(other) and expected > missing
        if stuck and name == "force":
            stuck = _catches_up(reading, other, run, expected) and _goes_on(channels, rows[run])
        # a nut whose thread stands still at the start of loosening keeps its angle no row long
        if stuck and np.isfinite(finest):
            values[rows[run[1:]]] = np.nan
            changed = (
                f"force changed by {passed / 1e3:.1f} kN"
                if name != "force"
                else "nut turned and the indicator moved on"
            )
            said.append(
                f"{_name(name, log)} stood still from line {log.line[rows[run[0]]]} to {log.line[rows[run[-1]]]} while "
                f"the {changed}; those readings were taken out"
            )
    return said


def _name(name: str, log: RigLog) -> str:
    return "the load cell" if name == "force" and "pressure" not in log.channels else NAMES[name]


def _catches_up(reading: FloatArray, other: FloatArray, run: NDArray[np.int64], expected: float) -> bool:
    """Return whether a reading makes up for what it missed in the row after a run of the same readings."""
    if run[-1] + 1 >= len(reading):
        return False
    usual = np.ptp(reading) / max(float(np.ptp(other)), 1e-9)
    more = abs(reading[run[-1] + 1] - reading[run[-1]]) - usual * abs(other[run[-1] + 1] - other[run[-1]])
    return bool(more > CATCHES_UP * expected)


def _goes_on(channels: dict[str, FloatArray], rows: NDArray[np.int64]) -> bool:
    """Return whether angle and stretch, as far as they were read, both move on over rows."""
    read = [channels[name][rows] for name in ("angle", "stretch") if name in channels]
    return all(np.isfinite(values).all() and np.all(np.diff(values) > 0.0) for values in read if len(values))


@dataclass(frozen=True)
class _Jump:
    """A reading that jumps after a row: at, among the rows looked at; size in the reading's unit; slope per force."""

    at: int
    size: float
    slope: float

    @property
    def force(self) -> float:
        """Force (N) that would be missing if it were the force that jumped."""
        return -self.size / self.slope


def after_jumps(log: RigLog, channels: dict[str, FloatArray], rig: Rig) -> list[str]:
    """Take out stretch beyond a jump that the force does not make, and say which gauge it was."""
    said: list[str] = []
    if "stretch" in channels:
        values = channels["stretch"].copy()
        for use in log.uses:
            for step in MOVING:
                for rows in _loaded_pieces(channels, log.at(step, use), values):
                    if step == "pull":  # beyond the greatest force it necks
                        rows = rows[: int(np.argmax(channels["force"][rows])) + 1]
                    said += _after_jumps_in(log, channels, rig, values, rows)
        channels["stretch"] = values
    return said


def _loaded_pieces(
    channels: dict[str, FloatArray], mask: NDArray[np.bool_], values: FloatArray
) -> list[NDArray[np.int64]]:
    """Return the rows of a step under load, piece by piece as it was done, in which force and values were read."""
    force = channels["force"]
    found = []
    for piece in pieces(mask):
        known = piece[np.isfinite(force[piece]) & np.isfinite(values[piece])]
        if len(known):
            found.append(known[force[known] > LOADED * np.max(force[known])])
    return found


def _after_jumps_in(
    log: RigLog, channels: dict[str, FloatArray], rig: Rig, values: FloatArray, rows: NDArray[np.int64]
) -> list[str]:
    force = channels["force"][rows]
    jumps = _jumps(force, values[rows], log, "stretch")
    if not jumps:
        return []
    lines = ", ".join(str(log.line[rows[one.at + 1]]) for one in jumps)
    if (read := channels.get("angle")) is not None and np.isfinite(read[rows]).all():
        turned = _size_at(force, read[rows], jumps[0].at)
        lead = rig.thread.pitch / (2.0 * math.pi)
        if turned is not None:
            travel, missing = lead * turned.size, turned.force
            if abs(travel - jumps[0].size) < SAME * abs(jumps[0].size) and travel > 0.0:
                return []  # nut and fastener both went on without force: it flows
            if abs(missing - jumps[0].force) < SAME * abs(jumps[0].force):
                return [_force_jumps(log, lines, missing)]
    split = np.split(np.arange(len(rows)), [one.at + 1 for one in jumps])
    kept = max(split, key=lambda piece: np.ptp(force[piece]))
    lost = np.setdiff1d(np.arange(len(rows)), kept)
    values[rows[lost]] = np.nan
    sizes = ", ".join(f"{one.size:+.3f} mm" for one in jumps)
    return [
        Fault(
            f"the indicator jumps at line {lines} ({sizes}) while the force does not: it slipped or was set anew. "
            f"Only lines {log.line[rows[kept[0]]]} to {log.line[rows[kept[-1]]]} of that step are used for stretch",
            STRETCH,
        )
    ]


def _force_jumps(log: RigLog, lines: str, missing: float) -> Fault:
    gauge = _name("force", log)
    return Fault(
        f"{gauge} jumps at line {lines} by about {-missing / 1e3:+.1f} kN: stretch and angle both go on there as if "
        "nothing were, so it is neither the indicator nor the angle gauge. Forces after that line are not to be trusted"
    )


def _jumps(force: FloatArray, reading: FloatArray, log: RigLog, name: str) -> list[_Jump]:
    """Return where a reading jumps against the force: from its neighbours, or with few rows from two lines."""
    if len(force) >= MANY:
        return _jumps_of_many(force, reading)
    return _jump_of_few(force, reading, log.resolution.get(name, 0.0), REPEATS[name])


def _jumps_of_many(force: FloatArray, reading: FloatArray) -> list[_Jump]:
    step, rise = np.diff(reading), np.diff(force)
    slope = float(np.median(step[np.abs(rise) > 0.0] / rise[np.abs(rise) > 0.0])) if np.any(rise) else 0.0
    if slope == 0.0:
        return []
    rest = step - slope * rise
    # plastic flow makes rests that go on; a jump stands alone among its neighbours
    padded = np.pad(rest, 3, mode="reflect")
    around = np.stack([padded[i : i + len(rest)] for i in range(7) if i != 3])
    usual = np.median(around, axis=0)
    scatter = 1.5 * np.median(np.abs(rest - usual)) + 1e-9
    stand_out = np.abs(rest - usual) > np.maximum(JUMP * scatter, JUMP_SHARE * np.ptp(reading))
    odd = np.flatnonzero(stand_out & (np.abs(rest - usual) > 3.0 * np.max(np.abs(around - usual), axis=0)))
    # what the last rows do may be the beginning of flow as well as a jump
    odd = odd[odd < len(rest) - 2]
    return [_Jump(int(at), float((rest - usual)[at]), slope) for at in odd]


def _jump_of_few(force: FloatArray, reading: FloatArray, resolution: float, repeats: float) -> list[_Jump]:
    """Return the jump with which two lines of one slope fit few rows as gauges repeat; none where one line does."""
    noise = math.hypot(resolution / math.sqrt(12.0), repeats)
    found: list[tuple[float, _Jump]] = []
    for at in range(1, len(force) - 2):
        after = (np.arange(len(force)) > at).astype(float)
        columns = np.column_stack([np.ones_like(force), force / np.max(force), after])
        fit = least_squares(columns, reading)
        rest = reading - columns @ fit.values
        error = noise * math.sqrt(float(np.linalg.pinv(columns.T @ columns)[2, 2]))
        left = float(np.sum(rest**2)) / noise**2
        size = float(fit.values[2])
        if abs(size) > FEW_JUMP * error and left < 4.0 * max(len(force) - 3, 1):
            found.append((left, _Jump(at, size, float(fit.values[1] / np.max(force)))))
    return [min(found, key=lambda pair: pair[0])[1]] if found else []


def _size_at(force: FloatArray, reading: FloatArray, at: int) -> _Jump | None:
    """Return by how much a reading jumps after a row, from lines of one slope through the rows beside it."""
    near = np.arange(max(0, at - 9), min(len(force), at + 11))
    if len(near) < 4:
        return None
    columns = np.column_stack([np.ones(len(near)), force[near], (near > at).astype(float)])
    values = np.linalg.lstsq(columns, reading[near], rcond=None)[0]
    return _Jump(at, float(values[2]), float(values[1])) if values[1] else None
