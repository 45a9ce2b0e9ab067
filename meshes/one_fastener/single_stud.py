"""Axisymmetric mesh of one stud or bolt through washer, head, gasket and block.

All parts are cylinders, so the mesh is a grid of r and z lines with cells left out where there is air.
Parts that touch share nodes (engaged threads, nut on stud), except at faces that may slide or open: nut,
washer, gasket. The gasket itself is the gap between deck and head, coupled facet to facet.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from skfem import MeshQuad

from headjoint.meshes.one_fastener.grading import graded_lines
from headjoint.meshes.one_fastener.joint_mesh import Interface, JointMesh
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import MeshError, TooManyElementsError
from headjoint.model.joint import Joint, bearing_ring, washer_ring

PARTS = ("fastener", "nut", "washer", "head", "block")
CLOSE = 1e-5  # mm between lines of the mesh, below which slivers between them spoil the balance of forces
LARGEST_MESH = 60_000  # elements; a finer single-stud mesh is a slip of units


@dataclass(frozen=True)
class Levels:
    """Heights (mm) of all horizontal faces, z = 0 at the block deck."""

    block_bottom: float
    hole_bottom: float
    thread_bottom: float
    thread_top: float
    deck: float
    head_bottom: float
    head_top: float
    bearing: float
    seat_top: float
    fastener_top: float
    cut: float
    segment_ends: tuple[float, ...]


def levels(joint: Joint) -> Levels:
    """Return the heights of the stack; the cut sits at the middle of the longest free segment."""
    block, head, fastener = joint.block, joint.head, joint.fastener
    thread_top = -block.counterbore_depth
    thread_bottom = thread_top - fastener.engagement
    head_bottom = joint.gasket.thickness
    head_top = head_bottom + head.height
    bearing = head_top + (joint.washer.thickness if joint.washer else 0.0)
    seat_top = bearing + joint.seat.height
    lengths = [segment.length for segment in fastener.segments]
    ends = tuple(bearing - np.cumsum(lengths))
    longest = int(np.argmax(lengths))
    return Levels(
        block_bottom=-block.height,
        hole_bottom=thread_bottom - block.hole_below,
        thread_bottom=thread_bottom,
        thread_top=thread_top,
        deck=0.0,
        head_bottom=head_bottom,
        head_top=head_top,
        bearing=bearing,
        seat_top=seat_top,
        fastener_top=seat_top + fastener.protrusion,
        cut=ends[longest] + lengths[longest] / 2.0,
        segment_ends=ends[:-1],
    )


def build(joint: Joint, refinement: float = 1.0) -> JointMesh:
    """Return the mesh of `joint`; `refinement` 2 halves every element, 0.5 doubles it.

    Raises TooManyElementsError when the stated sizes would make an absurd number of elements.
    """
    z = levels(joint)
    size = joint.mesh_size.element_size / refinement
    largest = max(size, joint.mesh_size.largest / refinement)
    # sizes everywhere scale with the refinement only if their slope does, too
    growth = 1.0 + (joint.mesh_size.growth - 1.0) / refinement
    radius_lines = graded_lines(_radius_breaks(joint, size, largest), growth, largest)
    height_lines = graded_lines(_height_breaks(z, size, largest), growth, largest)
    if (len(radius_lines) - 1) * (len(height_lines) - 1) > LARGEST_MESH:
        told = f"{len(radius_lines) - 1} by {len(height_lines) - 1}"
        raise TooManyElementsError(
            f"would make a grid of {told} elements; give a larger one",
            field="mesh.element_size",
            value=joint.mesh_size.element_size,
        )
    middle_r = (radius_lines[1:] + radius_lines[:-1]) / 2.0
    middle_z = (height_lines[1:] + height_lines[:-1]) / 2.0
    grid = _part_of(joint, z, middle_r[:, None], middle_z[None, :])
    return _assemble(joint, z, radius_lines, height_lines, grid)


def _radius_breaks(joint: Joint, size: float, largest: float) -> dict[float, float]:
    fastener, block = joint.fastener, joint.block
    fine = [joint.head.hole_diameter, *bearing_ring(joint), fastener.bonded_diameter]
    for zone in joint.gasket.zones:
        fine += [zone.inner_diameter, zone.outer_diameter]
    medium = [segment.diameter for segment in fastener.segments]
    medium += [joint.seat.outer_diameter]
    if block.counterbore_depth > 0.0:
        medium.append(block.counterbore_diameter)
    if fastener.kind == "stud":
        fine.append(fastener.nut_bonded_diameter)
    if joint.washer is not None:
        fine += washer_ring(joint)
        medium += [joint.washer.inner_diameter, joint.washer.outer_diameter]
    if joint.gas is not None:
        medium += [joint.gas.inner_diameter, joint.gas.outer_diameter]
    coarse = [joint.head.outer_diameter, block.outer_diameter, joint.gasket.sealing_zone.sealing_diameter]
    breaks: dict[float, float] = {0.0: largest}
    for diameters, wanted in ((coarse, largest), (medium, min(2.0 * size, largest)), (fine, size)):
        breaks.update({diameter / 2.0: wanted for diameter in diameters})
    return _merge_close(breaks)


def _height_breaks(z: Levels, size: float, largest: float) -> dict[float, float]:
    breaks = dict.fromkeys((z.block_bottom, z.hole_bottom, z.cut, z.fastener_top), largest)
    breaks.update(dict.fromkeys((*z.segment_ends, z.seat_top), min(3.0 * size, largest)))
    breaks.update(dict.fromkeys((z.thread_bottom,), min(2.0 * size, largest)))
    breaks.update(dict.fromkeys((z.deck, z.thread_top, z.head_bottom, z.head_top, z.bearing), size))
    return _merge_close(breaks)


def _merge_close(breaks: dict[float, float]) -> dict[float, float]:
    """Drop breaks that lie closer than elements can be, keeping the finer size."""
    merged: dict[float, float] = {}
    for place in sorted(breaks):
        twin = next((kept for kept in merged if abs(kept - place) < CLOSE), None)
        if twin is None:
            merged[place] = breaks[place]
        else:
            merged[twin] = min(merged[twin], breaks[place])
    return merged


def _part_of(joint: Joint, z: Levels, r: FloatArray, height: FloatArray) -> IntArray:
    """Return the part index of each cell centre, -1 for air; shape of r and height broadcast."""
    fastener, block, seat = joint.fastener, joint.block, joint.seat
    shape = np.broadcast_shapes(r.shape, height.shape)
    part = np.full(shape, -1)

    def fill(name: str, inner: float, outer: float, bottom: float, top: float) -> None:
        part[(r > inner / 2) & (r < outer / 2) & (height > bottom) & (height < top)] = PARTS.index(name)

    fill("block", 0.0, block.outer_diameter, z.block_bottom, z.deck)
    if block.counterbore_depth > 0.0:
        part[(r < block.counterbore_diameter / 2) & (height > z.thread_top) & (height < z.deck)] = -1
    part[(r < fastener.bonded_diameter / 2) & (height > z.hole_bottom) & (height < z.thread_top)] = -1
    fill("head", joint.head.hole_diameter, joint.head.outer_diameter, z.head_bottom, z.head_top)
    if joint.washer is not None:
        fill("washer", joint.washer.inner_diameter, joint.washer.outer_diameter, z.head_top, z.bearing)
    fill("fastener", 0.0, fastener.bonded_diameter, z.thread_bottom, z.thread_top)
    top = z.bearing
    for segment in fastener.segments:
        fill("fastener", 0.0, segment.diameter, top - segment.length, top)
        top -= segment.length
    fill("nut", 0.0, seat.outer_diameter, z.bearing, z.seat_top)
    if fastener.kind == "stud":
        fill("fastener", 0.0, fastener.nut_bonded_diameter, z.bearing, z.fastener_top)
    return part


def _assemble(joint: Joint, z: Levels, radius_lines: FloatArray, height_lines: FloatArray, grid: IntArray) -> JointMesh:
    """Number the nodes of each body, pair the faces that may slide or open, tag facets."""
    column, row = np.nonzero(grid >= 0)
    part = grid[column, row]
    # bodies that never share nodes where they meet: washer and head; all the rest is one body
    body = np.select([part == PARTS.index("washer"), part == PARTS.index("head")], [1, 2], 0)
    rows = len(height_lines)
    corners = np.stack([(column + dr) * rows + row + dz for dr, dz in ((0, 0), (1, 0), (1, 1), (0, 1))])
    keys = corners + body * len(radius_lines) * rows
    points = (radius_lines, height_lines)
    mesh = _mesh_of(keys, points)

    tied: list[Interface] = []
    kept: list[Interface] = []
    for interface, contact in _pairs(joint, mesh, part, z):
        (tied if contact == "tied" else kept).append(interface)
    if tied:
        below = np.concatenate([mesh.facets[:, face.lower].ravel() for face in tied])
        above = np.concatenate([mesh.facets[:, face.upper].ravel() for face in tied])
        unique = np.unique(keys)
        twin = dict(zip(unique[above], unique[below], strict=True))
        keys = np.vectorize(lambda key: twin.get(key, key))(keys)
        keys = np.vectorize(lambda key: twin.get(key, key))(keys)  # washer tied on both faces
        mesh = _mesh_of(keys, points)
        kept = [face for face, contact in _pairs(joint, mesh, part, z) if contact != "tied"]

    middle = mesh.p[1][mesh.t].mean(axis=0)
    cut_facets = _horizontal(mesh, z.cut, 0.0, min(radius_lines[-1], joint.head.hole_diameter / 2))
    gas_facets = deck_gas_facets = np.empty(0, dtype=np.int64)
    if joint.gas is not None:
        ring = (joint.gas.inner_diameter / 2, joint.gas.outer_diameter / 2)
        gas_facets = _of_part(mesh, part, _horizontal(mesh, z.head_bottom, *ring), "head")
        if joint.gas.on_block:
            deck_gas_facets = _of_part(mesh, part, _horizontal(mesh, z.deck, *ring), "block")
    return JointMesh(
        mesh=mesh,
        parts=PARTS,
        part=part,
        interfaces=tuple(kept),
        cut_facets=cut_facets,
        above_cut=np.flatnonzero((part == PARTS.index("fastener")) & (middle > z.cut)),
        gas_facets=gas_facets,
        deck_gas_facets=deck_gas_facets,
        bottom_facets=_horizontal(mesh, z.block_bottom, 0.0, radius_lines[-1]),
    )


def _mesh_of(keys: IntArray, lines: tuple[FloatArray, FloatArray]) -> MeshQuad:
    radius_lines, height_lines = lines
    unique, numbers = np.unique(keys, return_inverse=True)
    place = unique % (len(radius_lines) * len(height_lines))
    points = np.stack([radius_lines[place // len(height_lines)], height_lines[place % len(height_lines)]])
    mesh = MeshQuad(points, numbers.reshape(keys.shape))
    p = mesh.p[:, mesh.t]
    area = (p[0, 2] - p[0, 0]) * (p[1, 3] - p[1, 1]) - (p[0, 3] - p[0, 1]) * (p[1, 2] - p[1, 0])
    if not np.all(area > 0.0):
        raise MeshError("the mesh has inverted elements")
    return mesh


def _pairs(joint: Joint, mesh: MeshQuad, part: IntArray, z: Levels) -> list[tuple[Interface, str]]:
    """Return every face pair with how it is coupled: "gasket", "frictionless" or "tied"."""
    found: list[tuple[Interface, str]] = []
    below = "washer" if joint.washer is not None else "head"
    ring = tuple(diameter / 2 for diameter in bearing_ring(joint))
    name = "nut" if joint.fastener.kind == "stud" else "bolt head"
    nut = _Meeting(f"{name} on {below}", "bearing", (below, "nut"), (z.bearing, z.bearing), ring)
    found.append((_pair(mesh, part, nut), joint.seat.contact))
    if joint.washer is not None:
        ring = tuple(diameter / 2 for diameter in washer_ring(joint))
        washer = _Meeting("washer on head", "bearing", ("head", "washer"), (z.head_top, z.head_top), ring)
        found.append((_pair(mesh, part, washer), joint.washer.contact))
    for zone in joint.gasket.zones:
        ring = (zone.inner_diameter / 2, zone.outer_diameter / 2)
        own = _Meeting(zone.name, "gasket", ("block", "head"), (z.deck, z.head_bottom), ring)
        found.append((_pair(mesh, part, own), "gasket"))
    return found


@dataclass(frozen=True)
class _Meeting:
    """Where two parts meet: the lower and the upper one, the heights (mm) of their faces, and radii (mm) round them."""

    name: str
    kind: str
    parts: tuple[str, str]
    heights: tuple[float, float]
    ring: tuple[float, ...]


def _pair(mesh: MeshQuad, part: IntArray, met: _Meeting) -> Interface:
    lower, upper = (
        _of_part(mesh, part, _horizontal(mesh, height, *met.ring), own)
        for own, height in zip(met.parts, met.heights, strict=True)
    )
    lower = lower[np.argsort(mesh.p[0][mesh.facets[:, lower]].mean(axis=0))]
    upper = upper[np.argsort(mesh.p[0][mesh.facets[:, upper]].mean(axis=0))]
    matched = len(lower) == len(upper) > 0 and np.allclose(
        mesh.p[0][mesh.facets[:, lower]].mean(axis=0), mesh.p[0][mesh.facets[:, upper]].mean(axis=0)
    )
    # after tying, both faces are one and the same set of facets with either part as neighbour
    if not matched:
        raise MeshError(f"the faces of '{met.name}' do not match: {len(lower)} facets against {len(upper)}")
    return Interface(met.name, met.kind, lower, upper)


def _horizontal(mesh: MeshQuad, height: float, inner: float, outer: float) -> IntArray:
    """Return the facets that lie in the plane z = height between two radii (mm)."""
    r, z = mesh.p[0][mesh.facets], mesh.p[1][mesh.facets]
    slack = 1e-9
    flat = (np.abs(z - height) < slack).all(axis=0)
    return np.flatnonzero(flat & (r.min(axis=0) >= inner - slack) & (r.max(axis=0) <= outer + slack))


def _of_part(mesh: MeshQuad, part: IntArray, facets: IntArray, name: str) -> IntArray:
    """Keep the facets that border an element of part `name`."""
    index = PARTS.index(name)
    owners = mesh.f2t[:, facets]
    return facets[((part[owners] == index) & (owners >= 0)).any(axis=0)]
