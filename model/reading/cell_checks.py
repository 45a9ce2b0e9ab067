"""Checks that the plan of a bore cell can be built; each mistake one sentence with its field."""

from __future__ import annotations

import itertools
import math

from headjoint.model.base.errors import InputError
from headjoint.model.cell import LEAST_RING, Bank, BlockShape, Cell, CellMesh, HeadShape, Liner, Ring
from headjoint.model.files.cell_file import CellFile

SMALLEST_GAP = 0.2  # mm, of circles and heights that must differ to be meshed in three dimensions
LARGEST_LENGTH = 5000.0  # mm: the largest engines' bores stay below a metre
SMALLEST_ROOM = 1.0  # mm between circles of different centres
LEAST_CUT = 8.0  # degrees between a circle and the plane of symmetry that cuts it


def refuse_unless(condition: bool, problem: str, field: str, value: object = None) -> None:
    """Raise InputError unless `condition`."""
    if not condition:
        raise InputError(problem, field=field, value=value)


def check_cell(
    layout: Bank | Ring, head: HeadShape, block: BlockShape, liner: Liner | None, stated: CellFile, mesh: CellMesh
) -> None:
    """Raise InputError for the first thing in plan or height that cannot be built as stated."""
    _check_sizes(layout, head, block)
    _check_heights(head, block, liner, stated)
    _check_mesh_sizes(layout, mesh)
    places = layout.tile_studs
    _check_studs(layout, places, head, block, stated)
    _check_rings(layout, places, head, stated)
    _check_jacket(layout, places, head, block, liner, stated)
    _check_holes(layout, places, head, stated)
    _check_closeness(layout, head, liner, stated)


def _check_sizes(layout: Bank | Ring, head: HeadShape, block: BlockShape) -> None:
    sizes = {"layout.bore": layout.bore, "head.height": head.height, "block.height": block.height}
    if isinstance(layout, Bank):
        sizes |= {"layout.pitch": layout.pitch, "layout.half_width": layout.half_width}
    else:
        sizes |= {"layout.stud_circle": layout.stud_circle, "layout.outer_diameter": layout.outer_diameter}
    for field, value in sizes.items():
        refuse_unless(
            5.0 <= value <= LARGEST_LENGTH,
            f"must lie between 5 mm and {LARGEST_LENGTH:g} mm; look at the unit",
            field,
            f"{value:g} mm",
        )
    if isinstance(layout, Bank):
        refuse_unless(
            layout.pitch >= layout.bore + 2.0,
            f"the bores overlap: the pitch must exceed the bore ({layout.bore:g} mm) by 2 mm at least",
            "layout.pitch",
            layout.pitch,
        )


def _check_heights(head: HeadShape, block: BlockShape, liner: Liner | None, stated: CellFile) -> None:
    refuse_unless(
        head.fire_deck + head.upper_deck <= head.height - SMALLEST_GAP,
        f"fire deck and upper deck leave no coolant space in a head of {head.height:g} mm",
        "head.fire_deck",
        head.fire_deck,
    )
    if block.jacket_width > 0.0:
        refuse_unless(
            block.deck_thickness + SMALLEST_GAP <= block.jacket_depth < block.height - SMALLEST_GAP,
            f"must lie between the deck's thickness ({block.deck_thickness:g} mm) and the block's height "
            f"({block.height:g} mm)",
            "block.jacket_depth",
            block.jacket_depth,
        )
    refuse_unless(
        stated.gas.wall_depth < block.height - SMALLEST_GAP,
        f"must be less than the block's height ({block.height:g} mm)",
        "gas.wall_depth",
        stated.gas.wall_depth,
    )
    if liner is not None:
        refuse_unless(
            liner.length <= block.height + 1e-9,
            f"must not exceed the block's height ({block.height:g} mm)",
            "liner.length",
            liner.length,
        )
        refuse_unless(
            liner.protrusion < stated.gasket.thickness,
            f"must be less than the gasket's thickness ({stated.gasket.thickness:g} mm)",
            "liner.protrusion",
            liner.protrusion,
        )


def _check_mesh_sizes(layout: Bank | Ring, mesh: CellMesh) -> None:
    for name in ("ring_size", "stud_size", "largest"):
        value = getattr(mesh, name)
        refuse_unless(
            layout.bore / 400.0 <= value <= layout.bore / 2.0,
            f"must lie between {layout.bore / 400.0:.3g} and {layout.bore / 2.0:.3g} mm for this bore",
            f"mesh.{name}",
            value,
        )


def _check_studs(
    layout: Bank | Ring,
    places: tuple[tuple[float, float], ...],
    head: HeadShape,
    block: BlockShape,
    stated: CellFile,
) -> None:
    for name, diameter in (
        ("head.column_diameter", head.column_diameter),
        ("block.boss_diameter", block.boss_diameter),
    ):
        refuse_unless(
            diameter > head.hole_diameter + 2.0 * SMALLEST_GAP,
            f"must exceed the stud's hole ({head.hole_diameter:g} mm)",
            name,
            diameter,
        )
    washer = stated.washer
    widest = max(head.column_diameter, block.boss_diameter) / 2.0
    reach = max(widest, washer.outer_diameter / 2.0 if washer is not None else 0.0)
    for index, place in enumerate(places):
        field = _stud_field(layout, index)
        distance = math.hypot(*place)
        refuse_unless(
            distance - head.hole_diameter / 2.0 > layout.bore / 2.0 + SMALLEST_GAP,
            f"the stud's hole overlaps the bore: their centres are {distance:.4g} mm apart",
            field,
        )
        if isinstance(layout, Bank):
            _check_stud_of_bank(layout, place, reach, field)
        else:
            _check_stud_of_ring(layout, distance, reach, field)
    for (i, first), (j, second) in itertools.combinations(enumerate(places), 2):
        refuse_unless(
            math.dist(first, second) > 2.0 * reach + SMALLEST_GAP,
            f"columns or washers of studs {i + 1} and {j + 1} overlap",
            f"layout.studs[{j}]",
        )


def _stud_field(layout: Bank | Ring, index: int) -> str:
    return f"layout.studs[{index}]" if isinstance(layout, Bank) else "layout.stud_circle"


def check_round_stud(cell: Cell) -> None:
    """Raise InputError where circles of the resolved fastener, its nut and washer cannot be meshed as stated."""
    joint, head = cell.joint, cell.head
    seat = "nut" if joint.fastener.kind == "stud" else "bolt_head"
    circles = {
        "fastener.segments.diameter": cell.shank_diameter,
        "head.hole_diameter": head.hole_diameter,
        f"{seat}.outer_diameter": joint.seat.outer_diameter,
    }
    if joint.washer is not None:
        circles["washer.inner_diameter"] = joint.washer.inner_diameter
        circles["washer.outer_diameter"] = joint.washer.outer_diameter
    for (name, first), (other, second) in itertools.combinations(circles.items(), 2):
        refuse_unless(
            first == second or abs(first - second) >= 2.0 * LEAST_RING,
            f"is nearly that of {other}, {second:g} mm: make them equal or {2.0 * LEAST_RING:g} mm apart",
            name,
            first,
        )
    reach = joint.seat.outer_diameter / 2.0
    for index, place in enumerate(cell.layout.tile_studs):
        field = _stud_field(cell.layout, index)
        if isinstance(cell.layout, Bank):
            _check_stud_of_bank(cell.layout, place, reach, field, "nut or bolt head")
        else:
            _check_stud_of_ring(cell.layout, math.hypot(*place), reach, field, "nut or bolt head")


def _check_stud_of_bank(
    layout: Bank, place: tuple[float, float], reach: float, field: str, what: str = "column, boss or washer"
) -> None:
    """Refuse a stud outside the first quarter or half cut; `what` reaches so far (mm) from its axis."""
    x, y = place
    half = layout.pitch / 2.0
    inside = -1e-9 <= x <= half + 1e-9 and reach + SMALLEST_GAP <= y <= layout.half_width - reach - SMALLEST_GAP
    refuse_unless(
        inside,
        f"must lie in the first quarter, 0 <= x <= {half:g} mm, its {what} ({2 * reach:g} mm wide) "
        f"clear of y = 0 and of the outer side ({layout.half_width:g} mm)",
        field,
        f"x = {x:g}, y = {y:g} mm",
    )
    on_plane = min(abs(x), abs(x - half)) < 1e-9
    refuse_unless(
        on_plane or min(x, half - x) > reach + SMALLEST_GAP,
        f"must stand on x = 0 or x = pitch/2 (half a stud), or its {what} ({2 * reach:g} mm wide) clear of both",
        f"{field}.x",
        x,
    )


def _check_stud_of_ring(
    layout: Ring, distance: float, reach: float, field: str, what: str = "column, boss or washer"
) -> None:
    """Refuse studs so far (mm) from the bore's centre that `what` sticks out or overlaps its neighbour's."""
    refuse_unless(
        distance + reach < layout.outer_diameter / 2.0 - SMALLEST_GAP,
        f"its {what} ({2 * reach:g} mm wide) sticks out of the outer diameter ({layout.outer_diameter:g} mm)",
        field,
        layout.stud_circle,
    )
    refuse_unless(
        distance * math.sin(math.pi / layout.number) > reach + SMALLEST_GAP,
        f"the {what} ({2 * reach:g} mm wide) overlaps that of the neighbouring stud",
        field,
        layout.stud_circle,
    )


def _check_rings(
    layout: Bank | Ring, places: tuple[tuple[float, float], ...], head: HeadShape, stated: CellFile
) -> None:
    before = layout.bore
    what = "the bore"
    for ring in sorted(stated.gasket.rings, key=lambda ring: ring.inner_diameter):
        field = f"gasket.rings '{ring.name}'"
        refuse_unless(
            ring.inner_diameter >= before - 1e-9,
            f"must be at least {before:g} mm, the diameter of {what}",
            f"{field}.inner_diameter",
            ring.inner_diameter,
        )
        refuse_unless(
            what == "the bore" or ring.inner_diameter <= before + 1e-9,
            f"leaves a gap: must be {before:g} mm, the outer diameter of {what}",
            f"{field}.inner_diameter",
            ring.inner_diameter,
        )
        refuse_unless(
            ring.outer_diameter > ring.inner_diameter + 2.0 * SMALLEST_GAP,
            f"must exceed the inner diameter ({ring.inner_diameter:g} mm) by {2 * SMALLEST_GAP:g} mm",
            f"{field}.outer_diameter",
            ring.outer_diameter,
        )
        if isinstance(layout, Bank):
            refuse_unless(
                ring.outer_diameter < layout.pitch - 2.0 * SMALLEST_GAP,
                f"the ring overlaps its neighbour's: it must stay below the pitch ({layout.pitch:g} mm)",
                f"{field}.outer_diameter",
                ring.outer_diameter,
            )
            edge = layout.half_width
        else:
            edge = layout.outer_diameter / 2.0
        refuse_unless(
            ring.outer_diameter / 2.0 < edge - SMALLEST_GAP,
            f"the ring lies outside the gasket, which ends {edge:g} mm from the bore's centre",
            f"{field}.outer_diameter",
            ring.outer_diameter,
        )
        for x, y in places:
            room = math.hypot(x, y) - head.hole_diameter / 2.0 - SMALLEST_ROOM
            refuse_unless(
                ring.outer_diameter / 2.0 <= room,
                f"the ring runs into the stud's hole or ends less than {SMALLEST_ROOM:g} mm beside it; at most "
                f"{2 * room:.4g} mm",
                f"{field}.outer_diameter",
                ring.outer_diameter,
            )
        before, what = ring.outer_diameter, f"ring '{ring.name}'"


def _check_jacket(
    layout: Bank | Ring,
    places: tuple[tuple[float, float], ...],
    head: HeadShape,
    block: BlockShape,
    liner: Liner | None,
    stated: CellFile,
) -> None:
    wall = layout.bore / 2.0 + block.wall
    if liner is not None:
        refuse_unless(
            layout.bore + 2.0 * SMALLEST_GAP < liner.outer_diameter <= 2.0 * wall + 1e-9,
            f"must lie between the bore ({layout.bore:g} mm) and the bore wall's outside ({2 * wall:g} mm)",
            "liner.outer_diameter",
            liner.outer_diameter,
        )
    if block.jacket_width <= 0.0:
        return
    outer = wall + block.jacket_width
    for x, y in places:
        room = math.hypot(x, y) - head.hole_diameter / 2.0 - SMALLEST_ROOM
        refuse_unless(
            outer <= room,
            f"the water jacket must end {SMALLEST_ROOM:g} mm before the stud's hole: it reaches {outer:.4g} mm from "
            f"the bore's centre, at most {room:.4g} mm",
            "block.jacket_width",
            block.jacket_width,
        )
    line = next((ring for ring in stated.gasket.rings if ring.sealing), None)
    refuse_unless(
        block.deck_thickness > 0.0 or line is None or line.outer_diameter / 2.0 <= wall + 1e-9,
        f"the deck is open and the bore's wall ends {wall:.4g} mm from its centre: the sealing ring "
        f"'{line.name if line else ''}' would lie over the water jacket",
        "block.deck_thickness",
        block.deck_thickness,
    )
    edge = layout.half_width if isinstance(layout, Bank) else layout.outer_diameter / 2.0
    refuse_unless(
        outer < edge - SMALLEST_GAP,
        f"the water jacket reaches the outside of the block ({edge:g} mm from the bore's centre)",
        "block.jacket_width",
        block.jacket_width,
    )


def _check_holes(
    layout: Bank | Ring, places: tuple[tuple[float, float], ...], head: HeadShape, stated: CellFile
) -> None:
    """Refuse gasket holes that cut or nearly touch an edge of the tile, a ring, a stud's hole or each other."""
    rings = max(ring.outer_diameter for ring in stated.gasket.rings) / 2.0
    holes = stated.gasket.holes
    for index, hole in enumerate(holes):
        field = f"gasket.holes[{index}]"
        if isinstance(layout, Bank):
            room = min(hole.x, layout.pitch / 2.0 - hole.x, hole.y, layout.half_width - hole.y)
        else:
            half = math.pi / layout.number
            normal = hole.x * math.sin(half) - hole.y * math.cos(half)
            room = min(hole.y, normal, layout.outer_diameter / 2.0 - math.hypot(hole.x, hole.y))
        away = {
            "is too near an edge of the first tile": room,
            "cuts a ring of the gasket or is too near": math.hypot(hole.x, hole.y) - rings,
        }
        for x, y in places:
            apart = math.hypot(hole.x - x, hole.y - y) - head.hole_diameter / 2.0
            away["cuts a stud's hole or is too near"] = min(away.get("cuts a stud's hole or is too near", apart), apart)
        for number, other in enumerate(holes[:index]):
            away[f"cuts gasket.holes[{number}] or is too near"] = (
                math.hypot(hole.x - other.x, hole.y - other.y) - other.diameter / 2.0
            )
        needed = hole.diameter / 2.0 + SMALLEST_ROOM
        for what, distance in away.items():
            refuse_unless(
                distance >= needed - 1e-9,
                f"the hole {what}: its centre must be {needed:.3g} mm away at least, it is {distance:.3g} mm",
                field,
            )


def _check_closeness(layout: Bank | Ring, head: HeadShape, liner: Liner | None, stated: CellFile) -> None:
    """Refuse circles round the bore that nearly touch each other or a plane of symmetry."""
    refuse_unless(
        head.centre_column_diameter < layout.bore - 2.0 * SMALLEST_GAP,
        f"must be less than the bore ({layout.bore:g} mm)",
        "head.centre_column_diameter",
        head.centre_column_diameter,
    )
    if liner is None:
        return
    radius = liner.outer_diameter / 2.0
    for ring in stated.gasket.rings:
        for end in ("inner_diameter", "outer_diameter"):
            gap = abs(getattr(ring, end) / 2.0 - radius)
            refuse_unless(
                gap < 1e-9 or gap >= LEAST_RING,
                f"lies only {gap:.2g} mm from the circle of gasket.rings '{ring.name}'.{end}; make them equal or "
                f"{LEAST_RING:g} mm apart",
                "liner.outer_diameter",
            )
    if isinstance(layout, Bank):
        half = layout.pitch / 2.0
        refuse_unless(
            not half - SMALLEST_GAP < radius or half / radius < math.cos(math.radians(LEAST_CUT)),
            f"the liner nearly touches its neighbour's: its radius is {radius:g} mm, half the pitch {half:g} mm; make "
            f"layout.pitch {2.0 * (radius - half + SMALLEST_GAP):.1f} mm larger or the liner as much thinner",
            "liner.outer_diameter",
        )
