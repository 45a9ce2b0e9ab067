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

    strain : (n, 4). P : (n, 4, 4) = dE/d(E_GL), both with engineering shear. frame : (n, 3, 3) turns (11, 22, 12) of
    C into the principal frame. second : (n, 5) f111, f222, f112, f122 and f33 of the principal values.
    """

    strain: FloatArray
    P: FloatArray
    frame: FloatArray
    second: FloatArray


def log_strain(F: FloatArray, stretch: FloatArray) -> LogStrain:
    """Return the logarithmic strain of deformation gradients F (n, 2, 2) with `stretch` (n,) out of the section."""
    c11 = F[:, 0, 0] ** 2 + F[:, 1, 0] ** 2
    c22 = F[:, 0, 1] ** 2 + F[:, 1, 1] ** 2
    c12 = F[:, 0, 0] * F[:, 0, 1] + F[:, 1, 0] * F[:, 1, 1]
    mean, half = (c11 + c22) / 2.0, (c11 - c22) / 2.0
    radius = np.hypot(half, c12)
    angle = np.arctan2(c12, half) / 2.0
    a, b = mean + radius, mean - radius
    f1, f2, f12, f112, f122 = _differences(a, b, mean, radius / mean)
    cos, sin = np.cos(angle), np.sin(angle)
    frame = np.empty((len(F), 3, 3))  # from (C11, C22, C12) to the principal frame
    frame[:, 0] = np.column_stack([cos**2, sin**2, 2 * cos * sin])
    frame[:, 1] = np.column_stack([sin**2, cos**2, -2 * cos * sin])
    frame[:, 2] = np.column_stack([-cos * sin, cos * sin, cos**2 - sin**2])
    e1, e2 = np.log(a) / 2.0, np.log(b) / 2.0
    strain = np.column_stack(
        [e1 * cos**2 + e2 * sin**2, e1 * sin**2 + e2 * cos**2, np.log(stretch), 2.0 * (e1 - e2) * cos * sin]
    )
    # dE' = f dC' in the frame, dC = 2 dE_GL; turned back by the frame of -angle
    back = frame.copy()
    back[:, 0, 2] *= -1.0
    back[:, 1, 2] *= -1.0
    back[:, 2, :2] *= -1.0
    inner = back @ (2.0 * np.column_stack([f1, f2, f12])[:, :, None] * frame)
    P = np.zeros((len(F), 4, 4))
    P[:, :2, :2] = inner[:, :2, :2]
    P[:, 3, :2] = 2.0 * inner[:, 2, :2]
    P[:, :2, 3] = inner[:, :2, 2] / 2.0
    P[:, 3, 3] = inner[:, 2, 2]
    P[:, 2, 2] = 1.0 / stretch**2
    second = np.column_stack([-1.0 / (4.0 * a**2), -1.0 / (4.0 * b**2), f112, f122, -1.0 / (4.0 * stretch**4)])
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
    t = (log.frame @ T[:, [0, 1, 3], None])[:, :, 0]
    f111, f222, f112, f122, f333 = log.second.T
    L = np.zeros((len(T), 3, 3))
    L[:, 0, 0], L[:, 1, 1] = 2.0 * t[:, 0] * f111, 2.0 * t[:, 1] * f222
    L[:, 2, 2] = 2.0 * (t[:, 0] * f112 + t[:, 1] * f122)
    L[:, 0, 2] = L[:, 2, 0] = 2.0 * t[:, 2] * f112
    L[:, 1, 2] = L[:, 2, 1] = 2.0 * t[:, 2] * f122
    # from dC = 2 d(E_GL), with C12 = half the engineering shear of 2 E_GL
    to_frame = 2.0 * log.frame
    to_frame[:, :, 2] /= 2.0
    more = to_frame.transpose(0, 2, 1) @ L @ to_frame
    plane = np.array([0, 1, 3])
    tangent[:, plane[:, None], plane] += more
    tangent[:, 2, 2] += 8.0 * T[:, 2] * f333
    return tangent
