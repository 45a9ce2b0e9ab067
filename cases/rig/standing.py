"""What time, heat and blows do to a clamp that nobody turns: one model of all that happens while it stands.

    F(t) = F0 (1 - a q(t) - b log10(1 + t/t0)) + k (T + l dT/dt - T0) - F0 (struck) - F0 (lost by heat) + seals

linear in everything but the time constants in q and t0 and in how the loss by heat comes about: those are tried on a
grid, and each counts as likely as it fits (Bayesian model averaging: Hoeting et al., Statistical Science 14 (1999)
382). Nothing is thereby said to be sharper than the log can tell; where it tells little, what is usual holds the values
(`Usual`).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from headjoint.cases.rig.cleaning import Cleaned
from headjoint.cases.rig.fits import FittedValue, Values, key_of
from headjoint.cases.rig.least_squares import FORCE, KNOWN_AS, TEMPERATURE, Points, inflation, widened
from headjoint.cases.rig.seals import seal_share
from headjoint.cases.rig.stood import DRIFT, USUAL, Stood, per_degree_usual, stood_rows
from headjoint.model.base.arrays import FloatArray
from headjoint.model.rig.rig import Rig

REFERENCE = 60.0  # s, t0 where the log does not tell
DAY = 86400.0
WARM = 5.0  # K that a heat step must span for a temperature coefficient
LEAST_TIME = 60.0  # s that a wait lasts at least
TIME_CONSTANTS = (6.0, 14.0, 32.0, 72.0, 160.0, 360.0, 800.0, 1800.0, 4000.0)  # s, two at a time
NEGLIGIBLE = 1e-4  # of the weight of the best model, below which one is left out
LOGARITHMS = (15.0, 30.0, 60.0, 120.0, 240.0)  # s, t0
TOLD = 0.5  # of what is usual, that a value must be known within to count as told by the log


def standing_fits(clean: Cleaned, rig: Rig, use: int) -> Values:
    """Return what a wait, a blow and a heat cycle did to the clamp of one use, as far as the log tells."""
    stood = stood_rows(clean, rig, use)
    if stood is None:
        return {}
    seals = seal_share(clean, rig, use)
    models = _averaged(stood, rig, seals)
    if models is None:
        return {}
    return {key_of(name, use): value for name, value in _told(stood, models, seals).items()}


@dataclass(frozen=True)
class _Models:
    """Sets of time constants and ways of losing clamp by heat (m): values (m, p), covariances (m, p, p), weights (m,).

    names : of the p values. constants : (m, 3) both time constants and t0, s. fitted : (m, n) forces, N.
    """

    values: FloatArray = field(repr=False)
    covariances: FloatArray = field(repr=False)
    weights: FloatArray = field(repr=False)
    names: tuple[str, ...]
    constants: FloatArray = field(repr=False)
    fitted: FloatArray = field(repr=False)

    @property
    def best(self) -> FloatArray:
        """Forces (n,) of the most likely."""
        fitted: FloatArray = self.fitted[int(np.argmax(self.weights))]
        return fitted

    def mean(self, values: FloatArray, variances: FloatArray) -> tuple[float, float]:
        """Return mean and variance over the models of what each says with a variance of its own."""
        mean = float(self.weights @ values)
        return mean, float(self.weights @ (variances + (values - mean) ** 2))

    def value(self, name: str) -> tuple[float, float]:
        """Return mean and variance of one value."""
        at = self.names.index(name)
        return self.mean(self.values[:, at], self.covariances[:, at, at])

    def share(self, **factors: FloatArray | float) -> tuple[float, float]:
        """Return mean and variance of a share of F0: factors by name of value, of all models or each."""
        row = np.stack([np.broadcast_to(factors.get(name, 0.0), len(self.weights)) for name in self.names], axis=1)
        F0 = self.values[:, 0]
        share = np.sum(row * self.values, axis=1) / F0
        gradient = row / F0[:, None]
        gradient[:, 0] -= share / F0
        return self.mean(share, np.einsum("mp,mpq,mq->m", gradient, self.covariances, gradient))


def _averaged(stood: Stood, rig: Rig, seals: float) -> _Models | None:
    """Return every model with its weight; None where the readings are too few to say anything."""
    if len(stood.time) < 2:
        return None
    stacked, names, constants = _designs(stood)
    sigma, usual = stood.noise, _prior(names, stood, rig, seals)
    if stood.many:
        # scatter by the best of them, and more where residuals follow each other
        values, _, _ = _solved(stacked, stood.force, sigma, usual)
        rests = stood.force - np.einsum("mnp,mp->mn", stacked, values)
        best = rests[int(np.argmin(np.sum(rests**2, axis=1)))]
        least, sigma = 0.3 * float(sigma.min()), sigma.copy()
        for group in (stood.heat, ~stood.heat):
            if group.sum() > 3:
                rest = best[group]
                size = float(rest @ rest) / max(len(rest) - 3, 1) * inflation(rest)
                sigma[group] = max(math.sqrt(size), least)
    values, covariances, evidence = _solved(stacked, stood.force, sigma, usual)
    weights = np.exp(evidence - evidence.max())
    kept = weights > NEGLIGIBLE
    weights = weights[kept] / weights[kept].sum()
    wider = 1.0 if stood.many else widened(KNOWN_AS + len(stood.time))
    fitted = np.einsum("mnp,mp->mn", stacked[kept], values[kept])
    return _Models(values[kept], wider * covariances[kept], weights, names, constants[kept], fitted)


def _designs(stood: Stood) -> tuple[FloatArray, tuple[str, ...], FloatArray]:
    """Return the columns (m, n, p) of every model, names of the p values, and time constants (m, 3)."""
    pairs = list(itertools.combinations(TIME_CONSTANTS, 2)) if stood.timed else [(1.0, 1.0)]
    logarithms: Sequence[float] = LOGARITHMS if stood.timed else (REFERENCE,)
    shapes = _heat_shapes(stood)
    made = [(at, *pair, t0) for at, pair, t0 in itertools.product(range(len(shapes)), pairs, logarithms)]
    shape_of, constants = np.array([one[0] for one in made]), np.array([one[1:] for one in made])
    time = stood.time
    columns: dict[str, FloatArray] = {"F0": np.ones_like(time)}
    if stood.timed:
        first, second, t0 = (constants[:, at, None] for at in range(3))
        columns["quick"] = -(1.0 - np.exp(-time / first))
        columns["slower"] = -(1.0 - np.exp(-time / second))
        columns["decade"] = -np.log10(1.0 + time / t0)
    if stood.temperature is not None:
        columns["degree"] = stood.temperature - stood.temperature[0]
        if stood.rises is not None:
            columns["lag"] = stood.rises
        if (warmer := _drifted(stood)) is not None:
            columns["drag"] = -warmer
    for number in range(1, int(stood.blows.max(initial=0)) + 1):
        columns[f"blow{number}"] = -(stood.blows >= number).astype(float)
    if shapes[0] is not None:
        columns["heat"] = -np.stack([shape for shape in shapes if shape is not None])[shape_of]
        if stood.many:
            assert stood.temperature is not None
            # seals drag the other way while clamp rises
            rising = stood.heat & (np.arange(len(time)) <= int(np.argmax(stood.temperature)))
            columns["seals"] = rising.astype(float)
    stacked = np.stack([np.broadcast_to(one, (len(made), len(time))) for one in columns.values()], axis=2)
    return stacked, tuple(columns), constants


def _heat_shapes(stood: Stood) -> list[FloatArray | None]:
    """Return ways in which a heat cycle may take clamp, 0 to 1 over the rows.

    At its peak; with every degree of warming; most of it in the last degrees; with time spent hot.
    """
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


def _cooled(stood: Stood) -> bool:
    """Return whether the heat step came back down, so that a loss can be told from the coefficient."""
    assert stood.temperature is not None
    heat = np.flatnonzero(stood.heat)
    first = stood.temperature[max(heat[0] - 1, 0)]
    most = float(np.max(stood.temperature[heat]))
    return bool(stood.temperature[heat[-1]] - first < 0.5 * (most - first))


def _drifted(stood: Stood) -> FloatArray | None:
    """Return how far (n,) the fixture has warmed while the clamp stood, 0 to 1: with it seals may turn over again."""
    assert stood.temperature is not None
    if not (~stood.heat).any() or not stood.timed:
        return None
    still = stood.heat | (stood.blows > 0)  # a blow turns the seals back
    risen = np.where(still, 0.0, np.maximum(stood.temperature - stood.temperature[0], 0.0))
    if risen.max() < 2.0 * DRIFT:
        return None
    return np.minimum(2.0 * risen / risen.max(), 1.0)


def _prior(names: tuple[str, ...], stood: Stood, rig: Rig, seals: float) -> tuple[FloatArray, FloatArray]:
    """Return means and standard deviations that the values have before any reading."""
    F = float(np.max(stood.force))
    degree = per_degree_usual(rig)
    drag = 2.0 * max(seals, 1e-6) * F
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
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return values (m, p), covariances (m, p, p) and logarithms (m,) of how likely the readings are under each model.

    columns : (m, n, p) of every model.
    """
    mean, prior = usual
    scaled = columns / sigma[:, None] * prior  # values in units of what is usual
    read = (force - columns @ mean) / sigma
    normal = np.swapaxes(scaled, 1, 2) @ scaled + np.eye(len(prior))
    inverse = np.linalg.inv(normal)
    values = np.einsum("mpq,mnq,mn->mp", inverse, scaled, read, optimize=True)
    rest = read - np.einsum("mnp,mp->mn", scaled, values)
    misfit = np.sum(rest**2, axis=1) + np.sum(values**2, axis=1)
    evidence = -0.5 * misfit - 0.5 * np.linalg.slogdet(normal)[1]
    return mean + values * prior, inverse * np.outer(prior, prior), evidence


def _told(stood: Stood, models: _Models, seals: float) -> Values:
    made: Values = {}
    waited = stood.time[~stood.heat & (stood.blows == 0)]
    if stood.timed and waited.max(initial=0.0) >= LEAST_TIME:
        made |= _waited(stood, models, seals)
    for name, key, how in (
        ("blow1", "struck", "clamp after the blows against what it would be by then without them"),
        ("heat", "lost_by_heat", "clamp of warming and cooling apart; mean over ways in which heat may take it"),
    ):
        if name in models.names:
            value, variance = models.share(**{name: 1.0})
            if math.sqrt(variance) < TOLD * USUAL.cost:
                sign = -1.0 if key == "struck" else 1.0
                # seals that have not turned over yet do so with a blow
                hidden = seals / math.sqrt(3.0) if key == "struck" else 0.0
                made[key] = FittedValue(sign * value, variance + hidden**2, how)
    if "degree" in models.names and stood.heat.any() and stood.temperature is not None:
        made |= _warmed(stood, models, seals)
    return made


def _waited(stood: Stood, models: _Models, seals: float) -> Values:
    """Return settling and relaxation. The seals' turning over may hide as much of a loss as twice their drag."""
    # 2 s U with U even between 0 and 1 has the root mean square 2 s/sqrt(3); against the wrench all of 2 s is shifted
    hidden = 0.0 if stood.tight else 2.0 / math.sqrt(3.0) * seals
    first, second, t0 = models.constants.T
    lost, lost_variance = models.share(
        quick=1.0 - np.exp(-DAY / first), slower=1.0 - np.exp(-DAY / second), decade=np.log10(1.0 + DAY / t0)
    )
    soon, soon_variance = models.share(quick=1.0, slower=1.0)
    decade, decade_variance = models.share(decade=1.0)
    text = "F0 (1 - a q(t) - b log10(1 + t/t0)), mean over time constants that fit"
    hold = (stood.time > 0.0) & ~stood.heat & (stood.blows == 0)
    points = Points(
        "clamp over time, standing",
        np.log10(np.maximum(stood.time, 1.0))[hold],
        stood.force[hold],
        models.best[hold],
        ("log10 of time in s", ""),
        FORCE,
    )
    told: Values = {}
    if math.sqrt(soon_variance) < TOLD * USUAL.quick[1]:
        shown = points if hold.sum() > 1 else None
        told["settled"] = FittedValue(soon, soon_variance + hidden**2, f"a of {text}", shown)
    if math.sqrt(decade_variance) < TOLD * USUAL.decade[1]:
        told["per_decade"] = FittedValue(decade, decade_variance, f"b of {text}")
    if math.hypot(math.sqrt(lost_variance), hidden) < TOLD * USUAL.quick[1]:
        far = "" if stood.time[-1] > 0.5 * DAY else f", from {stood.time[-1] / 3600.0:.2g} h of readings"
        told["lost_in_a_day"] = FittedValue(lost, lost_variance + hidden**2, "the same curve after 24 h" + far)
    return told


def _warmed(stood: Stood, models: _Models, seals: float) -> Values:
    """Return the clamp per degree. Seals that turn over little by little take from it, on the way up and down alike."""
    assert stood.temperature is not None
    heat = np.flatnonzero(stood.heat)
    reached = stood.temperature[max(heat[0] - 1, 0) : heat[-1] + 1]
    if np.ptp(reached) < WARM:
        return {}
    value, variance = models.value("degree")
    points = Points(
        "clamp over temperature", stood.temperature[heat], stood.force[heat], models.best[heat], TEMPERATURE, FORCE
    )
    method = "clamp over temperature, settling, lag and loss beside it"
    method += "" if "heat" in models.names else "; without cooling, what creeps on the way is in it"
    hidden = 2.0 / math.sqrt(3.0) * seals * float(np.max(stood.force[heat])) / float(np.ptp(reached))
    return {"per_degree": FittedValue(value, variance + hidden**2, method, points if len(heat) > 1 else None)}
