"""The rows of a log in which nobody turns, as fits of what time, heat and blows do to a clamp read them."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from headjoint.cases.rig.cleaning import Cleaned
from headjoint.cases.rig.fits import force_repeats
from headjoint.cases.rig.least_squares import FEW_ROWS
from headjoint.cases.rig.rows import pieces
from headjoint.model.base.arrays import FloatArray
from headjoint.model.rig.rig import Rig, setup_compliance, stretch_compliance

DRIFT = 0.5  # K beyond which temperature counts while the clamp stands
LEFT = 1.01  # of the last force under the wrench, that a clamp may show afterwards
BY_HAND = 0.02  # of a rise of temperature, by which a thermometer read by hand lags
STANDING = ("hold", "strike", "heat")


@dataclass(frozen=True)
class Usual:
    """What values are before any reading: common practice, no source.

    quick, decade : mean and standard deviation of each of a's two parts and of b: clamp is lost, never gained. Standard
    deviations about nothing: cost : of a blow or a heat cycle, share of clamp. lag : s. drift : share of the fastener's
    whole expansion that a degree may change a clamp by.
    """

    quick: tuple[float, float] = (0.008, 0.02)
    decade: tuple[float, float] = (0.002, 0.004)
    cost: float = 0.04
    lag: float = 150.0
    drift: float = 0.6


USUAL = Usual()


@dataclass(frozen=True)
class Stood:
    """Readings while the clamp stands: time since tightening (s), force (N), temperature (degC), lines of the log.

    rises : dT/dt (K/s), where readings are many. noise : (n,) N. heat, blows : which rows belong to the heat step and
    follow the how-manieth blow. timed : whether times were read. tight : whether the first row is the end of
    tightening.
    """

    rows: np.ndarray = field(repr=False)
    time: FloatArray = field(repr=False)
    force: FloatArray = field(repr=False)
    temperature: FloatArray | None = field(repr=False)
    rises: FloatArray | None = field(repr=False)
    noise: FloatArray = field(repr=False)
    heat: np.ndarray = field(repr=False)
    blows: np.ndarray = field(repr=False)
    timed: bool
    tight: bool

    @property
    def many(self) -> bool:
        """Whether scatter shows in the readings themselves."""
        return len(self.time) >= 2 * FEW_ROWS


def stood_rows(clean: Cleaned, rig: Rig, use: int) -> Stood | None:
    """Return the longest stretch of rows in which nobody turns, with the last row of the tightening before it."""
    log = clean.log
    known = np.isfinite(clean.force)
    standing = np.isin(log.step, STANDING) & (log.use == use)
    parts = [piece[known[piece]] for piece in pieces(standing)]
    parts = [piece for piece in parts if len(piece)]
    if not parts:
        return None
    rows = max(parts, key=len)
    timed = "time" in log.channels and bool(np.isfinite(log.channels["time"][rows]).all())
    before = np.flatnonzero(log.at("tighten", use) & known)
    before = before[before < rows[0]]
    start, tight = 0.0, False
    if timed:
        clock = log.channels["time"]
        tight = len(before) > 0 and bool(np.isfinite(clock[before[-1]])) and len(rows) < 2 * FEW_ROWS
        # a clamp that is greater later on was not read where it was left
        tight = tight and bool(clean.force[rows[0]] < LEFT * clean.force[before[-1]])
        start = float(clock[before[-1]]) if len(before) and np.isfinite(clock[before[-1]]) else float(clock[rows[0]])
        if tight:
            rows = np.concatenate([before[-1:], rows])
        time = clock[rows] - start
    else:
        time = np.arange(len(rows), dtype=float)
    noise = np.full(len(rows), force_repeats(clean, rig))
    temperature, rises = _temperatures(clean, rows, time if timed else None)
    if temperature is not None:
        # a thermometer read by hand lags where it changes fast
        noise = np.hypot(noise, per_degree_usual(rig) * _unsure(clean, temperature, rises is not None))
    blows = np.zeros(len(rows), dtype=int)
    for number, piece in enumerate(pieces(log.at("strike", use)), start=1):
        blows[rows >= piece[0]] = number
    heat = log.step[rows] == "heat"
    return Stood(rows, time, clean.force[rows], temperature, rises, noise, heat, blows, timed, tight)


def _unsure(clean: Cleaned, temperature: FloatArray, many: bool) -> FloatArray:
    """Return by how much (K) a temperature may differ from that of the fastener."""
    scale = clean.log.resolution.get("temperature", 0.0) / math.sqrt(12.0)
    away = 0.0 if many else BY_HAND
    return np.hypot(scale, away * np.abs(temperature - temperature[0]))


def _temperatures(
    clean: Cleaned, rows: np.ndarray, time: FloatArray | None
) -> tuple[FloatArray | None, FloatArray | None]:
    log = clean.log
    if "temperature" not in log.channels:
        return None, None
    temperature = log.channels["temperature"][rows]
    known = np.isfinite(temperature)
    if known.sum() < 2 or np.ptp(temperature[known]) < DRIFT:
        return None, None
    order = np.arange(len(rows))
    temperature = np.interp(order, order[known], temperature[known])
    heat = log.step[rows] == "heat"
    if time is None or heat.sum() < FEW_ROWS:
        return temperature, None
    rises = np.zeros(len(rows))
    at = np.flatnonzero(heat)
    for row in at:
        near = at[(at >= row - 3) & (at <= row + 3)]
        span = time[near] - time[row]
        if np.ptp(span) > 0.0:
            rises[row] = np.polyfit(span, temperature[near], 1)[0]
    return temperature, rises


def per_degree_usual(rig: Rig) -> float:
    """Return what a degree may change a clamp by (N/K): a share of the fastener's own expansion, held."""
    give = stretch_compliance(rig) + setup_compliance(rig)
    alpha = rig.joint.fastener.material.expansion.at(rig.joint.assembly_temperature)
    return USUAL.drift * alpha * rig.free_length / give
