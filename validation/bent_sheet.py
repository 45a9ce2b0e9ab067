"""A strip bent to circles far past yield and let go: moment, and how much of its curvature springs back."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from headjoint.cases.bead.sheet import Sheet
from headjoint.meshes.bead.strip import strip
from headjoint.model.base.arrays import FloatArray
from headjoint.model.bead.hardening import SpringSteel
from headjoint.model.bead.profile import cosine
from validation.check import Check

FLAT = cosine("full", 1e-9, 1.0)


def spring_backs() -> list[Check]:
    """Perfectly plastic, with x = sigma'/(E' t kappa), sigma' = 2/sqrt(3) sigma_0, E' = E/(1 - nu^2) of plane strain:
    kappa_free/kappa = 1 - 3 x + 4 x^3 (F. J. Gardiner, Trans. ASME 79 (1957) 1; from memory, recomputed)."""
    t, sigma, E = 0.25, 500.0, 200_000.0
    steel, plane = SpringSteel("perfect", E, 0.3, sigma, modulus=1.0), E / 0.91
    yields = 2.0 / math.sqrt(3.0) * sigma
    found = []
    for share in (0.05, 0.1):
        kappa = yields / (plane * t * share)
        theory = 1.0 - 3.0 * share + 4.0 * share**3
        # opened elastically to either side of where theory has no moment
        opened = [(theory + 0.02) * kappa, (theory - 0.02) * kappa]
        *_, more, less = bent(steel, t, [*np.linspace(0.0, kappa, 25)[1:], *opened])
        free = opened[0] + (opened[1] - opened[0]) * more / (more - less)
        found.append(
            Check(
                f"curvature left of a strip bent to {kappa:.3g} 1/mm", "Gardiner 1957 (from memory, recomputed)",
                theory, free / kappa, 0.01, "of it", "2 x 2 points in each of four elements across follow the core",
            )
        )  # fmt: skip
    return found


def banded(K: FloatArray, x: FloatArray) -> FloatArray:
    """Product of a matrix in band storage with a vector."""
    band, n, y = len(K) // 2, len(x), np.zeros(len(x))
    for d in range(-band, band + 1):
        j = np.arange(max(0, -d), min(n, n - d))
        y[j + d] += K[band + d, j] * x[j]
    return y


def bent(steel: SpringSteel, thickness: float, curvatures: Sequence[float]) -> list[float]:
    """Moments (N mm per mm) of a strip bent to circles: its end sections stay plane, and free along themselves."""
    length = 0.2
    sheet = Sheet(strip(FLAT, thickness, 0.0, length, size=0.1, through=4), steel)
    mesh, n = sheet.mesh, sheet.unknowns
    x, y = mesh.points[:, 0] - length / 2.0, mesh.points[:, 1] - mesh.points[:, 1].mean()
    # one row per section, turned by +-a: across it nothing moves beyond the circle, along it all but one height is free
    u, circle, memory, moments = np.zeros(n), np.zeros(n), sheet.new(), []
    for kappa in curvatures:
        angle, r = kappa * x, 1.0 / kappa
        target = np.column_stack([(r - y) * np.sin(angle) - x, r - (r - y) * np.cos(angle) - y]).ravel()
        u, circle = u + target - circle, target
        T = np.eye(n)
        for nodes, sign in ((mesh.first, -1.0), (mesh.last, 1.0)):
            a = sign * kappa * length / 2.0
            for node in nodes:
                T[2 * node : 2 * node + 2, 2 * node : 2 * node + 2] = [
                    [math.cos(a), -math.sin(a)],
                    [math.sin(a), math.cos(a)],
                ]
        held = [*(2 * mesh.first), *(2 * mesh.last), 2 * mesh.first[4] + 1, 2 * mesh.last[4] + 1]
        free = np.setdiff1d(np.arange(n), held)
        for _ in range(25):
            force, after, _, stiffness = sheet.forces(u, memory)
            residual = (T.T @ force)[free]
            if np.linalg.norm(residual) < 1e-9 * np.linalg.norm(force):
                break
            K = stiffness()
            dense = np.column_stack([banded(K, column) for column in T[:, free].T])
            u = u - T[:, free] @ np.linalg.solve(T[:, free].T @ dense, residual)
        memory = after
        place = mesh.points[mesh.last] + u.reshape(-1, 2)[mesh.last]
        arm, at_end = place - place[4], force.reshape(-1, 2)[mesh.last]
        moments.append(float(arm[:, 0] @ at_end[:, 1] - arm[:, 1] @ at_end[:, 0]))
    return moments
