"""An engine to scale: its deck in plan, and cut through a bore and through a stud."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.meshes.solid.bore_cell import Levels, levels
from headjoint.meshes.solid.symmetry import ring_copies
from headjoint.model.cell import Bank, Cell, Ring
from headjoint.postproc.present.drawing import QUIET, wrapped
from headjoint.postproc.stated.cut_engine import cuts, fastener_top
from headjoint.postproc.stated.paper import (
    SCALES,
    WIDTH,
    Place,
    axis_line,
    blank_sheet,
    draw_cut,
    edge,
    heights,
    named,
    scale_for,
    title,
    width,
    write,
)
from headjoint.postproc.stated.words import Told

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LEFT, RIGHT = 44.0, 52.0  # mm of the sheet for heights, and for names
PLAN_ROOM, CUT_ROOM = 70.0, 125.5  # mm of the sheet, how tall both may be: a page of letter has 240
FOOT, BETWEEN, TOP = 12.0, 16.5, 14.0  # mm of the sheet, below the cut, above it, above the plan
NAME_LETTERS = 32
RINGS = ("#9cc7c0", "#5aa196", "#c7d9d6", "#7fb5ac")


def draw_engine(cell: Cell, units: str = "si") -> Figure:
    """Draw an engine in plan and cut, to scale on a sheet of `WIDTH` mm; `*` marks what its file leaves out."""
    told, room = Told(cell.joint, units), WIDTH - LEFT - RIGHT
    (left, right), (low, high) = _outline(cell)
    plan_scale = scale_for(right - left, high - low, (room, PLAN_ROOM))
    z = levels(cell)
    near, far, length = cuts(cell)
    highest = fastener_top(cell, z)
    tall = highest - z.foot
    cut_scale = scale_for(2.0 * length, tall, (room, CUT_ROOM))
    plan_foot = FOOT + tall / cut_scale + BETWEEN
    height = plan_foot + (high - low) / plan_scale + TOP
    figure, axes = blank_sheet(height)
    title(axes, height, cell.joint.name)
    middle = LEFT + room / 2.0
    plan_at = Place(middle - (left + right) / 2.0 / plan_scale, plan_foot - low / plan_scale, plan_scale)
    _plan(axes, cell, plan_at, told)
    at = Place(middle, FOOT - z.foot / cut_scale, cut_scale)
    draw_cut(axes, near, at, -1.0)
    draw_cut(axes, far, at, 1.0)
    top = at(0.0, highest)[1]
    axis_line(axes, [middle, middle], [FOOT - 2.0, top + 2.5])
    of_side = ", intake side" if isinstance(cell.layout, Bank) and cell.layout.exhaust is not None else ""
    write(axes, middle - 2.0, top + 2.0, f"through the bore{of_side}", ha="right", color=QUIET)
    write(axes, middle + 2.0, top + 2.0, f"through a stud{of_side}", color=QUIET)
    _cut_heights(axes, cell, z, at, told, length)
    _cut_names(axes, cell, z, at, told, length)
    sizes = f"plan {SCALES[plan_scale]}, cut {SCALES[cut_scale]} where this is {told.length(WIDTH)} wide"
    own = "; the solid is a mesh of your own: drawn is what the file states" if cell.mesh.file is not None else ""
    write(axes, 2.0, 2.2, f"{sizes}; {told.legend}{own}", color=QUIET)
    return figure


def _outline(cell: Cell) -> tuple[tuple[float, float], tuple[float, float]]:
    layout = cell.layout
    if isinstance(layout, Ring):
        half = layout.outer_diameter / 2.0
        return (-half, half), (-half, half)
    first, other = layout.half_widths
    return (-layout.pitch / 2.0, (layout.bores - 0.5) * layout.pitch), (-other, first)


def places_of(cell: Cell, x: float, y: float) -> list[tuple[float, float]]:
    """Return where a place of the first tile (mm) stands in the whole plan, each place once."""
    layout = cell.layout
    if isinstance(layout, Ring):
        found = [(float(across), float(up)) for across, up in np.array(ring_copies(layout.number)) @ (x, y)]
    else:
        found = [
            (number * layout.pitch + across * x, up * y)
            for number in range(layout.bores)
            for across in (1.0, -1.0)
            for up in (1.0, -1.0)
        ]
    once = {(round(across, 6) + 0.0, round(up, 6) + 0.0) for across, up in found}
    return sorted(once)


def _circle(axes: Any, at: Place, place: tuple[float, float], diameter: float, within: Any = None, **look: Any) -> None:
    from matplotlib.patches import Circle

    look = {"facecolor": "none", "edgecolor": "#22252b", "linewidth": 0.6} | look
    circle = axes.add_patch(Circle(at(*place), diameter / 2.0 / at.scale, **look))
    if within is not None:
        circle.set_clip_path(within)


def _plan(axes: Any, cell: Cell, at: Place, told: Told) -> None:
    from matplotlib.patches import Circle, Rectangle

    layout, dashed = cell.layout, {"linestyle": (0, (3, 2)), "linewidth": 0.45, "edgecolor": QUIET}
    (left, right), (low, high) = _outline(cell)
    (x0, y0), (x1, y1) = at(left, low), at(right, high)
    outline = (
        Rectangle((x0, y0), x1 - x0, y1 - y0, facecolor="#eef2f1", edgecolor="#22252b", linewidth=0.8)
        if isinstance(layout, Bank)
        else Circle(at(0.0, 0.0), layout.outer_diameter / 2.0 / at.scale, facecolor="#eef2f1", edgecolor="#22252b")
    )
    axes.add_patch(outline)
    for bore in cell.bore_centres:
        for number, zone in reversed(list(enumerate(cell.zones[:-1]))):
            _circle(axes, at, bore, zone.outer_diameter, facecolor=RINGS[number % len(RINGS)], linewidth=0.3)
        _circle(axes, at, bore, cell.zones[0].inner_diameter, facecolor="white", linewidth=0.4)
        _circle(axes, at, bore, layout.bore)
        _circle(axes, at, bore, cell.sealing_zone.sealing_diameter, linestyle=(0, (4, 2)), linewidth=0.7)
        if cell.head.centre_column_diameter:
            _circle(axes, at, bore, cell.head.centre_column_diameter, **dashed)
        x, y = at(*bore)
        reach = 0.56 * layout.bore / at.scale
        axis_line(axes, [x - reach, x + reach], [y, y])
        axis_line(axes, [x, x], [y - reach, y + reach])
    for x, y in layout.tile_studs:
        for place in places_of(cell, x, y):
            _circle(axes, at, place, cell.head.column_diameter, within=outline, **dashed)
            _circle(axes, at, place, cell.head.hole_diameter, facecolor="white", within=outline)
            _circle(axes, at, place, cell.shank_diameter, facecolor="#8fa3ba", linewidth=0.4, within=outline)
    for hole in cell.holes:
        for place in places_of(cell, hole.x, hole.y):
            _circle(axes, at, place, hole.diameter, facecolor="white", within=outline)
    _walls(axes, cell, at)
    _plan_sizes(axes, cell, at, told)
    _plan_names(axes, cell, at, told)


def _walls(axes: Any, cell: Cell, at: Place) -> None:
    """Draw the inner edge of the head's side wall and its webs over the bridges."""
    layout, head = cell.layout, cell.head
    look: dict[str, Any] = {"ls": (0, (3, 2)), "lw": 0.45, "color": QUIET}
    if isinstance(layout, Ring):
        inner = layout.outer_diameter - 2.0 * head.side_wall
        _circle(axes, at, (0.0, 0.0), inner, linestyle=look["ls"], linewidth=look["lw"], edgecolor=QUIET)
        return
    (left, right), _ = _outline(cell)
    depth, low = (side.layout.half_width - side.head.side_wall for side in cell.sides)  # type: ignore[union-attr]
    for y in (-low, depth):
        (x0, up), (x1, _) = at(left, y), at(right, y)
        edge(axes, [x0, x1], [up, up], **look)
    for number in range(layout.bores + 1) if head.bridge_wall else ():
        for side in (-0.5, 0.5):
            x = (number - 0.5) * layout.pitch + side * head.bridge_wall
            if left < x < right:
                (across, y0), (_, y1) = at(x, -low), at(x, depth)
                edge(axes, [across, across], [y0, y1], **look)


def _plan_sizes(axes: Any, cell: Cell, at: Place, told: Told) -> None:
    layout = cell.layout
    (left, right), (low, high) = _outline(cell)
    top, bottom = at(0.0, high)[1], at(0.0, low)[1]
    if isinstance(layout, Ring):
        studs = [(at(0.0, -layout.stud_circle / 2.0)[1], at(0.0, layout.stud_circle / 2.0)[1],
                  f"{layout.number} studs on {told.diameter(layout.stud_circle)}")]  # fmt: skip
        heights(axes, at(left, 0.0)[0] - 4.0, studs, at(0.0, 0.0)[0])
        width(
            axes,
            top + 4.0,
            (at(left, 0.0)[0], at(right, 0.0)[0]),
            told.diameter(layout.outer_diameter),
            at(0.0, 0.0)[1],
        )
        return
    x, y = max(layout.studs, key=lambda stud: stud[1])
    first = at(-layout.pitch / 2.0, 0.0)[0], at(layout.pitch / 2.0, 0.0)[0]
    width(axes, top + 3.0, first, f"pitch {told.length(layout.pitch)}", bottom)
    width(axes, bottom - 5.0, (at(0.0, 0.0)[0], at(x, 0.0)[0]), f"stud {told.length(x)}", at(0.0, y)[1])
    spans = [(at(0.0, 0.0)[1], top, f"half width {told.length(layout.half_width)}")]
    if layout.exhaust is not None:
        spans.append((bottom, at(0.0, 0.0)[1], f"exhaust side {told.length(-low, 'exhaust_side.half_width')}"))
    heights(axes, at(left, 0.0)[0] - 19.0, spans, at(left, 0.0)[0])
    heights(
        axes, at(left, 0.0)[0] - 4.0, [(at(0.0, -y)[1], at(0.0, 0.0)[1], f"stud {told.length(y)}")], at(left, 0.0)[0]
    )


def _plan_names(axes: Any, cell: Cell, at: Place, told: Told) -> None:
    bore_x, bore_y = cell.bore_centres[-1]

    def on_ring(diameter: float, angle: float) -> tuple[float, float]:
        turn = math.radians(angle)
        return at(bore_x + diameter / 2.0 * math.cos(turn), bore_y + diameter / 2.0 * math.sin(turn))

    names = [(on_ring(cell.layout.bore, 32.0), f"bore {told.diameter(cell.layout.bore)}")]
    angle = 18.0
    for zone in cell.zones[:-1]:
        step = f", {told.length(zone.step)} lower" if zone.step else ""
        words = f"{zone.name} {told.diameter(zone.inner_diameter)} to {told.diameter(zone.outer_diameter)}{step}"
        names.append((on_ring((zone.inner_diameter + zone.outer_diameter) / 2.0, angle), words))
        angle -= 14.0
    sealing = cell.sealing_zone.sealing_diameter
    names.append((on_ring(sealing, angle), f"sealing line {told.diameter(sealing)}"))
    stud = max(places_of(cell, *cell.layout.tile_studs[0]), key=lambda place: (round(place[0]), place[1]))
    words = f"stud {cell.joint.fastener.thread.designation}, hole {told.diameter(cell.head.hole_diameter)}, "
    names.append((at(*stud), f"{words}column {told.diameter(cell.head.column_diameter)}"))
    body = cell.zones[-1]
    if isinstance(cell.layout, Bank):
        (_, right), (low, _) = _outline(cell)
        corner = at(0.985 * right, 0.9 * low)
    else:
        corner = on_ring(0.97 * cell.layout.outer_diameter, -20.0)
    names.append((corner, f"body, {told.length(body.step)} lower" if body.step else "body"))
    if cell.holes:
        places = [place for hole in cell.holes for place in places_of(cell, hole.x, hole.y)]
        sizes = sorted({hole.diameter for hole in cell.holes})
        words = ", ".join(told.diameter(size) for size in sizes)
        names.append((at(*max(places)), f"{len(places)} holes {words}"))
    if cell.head.centre_column_diameter:
        words = f"centre column {told.diameter(cell.head.centre_column_diameter)}"
        names.append((on_ring(cell.head.centre_column_diameter, -60.0), words))
    named(axes, WIDTH - RIGHT + 4.0, [(place, wrapped(text, NAME_LETTERS)) for place, text in names])


def _cut_heights(axes: Any, cell: Cell, z: Levels, at: Place, told: Told, length: float) -> None:
    block, head = cell.block, cell.head

    def span(bottom: float, top: float, name: str, field: str = "") -> tuple[float, float, str]:
        return at(0.0, bottom)[1], at(0.0, top)[1], f"{name} {told.length(top - bottom, field)}"

    left = at(-length, 0.0)[0]
    inner = [
        span(z.head_bottom, z.fire_deck, "fire deck", "head.fire_deck"),
        span(z.upper_deck, z.head_top, "upper deck", "head.upper_deck"),
        span(0.0, z.head_bottom, "gasket", "gasket.thickness"),
    ]
    if block.jacket_width > 0.0:
        inner.append(span(-block.jacket_depth, -block.deck_thickness, "jacket"))
        if block.deck_thickness > 0.0:
            inner.append(span(-block.deck_thickness, 0.0, "deck", "block.deck_thickness"))
    heights(axes, left - 3.0, inner, left)
    outer = [
        span(z.head_bottom, z.head_top, "head", "head.height"),
        span(z.foot, 0.0, "block", "block.height"),
    ]
    heights(axes, left - 24.0, outer, left)
    if isinstance(cell.layout, Bank):
        text = f"side wall {told.length(head.side_wall)}"
        if cell.layout.exhaust is not None:
            wall = cell.layout.exhaust.side_wall
            text += f", exhaust side {told.length(wall, 'exhaust_side.side_wall')}"
        y = at(0.0, z.head_top)[1] + 3.0
        width(axes, y, (left, at(head.side_wall - length, 0.0)[0]), text, at(0.0, z.upper_deck)[1])
    bore, foot = cell.layout.bore / 2.0, at(0.0, z.foot)[1]
    ends = at(-bore - block.wall, 0.0)[0], at(-bore, 0.0)[0]
    width(axes, foot - 5.0, ends, f"wall {told.length(block.wall)}", foot)


def _cut_names(axes: Any, cell: Cell, z: Levels, at: Place, told: Told, length: float) -> None:
    joint, block = cell.joint, cell.block
    stud = max(math.hypot(*place) if isinstance(cell.layout, Ring) else place[1] for place in cell.layout.tile_studs)
    fastener, seat = joint.fastener, told.seat
    kind = fastener.property_class or fastener.material.name
    names = [
        (at(stud, (z.bearing + z.top) / 2.0),
         f"{seat.replace('_', ' ')} {told.diameter(joint.seat.outer_diameter, f'{seat}.outer_diameter')}, "
         f"{told.length(joint.seat.height, f'{seat}.height')} high"),
        (at(stud, 0.5 * (z.fire_deck + z.upper_deck)), f"{fastener.kind} {fastener.thread.designation}, {kind}, "
         f"shank {told.diameter(cell.shank_diameter)}"),
        (at(length * 0.97, 0.75 * z.head_top), f"head: {joint.head.material.name}"),
        (at(length * 0.97, 0.8 * z.foot), f"block: {joint.block.material.name}"),
        (at(stud, 0.5 * (z.thread_bottom + z.thread_top)), f"engaged {told.length(fastener.engagement)}"),
        (at(min(stud + block.boss_diameter / 2.0, 0.99 * length), -0.1 * block.height),
         f"boss {told.diameter(block.boss_diameter)}"),
    ]  # fmt: skip
    if z.thread_top < 0.0:
        place = at(stud + cell.head.hole_diameter / 2.0, 0.5 * z.thread_top)
        names.append((place, f"counterbore {told.length(block.counterbore_depth)} deep"))
    if joint.washer is not None:
        words = f"washer {told.diameter(joint.washer.inner_diameter)} to {told.diameter(joint.washer.outer_diameter)}, "
        place = at(stud + 0.45 * joint.washer.outer_diameter, (z.head_top + z.bearing) / 2.0)
        names.append((place, f"{words}{told.length(joint.washer.thickness)} thick"))
    if block.jacket_width > 0.0:
        place = at(-(cell.layout.bore / 2.0 + block.wall + block.jacket_width / 2.0), -0.9 * block.jacket_depth)
        names.append((place, f"jacket {told.length(block.jacket_width)} wide, {told.length(block.jacket_depth)} deep"))
    if cell.liner is not None:
        place = at(-(cell.layout.bore + cell.liner.outer_diameter) / 4.0, -0.55 * cell.liner.length)
        names.append((place, f"liner to {told.diameter(cell.liner.outer_diameter)}, {cell.liner.material.name}"))
    named(axes, WIDTH - RIGHT + 4.0, [(place, wrapped(text, NAME_LETTERS)) for place, text in names])
