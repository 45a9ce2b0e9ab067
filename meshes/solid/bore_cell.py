"""Mesh of a bore cell: one plan mesh of a tile, mirrored to the whole cell, stacked through block, gasket and head."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from headjoint.meshes.one_fastener.grading import graded_lines
from headjoint.meshes.solid import plan as plans
from headjoint.meshes.solid import symmetry
from headjoint.meshes.solid.coolant_space import side_wall_edge, solid_share
from headjoint.meshes.solid.hexahedra import ABOVE, BELOW, SIDES, Stack, stack
from headjoint.meshes.solid.plan import Arc, Line, PlanMesh, Rectangle, Rings, Sector
from headjoint.meshes.solid.solid_mesh import FacePair, MeshedFastener, SolidMesh, check_quality
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import MeshError
from headjoint.model.cell import CELL_PARTS, HOLE_RIM, Bank, Cell

LARGEST_CELLS = 150_000
SLACK_BESIDE_WALL = 0.45  # of the element size at studs, room that elements need beside the side wall's edge
LAYER_SHARE = 0.7  # of the element size round the bore, thickness of the layers there
AIR = -1
BLOCK, LINER = CELL_PARTS.index("block"), CELL_PARTS.index("liner")
HEAD, FASTENER = CELL_PARTS.index("head"), CELL_PARTS.index("fastener")
NUT, WASHER = CELL_PARTS.index("nut"), CELL_PARTS.index("washer")
ADVICE = "move circles apart that nearly touch, or change [mesh] ring_size or stud_size"


@dataclass(frozen=True)
class _Levels:
    """Heights (mm) that the layers must hit."""

    foot: float
    thread_bottom: float
    thread_top: float
    jacket_bottom: float
    jacket_top: float
    wall: float
    liner_bottom: float
    head_bottom: float
    fire_deck: float
    upper_deck: float
    head_top: float
    bearing: float
    top: float


def _levels(cell: Cell) -> _Levels:
    joint, head, block = cell.joint, cell.head, cell.block
    head_bottom = joint.gasket.thickness
    head_top = head_bottom + head.height
    bearing = head_top + (joint.washer.thickness if joint.washer is not None else 0.0)
    return _Levels(
        foot=-block.height,
        thread_bottom=-block.counterbore_depth - joint.fastener.engagement,
        thread_top=-block.counterbore_depth,
        jacket_bottom=-block.jacket_depth if block.jacket_width > 0.0 else 0.0,
        jacket_top=-block.deck_thickness,
        wall=-cell.wall_depth,
        liner_bottom=-cell.liner.length if cell.liner is not None else 0.0,
        head_bottom=head_bottom,
        fire_deck=head_bottom + head.fire_deck,
        upper_deck=head_top - head.upper_deck,
        head_top=head_top,
        bearing=bearing,
        top=bearing + joint.seat.height,
    )


def build_cell(cell: Cell, refinement: float = 1.0) -> SolidMesh:
    """Return the mesh of `cell`; `refinement` 2 halves every element, 0.5 doubles it.

    The plan follows the side wall's inner edge where elements stay good; else the edge cuts them, and they count by
    their share. Raises MeshError for an unusable plan, too many elements, or an element below the quality limit.
    """
    edges = side_wall_edge(cell, _rings(cell), SLACK_BESIDE_WALL * cell.mesh.stud_size)
    try:
        return _built(cell, refinement, edges)
    except MeshError:
        if not edges:
            raise
        return _built(cell, refinement, [])


def _built(cell: Cell, refinement: float, edges: list[Line | Arc]) -> SolidMesh:
    tile_mesh = _tile_plan(cell, refinement, edges)
    heights = _heights(cell, refinement)
    share = solid_share(cell, tile_mesh)
    tile_grid = _part_grid(cell, tile_mesh.centres(), share, (heights[1:] + heights[:-1]) / 2.0)
    copies = symmetry.copies(cell)
    whole = tile_mesh if len(copies) == 1 else plans.merged([plans.moved(tile_mesh, m, s) for m, s in copies])
    grid = np.tile(tile_grid, (len(copies), 1))
    count = int((grid >= 0).sum())
    if count > LARGEST_CELLS:
        raise MeshError(f"{count} elements are too many (at most {LARGEST_CELLS}); give larger [mesh] sizes")
    # parts of one body share nodes where they meet; the head slides under nut or washer unless tied
    body = np.zeros(len(CELL_PARTS), dtype=np.int64)
    if cell.bearing_contact == "frictionless":
        body[HEAD] = 1
    stacked = stack(whole, heights, grid, body)
    mesh = _tagged(cell, whole, heights, grid, stacked)
    mesh = replace(mesh, filled=_filled(cell, np.tile(share, len(copies)), heights, stacked))
    check_quality(mesh, ADVICE)
    return mesh


def _rings(cell: Cell) -> list[Rings]:
    """Return all circles that the plan mesh follows: round bore, studs and gasket holes."""
    radii = _stud_radii(cell)
    rings = _bore_rings(cell)
    rings += [Rings(x, y, radii, True, (radii[0], radii[-1])) for x, y in cell.layout.tile_studs]
    # a circle alone leaves flat corners at its edge: a second one, spokes between, and a square inside
    return rings + [
        Rings(hole.x, hole.y, (hole.diameter / 2.0, room), True, (hole.diameter / 2.0, room))
        for hole, room in ((hole, HOLE_RIM * hole.diameter / 2.0) for hole in cell.holes)
    ]


def _tile_plan(cell: Cell, refinement: float, edges: list[Line | Arc]) -> PlanMesh:
    layout, places = cell.layout, cell.layout.tile_studs
    tile: Rectangle | Sector = (
        Rectangle(layout.pitch / 2.0, layout.half_width)
        if isinstance(layout, Bank)
        else Sector(layout.outer_diameter / 2.0, math.pi / layout.number)
    )
    sizes, hole_radius = cell.mesh, cell.head.hole_diameter / 2.0
    middle = cell.sealing_zone.sealing_diameter / 2.0
    growth = sizes.growth

    def size(x: float, y: float) -> float:
        """Fine at the sealing line and the studs, growing away from them."""
        wanted = sizes.ring_size + growth * max(0.0, abs(math.hypot(x, y) - middle) - 3.0 * sizes.ring_size)
        for stud_x, stud_y in places:
            away = math.hypot(x - stud_x, y - stud_y) - hole_radius
            wanted = min(wanted, sizes.stud_size + growth * max(0.0, away))
        for hole in cell.holes:
            away = math.hypot(x - hole.x, y - hole.y) - hole.diameter / 2.0
            wanted = min(wanted, hole.diameter / 2.5 + growth * max(0.0, away))
        return min(wanted, sizes.largest) / refinement

    return plans.tile_plan("bore cell", tile, _rings(cell), size, edges)


def _bore_rings(cell: Cell) -> list[Rings]:
    """Return the circles round the bore that the plan mesh follows: rings with spokes, and what lies outside them."""
    block = cell.block
    bore = cell.layout.bore / 2.0
    ring_radii = {bore}
    for zone in cell.zones[:-1]:
        ring_radii |= {zone.inner_diameter / 2.0, zone.outer_diameter / 2.0}
    outer = max(ring_radii)
    if cell.liner is not None:
        ring_radii.add(cell.liner.outer_diameter / 2.0)
    jacket = set()
    if block.jacket_width > 0.0:
        jacket = {bore + block.wall, bore + block.wall + block.jacket_width}
        # a jacket wall below the rings is one more ring
        ring_radii |= {radius for radius in jacket if radius <= outer}
    # a square needs a small disc: inside the bore the mesh follows a circle even without a centre column
    centre = cell.head.centre_column_diameter / 2.0 or bore / 3.0
    spoke_end = max(radius for radius in ring_radii if radius <= outer)
    rings = [Rings(0.0, 0.0, (centre, *sorted(ring_radii)), True, (centre, spoke_end))]
    loose = tuple(sorted(jacket - ring_radii))
    if loose:
        rings.append(Rings(0.0, 0.0, loose))
    return rings


def _stud_radii(cell: Cell) -> tuple[float, ...]:
    """Return the radii (mm) round a stud that the plan mesh follows, rising; MeshError where two nearly touch."""
    joint, head = cell.joint, cell.head
    stud_radii = {
        cell.shank_diameter / 2.0,
        head.hole_diameter / 2.0,
        joint.seat.outer_diameter / 2.0,
        head.column_diameter / 2.0,
        cell.block.boss_diameter / 2.0,
    }
    if joint.washer is not None:
        stud_radii |= {joint.washer.inner_diameter / 2.0, joint.washer.outer_diameter / 2.0}
    radii = tuple(sorted(stud_radii))
    for first, second in zip(radii, radii[1:], strict=False):
        if second - first < 0.05:
            raise MeshError(
                f"circles of {2 * first:g} and {2 * second:g} mm diameter round the stud are too close to be meshed; "
                "make shank, hole, nut, washer, column and boss equal or 0.1 mm apart"
            )
    return radii


def _heights(cell: Cell, refinement: float) -> FloatArray:
    """Return the heights (mm) of the layers' faces; each mesh halves the layers of that of half its refinement.

    Left as they are: layers thinner than the elements round the bore, and those below the threads, where halving
    moves nothing.
    """
    halvings = max(0, 1 + round(math.log2(refinement)))
    coarsest = refinement / 2.0**halvings
    heights, threads = _base_heights(cell, coarsest), _levels(cell).thread_bottom
    for halving in range(halvings):
        thick = np.diff(heights) > LAYER_SHARE * cell.mesh.ring_size / (coarsest * 2.0 ** (halving + 1))
        middle = (heights[1:] + heights[:-1]) / 2.0
        heights = np.sort(np.concatenate([heights, middle[thick & (middle > threads)]]))
    return heights


def _base_heights(cell: Cell, refinement: float) -> FloatArray:
    z = _levels(cell)
    size = 2.0 * LAYER_SHARE * cell.mesh.ring_size / refinement
    coarse = 2.5 * cell.mesh.largest / refinement
    breaks: dict[float, float] = {}
    for height in (z.foot, z.thread_bottom, z.jacket_bottom, z.liner_bottom, z.top):
        breaks[height] = coarse
    for height in (z.thread_top, z.jacket_top, z.wall, z.upper_deck, z.head_top, z.bearing):
        breaks[height] = 2.0 * size
    # what bends the fire deck fades upwards in the walls on it: most of the error was there
    for height in (0.0, z.head_bottom, z.fire_deck):
        breaks[height] = size
    merged: dict[float, float] = {}
    for height in sorted(breaks):
        twin = next((kept for kept in merged if abs(kept - height) < 0.05 and not _is_gasket_face(z, height)), None)
        if twin is None:
            merged[height] = breaks[height]
    return graded_lines(merged, 1.0 + 0.4 / refinement, coarse)


def _is_gasket_face(z: _Levels, height: float) -> bool:
    return height in (0.0, z.head_bottom)


def _part_grid(cell: Cell, centres: FloatArray, share: FloatArray, middle: FloatArray) -> IntArray:
    """Return the part of each plan quadrilateral of the tile in each layer, (columns, layers), -1 for air.

    share : (columns,) of each quadrilateral that is solid between the decks.
    """
    z, layout, head, block, joint = _levels(cell), cell.layout, cell.head, cell.block, cell.joint
    x, y = centres
    radius = np.hypot(x, y)
    places = layout.tile_studs
    stud = np.min([np.hypot(x - sx, y - sy) for sx, sy in places], axis=0)
    bore = layout.bore / 2.0
    grid = np.full((len(x), len(middle)), AIR)

    def fill(where: np.ndarray, bottom: float, top: float, part: int) -> None:
        layers = (middle > bottom) & (middle < top)
        grid[np.ix_(where, layers)] = part

    everywhere = np.ones(len(x), dtype=bool)
    fill(radius > bore, z.foot, 0.0, BLOCK)
    if cell.liner is not None:
        fill((radius > bore) & (radius < cell.liner.outer_diameter / 2.0), z.liner_bottom, 0.0, LINER)
    if block.jacket_width > 0.0:
        inner = bore + block.wall
        boss = stud < block.boss_diameter / 2.0
        fill((radius > inner) & (radius < inner + block.jacket_width) & ~boss, z.jacket_bottom, z.jacket_top, AIR)
    fill(stud < head.hole_diameter / 2.0, z.thread_top, 0.0, AIR)
    fill(everywhere, z.head_bottom, z.fire_deck, HEAD)
    fill(everywhere, z.upper_deck, z.head_top, HEAD)
    fill(share > 0.0, z.fire_deck, z.upper_deck, HEAD)
    fill(stud < head.hole_diameter / 2.0, z.head_bottom, z.head_top, AIR)
    if joint.washer is not None:
        fill(stud < joint.washer.outer_diameter / 2.0, z.head_top, z.bearing, WASHER)
        fill(stud < joint.washer.inner_diameter / 2.0, z.head_top, z.bearing, AIR)
    fill(stud < joint.seat.outer_diameter / 2.0, z.bearing, z.top, NUT)
    fill(stud < cell.shank_diameter / 2.0, z.thread_bottom, z.top, FASTENER)
    return grid


def _filled(cell: Cell, share: FloatArray, heights: FloatArray, stacked: Stack) -> FloatArray:
    """Return the share (m,) of each element that is material: less than 1 where a wall's edge cuts it."""
    z, middle = _levels(cell), (heights[1:] + heights[:-1]) / 2.0
    between = ((middle > z.fire_deck) & (middle < z.upper_deck))[stacked.layer]
    return np.where(between & (stacked.part == HEAD), share[stacked.column], 1.0)


def _tagged(cell: Cell, plan: PlanMesh, heights: FloatArray, grid: IntArray, stacked: Stack) -> SolidMesh:
    node_level = stacked.node_level
    at = {float(height): 2 * index for index, height in enumerate(heights)}
    z = _levels(cell)
    level = {name: at[min(at, key=lambda h: abs(h - getattr(z, name)))] for name in ("head_bottom", "head_top", "wall")}
    deck = at[min(at, key=abs)]
    number = {(int(c), int(k)): i for i, (c, k) in enumerate(zip(stacked.column, stacked.layer, strict=True))}

    def faces(columns: IntArray, layer: int, top: bool) -> IntArray:
        """Return the (8, f) nodes of the upper or lower faces of the elements of some columns in one layer."""
        elements = np.array([number[(int(column), layer)] for column in columns], dtype=np.int64)
        return stacked.cells[np.ix_(ABOVE if top else BELOW, elements)]

    below_deck, above_gasket = deck // 2 - 1, level["head_bottom"] // 2
    solid_below = np.isin(grid[:, below_deck], (BLOCK, LINER))
    solid_above = grid[:, above_gasket] == HEAD
    x, y = plan.centres()
    radius = np.min([np.hypot(x - bx, y - by) for bx, by in cell.bore_centres], axis=0)
    opening = cell.zones[0].inner_diameter / 2.0
    sealed = solid_below & solid_above & (radius > opening) & ~_in_holes(cell, plan)
    pairs = [_pair("gasket", faces, np.flatnonzero(sealed), below_deck, above_gasket)]
    if cell.bearing_contact == "frictionless":
        below, above = level["head_top"] // 2 - 1, level["head_top"] // 2
        bears = (grid[:, below] == HEAD) & np.isin(grid[:, above], (WASHER, NUT))
        pairs.append(_pair("bearing", faces, np.flatnonzero(bears), below, above))
    chamber, wall, deck_ring = [], [], []
    for index, (bx, by) in enumerate(cell.bore_centres):
        own = np.hypot(x - bx, y - by)
        nearest = own <= radius + 1e-9
        chamber.append(faces(np.flatnonzero(nearest & solid_above & (own < opening)), above_gasket, False))
        deck_ring.append(faces(np.flatnonzero(nearest & solid_below & (own < opening)), below_deck, True))
        wall.append(_wall_faces(cell, plan, stacked, index, level["wall"] // 2, deck // 2))
    support = np.flatnonzero(node_level == 0)
    in_head = np.unique(stacked.cells[:, stacked.part == HEAD])
    return SolidMesh(
        points=stacked.points,
        cells=stacked.cells,
        parts=CELL_PARTS,
        part=stacked.part,
        pairs=tuple(pairs),
        fasteners=_fasteners(cell, stacked, z),
        planes=symmetry.on_planes(symmetry.planes(cell), stacked.points),
        support=support,
        chamber=tuple(chamber),
        wall=tuple(wall),
        deck=tuple(deck_ring),
        pins=symmetry.pins(cell, stacked.points, support, in_head),
        travelling=symmetry.travelling(cell, stacked.points, in_head),
    )


def _pair(
    name: str, faces: Callable[[IntArray, int, bool], IntArray], columns: IntArray, below: int, above: int
) -> FacePair:
    if not len(columns):
        raise MeshError(f"no faces meet at the {name}: look at the diameters of rings, holes and washers")
    return FacePair(name, faces(columns, below, True), faces(columns, above, False))


def _in_holes(cell: Cell, plan: PlanMesh) -> np.ndarray:
    inside = np.zeros(plan.quads.shape[1], dtype=bool)
    x, y = plan.centres()
    for matrix, shift in symmetry.copies(cell):
        for hole in cell.holes:
            hx, hy = matrix @ np.array([hole.x, hole.y]) + np.array(shift)
            inside |= np.hypot(x - hx, y - hy) < hole.diameter / 2.0
    return inside


def _wall_faces(cell: Cell, plan: PlanMesh, stacked: Stack, bore: int, first: int, last: int) -> IntArray:
    """Return the (8, f) nodes of the bore wall's faces in layers first to last - 1, corners anticlockwise."""
    bx, by = cell.bore_centres[bore]
    radius = np.hypot(plan.points[0] - bx, plan.points[1] - by)
    on_wall = np.abs(radius - cell.layout.bore / 2.0) < 1e-6
    faces = []
    wanted = (stacked.layer >= first) & (stacked.layer < last) & np.isin(stacked.part, (BLOCK, LINER))
    for edge in range(4):
        start, end, middle = edge, (edge + 1) % 4, 4 + edge
        at_wall = on_wall[plan.quads[[start, end, middle]]].all(axis=0)
        elements = np.flatnonzero(wanted & at_wall[stacked.column])
        faces.append(stacked.cells[np.ix_(SIDES[edge], elements)])
    return np.hstack(faces)


def _fasteners(cell: Cell, stacked: Stack, z: _Levels) -> tuple[MeshedFastener, ...]:
    centre = stacked.points[:2, stacked.cells[:8]].mean(axis=1)
    bottom = stacked.points[2, stacked.cells[0]]
    free = (stacked.part == FASTENER) & (bottom > z.thread_top - 1e-6) & (bottom < z.head_top - 1e-6)
    fasteners = []
    for place in symmetry.stud_places(cell):
        own = np.flatnonzero(free & (np.hypot(centre[0] - place.x, centre[1] - place.y) < cell.shank_diameter))
        travel = (stacked.points[2, stacked.cells[:, own]] - z.thread_top) / (z.head_top - z.thread_top)
        fasteners.append(MeshedFastener(place.x, place.y, place.share, own, travel, place.cut_planes))
    return tuple(fasteners)
