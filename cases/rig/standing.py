"""What time, heat and blows do to a clamp that nobody turns: one model of all that happens while it stands.

    F(t) = F0 (1 - a q(t) - b log10(1 + t/t0)) + k (T + l dT/dt - T0) - F0 (struck) - F0 (lost by heat) + seals

linear in everything but the time constants in q and t0 and in how the loss by heat comes about: those are tried on a grid, and each
counts as likely as it fits (Bayesian model averaging: Hoeting et al., Statistical Science 14 (1999) 382). Nothing is
thereby said to be sharper than the log can tell; where it tells little, what is usual holds the values (`Usual`).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from headjoint.cases.rig.cleaning import Cleaned
from headjoint.cases.rig.fits import FittedValue, Values, force_repeats, key_of
from headjoint.cases.rig.least_squares import FEW_ROWS, FORCE, KNOWN_AS, TEMPERATURE, Points, inflation, widened
from headjoint.cases.rig.rows import pieces
from headjoint.cases.rig.seals import seal_share
from headjoint.model.base.arrays import FloatArray
from headjoint.model.rig.rig import Rig, setup_compliance, stretch_compliance

REFERENCE = 60.0  # s, t0 where the log does not tell
DAY = 86400.0
WARM = 5.0  # K that a heat step must span for a temperature coefficient
DRIFT = 0.5  # K beyond which temperature counts while the clamp stands
LEAST_TIME = 60.0  # s that a wait lasts at least
TIME_CONSTANTS = (8.0, 25.0, 80.0, 250.0, 800.0, 2500.0)  # s, two at a time
LOGARITHMS = (15.0, 60.0, 240.0)  # s, t0
LEFT = 1.01  # of the last force under the wrench, that a clamp may show afterwards
TOLD = 0.5  # of what is usual, that a value must be known within to count as told by the log
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
class _Stood:
    """Readings while the clamp stands: time since tightening (s), force (N), temperature (degC), lines of the log.

    rises : dT/dt (K/s), where readings are many. noise : (n,) N. heat, blows : which rows belong to the heat step and
    follow the how-manieth blow. timed : whether times were read. tight : whether the first row is the end of tightening.
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


def standing_fits(clean: Cleaned, rig: Rig, use: int) -> Values:
    """Return what a wait, a blow and a heat cycle did to the clamp of one use, as far as the log tells."""
    stood = _stood(clean, rig, use)
    if stood is None:
        return {}
    models = _averaged(stood, rig)
    if models is None:
        return {}
    found = {key_of(name, use): value for name, value in _told(stood, models, clean, rig).items()}
    return found


def _stood(clean: Cleaned, rig: Rig, use: int) -> _Stood | None:
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
        noise = np.hypot(noise, _per_degree_usual(rig) * _unsure(clean, rig, temperature, rises is not None))
    blows = np.zeros(len(rows), dtype=int)
    for number, piece in enumerate(pieces(log.at("strike", use)), start=1):
        blows[rows >= piece[0]] = number
    heat = log.step[rows] == "heat"
    return _Stood(rows, time, clean.force[rows], temperature, rises, noise, heat, blows, timed, tight)


def _unsure(clean: Cleaned, rig: Rig, temperature: FloatArray, many: bool) -> FloatArray:
    """Return by how much (K) a temperature may differ from that of the fastener."""
    scale = clean.log.resolution.get("temperature", 0.0) / math.sqrt(12.0)
    away = 0.0 if many else 0.02
    return np.hypot(scale, away * np.abs(temperature - temperature[0]))


def _temperatures(clean: Cleaned, rows: np.ndarray, time: FloatArray | None) -> tuple[FloatArray | None, FloatArray | None]:
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


def _per_degree_usual(rig: Rig) -> float:
    """Return what a degree may change a clamp by (N/K): a share of the fastener's own expansion, held."""
    give = stretch_compliance(rig) + setup_compliance(rig)
    alpha = rig.joint.fastener.material.expansion.at(rig.joint.assembly_temperature)
    return USUAL.drift * alpha * rig.free_length / give


@dataclass(frozen=True)
class _Model:
    """One set of time constants and one way of losing clamp by heat: values, covariance, weight, and its columns."""

    values: FloatArray = field(repr=False)
    covariance: FloatArray = field(repr=False)
    names: tuple[str, ...]
    constants: tuple[float, float, float]
    weight: float
    fitted: FloatArray = field(repr=False)

    def share(self, row: dict[str, float]) -> tuple[float, float]:
        """Return a share of F0 and its variance: factors by column."""
        factors = np.array([row.get(name, 0.0) for name in self.names])
        F0 = self.values[0]
        value = float(factors @ self.values) / F0
        gradient = factors / F0
        gradient = gradient - value / F0 * (np.arange(len(factors)) == 0)
        return value, float(gradient @ self.covariance @ gradient)


def _averaged(stood: _Stood, rig: Rig) -> list[_Model] | None:
    """Return every model with its weight; None where the readings are too few to say anything."""
    if len(stood.time) < 2:
        return None
    pairs = list(itertools.combinations(TIME_CONSTANTS, 2)) if stood.timed else [(1.0, 1.0)]
    logarithms: Sequence[float] = LOGARITHMS if stood.timed else (REFERENCE,)
    shapes = _heat_shapes(stood)
    designs = []
    for shape, (first, second), t0 in itertools.product(shapes, pairs, logarithms):
        designs.append(((first, second, t0), *_design(stood, rig, shape, first, second, t0)))
    sigma = stood.noise
    prior = _prior(designs[0][2], stood, rig)
    if stood.many:
        # scatter by the best of them, and more where residuals follow each other
        rests = [stood.force - columns @ _solved(columns, stood.force, sigma, prior)[0] for _, columns, _ in designs]
        best = min(rests, key=lambda rest: float(rest @ rest))
        least, sigma = 0.3 * float(sigma.min()), sigma.copy()
        for group in (stood.heat, ~stood.heat):
            if group.sum() > 3:
                rest = best[group]
                size = float(rest @ rest) / max(len(rest) - 3, 1) * inflation(rest)
                sigma[group] = max(math.sqrt(size), least)
    made, logs = [], []
    for constants, columns, names in designs:
        values, covariance, evidence = _solved(columns, stood.force, sigma, prior)
        made.append((values, covariance, names, constants, columns @ values))
        logs.append(evidence)
    weights = np.exp(np.array(logs) - max(logs))
    weights /= weights.sum()
    wider = 1.0 if stood.many else widened(KNOWN_AS + len(stood.time))
    return [
        _Model(values, wider * covariance, names, constants, float(weight), fitted)
        for (values, covariance, names, constants, fitted), weight in zip(made, weights, strict=True)
    ]


def _heat_shapes(stood: _Stood) -> list[FloatArray | None]:
    """Return ways in which a heat cycle may take clamp, 0 to 1 over the rows: at its peak, with every degree, late, in time."""
    if stood.temperature is None or not stood.heat.any():
        return [None]
    first, heat = int(np.argmax(stood.heat)), stood.heat
    risen = stood.temperature - stood.temperature[first]
    if np.ptp(stood.temperature[heat]) < WARM and np.ptp(stood.temperature) < WARM:
        return [None]
    risen = stood.temperature - min(stood.temperature[first], stood.temperature[max(first - 1, 0)])
    risen = np.where(np.arange(len(risen)) >= first, np.maximum(risen, 0.0), 0.0)
    peak = int(np.argmax(np.where(heat, stood.temperature, -np.inf)))
    warmed = np.maximum.accumulate(risen) / max(float(risen.max()), 1e-9)
    if not _cooled(stood):
        return [None]
    after = (np.arange(len(risen)) > peak).astype(float)
    exposed = np.cumsum(risen * np.gradient(stood.time)) if len(risen) > 1 else after
    return [after, warmed, warmed**3, exposed / max(float(exposed[-1]), 1e-9)]


def _cooled(stood: _Stood) -> bool:
    """Return whether the heat step came back down, so that a loss can be told from the coefficient."""
    assert stood.temperature is not None
    heat = np.flatnonzero(stood.heat)
    first = stood.temperature[max(heat[0] - 1, 0)]
    most = float(np.max(stood.temperature[heat]))
    return bool(stood.temperature[heat[-1]] - first < 0.5 * (most - first))


def _design(
    stood: _Stood, rig: Rig, shape: FloatArray | None, first: float, second: float, t0: float
) -> tuple[FloatArray, tuple[str, ...]]:
    time = stood.time
    columns, names = [np.ones_like(time)], ["F0"]
    if stood.timed:
        columns += [-(1.0 - np.exp(-time / first)), -(1.0 - np.exp(-time / second)), -np.log10(1.0 + time / t0)]
        names += ["quick", "slower", "decade"]
    if stood.temperature is not None:
        columns.append(stood.temperature - stood.temperature[0])
        names.append("degree")
        if stood.rises is not None:
            columns.append(stood.rises)
            names.append("lag")
    if stood.temperature is not None and (warmer := _drifted(stood)) is not None:
        columns.append(-warmer)
        names.append("drag")
    for number in range(1, int(stood.blows.max(initial=0)) + 1):
        columns.append(-(stood.blows >= number).astype(float))
        names.append(f"blow {number}")
    if shape is not None:
        columns.append(-shape)
        names.append("heat")
        if stood.many:
            # seals drag the other way while clamp rises
            columns.append((stood.heat & (np.arange(len(time)) <= int(np.argmax(stood.temperature)))).astype(float))
            names.append("seals")
    return np.column_stack(columns), tuple(names)


def _drifted(stood: _Stood) -> FloatArray | None:
    """Return how far (n,) the fixture has warmed while the clamp stood, 0 to 1: with it the seals may turn over again."""
    assert stood.temperature is not None
    if not (~stood.heat).any() or not stood.timed:
        return None
    risen = np.where(stood.heat, 0.0, np.maximum(stood.temperature - stood.temperature[0], 0.0))
    if risen.max() < 2.0 * DRIFT:
        return None
    return np.minimum(2.0 * risen / risen.max(), 1.0)


def _prior(names: tuple[str, ...], stood: _Stood, rig: Rig) -> tuple[FloatArray, FloatArray]:
    """Return means and standard deviations that the values have before any reading."""
    F = float(np.max(stood.force))
    degree = _per_degree_usual(rig)
    drag = 2.0 * rig.stated.ram.seal_friction * F / math.sqrt(3.0)
    usual = {
        "F0": 1e3 * F,
        "quick": USUAL.quick[1] * F,
        "slower": USUAL.quick[1] * F,
        "decade": USUAL.decade[1] * F,
        "degree": 2.0 * degree if stood.heat.any() else degree,
        "lag": degree * USUAL.lag,
        "heat": USUAL.cost * F,
        "seals": drag,
        "drag": drag,
    }
    mean = {"quick": USUAL.quick[0] * F, "slower": USUAL.quick[0] * F, "decade": USUAL.decade[0] * F}
    means = np.array([mean.get(name, 0.0) for name in names])
    return means, np.array([usual.get(name, USUAL.cost * F) for name in names])


def _solved(
    columns: FloatArray, force: FloatArray, sigma: FloatArray, usual: tuple[FloatArray, FloatArray]
) -> tuple[FloatArray, FloatArray, float]:
    """Return values, covariance and the logarithm of how likely the readings are under one model."""
    mean, prior = usual
    force = force - columns @ mean
    weighted = columns / sigma[:, None]
    scaled = weighted * prior  # values in units of what is usual
    normal = scaled.T @ scaled + np.eye(len(prior))
    inverse = np.linalg.inv(normal)
    right = scaled.T @ (force / sigma)
    values = inverse @ right
    rest = force / sigma - scaled @ values
    evidence = -0.5 * (float(rest @ rest) + float(values @ values)) - 0.5 * float(np.linalg.slogdet(normal)[1])
    return mean + values * prior, inverse * np.outer(prior, prior), evidence


def _mean(models: list[_Model], row: dict[str, float] | None, of: str = "") -> tuple[float, float]:
    """Return mean and variance over the models: of a share of F0, or of one value (`of`) itself."""
    pairs = []
    for model in models:
        if row is None:
            at = model.names.index(of)
            pairs.append((float(model.values[at]), float(model.covariance[at, at])))
        else:
            pairs.append(model.share(row))
    weights = np.array([model.weight for model in models])
    values, variances = np.array(pairs).T
    mean = float(weights @ values)
    return mean, float(weights @ (variances + (values - mean) ** 2))


def _told(stood: _Stood, models: list[_Model], clean: Cleaned, rig: Rig) -> Values:
    best = max(models, key=lambda model: model.weight)
    made: Values = {}
    waited = stood.time[~stood.heat & (stood.blows == 0)]
    if stood.timed and waited.max(initial=0.0) >= LEAST_TIME:
        made |= _waited(stood, models, best, clean, rig)
    for name, key, how in (
        ("blow 1", "struck", "clamp after the blows against what it would be by then without them"),
        ("heat", "lost_by_heat", "clamp of warming and cooling apart; mean over ways in which heat may take it"),
    ):
        if name in best.names:
            value, variance = _mean(models, {name: 1.0})
            if math.sqrt(variance) < TOLD * USUAL.cost:
                sign = -1.0 if key == "struck" else 1.0
                made[key] = FittedValue(sign * value, variance, how)
    if "degree" in best.names and stood.heat.any() and stood.temperature is not None:
        made |= _warmed(stood, models, best, seal_share(clean, rig, int(clean.log.use[stood.rows[-1]])))
    return made


def _waited(stood: _Stood, models: list[_Model], best: _Model, clean: Cleaned, rig: Rig) -> Values:
    """Return settling and relaxation. The seals' turning over may hide as much of a loss as twice their drag."""
    use = int(clean.log.use[stood.rows[0]])
    # 2 s U with U even between 0 and 1 has the root mean square 2 s/sqrt(3); against the wrench all of 2 s is shifted
    hidden = 0.0 if stood.tight else 2.0 / math.sqrt(3.0) * seal_share(clean, rig, use)
    weights = np.array([model.weight for model in models])
    day = []
    for model in models:
        first, second, t0 = model.constants
        row = {"quick": 1.0 - math.exp(-DAY / first), "slower": 1.0 - math.exp(-DAY / second)}
        day.append(model.share(row | {"decade": math.log10(1.0 + DAY / t0)}))
    values, variances = np.array(day).T
    lost = float(weights @ values)
    lost_variance = float(weights @ (variances + (values - lost) ** 2)) + hidden**2
    soon, soon_variance = _mean(models, {"quick": 1.0, "slower": 1.0})
    decade, decade_variance = _mean(models, {"decade": 1.0})
    text = "F0 (1 - a q(t) - b log10(1 + t/t0)), mean over time constants that fit"
    hold = (stood.time > 0.0) & ~stood.heat & (stood.blows == 0)
    points = Points("clamp over time, standing", np.log10(np.maximum(stood.time, 1.0))[hold], stood.force[hold], best.fitted[hold], ("log10 of time in s", ""), FORCE)
    told: Values = {}
    if math.sqrt(soon_variance) < TOLD * USUAL.quick[1]:
        told["settled"] = FittedValue(soon, soon_variance + hidden**2, f"a of {text}", points if hold.sum() > 1 else None)
    if math.sqrt(decade_variance) < TOLD * USUAL.decade[1]:
        told["per_decade"] = FittedValue(decade, decade_variance, f"b of {text}")
    if math.sqrt(lost_variance) < TOLD * USUAL.quick[1]:
        far = "" if stood.time[-1] > 0.5 * DAY else f", from {stood.time[-1] / 3600.0:.2g} h of readings"
        told["lost_in_a_day"] = FittedValue(lost, lost_variance, "the same curve after 24 h" + far)
    return told


def _warmed(stood: _Stood, models: list[_Model], best: _Model, seals: float) -> Values:
    """Return the clamp per degree. Seals that turn over little by little take from it, on the way up and down alike."""
    assert stood.temperature is not None
    heat = np.flatnonzero(stood.heat)
    reached = stood.temperature[max(heat[0] - 1, 0) : heat[-1] + 1]
    if np.ptp(reached) < WARM:
        return {}
    value, variance = _mean(models, None, "degree")
    points = Points("clamp over temperature", stood.temperature[heat], stood.force[heat], best.fitted[heat], TEMPERATURE, FORCE)
    method = "clamp over temperature, settling, lag and loss beside it"
    method += "" if "heat" in best.names else "; without cooling, what creeps on the way is in it"
    hidden = 2.0 / math.sqrt(3.0) * seals * float(np.max(stood.force[heat])) / float(np.ptp(reached))
    return {"per_degree": FittedValue(value, variance + hidden**2, method, points if len(heat) > 1 else None)}
