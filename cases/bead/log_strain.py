"""Logarithmic strain of plane and ring sections, and the way back from its stress to that of the reference section.

Plasticity is additive in the logarithmic strain E = ln(C)/2 (C. Miehe, N. Apel, M. Lambrecht, Comput. Methods Appl.
Mech. Engrg. 191 (2002) 5383): whatever law holds at small strain is used as it is, rotation cannot enter, and where the
principal directions stay it is multiplicative plasticity exactly. With T the stress conjugate to E,

    S = T : 2 dE/dC,    dS/d(E_GL) = P' D P + T : 4 d2E/dC2.

All is done in the principal frame of C, by divided differences of ln(x)/2. Components are ordered (11, 22, 33, 12) with
engineering shear; 3 is out of the section.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from headjoint.model.base.arrays import FloatArray

NEARLY_EQUAL = 0.02  # relative distance of two eigenvalues below which series replace divided differences


class LogStrain(NamedTuple):
    """Strains of n points and what carries stresses back.

    strain : (n, 4). P : (n, 4, 4) = dE/d(E_GL), both with engineering shear. frame : (3, 3, n) turns (11, 22, 12) of
    C into the principal frame. second : (5, n) f111, f222, f112, f122 and f33 of the principal values.
    """

    strain: FloatArray
    P: FloatArray
    frame: FloatArray
    second: FloatArray


def log_strain(F: FloatArray, stretch: FloatArray) -> LogStrain:
    """Return the logarithmic strain of deformation gradients F (n, 2, 2) with `stretch` (n,) out of the section."""
    (F11, F12), (F21, F22) = np.moveaxis(F, 0, 2)
    c11, c22, c12 = F11**2 + F21**2, F12**2 + F22**2, F11 * F12 + F21 * F22
    mean, half = (c11 + c22) / 2.0, (c11 - c22) / 2.0
    radius = np.sqrt(half**2 + c12**2)
    a, b = mean + radius, mean - radius
    f1, f2, f12, f112, f122 = _differences(a, b, mean, radius / mean)
    # of twice the angle to the principal frame; where all directions are principal, any will do
    even = radius == 0.0
    safe = np.where(even, 1.0, radius)
    cos, sin = np.where(even, 1.0, half / safe), c12 / safe
    p, q = (1.0 + cos) / 2.0, (1.0 - cos) / 2.0  # squares of cosine and sine of the angle itself
    frame = np.array([[p, q, sin], [q, p, -sin], [-sin / 2.0, sin / 2.0, cos]])  # from (C11, C22, C12)
    e1, e2 = np.log(a) / 2.0, np.log(b) / 2.0
    strain = np.stack([e1 * p + e2 * q, e1 * q + e2 * p, np.log(stretch), (e1 - e2) * sin], axis=1)
    # dE' = f dC' in the frame, dC = 2 dE_GL; turned back by the frame of minus the angle
    P = np.zeros((len(F), 4, 4))
    both, shear = p * q * (f1 + f2), sin**2 / 2.0 * f12
    P[:, 0, 0] = 2.0 * (p**2 * f1 + q**2 * f2 + shear)
    P[:, 1, 1] = 2.0 * (q**2 * f1 + p**2 * f2 + shear)
    P[:, 0, 1] = P[:, 1, 0] = 2.0 * (both - shear)
    P[:, 3, 0] = 2.0 * sin * (p * f1 - q * f2 - cos * f12)
    P[:, 3, 1] = 2.0 * sin * (q * f1 - p * f2 + cos * f12)
    P[:, :2, 3] = P[:, 3, :2] / 2.0
    P[:, 3, 3] = sin**2 * (f1 + f2) + 2.0 * cos**2 * f12
    P[:, 2, 2] = 1.0 / stretch**2
    second = np.array([-1.0 / (4.0 * a**2), -1.0 / (4.0 * b**2), f112, f122, -1.0 / (4.0 * stretch**4)])
    return LogStrain(strain, P, frame, second)


def _differences(
    a: FloatArray, b: FloatArray, mean: FloatArray, share: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return f'(a), f'(b), f[a,b], f[a,a,b], f[a,b,b] of f = ln(x)/2; a, b = mean (1 + share), mean (1 - share)."""
    f1, f2 = 0.5 / a, 0.5 / b
    d, near = share, share < NEARLY_EQUAL
    safe = np.where(near, 1.0, 2.0 * mean * d)
    f12 = np.where(near, (1 + d**2 / 3 + d**4 / 5 + d**6 / 7) / (2 * mean), (np.log(a) - np.log(b)) / (2.0 * safe))

    def twice(d: FloatArray) -> FloatArray:  # (1/(1+d) - atanh(d)/d)/d, its series in d
        return -1 + d * (2 / 3 + d * (-1 + d * (4 / 5 + d * (-1 + d * (6 / 7 + d * (-1 + d * 8 / 9))))))

    f112 = np.where(near, twice(d) / (4 * mean**2), (f1 - f12) / safe)
    f122 = np.where(near, twice(-d) / (4 * mean**2), (f12 - f2) / safe)
    return f1, f2, f12, f112, f122


def reference_stress(log: LogStrain, T: FloatArray) -> FloatArray:
    """Return second Piola-Kirchhoff stress (n, 4) from T (n, 4)."""
    stress: FloatArray = (log.P.transpose(0, 2, 1) @ T[:, :, None])[:, :, 0]
    return stress


def reference_tangent(log: LogStrain, T: FloatArray, D: FloatArray) -> FloatArray:
    """Return the tangent (n, 4, 4) of that stress by E_GL, from T (n, 4) and D = dT/dE."""
    tangent: FloatArray = log.P.transpose(0, 2, 1) @ D @ log.P
    # T in the principal frame; shear is not doubled in it
    t1, t2, t12 = log.frame[:, 0] * T[:, 0] + log.frame[:, 1] * T[:, 1] + log.frame[:, 2] * T[:, 3]
    f111, f222, f112, f122, f333 = log.second
    both = 2.0 * (t1 * f112 + t2 * f122)
    # from dC = 2 d(E_GL), with C12 = half the engineering shear of 2 E_GL
    one, two, shear = log.frame * np.array([2.0, 2.0, 1.0])[:, None]
    sideways, downwards = 2.0 * t12 * f112, 2.0 * t12 * f122
    moved = (
        2.0 * t1 * f111 * one + sideways * shear,
        2.0 * t2 * f222 * two + downwards * shear,
        sideways * one + downwards * two + both * shear,
    )
    for i, row in enumerate((0, 1, 3)):
        more = one[i] * moved[0] + two[i] * moved[1] + shear[i] * moved[2]
        tangent[:, row, :2] += more[:2].T
        tangent[:, row, 3] += more[2]
    tangent[:, 2, 2] += 8.0 * T[:, 2] * f333
    return tangent
