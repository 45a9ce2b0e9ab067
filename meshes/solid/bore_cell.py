"""Mesh of a bore cell: one plan mesh of a tile, mirrored to the whole cell, stacked through block, gasket and head."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import TypeVar

import numpy as np

from headjoint.meshes.one_fastener.grading import graded_lines
from headjoint.meshes.solid import plan as plans
from headjoint.meshes.solid import symmetry
from headjoint.meshes.solid.coolant_space import from_stud, solid_shares
from headjoint.meshes.solid.element_size import element_size
from headjoint.meshes.solid.first_tile import expected, first_tile_plans, tile_of
from headjoint.meshes.solid.hexahedra import ABOVE, BELOW, SIDES, Stack, stack
from headjoint.meshes.solid.kept_plan import PlanStore
from headjoint.meshes.solid.plan_mesh import PlanMesh, merged, moved
from headjoint.meshes.solid.solid_mesh import FacePair, MeshedFastener, SolidMesh, check_quality
from headjoint.model.base.arrays import FloatArray, IntArray
from headjoint.model.base.errors import MeshError, TooManyElementsError
from headjoint.model.cell import CELL_PARTS, Cell

LARGEST_CELLS = 150_000
CERTAINLY = 2.0  # times as many boxes as that, air included, are too many however the mesher places them
LAYER_SHARE = 0.7  # of the element size round the bore, thickness of the layers there
AIR = -1
BLOCK, LINER = CELL_PARTS.index("block"), CELL_PARTS.index("liner")
HEAD, FASTENER = CELL_PARTS.index("head"), CELL_PARTS.index("fastener")
NUT, WASHER = CELL_PARTS.index("nut"), CELL_PARTS.index("washer")
M = TypeVar("M")
ADVICE = "move circles apart that nearly touch, or change [mesh] ring_size or stud_size"


@dataclass(frozen=True)
class Levels:
    """Heights (mm) that the layers must hit, the block's deck at 0."""

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


def levels(cell: Cell) -> Levels:
    """Return the heights of the faces of a cell's stack."""
    joint, head, block = cell.joint, cell.head, cell.block
    head_bottom = joint.gasket.thickness
    head_top = head_bottom + head.height
    bearing = head_top + (joint.washer.thickness if joint.washer is not None else 0.0)
    return Levels(
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


@dataclass(frozen=True)
class FilledPlan:
    """A plan with what stands over it.

    grid : (columns, layers) the part, -1 for air. shares : as `solid_shares` has them.
    """

    plan: PlanMesh
    grid: IntArray = field(repr=False)
    shares: dict[str, FloatArray] = field(repr=False)

    def moved(self, matrix: FloatArray, shift: tuple[float, float]) -> FilledPlan:
        """Return it mapped in plan by x -> matrix x + shift, a rotation or reflection."""
        return replace(self, plan=moved(self.plan, matrix, shift))


def build_cell(cell: Cell, refinement: float = 1.0, store: PlanStore | None = None) -> SolidMesh:
    """Return the mesh of `cell`; `refinement` 2 halves every element, 0.5 doubles it. store : where plans are kept.

    The plan follows edges where elements stay good; others cut elements, which count by their share. Raises MeshError
    for an unusable plan, too many elements, or an element below the quality limit.
    """
    return following_edges(lambda followed: _built(cell, refinement, store, followed=followed))


def following_edges(build: Callable[[bool], M]) -> M:
    """Return what is built with the edges followed or, where that fails, cut by them."""
    try:
        return build(True)
    except TooManyElementsError:  # whatever happens without the edges, this is what the user can mend
        raise
    except MeshError:
        return build(False)


def _built(cell: Cell, refinement: float, store: PlanStore | None, *, followed: bool) -> SolidMesh:
    heights = layer_heights(cell, refinement)
    copies = symmetry.copies(cell)
    boxes = expected(tile_of(cell), element_size(cell, refinement)) * (len(heights) - 1) * len(copies)
    if boxes > CERTAINLY * LARGEST_CELLS:
        raise _too_many(f"some {boxes / 1e6:.1f} million")
    first, other = filled_sides(cell, first_tile_plans(cell, refinement, store, followed=followed), heights)
    if len(copies) == 1:
        return layered(cell, first, heights)
    turned = [(first if matrix[1, 1] > 0.0 else other).moved(matrix, shift) for matrix, shift in copies]
    return layered(cell, joined(turned), heights)


def filled_sides(cell: Cell, plans: tuple[PlanMesh, PlanMesh], heights: FloatArray) -> tuple[FilledPlan, FilledPlan]:
    """Return the plans of both sides as `_filled_plan` does, that at negative y mirrored; one where they are alike."""
    first, other = cell.sides
    filled = _filled_plan(first, plans[0], heights)
    return filled, filled if other is first else _filled_plan(other, plans[1], heights)


def _filled_plan(cell: Cell, plan: PlanMesh, heights: FloatArray) -> FilledPlan:
    """Return a plan where the first tile lies, or beyond it, with the parts over it in layers between heights."""
    shares = solid_shares(cell, plan)
    return FilledPlan(plan, _part_grid(cell, plan.centres(), shares, (heights[1:] + heights[:-1]) / 2.0), shares)


def joined(plans: Sequence[FilledPlan]) -> FilledPlan:
    """Return plans as one, points that coincide made one."""
    shares = {name: np.concatenate([one.shares[name] for one in plans]) for name in plans[0].shares}
    return FilledPlan(merged([one.plan for one in plans]), np.vstack([one.grid for one in plans]), shares)


def layered(cell: Cell, filled: FilledPlan, heights: FloatArray, *, bores: bool = True) -> SolidMesh:
    """Return the mesh of a plan stacked through heights; bores : whether bores open into it.

    Raises MeshError for too many elements, or one below the quality limit.
    """
    count = int((filled.grid >= 0).sum())
    if count > LARGEST_CELLS:
        raise _too_many(str(count))
    # parts of one body share nodes where they meet; the head slides under nut or washer unless tied
    body = np.zeros(len(CELL_PARTS), dtype=np.int64)
    if cell.bearing_contact == "frictionless":
        body[HEAD] = 1
    stacked = stack(filled.plan, heights, filled.grid, body)
    shares = _filled(cell, filled.shares, heights, stacked)
    mesh = replace(_tagged(cell, filled, heights, stacked, shares, bores), filled=shares)
    check_quality(mesh, ADVICE)
    return mesh


def _too_many(elements: str) -> TooManyElementsError:
    what = f"{elements} elements are too many (at most {LARGEST_CELLS}); {plans.LARGER}"
    return TooManyElementsError(what, field="mesh")


def layer_heights(cell: Cell, refinement: float) -> FloatArray:
    """Return the heights (mm) of the layers' faces; each mesh halves the layers of that of half its refinement.

    Left as they are: layers thinner than the elements round the bore, and those below the threads, where halving
    moves nothing.
    """
    halvings = max(0, 1 + round(math.log2(refinement)))
    coarsest = refinement / 2.0**halvings
    heights, threads = _base_heights(cell, coarsest), levels(cell).thread_bottom
    for halving in range(halvings):
        thick = np.diff(heights) > LAYER_SHARE * cell.mesh.ring_size / (coarsest * 2.0 ** (halving + 1))
        middle = (heights[1:] + heights[:-1]) / 2.0
        heights = np.sort(np.concatenate([heights, middle[thick & (middle > threads)]]))
    return heights


def _base_heights(cell: Cell, refinement: float) -> FloatArray:
    z = levels(cell)
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


def _is_gasket_face(z: Levels, height: float) -> bool:
    return height in (0.0, z.head_bottom)


def _part_grid(cell: Cell, centres: FloatArray, shares: dict[str, FloatArray], middle: FloatArray) -> IntArray:
    """Return the part of each plan quadrilateral of the tile in each layer, (columns, layers), -1 for air.

    shares : as `solid_shares` has them.
    """
    z, head, joint = levels(cell), cell.head, cell.joint
    x, y = centres
    radius, stud = np.hypot(x, y), from_stud(cell, x, y)
    bore = cell.layout.bore / 2.0
    grid = np.full((len(x), len(middle)), AIR)

    def fill(where: np.ndarray, bottom: float, top: float, part: int) -> None:
        layers = (middle > bottom) & (middle < top)
        grid[np.ix_(where, layers)] = part

    everywhere = np.ones(len(x), dtype=bool)
    fill(radius > bore, z.foot, 0.0, BLOCK)
    if cell.liner is not None:
        fill((radius > bore) & (radius < cell.liner.outer_diameter / 2.0), z.liner_bottom, 0.0, LINER)
    if cell.block.jacket_width > 0.0:
        fill((shares["block"] == 0.0) & (radius > bore), z.jacket_bottom, z.jacket_top, AIR)
    fill(stud < head.hole_diameter / 2.0, z.thread_top, 0.0, AIR)
    fill(everywhere, z.head_bottom, z.fire_deck, HEAD)
    fill(everywhere, z.upper_deck, z.head_top, HEAD)
    fill(shares["head"] > 0.0, z.fire_deck, z.upper_deck, HEAD)
    fill(stud < head.hole_diameter / 2.0, z.head_bottom, z.head_top, AIR)
    if joint.washer is not None:
        fill(shares["washer"] > 0.0, z.head_top, z.bearing, WASHER)
        fill(stud < joint.washer.inner_diameter / 2.0, z.head_top, z.bearing, AIR)
    fill(shares["nut"] > 0.0, z.bearing, z.top, NUT)
    fill(stud < cell.shank_diameter / 2.0, z.thread_bottom, z.top, FASTENER)
    return grid


def _filled(cell: Cell, shares: dict[str, FloatArray], heights: FloatArray, stacked: Stack) -> FloatArray:
    """Return the share (m,) of each element that is material: less than 1 where an edge cuts it."""
    z, middle = levels(cell), ((heights[1:] + heights[:-1]) / 2.0)[stacked.layer]
    filled = np.ones(len(stacked.part))
    for name, bottom, top in (
        ("head", z.fire_deck, z.upper_deck),
        ("block", z.jacket_bottom, z.jacket_top),
        ("washer", z.head_top, z.bearing),
        ("nut", z.bearing, z.top),
    ):
        own = (stacked.part == CELL_PARTS.index(name)) & (middle > bottom) & (middle < top)
        filled[own] = shares[name][stacked.column[own]]
    return filled


def _tagged(
    cell: Cell, stood: FilledPlan, heights: FloatArray, stacked: Stack, filled: FloatArray, bores: bool
) -> SolidMesh:
    plan, grid = stood.plan, stood.grid
    at = {float(height): 2 * index for index, height in enumerate(heights)}
    z = levels(cell)
    level = {name: at[min(at, key=lambda h: abs(h - getattr(z, name)))] for name in ("head_bottom", "head_top", "wall")}
    deck = at[min(at, key=abs)]
    number = {(int(c), int(k)): i for i, (c, k) in enumerate(zip(stacked.column, stacked.layer, strict=True))}

    def elements(columns: IntArray, layer: int) -> IntArray:
        return np.array([number[(int(column), layer)] for column in columns], dtype=np.int64)

    def faces(columns: IntArray, layer: int, top: bool) -> IntArray:
        """Return the (8, f) nodes of the upper or lower faces of the elements of some columns in one layer."""
        return stacked.cells[np.ix_(ABOVE if top else BELOW, elements(columns, layer))]

    def pair(name: str, columns: IntArray, below: int, above: int) -> FacePair:
        if not len(columns):
            raise MeshError(f"no faces meet at the {name}: look at the diameters of rings, holes and washers")
        share = np.minimum(filled[elements(columns, below)], filled[elements(columns, above)])
        return FacePair(name, faces(columns, below, True), faces(columns, above, False), share=share)

    below_deck, above_gasket = deck // 2 - 1, level["head_bottom"] // 2
    solid_below = np.isin(grid[:, below_deck], (BLOCK, LINER))
    solid_above = grid[:, above_gasket] == HEAD
    x, y = plan.centres()
    radius = np.min([np.hypot(x - bx, y - by) for bx, by in cell.bore_centres], axis=0)
    opening = cell.zones[0].inner_diameter / 2.0
    sealed = solid_below & solid_above & (radius > opening) & ~_in_holes(cell, plan)
    pairs = [pair("gasket", np.flatnonzero(sealed), below_deck, above_gasket)]
    fasteners = _fasteners(cell, stacked, z)
    if cell.bearing_contact == "frictionless" and fasteners:
        below, above = level["head_top"] // 2 - 1, level["head_top"] // 2
        bears = (grid[:, below] == HEAD) & np.isin(grid[:, above], (WASHER, NUT))
        pairs.append(pair("bearing", np.flatnonzero(bears), below, above))
    chamber, wall, deck_ring = [], [], []
    for index, (bx, by) in enumerate(cell.bore_centres if bores else ()):
        own = np.hypot(x - bx, y - by)
        nearest = own <= radius + 1e-9
        chamber.append(faces(np.flatnonzero(nearest & solid_above & (own < opening)), above_gasket, False))
        deck_ring.append(faces(np.flatnonzero(nearest & solid_below & (own < opening)), below_deck, True))
        wall.append(_wall_faces(cell, plan, stacked, index, level["wall"] // 2, deck // 2))
    support = np.flatnonzero(stacked.node_level == 0)
    in_head = np.unique(stacked.cells[:, stacked.part == HEAD])
    return SolidMesh(
        points=stacked.points,
        cells=stacked.cells,
        parts=CELL_PARTS,
        part=stacked.part,
        pairs=tuple(pairs),
        fasteners=fasteners,
        planes=symmetry.on_planes(symmetry.planes(cell), stacked.points),
        support=support,
        chamber=tuple(chamber),
        wall=tuple(wall),
        deck=tuple(deck_ring),
        pins=symmetry.pins(cell, stacked.points, support, in_head),
        travelling=symmetry.travelling(cell, stacked.points, in_head),
    )


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


def _fasteners(cell: Cell, stacked: Stack, z: Levels) -> tuple[MeshedFastener, ...]:
    centre = stacked.points[:2, stacked.cells[:8]].mean(axis=1)
    bottom = stacked.points[2, stacked.cells[0]]
    free = (stacked.part == FASTENER) & (bottom > z.thread_top - 1e-6) & (bottom < z.head_top - 1e-6)
    fasteners = []
    for place in symmetry.stud_places(cell):
        own = np.flatnonzero(free & (np.hypot(centre[0] - place.x, centre[1] - place.y) < cell.shank_diameter))
        if not len(own):  # it does not reach into this piece
            continue
        travel = (stacked.points[2, stacked.cells[:, own]] - z.thread_top) / (z.head_top - z.thread_top)
        fasteners.append(MeshedFastener(place.x, place.y, place.share, own, travel, place.cut_planes))
    return tuple(fasteners)
