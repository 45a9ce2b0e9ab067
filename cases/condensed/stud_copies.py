"""What is watched of a tile's studs: bending and slip of nuts of every copy; a stud is the mean of its copies.

A plane through a stud splits what its bending is fitted by into what is alike on both sides, the constant among it, and
what is opposite. Mirrored copies have the same points, so the fit of the whole stud is the mean of those of its copies.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import scipy.sparse as sp

from headjoint.cases.condensed.cell_condensation import CellModel
from headjoint.cases.condensed.stud_rows import (
    ShankPoints,
    fitted_rows,
    mean_over_nuts,
    on_all_unknowns,
    shank_points,
)
from headjoint.meshes.solid.symmetry import ON_PLANE
from headjoint.model.base.arrays import FloatArray

# rows of a stud: gradients of axial stress along x and y at the thread, how they change up to the seat, slip of the nut
AT_THREAD, CHANGE, SLIP = slice(0, 2), slice(2, 4), slice(4, 6)
OF_STUD = 6


@dataclass(frozen=True)
class StudCopies:
    """Figures of a piece's own studs, `OF_STUD` each, then how far all else is shifted along the row over the head.

    on_all : (r, u) rows on all unknowns. strained : name -> (r,) what the free strain of unit loads takes off. arm :
    (own,) mm that makes stress of a gradient. slides : whether nuts slide over the head; the rows of slip and shift are
    nothing where they do not.
    """

    on_all: sp.csr_matrix = field(repr=False)
    strained: dict[str, FloatArray] = field(repr=False)
    arm: FloatArray
    slides: bool


def stud_copies(model: CellModel, face_at: float) -> StudCopies:
    """Return what is watched of a piece whose face, which its copies share, is at x = `face_at`."""
    fasteners = model.mesh.fasteners
    on_all = np.zeros((OF_STUD * len(fasteners) + 1, model.unknowns))
    strained: dict[str, FloatArray] = {}
    arm = np.zeros(len(fasteners))
    nuts = mean_over_nuts(model)
    for number, fastener in enumerate(fasteners):
        first, points = OF_STUD * number, shank_points(model.cell, model, fastener)
        fit = fit_of_copy(points, fastener.cut_planes)
        bends = slice(first, first + len(fit))
        on_all[bends], off = fitted_rows(model, number, fastener, fit, points.inside)
        for name, own in off.items():
            strained.setdefault(name, np.zeros(len(on_all)))[bends] = own
        arm[number] = points.arm
        for way in range(2) if nuts else ():
            on_all[first + SLIP.start + way] = on_all_unknowns(model, np.outer(nuts[number], np.eye(3)[way]).ravel())
    if nuts:
        on_all[-1] = _shift(model, face_at)
    return StudCopies(sp.csr_matrix(on_all), strained, arm, bool(nuts))


def fit_of_copy(points: ShankPoints, planes: Sequence[tuple[float, float]]) -> FloatArray:
    """Return the fit (4, k) of one copy: gradients along x and y at the thread, then their change up to the seat.

    planes : unit normals of those that cut the stud.
    """
    (dx, dy), height = points.across, points.height
    columns = {"1": np.ones_like(height), "x": dx, "y": dy, "x h": height * dx, "y h": height * dy}
    alike = [list(columns)]
    for normal, name in zip(np.eye(2), "xy", strict=True):  # what a plane through the axis turns to its opposite
        if any(abs(float(normal @ plane)) > 1.0 - ON_PLANE for plane in planes):
            alike = [part for own in alike for part in _split(own, name) if part]
    found: dict[str, FloatArray] = {}
    for own in alike:
        found |= dict(zip(own, points.fitted([columns[name] for name in own]), strict=True))
    return np.stack([found[name] for name in ("x", "y", "x h", "y h")])


def _split(names: list[str], turned: str) -> tuple[list[str], list[str]]:
    opposite = [name for name in names if name.startswith(turned)]
    return [name for name in names if name not in opposite], opposite


def _shift(model: CellModel, face_at: float) -> FloatArray:
    """Return the row (u,) of how far a node of all else is moved along the row over one of the head, on the face."""
    mesh = model.mesh
    on_face = np.flatnonzero(np.abs(mesh.points[0] - face_at) < ON_PLANE)
    in_head = np.isin(on_face, np.unique(mesh.cells[:, mesh.part == mesh.parts.index("head")]))
    apart = np.zeros((mesh.points.shape[1], 3))
    apart[on_face[~in_head][0], 0], apart[on_face[in_head][0], 0] = 1.0, -1.0
    return on_all_unknowns(model, apart.ravel())
