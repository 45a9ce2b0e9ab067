"""Plan mesh of what lies beyond the face of a bank's tile: mates with it node for node.

Round studs on the face the tile's own elements are mirrored; what is left of the rectangle is meshed between the nodes
that are given there and on the face.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from headjoint.meshes.solid.cell_lines import SLACK, rings_of
from headjoint.meshes.solid.gmsh_session import gmsh_session
from headjoint.meshes.solid.plan import Line, Rings, mended, plan_area, quadrilaterals, without_loose
from headjoint.meshes.solid.plan_mesh import PlanMesh, anticlockwise, merged, moved
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import MeshError
from headjoint.model.cell import Bank, Cell

SAME = 1e-6  # mm
WAYS = tuple((factor, recombined) for recombined in (True, False) for factor in (1.0, 0.92, 1.08))
GOOD, USABLE = 0.2, 0.05  # share of a square from which no other way is tried, and below which none will do
NAME = "end of the row"

Size = Callable[[float, float], float]


def end_plan(cell: Cell, tile: PlanMesh, size: Size) -> PlanMesh:
    """Return the plan of a bank's end, from x = pitch/2 on, beside the plan of its tile.

    size : wanted element size (mm) at a place. Raises MeshError where no mesh of it is usable.
    """
    layout = cell.layout
    assert isinstance(layout, Bank)
    assert layout.end is not None
    half, length = layout.pitch / 2.0, layout.end.length
    rings = [one for one in rings_of(cell) if abs(one.x - half) < SAME]
    discs = [_mirrored_disc(tile, one, half) for one in sorted(rings, key=lambda one: one.y)]
    given = _given(tile, discs, rings, half, layout.half_width)
    area = length * layout.half_width - sum(plan_area(one) for one in discs)
    best, reached = None, USABLE
    for edges in (_edges(cell, given, rings), ()):
        for factor, recombined in WAYS:
            if reached > GOOD:
                break
            plan, free = _between(given, half + length, edges, factor, size, recombined)
            plan, quality = mended(plan, free, area)
            if quality > reached:
                best, reached = plan, quality
    if best is None:
        raise MeshError(f"{NAME}: no plan of it is usable; change [layout] end_length or [mesh] stud_size")
    whole = merged([*discs, best])
    on_face = [np.sort(one.points[1][np.abs(one.points[0] - half) < SAME]) for one in (tile, whole)]
    if len(on_face[0]) != len(on_face[1]) or np.abs(on_face[0] - on_face[1]).max() > SAME:
        raise MeshError(f"{NAME}: its plan does not meet that of the last bore node for node")
    return whole


def _mirrored_disc(tile: PlanMesh, ring: Rings, half: float) -> PlanMesh:
    """Return the tile's elements within the circles round a stud on its face, mirrored beyond it."""
    radius = np.hypot(tile.points[0] - ring.x, tile.points[1] - ring.y)
    inside = (radius[tile.quads] < ring.radii[-1] + SAME).all(axis=0)
    used, quads = np.unique(tile.quads[:, inside], return_inverse=True)
    own = PlanMesh(tile.points[:, used], quads.reshape(8, -1))
    return moved(own, np.diag([-1.0, 1.0]), (2.0 * half, 0.0))


def _given(tile: PlanMesh, discs: Sequence[PlanMesh], rings: Sequence[Rings], half: float, depth: float) -> FloatArray:
    """Return every second corner (2, k) on the face and round the discs, from y = 0 on: the mesher halves what lies
    between.
    """
    corners = tile.points[:, np.unique(tile.quads[:4])]
    heights = np.sort(corners[1, np.abs(corners[0] - half) < SAME])
    stretches, start = [], 0.0
    for disc, ring in zip(discs, sorted(rings, key=lambda one: one.y), strict=True):
        below = heights[(heights > start - SAME) & (heights < ring.y - ring.radii[-1] + SAME)]
        stretches.append(np.stack([np.full(len(below), half), below]))
        own = disc.points[:, np.unique(disc.quads[:4])]
        x, y = own[0] - ring.x, own[1] - ring.y
        round_it = np.abs(np.hypot(x, y) - ring.radii[-1]) < SAME
        stretches.append(own[:, round_it][:, np.argsort(np.arctan2(y, x)[round_it])])
        start = ring.y + ring.radii[-1]
    above = heights[(heights > start - SAME) & (heights < depth + SAME)]
    stretches.append(np.stack([np.full(len(above), half), above]))
    if any(one.shape[1] % 2 == 0 for one in stretches):
        raise MeshError(f"{NAME}: the face of the last bore has a node too many")
    whole = np.hstack([one[:, ::2] for one in stretches])
    apart = np.hypot(*np.diff(whole, axis=1)) > SAME
    return whole[:, np.concatenate([[True], apart])]


def _edges(cell: Cell, given: FloatArray, rings: Sequence[Rings]) -> tuple[Line, ...]:
    """Return the inner edges of end wall and side wall, where elements have room beside them."""
    layout = cell.layout
    assert isinstance(layout, Bank)
    assert layout.end is not None
    half, slack = layout.pitch / 2.0, SLACK * cell.mesh.stud_size
    end, wall = half + layout.end.length, layout.end.wall
    lines: list[Line] = []
    if wall > slack and end - wall > half + max((one.radii[-1] for one in rings), default=0.0) + slack:
        lines.append(((end - wall, 0.0), (end - wall, layout.half_width)))
    side = layout.half_width - cell.head.side_wall
    at = given[1, (np.abs(given[0] - half) < SAME) & (np.abs(given[1] - side) < SAME)]
    if len(at) and all(abs(one.y - side) > one.radii[-1] + slack for one in rings):
        lines.append(((half, float(at[0])), (end, float(at[0]))))
    return tuple(lines)


def _between(
    given: FloatArray, end: float, edges: Sequence[Line], factor: float, size: Size, recombined: bool
) -> tuple[PlanMesh, NDArray[np.bool_]]:
    """Return a mesh between the given nodes and x = `end`, and which of its points lie on no line."""
    with gmsh_session(NAME) as gmsh:
        occ = gmsh.model.occ
        sheet = _sheet(occ, given, end)
        tools = [
            (1, occ.addLine(occ.addPoint(*start, 0.0), occ.addPoint(*stop, 0.0))) for start, stop in edges
        ]  # fmt: skip
        occ.fragment([(2, sheet)], tools)
        occ.synchronize()
        without_loose(gmsh)
        _as_given(gmsh, given)
        points, quads, free = quadrilaterals(gmsh, lambda x, y: factor * size(x, y), recombined, ())
    used, numbered = np.unique(anticlockwise(points, quads), return_inverse=True)
    return PlanMesh(points[:, used], numbered.reshape(quads.shape)), free[used]


def _sheet(occ: Any, given: FloatArray, end: float) -> int:
    face, depth = float(given[0, 0]), float(given[1, -1])
    tags = [occ.addPoint(*place, 0.0) for place in given.T]
    lines = []
    for (x, y), (to_x, to_y), first, second in zip(given.T, given.T[1:], tags, tags[1:], strict=False):
        if max(x, to_x) < face + SAME:
            lines.append(occ.addLine(first, second))
            continue
        # the centre lies on the face, as far from both
        centre = (to_x**2 - x**2 + to_y**2 - y**2 - 2.0 * face * (to_x - x)) / (2.0 * (to_y - y))
        lines.append(occ.addCircleArc(first, occ.addPoint(face, centre, 0.0), second))
    corners = [occ.addPoint(end, depth, 0.0), occ.addPoint(end, 0.0, 0.0)]
    around = [tags[-1], *corners, tags[0]]
    lines += [occ.addLine(first, second) for first, second in zip(around, around[1:], strict=False)]
    return int(occ.addPlaneSurface([occ.addCurveLoop(lines)]))


def _as_given(gmsh: Any, given: FloatArray) -> None:
    """Have one element on every curve between two of the given nodes, which the mesher halves."""
    for curve in gmsh.model.getEntities(1):
        ends = gmsh.model.getBoundary([curve], oriented=False)
        places = np.array([gmsh.model.getValue(*one, [])[:2] for one in ends])
        near = [np.flatnonzero(np.hypot(*(given - place[:, None])) < SAME) for place in places]
        if len(near) == 2 and all(len(one) for one in near) and abs(int(near[0][0]) - int(near[1][0])) == 1:
            gmsh.model.mesh.setTransfiniteCurve(curve[1], 2)
