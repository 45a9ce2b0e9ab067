"""Layers of sheet on each other: nodes of one against the curved face of the other, and how they lie at first.

A node of the upper layer at (x, y) overlaps the face below it by o = f(x) - y, with f the parabola through the present
places (x_i, y_i) of the face's edge there. Its pressure p(o) is the slope of what the overlap stores, so forces on node
and edge balance in force and moment, and the stiffness is symmetric. With Lagrange's l_i, moving a place of the edge by
(dx_i, dy_i) moves f(x) by l_i(x) (dy_i - f'(x_i) dx_i), from which all derivatives follow. Friction is Coulomb's along
x, as on the decks; it moves with the shares l_i.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from headjoint.cases.bead.decks import NOTHING_TRIED, STICKING, Rub, Tried, anchored, rubbed, sprung
from headjoint.meshes.bead.strip import Strip
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import SolveError

OVERHANG = 0.05  # mm beyond the end of a face that a node still lies on it
SLID = 1  # edges that a node may slide by, for which the stiffness has room


@dataclass(frozen=True)
class Between:
    """Two layers. nodes, weight (mm) : of the upper one's lower face. face : nodes of the lower one's upper face, edge
    by edge with middle nodes, rising x. places : (n, 2) mm of all nodes at first. stiffness : MPa/mm. friction.
    """

    nodes: IntArray = field(repr=False)
    weight: FloatArray = field(repr=False)
    face: IntArray = field(repr=False)
    places: FloatArray = field(repr=False)
    stiffness: float
    friction: float


class Pushed(NamedTuple):
    """What layers do to each other. pressure : (k,) MPa. rub : friction. slid : (k,) mm. unknowns : (k, 8) of node and
    edge. force : (k, 8) that they feel, N/mm. stiffness : (k, 8, 8) of the residual."""

    pressure: FloatArray
    rub: Rub
    slid: FloatArray
    unknowns: IntArray
    force: FloatArray
    stiffness: FloatArray

    @property
    def anchors(self) -> FloatArray:
        """From where friction pulls next, mm."""
        return anchored(self.slid, self.rub)


def pushed(between: Between, displacement: FloatArray, anchor: FloatArray, tried: Tried = NOTHING_TRIED) -> Pushed:
    """Return what two layers do to each other at displacements (n,) mm, friction pulling from `anchor` (k,) mm.

    tried : what is known of the try before.
    """
    moved = displacement.reshape(-1, 2)
    now, nodes = between.places + moved, between.nodes
    edge = between.face[2 * _edge(now[between.face[::2], 0], now[nodes, 0])[:, None] + np.arange(3)]
    x, (xi, yi) = now[nodes, 0], np.moveaxis(now[edge], 2, 0)
    shape = _Parabola(x, xi, yi)
    beyond = np.maximum(xi[:, 0] - x, x - xi[:, 2])
    overlap = np.where(beyond < OVERHANG, shape.height - now[nodes, 1], -1.0)
    if tried.bore is not None:
        tried = tried._replace(bore=np.where(beyond < OVERHANG, tried.bore, 0.0))
    pressure, slope = sprung(overlap, between.stiffness, tried.bore)
    gradient = np.zeros((len(x), 8))
    gradient[:, 0], gradient[:, 1] = shape.slope, -1.0
    gradient[:, 2::2], gradient[:, 3::2] = -shape.l * shape.slopes, shape.l
    w = between.weight
    stiffness = slope[:, None, None] * gradient[:, :, None] * gradient[:, None, :]
    stiffness += pressure[:, None, None] * shape.second()
    # friction: along g, the way of the node over the edge
    g = np.zeros((len(x), 8))
    g[:, 0], g[:, 2::2] = 1.0, -shape.l
    along, turned = moved[edge][:, :, 0], shape.turned()
    slid = moved[nodes, 0] - (shape.l * along).sum(axis=1)
    slides = g + np.einsum("ki,kij->kj", along, turned[:, 2::2])
    rub = rubbed(STICKING * (slid - anchor), between.friction, pressure, tried)
    by = (rub.by_way * (slope > 0.0))[:, None] * slides + (rub.by_pressure * slope)[:, None] * gradient
    stiffness += g[:, :, None] * by[:, None, :] + rub.shear[:, None, None] * turned
    force = -(pressure[:, None] * gradient + rub.shear[:, None] * g) * w[:, None]
    own = np.concatenate([nodes[:, None], edge], axis=1)
    unknowns = (2 * own[:, :, None] + np.arange(2)).reshape(-1, 8)
    return Pushed(pressure, rub, slid, unknowns, force, stiffness * w[:, None, None])


class _Parabola:
    """Through three places (k, 3) each, looked at x (k,): height, slope, slopes at the places, Lagrange's l (k, 3)."""

    def __init__(self, x: FloatArray, xi: FloatArray, yi: FloatArray) -> None:
        a, m, b = xi.T
        bottom = np.stack([(a - m) * (a - b), (m - a) * (m - b), (b - a) * (b - m)], axis=1)
        others = np.stack([m + b, a + b, a + m], axis=1)
        products = np.stack([m * b, a * b, a * m], axis=1)
        self.l = (x[:, None] ** 2 - others * x[:, None] + products) / bottom
        self.dl = (2.0 * x[:, None] - others) / bottom  # by x
        # dl of every l (second axis) at every place (third axis)
        self.at_places = (2.0 * xi[:, None, :] - others[:, :, None]) / bottom[:, :, None]
        self.height, self.slope = (self.l * yi).sum(axis=1), (self.dl * yi).sum(axis=1)
        self.slopes = np.einsum("kij,ki->kj", self.at_places, yi)
        self.bend = (2.0 / bottom * yi).sum(axis=1)

    def turned(self) -> FloatArray:
        """Return derivatives (k, 8, 8) of -l, in the rows of the places' x, by x and the places' x."""
        found = np.zeros((len(self.l), 8, 8))
        found[:, 2::2, 0], found[:, 2::2, 2::2] = -self.dl, self.at_places * self.l[:, None, :]
        return found

    def second(self) -> FloatArray:
        """Return second derivatives (k, 8, 8) of the height by (x, y, x_a, y_a, x_m, y_m, x_b, y_b)."""
        l, dl, there, slopes, bend = self.l, self.dl, self.at_places, self.slopes, self.bend  # noqa: E741
        found = np.zeros((len(l), 8, 8))
        found[:, 0, 0] = bend
        found[:, 0, 3::2] = dl
        found[:, 0, 2::2] = -dl * slopes
        # d l_i(x)/dx_j = -l_j(x) l_i'(x_j)
        found[:, 3::2, 2::2] = -there * l[:, None, :]
        # d (-l_i(x) f'(x_i))/dx_j, f itself moving by -l_j f'(x_j)
        square = there * l[:, None, :] * slopes[:, :, None] + there.transpose(0, 2, 1) * (
            l[:, :, None] * slopes[:, None]
        )
        square -= np.eye(3) * (l * bend[:, None])[:, :, None]
        found[:, 2::2, 2::2] = square
        found[:, 2::2, 3::2] = found[:, 3::2, 2::2].transpose(0, 2, 1)
        found[:, 1:, 0] = found[:, 0, 1:]
        return found


def _edge(corners: FloatArray, x: FloatArray) -> IntArray:
    """Return the numbers of the edges between corners (rising) that places x lie on, the outermost beyond them."""
    if np.any(np.diff(corners) <= 0.0):
        raise SolveError("a face of a layer turns over")
    return np.clip(corners.searchsorted(x, side="right") - 1, 0, len(corners) - 2)


def band_needed(between: Sequence[Between]) -> int:
    """Return the half band width that the stiffness of layers on each other needs, with `SLID` edges to spare."""
    widest = 0
    for one in between:
        corners = one.places[one.face[::2], 0]
        edge = _edge(corners, one.places[one.nodes, 0])
        for off in range(-SLID, SLID + 1):
            near = np.clip(edge + off, 0, len(corners) - 2)
            reach = np.abs(one.face[2 * near[:, None] + np.arange(3)] - one.nodes[:, None]).max()
            widest = max(widest, 2 * int(reach) + 1)
    return widest


def added(K: FloatArray, band: int, one: Pushed) -> None:
    """Add the stiffness of layers on each other to a stiffness in band storage.

    Raises SolveError where a layer slid out of what the band has room for.
    """
    rows, columns = np.broadcast_arrays(one.unknowns[:, :, None], one.unknowns[:, None, :])
    acts = one.stiffness != 0.0
    rows, columns = rows[acts], columns[acts]
    if len(rows) and np.abs(rows - columns).max() > band:
        raise SolveError("layers slide on each other by more than their elements are long")
    np.add.at(K, (band + rows - columns, columns), one.stiffness[acts])


def upside_down(mesh: Strip) -> Strip:
    """Return a mesh mirrored at y = 0."""
    points = mesh.points * np.array([1.0, -1.0])
    return Strip(points, mesh.cells[:, [3, 2, 1, 0, 6, 5, 4, 7]], mesh.upper, mesh.lower, mesh.first, mesh.last,
                 mesh.upper_weight, mesh.lower_weight)  # fmt: skip


@dataclass(frozen=True)
class Laid:
    """Layers as one mesh. faces : of every pair, nodes and weights of the upper one's lower face, and the face below.
    top : how high they stand, mm."""

    mesh: Strip
    faces: tuple[tuple[IntArray, FloatArray, IntArray], ...]
    top: float


def laid(meshes: Sequence[Strip]) -> Laid:
    """Return layers laid one upon the other from below, each let down until it touches, numbered across all of them."""
    placed = list[FloatArray]()
    for mesh in meshes:
        points = mesh.points.copy()
        if placed:
            x, y = points[mesh.lower].T
            across, up = placed[-1][meshes[len(placed) - 1].upper].T
            points[:, 1] -= np.nanmin(y - np.interp(x, across, up, left=np.nan, right=np.nan))
        else:
            points[:, 1] -= points[:, 1].min()
        placed.append(points)
    starts = np.cumsum([0, *(len(one) for one in placed)])
    points = np.concatenate(placed)
    order = np.lexsort((points[:, 1], np.round(points[:, 0], 9)))
    number = np.argsort(order)

    def joined(part: str) -> IntArray:
        return number[np.concatenate([getattr(one, part) + start for one, start in zip(meshes, starts, strict=False)])]

    def of(part: str, i: int) -> IntArray:
        return number[getattr(meshes[i], part) + starts[i]]

    cells = number[np.concatenate([one.cells + start for one, start in zip(meshes, starts, strict=False)])]
    mesh = Strip(points[order], cells, of("lower", 0), of("upper", len(meshes) - 1), joined("first"), joined("last"),
                 meshes[0].lower_weight, meshes[-1].upper_weight)  # fmt: skip
    pairs = range(1, len(meshes))
    faces = tuple((of("lower", i), meshes[i].lower_weight, of("upper", i - 1)) for i in pairs)
    return Laid(mesh, faces, float(points[:, 1].max()))
