"""Small-strain plasticity with isotropic and kinematic hardening: implicit step, exact tangent, all points at once.

The step is that of M. Kobayashi and N. Ohno (Int. J. Numer. Meth. Engng 53 (2002) 2217) brought to one equation for the
step dp of plastic strain: with theta_i = 1/(1 + gamma_i dp) and Z = s_trial - sum theta_i X_i,

    sqrt(3/2) |Z| - (3 G + sum C_i theta_i) dp = sigma_y(p + dp),    n = Z/|Z|.

Components (11, 22, 33, 12); stresses hold shear once, strains twice.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from headjoint.cases.elements.axisymmetric import isotropic_stiffness
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import SolveError
from headjoint.model.bead.hardening import SpringSteel

ROOT = math.sqrt(1.5)
ACCURACY = 1e-12  # of the yield strength, at which the step of plastic strain is found
METRIC = np.array([1.0, 1.0, 1.0, 2.0])  # shear counts twice in products of stresses
DEVIATOR = np.eye(4) - np.outer([1.0, 1.0, 1.0, 0.0], [1.0, 1.0, 1.0, 0.0]) / 3.0
HALVED = np.diag([1.0, 1.0, 1.0, 0.5])  # from engineering shear

# dp (n,), theta (k, n), Z (n, 4), |Z| (n,), slope of sigma_y (n,) of points that yield
Flow = tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]


@dataclass(frozen=True)
class PlasticState:
    """What n points remember: plastic strain (n, 4), backstresses (k, n, 4) in MPa, equivalent plastic strain (n,)."""

    strain: FloatArray = field(repr=False)
    back: FloatArray = field(repr=False)
    equivalent: FloatArray = field(repr=False)


def virgin(points: int, steel: SpringSteel) -> PlasticState:
    """Return the memory of points that never yielded."""
    return PlasticState(np.zeros((points, 4)), np.zeros((len(steel.backstresses), points, 4)), np.zeros(points))


def strength(steel: SpringSteel, p: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return sigma_y (MPa) and its slope at equivalent plastic strains."""
    assert steel.yield_strength is not None
    gone = np.exp(-steel.rate * p)
    stress = steel.yield_strength + steel.modulus * p + steel.saturation * (1.0 - gone)
    return stress, steel.modulus + steel.saturation * steel.rate * gone


class Step(NamedTuple):
    """What n points come to in a step. stress : (n, 4) MPa. after : memory. tangent : gives dstress/dstrain (n, 4, 4),
    which a state that is found already never asks for."""

    stress: FloatArray
    after: PlasticState
    tangent: Callable[[], FloatArray]


def stepped(steel: SpringSteel, strain: FloatArray, before: PlasticState) -> Step:
    """Return what points come to whose strain (n, 4) came to be since `before`.

    Raises SolveError where no plastic strain is found for a point.
    """
    D = isotropic_stiffness(np.array([steel.E]), np.array([steel.nu]))[0]
    stress = (strain - before.strain) @ D.T

    def elastic() -> FloatArray:
        return np.broadcast_to(D, (len(strain), 4, 4)).copy()

    if steel.yield_strength is None:
        return Step(stress, before, elastic)
    deviator = stress @ DEVIATOR.T
    over = deviator - before.back.sum(axis=0)
    limit, _ = strength(steel, before.equivalent)
    flows = np.flatnonzero(ROOT * np.sqrt((over**2) @ METRIC) > limit * (1.0 + 1e-12))
    if not len(flows):
        return Step(stress, before, elastic)
    trial, back, p = deviator[flows], before.back[:, flows], before.equivalent[flows]
    flow = _plastic_step(steel, trial, back, p)
    step, theta, Z, size, _ = flow
    G, n = steel.E / (2.0 * (1.0 + steel.nu)), Z / size[:, None]
    grown = ROOT * step[:, None] * n
    stress[flows] -= 2.0 * G * grown
    after = PlasticState(before.strain.copy(), before.back.copy(), before.equivalent.copy())
    after.strain[flows] += grown * METRIC
    after.back[:, flows] = theta[:, :, None] * (back + (2.0 / 3.0) * _terms(steel)[0][:, None, None] * grown)
    after.equivalent[flows] += step

    def tangent() -> FloatArray:
        found = elastic()
        found[flows] = D + _lost(steel, flow, back)
        return found

    return Step(stress, after, tangent)


def _lost(steel: SpringSteel, flow: Flow, back: FloatArray) -> FloatArray:
    """Return what flowing takes off the elastic tangent (n, 4, 4) of points, MPa."""
    step, theta, Z, size, slope = flow
    G, n = steel.E / (2.0 * (1.0 + steel.nu)), Z / size[:, None]
    moduli, fading = _terms(steel)
    # dZ = ds_trial + sum gamma theta^2 X d(dp)
    moved = np.einsum("k,kn,kni->ni", fading, theta**2, back)
    bottom = slope + 3.0 * G + moduli @ theta**2 - ROOT * ((n * moved) @ METRIC)
    by_trial = ROOT * n * METRIC / bottom[:, None]  # d(dp)/d(s_trial)
    across = np.eye(4) - n[:, :, None] * (n * METRIC)[:, None, :]
    share = 2.0 * G * ROOT * step / size
    turned = across + (across @ moved[:, :, None]) * by_trial[:, None, :]
    change = -2.0 * G * ROOT * n[:, :, None] * by_trial[:, None, :] - share[:, None, None] * turned
    lost: FloatArray = change @ (2.0 * G * DEVIATOR @ HALVED)
    return lost


def _terms(steel: SpringSteel) -> tuple[FloatArray, FloatArray]:
    moduli = np.array([one.modulus for one in steel.backstresses])
    return moduli, np.array([one.fading for one in steel.backstresses])


def _plastic_step(steel: SpringSteel, trial: FloatArray, back: FloatArray, p: FloatArray) -> Flow:
    """Return dp, theta (k, n), Z (n, 4), |Z| and the slope of sigma_y of points that yield, by bounded Newton."""
    moduli, fading = _terms(steel)
    G3 = 1.5 * steel.E / (1.0 + steel.nu)
    step, low = np.zeros(len(p)), np.zeros(len(p))
    high = np.full(len(p), np.inf)
    for _ in range(60):
        theta = 1.0 / (1.0 + fading[:, None] * step)
        Z = trial - np.einsum("kn,kni->ni", theta, back)
        size = np.sqrt((Z**2) @ METRIC)
        limit, slope = strength(steel, p + step)
        missing = ROOT * size - (G3 + moduli @ theta) * step - limit
        if np.all(np.abs(missing) <= ACCURACY * limit):
            return step, theta, Z, size, slope
        low, high = np.where(missing > 0.0, step, low), np.where(missing < 0.0, step, high)
        moved = np.einsum("k,kn,kni->ni", fading, theta**2, back)
        rate = ROOT * ((Z * moved) @ METRIC) / size - G3 - moduli @ theta**2 - slope
        found = step - missing / rate
        bad = (found <= low) | (found >= high) | (rate >= 0.0)
        middle = np.where(np.isfinite(high), (low + high) / 2.0, 2.0 * low + 1e-8)
        done = np.abs(missing) <= ACCURACY * limit
        step = np.where(done, step, np.where(bad, middle, found))
    raise SolveError("no plastic strain balances the stress of a point; the hardening stated is not usable")
