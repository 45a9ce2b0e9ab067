"""Heat across the gap between a shank and its hole: points of the shank, each with the place of the hole it faces."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import scipy.sparse as sp

from headjoint.cases.elements.axisymmetric import GAUSS_POINTS
from headjoint.cases.heat.conduction import FloatArray, HeatBody, IntArray
from headjoint.cases.heat.surfaces import SurfacePoints, contact, surface
from headjoint.meshes.one_fastener.joint_mesh import JointMesh
from headjoint.meshes.solid.face_search import FaceSearch

ROUND = 1e-6  # mm, by which a face of an axisymmetric mesh may miss being upright
AROUND = (-1.0, 0.0, 1.0)  # turns by which faces are repeated, so that none ends where the angle jumps


@dataclass(frozen=True)
class ShankGap:
    """Points of a shank and of its hole opposite; shank, hole : radii (g,) mm at them."""

    surface: SurfacePoints = field(repr=False)
    shank: FloatArray = field(repr=False)
    hole: FloatArray = field(repr=False)


def joint_gap(body: HeatBody, mesh: JointMesh) -> ShankGap | None:
    """Return the gap of one fastener's joint: upright facets that face each other at one height; None where none do."""
    grid = mesh.mesh
    facets = grid.boundary_facets()
    r, z = grid.p[0][grid.facets[:, facets]], grid.p[1][grid.facets[:, facets]]
    element = grid.f2t[0, facets]
    upright = np.abs(r[0] - r[1]) < ROUND
    outward = grid.p[0][grid.t[:, element]].mean(axis=0) < r[0]
    shank = mesh.part[element] == mesh.parts.index("fastener")
    heights = [tuple(sorted(pair)) for pair in np.round(z.T, 6).tolist()]
    of_shank = {heights[i]: i for i in np.flatnonzero(upright & outward & shank)}
    of_hole = {heights[i]: i for i in np.flatnonzero(upright & ~outward & ~shank)}
    both = [(of_shank[key], of_hole[key]) for key in sorted(of_shank.keys() & of_hole.keys())]
    both = [(inner, outer) for inner, outer in both if r[0, outer] > r[0, inner] + ROUND]
    if not both:
        return None
    inner, outer = np.array(both).T
    points = contact(body, facets[inner], facets[outer])
    repeated = len(GAUSS_POINTS)
    return ShankGap(points, np.repeat(r[0, inner], repeated), np.repeat(r[0, outer], repeated))


def cell_gap(
    body: HeatBody, centres: list[tuple[float, float]], shank: IntArray, hole: IntArray, hole_radius: float
) -> ShankGap | None:
    """Return the gap of all fasteners of a cell; None where no shank faces a hole.

    centres : axes, mm. shank, hole : free faces (8 or 6, f) of fasteners and of what may be round them. Both are
    unrolled round the axis to a plane of arc and height, and the points of the shank are searched on the hole there.
    """
    gaps: list[ShankGap] = []
    for x, y in centres:
        own = _near(body.places, shank, x, y, hole_radius)
        others = _near(body.places, hole, x, y, 1.5 * hole_radius)
        if not own.size or not others.size:
            continue
        points = surface(body, own)
        arc, radius = _unrolled(points.places[0] - x, points.places[1] - y, hole_radius)
        operator, met, outer = _search(body, others, x, y, hole_radius, np.stack([arc, points.places[2]]))
        gap = met & (outer > radius + ROUND)
        # the nut and the threads turn no face towards the hole: a shank's face is upright and round
        if gap.any():
            across = SurfacePoints((points.evaluate - operator)[gap].tocsr(), points.weight[gap], points.places[:, gap])
            gaps.append(ShankGap(across, radius[gap], outer[gap]))
    if not gaps:
        return None
    evaluate = sp.vstack([each.surface.evaluate for each in gaps]).tocsr()
    weight = np.concatenate([each.surface.weight for each in gaps])
    places = np.hstack([each.surface.places for each in gaps])
    return ShankGap(
        SurfacePoints(evaluate, weight, places),
        np.concatenate([each.shank for each in gaps]),
        np.concatenate([each.hole for each in gaps]),
    )


def _near(places: FloatArray, faces: IntArray, x: float, y: float, reach: float) -> IntArray:
    """Return the upright faces whose nodes all lie at one radius, at most `reach`, from an axis."""
    radius = np.hypot(places[0, faces] - x, places[1, faces] - y)
    height = np.ptp(places[2, faces], axis=0)
    upright = (np.ptp(radius, axis=0) < 0.02 * reach) & (height > 0.0)
    return faces[:, upright & (radius.max(axis=0) < reach + ROUND)]


def _unrolled(x: FloatArray, y: FloatArray, radius: float) -> tuple[FloatArray, FloatArray]:
    """Return arc (mm, at `radius`) and distance from the axis."""
    return radius * np.arctan2(y, x), np.hypot(x, y)


def _search(
    body: HeatBody, faces: IntArray, x: float, y: float, radius: float, wanted: FloatArray
) -> tuple[sp.csr_matrix, np.ndarray, FloatArray]:
    """Return the operator (g, n) of nodal fields at places (2, g) of the unrolled faces, which were met, and radii."""
    k, f = faces.shape
    nodes = body.places[:, faces]
    arc, distance = _unrolled(nodes[0] - x, nodes[1] - y, radius)
    turn = 2.0 * np.pi * radius
    # a face that the jump of the angle cuts gets its far nodes back on its own side
    arc = arc[:1] + (arc - arc[:1] + turn / 2.0) % turn - turn / 2.0
    plane = np.stack([np.hstack([arc + shift * turn for shift in AROUND]), np.tile(nodes[2], len(AROUND))])
    own = np.arange(k * f * len(AROUND)).reshape(k, -1)
    search = FaceSearch(plane.reshape(2, -1), own)
    local, met = search.operator(wanted, own.size)
    node_of = np.tile(faces, len(AROUND)).ravel()
    gather = sp.csr_matrix((np.ones(own.size), (np.arange(own.size), node_of)), shape=(own.size, body.count))
    outer = local @ np.tile(distance, len(AROUND)).ravel()
    return (local @ gather).tocsr(), met, outer
