"""Checks that the plan of a bore cell can be built; each mistake one sentence with its field."""

from __future__ import annotations

import itertools
import math

from headjoint.model.base.errors import InputError
from headjoint.model.cell import HOLE_RIM, Bank, BlockShape, CellMesh, HeadShape, Liner, Ring
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
    _check_jacket(layout, places, block, head.column_diameter, liner)
    _check_holes(layout, places, head, stated)
    _check_closeness(layout, head, block, liner, stated)


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
        field = f"layout.studs[{index}]" if isinstance(layout, Bank) else "layout.stud_circle"
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


def _check_stud_of_bank(layout: Bank, place: tuple[float, float], reach: float, field: str) -> None:
    """Refuse a stud outside the first quarter or half cut; column and washer reach so far (mm) from its axis."""
    x, y = place
    half = layout.pitch / 2.0
    inside = -1e-9 <= x <= half + 1e-9 and reach + SMALLEST_GAP <= y <= layout.half_width - reach - SMALLEST_GAP
    refuse_unless(
        inside,
        f"must lie in the first quarter, 0 <= x <= {half:g} mm, its column and washer ({2 * reach:g} mm wide) "
        f"clear of y = 0 and of the outer side ({layout.half_width:g} mm)",
        field,
        f"x = {x:g}, y = {y:g} mm",
    )
    on_plane = min(abs(x), abs(x - half)) < 1e-9
    refuse_unless(
        on_plane or min(x, half - x) > reach + SMALLEST_GAP,
        "must stand on x = 0 or x = pitch/2 (half a stud) or clear of both",
        f"{field}.x",
        x,
    )


def _check_stud_of_ring(layout: Ring, distance: float, reach: float, field: str) -> None:
    """Refuse studs so far (mm) from the bore's centre that columns or washers stick out or overlap."""
    refuse_unless(
        distance + reach < layout.outer_diameter / 2.0 - SMALLEST_GAP,
        f"column and washer ({2 * reach:g} mm wide) stick out of the outer diameter ({layout.outer_diameter:g} mm)",
        field,
        layout.stud_circle,
    )
    refuse_unless(
        distance * math.sin(math.pi / layout.number) > reach + SMALLEST_GAP,
        "columns or washers of neighbouring studs overlap",
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
        column = max(head.column_diameter, head.hole_diameter) / 2.0
        for x, y in places:
            room = math.hypot(x, y) - column - SMALLEST_ROOM
            refuse_unless(
                ring.outer_diameter / 2.0 <= room,
                f"the ring runs into the stud's column; at most {2 * room:.4g} mm",
                f"{field}.outer_diameter",
                ring.outer_diameter,
            )
        before, what = ring.outer_diameter, f"ring '{ring.name}'"


def _check_jacket(
    layout: Bank | Ring,
    places: tuple[tuple[float, float], ...],
    block: BlockShape,
    column: float,
    liner: Liner | None,
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
        room = math.hypot(x, y) - block.boss_diameter / 2.0
        refuse_unless(
            outer <= room,
            f"the water jacket cuts the stud's boss: it reaches {outer:.4g} mm from the bore's centre, "
            f"the boss begins at {room:.4g} mm",
            "block.jacket_width",
            block.jacket_width,
        )
        room = math.hypot(x, y) - max(block.boss_diameter, column) / 2.0 - SMALLEST_ROOM
        refuse_unless(
            outer <= room,
            f"the water jacket must end {SMALLEST_ROOM:g} mm before boss and column to be meshed: it reaches "
            f"{outer:.4g} mm from the bore's centre, at most {room:.4g} mm",
            "block.jacket_width",
            block.jacket_width,
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
    """Refuse gasket holes that, with the rim the mesh needs round them, cut or nearly touch something."""
    block = stated.block
    rings = max(ring.outer_diameter for ring in stated.gasket.rings) / 2.0
    column = max(head.column_diameter, block.boss_diameter) / 2.0
    wall = layout.bore / 2.0 + block.wall
    jacket = {"inside": wall, "outside": wall + block.jacket_width} if block.jacket_width > 0.0 else {}
    for index, hole in enumerate(stated.gasket.holes):
        field = f"gasket.holes[{index}]"
        rim = HOLE_RIM * hole.diameter / 2.0
        if isinstance(layout, Bank):
            room = min(hole.x, layout.pitch / 2.0 - hole.x, hole.y, layout.half_width - hole.y)
        else:
            half = math.pi / layout.number
            normal = hole.x * math.sin(half) - hole.y * math.cos(half)
            room = min(hole.y, normal, layout.outer_diameter / 2.0 - math.hypot(hole.x, hole.y))
        needed = f"its centre must be {rim + SMALLEST_ROOM:.3g} mm away at least"
        distance = math.hypot(hole.x, hole.y)
        refuse_unless(room >= rim + SMALLEST_ROOM, f"too near an edge of the first tile: {needed}", field, room)
        refuse_unless(
            distance - rings >= rim + SMALLEST_ROOM, f"cuts a ring or is too near: {needed}", field, distance - rings
        )
        for x, y in places:
            apart = math.hypot(hole.x - x, hole.y - y) - column
            refuse_unless(
                apart >= rim + SMALLEST_ROOM, f"cuts a stud's column or boss or is too near: {needed}", field, apart
            )
        for side, radius in jacket.items():
            for circle in (rim, hole.diameter / 2.0):
                gap = abs(abs(distance - radius) - circle)
                refuse_unless(
                    gap >= SMALLEST_ROOM / 2.0,
                    f"it or its rim of {2.0 * rim:.3g} mm diameter nearly touches the jacket's {side}, which cannot be "
                    f"meshed: move it by {SMALLEST_ROOM - gap:.2g} mm towards or away from the bore",
                    field,
                )


def _check_closeness(
    layout: Bank | Ring, head: HeadShape, block: BlockShape, liner: Liner | None, stated: CellFile
) -> None:
    """Refuse circles round the bore that nearly touch each other or a plane of symmetry."""
    circles = {"layout.bore": layout.bore / 2.0, "block.wall": layout.bore / 2.0 + block.wall}
    if block.jacket_width > 0.0:
        circles["block.jacket_width"] = layout.bore / 2.0 + block.wall + block.jacket_width
    else:
        del circles["block.wall"]
    if liner is not None:
        circles["liner.outer_diameter"] = liner.outer_diameter / 2.0
    for ring in stated.gasket.rings:
        for end in ("inner_diameter", "outer_diameter"):
            circles[f"gasket.rings '{ring.name}'.{end}"] = getattr(ring, end) / 2.0
    refuse_unless(
        head.centre_column_diameter < layout.bore - 2.0 * SMALLEST_GAP,
        f"must be less than the bore ({layout.bore:g} mm)",
        "head.centre_column_diameter",
        head.centre_column_diameter,
    )
    for (name, radius), (other, second) in itertools.combinations(circles.items(), 2):
        refuse_unless(
            radius == second or abs(radius - second) >= SMALLEST_GAP,
            f"lies only {abs(radius - second):.2g} mm from the circle of {other}; make them equal or "
            f"{SMALLEST_GAP:g} mm apart",
            name,
        )
    if isinstance(layout, Bank):
        half = layout.pitch / 2.0
        for name, radius in circles.items():
            if radius > half:
                angle = math.degrees(math.acos(half / radius))
                refuse_unless(
                    angle >= LEAST_CUT,
                    f"its circle (radius {radius:g} mm) cuts the middle of the bridge ({half:g} mm) at only "
                    f"{angle:.1f} degrees, which cannot be meshed; move it by {radius - half + 0.5:.1f} mm or so",
                    name,
                )
