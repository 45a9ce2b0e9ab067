"""Shapes from full displacements: sliding at the gasket, bore distortion by order, bending of fasteners."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from headjoint.cases.condensed.cell_condensation import CellModel
from headjoint.meshes.solid.face_search import FaceSearch
from headjoint.meshes.solid.solid_mesh import MeshedFastener, SolidMesh
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.cell import Cell

ORDERS = (0, 1, 2, 3, 4, 5, 6, 7, 8)
WALL_SLACK = 2e-3  # mm
FEWEST_ON_LEVEL = 5  # nodes of a bore wall at one height that make a level
FEWEST_LEVELS = 4  # that make a wall of columns of nodes
FREE_STEP = 3.0  # degrees between samples of a wall without levels


@dataclass(frozen=True)
class BoreShape:
    """Radial displacement of a bore at one depth (mm below the deck).

    angle (deg), radial (mm) : the samples. orders : amplitude (mm) of order k: 0 growth, 1 shift, 2 oval, ...
    distortion : radial (mm) less growth and sideways shift, which leave a bore round.
    """

    bore: int
    depth: float
    angle: FloatArray = field(repr=False)
    radial: FloatArray = field(repr=False)
    orders: dict[int, float]
    distortion: FloatArray = field(repr=False)


@dataclass(frozen=True)
class Partners:
    """Nodes (k,) of the gasket's carrying faces, their places (2, k), and the operator (k, n) for what lies opposite.

    sign : 1 where the head lies opposite, -1 where the block does.
    """

    nodes: IntArray = field(repr=False)
    places: FloatArray = field(repr=False)
    opposite: sp.csr_matrix = field(repr=False)
    sign: float

    def sliding(self, moved: FloatArray) -> FloatArray:
        """Return the horizontal travel (2, k) in mm of head over block for displacements (n, 3)."""
        return self.sign * np.stack([self.opposite @ moved[:, c] - moved[self.nodes, c] for c in range(2)])


def gasket_partners(model: CellModel) -> Partners:
    """Return the pairs of places of both gasket faces."""
    pair, n = model.mesh.pair("gasket"), model.mesh.points.shape[1]
    nodes = np.unique(pair.carriers)
    operator, found = FaceSearch(model.mesh.points, pair.opposite).operator(model.mesh.points[:2, nodes], n)
    nodes = nodes[found]
    return Partners(nodes, model.mesh.points[:2, nodes], operator[found], -1.0 if pair.on_upper else 1.0)


def bore_shapes(cell: Cell, mesh: SolidMesh, moved: FloatArray) -> tuple[BoreShape, ...]:
    """Return the shape of every bore at several depths, all round by the planes of symmetry through its axis."""
    casting = np.isin(mesh.part, [mesh.parts.index(name) for name in ("block", "liner") if name in mesh.parts])
    nodes = np.unique(mesh.cells[:, casting])
    x, y, z = mesh.points[:, nodes]
    found = []
    for bore, (bx, by) in enumerate(cell.bore_centres):
        on_wall = np.abs(np.hypot(x - bx, y - by) - cell.layout.bore / 2.0) < WALL_SLACK
        wall = nodes[on_wall]
        if not len(wall):
            continue
        height, count = np.unique(np.round(z[on_wall], 4), return_counts=True)
        levels = height[count >= FEWEST_ON_LEVEL]
        planes = [
            math.atan2(-normal[0], normal[1])
            for normal, on in mesh.planes
            if len(on)
            and abs((bx - mesh.points[0, on[0]]) * normal[0] + (by - mesh.points[1, on[0]]) * normal[1]) < 1e-6
        ]
        own = mesh.points[:, wall] - np.array([[bx], [by], [0.0]])
        for depth in cell.asked.bore_depths:
            if -depth < height[0]:  # below an own mesh
                continue
            angle, radial = _wall_samples(own, moved[wall], -depth, levels)
            angle, radial = _all_round(angle, radial, planes)
            found.append(BoreShape(bore, depth, np.degrees(angle), radial, *bore_orders(angle, radial)))
    return tuple(found)


def _wall_samples(
    places: FloatArray, moved: FloatArray, height: float, levels: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return angle (rad) and radial displacement (mm) at a height of wall nodes (3, k): between nodes above each other
    where there are `levels` of them, by a cubic that does not overshoot; else between nodes of a free mesh.
    """
    angle = np.arctan2(places[1], places[0])
    radial = moved[:, 0] * np.cos(angle) + moved[:, 1] * np.sin(angle)
    if len(levels) >= FEWEST_LEVELS and levels[0] <= height <= levels[-1]:
        from scipy.interpolate import PchipInterpolator

        columns = np.unique(np.round(angle, 7), return_inverse=True)[1]
        pairs = []
        for column in range(columns.max() + 1):
            own = np.flatnonzero(columns == column)
            own = own[np.argsort(places[2, own])]
            if len(own) > 1 and places[2, own[0]] <= height <= places[2, own[-1]]:
                pairs.append((angle[own[0]], float(PchipInterpolator(places[2, own], radial[own])(height))))
        return np.array([one for one, _ in pairs]), np.array([one for _, one in pairs])
    from scipy.interpolate import LinearNDInterpolator

    radius = float(np.hypot(places[0], places[1]).mean())
    # unrolled with a margin of itself on both sides, so that a whole bore closes
    turns = np.concatenate([angle - 2.0 * math.pi, angle, angle + 2.0 * math.pi])
    between = LinearNDInterpolator(np.column_stack([radius * turns, np.tile(places[2], 3)]), np.tile(radial, 3))
    wanted = np.radians(np.arange(-180.0, 180.0, FREE_STEP))
    inside = np.array([np.abs(angle - one).min() < np.radians(FREE_STEP) for one in wanted])
    values = between(np.column_stack([radius * wanted, np.full(len(wanted), height)]))
    good = inside & np.isfinite(values)
    return wanted[good], values[good]


def _all_round(angle: FloatArray, radial: FloatArray, planes: list[float]) -> tuple[FloatArray, FloatArray]:
    """Return the samples and their mirror images at planes (angle, rad) through the axis, all round."""
    angle = angle % (2.0 * math.pi)
    order = np.argsort(angle)
    angle, radial = angle[order], radial[order]
    for _ in range(5):  # every round doubles the reach; eight studs have sixteen half sectors
        before = len(angle)
        for plane in planes:
            both = np.concatenate([angle, (2.0 * plane - angle) % (2.0 * math.pi)])
            # mirror images of one sample differ in their last digits, also across the full turn
            _, first = np.unique(np.round(both, 5) % round(2.0 * math.pi, 5), return_index=True)
            radial, angle = np.concatenate([radial, radial])[first], both[first]
            order = np.argsort(angle)
            angle, radial = angle[order], radial[order]
            new = np.concatenate([[True], np.diff(angle) > 1e-4])
            angle, radial = angle[new], radial[new]
        if len(angle) == before:
            break
    return angle, radial


def bore_orders(angle: FloatArray, radial: FloatArray) -> tuple[dict[int, float], FloatArray]:
    """Return the amplitudes (mm) of the Fourier orders, by least squares over unevenly spaced samples, and distortion.

    angle (n,) rad, radial (n,) mm : the samples. Distortion (n,) mm is what the orders from 2 on, and higher ones
    than are fitted, leave: a bore that grows or is shifted as a whole stays round.
    """
    usable = [k for k in ORDERS if 2 * k + 1 <= len(angle)]
    columns = [np.ones_like(angle)]
    for k in usable[1:]:
        columns += [np.cos(k * angle), np.sin(k * angle)]
    gaps = np.diff(np.concatenate([angle, [angle[0] + 2 * math.pi]]))
    weight = np.sqrt((gaps + np.roll(gaps, 1)) / 2.0)
    fit, *_ = np.linalg.lstsq(np.stack(columns, axis=1) * weight[:, None], radial * weight, rcond=None)
    orders = {0: float(fit[0])}
    for index, k in enumerate(usable[1:]):
        orders[k] = float(np.hypot(fit[1 + 2 * index], fit[2 + 2 * index]))
    rigid = fit[: 1 + 2 * (1 in usable)]
    return orders, radial - np.stack(columns[: len(rigid)], axis=1) @ rigid


def bending_fit(cell: Cell, model: CellModel, fastener: MeshedFastener) -> tuple[FloatArray, NDArray[np.bool_], float]:
    """Return the fit (r, k) that gives gradients from axial stress at k Gauss points of the free length, which of its
    points those are, and the arm (mm) that makes bending stress of a gradient.

    No side force acts on the shank but at its ends, so its moment goes evenly from one end of the free length to the
    other: axial stress is fitted by a constant and gradients across the axis that are linear in height, half a diameter
    away from the ends, where thread and seat disturb it. The larger end counts; the smallest stated section bears its
    moment at d^3 of its own.
    """
    mesh = model.mesh
    places, weight = model.body.places(fastener.free)
    diameter = cell.shank_diameter
    smallest = min(segment.diameter for segment in cell.joint.fastener.segments)
    z = mesh.points[2, mesh.cells[:, fastener.free]]
    bottom, top = float(z[fastener.travel == 0.0].max()), float(z[fastener.travel == 1.0].min())
    height = (places[2].ravel() - bottom) / (top - bottom)
    dx, dy = (places[0] - fastener.x).ravel(), (places[1] - fastener.y).ravel()
    directions = [dx, dy]
    if fastener.cut_planes:  # about an axis in a plane of symmetry nothing bends
        (nx, ny), *others = fastener.cut_planes
        directions = [] if others else [-ny * dx + nx * dy]
    inside = np.abs(height - 0.5) < 0.5 - diameter / 2.0 / (top - bottom)
    columns = np.column_stack([np.ones_like(height), *directions, *(height * one for one in directions)])[inside]
    root = np.sqrt(weight.ravel()[inside])
    fit = np.linalg.pinv(root[:, None] * columns)[1:] * root
    return fit, inside, diameter / 2.0 * (diameter / smallest) ** 3
