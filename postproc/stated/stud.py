"""The joint of one fastener: its section to scale, and its gasket enlarged."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from headjoint.meshes.one_fastener.single_stud import Levels, levels
from headjoint.model.joint import Joint, bearing_ring
from headjoint.postproc.present.drawing import INK, QUIET, wrapped
from headjoint.postproc.stated.cut import rings_cut
from headjoint.postproc.stated.paper import (
    LINE,
    SCALES,
    WIDTH,
    Place,
    axis_line,
    blank_sheet,
    box,
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

LEFT, RIGHT = 62.0, 56.0  # mm of the sheet for heights, and for names
TALLEST = 150.0
DETAIL = 44.0  # mm of the sheet for the gasket
THICK = 8.0  # mm of the sheet, its thickness there
NAME_LETTERS = 34


def draw_joint(joint: Joint, units: str = "si") -> Figure:
    """Draw the section of one fastener's joint, to scale on a sheet of `WIDTH` mm; `*` marks what its file left out."""
    z, told = levels(joint), Told(joint, units)
    widest = max(joint.head.outer_diameter, joint.block.outer_diameter)
    tall = z.fastener_top - z.block_bottom
    scale = scale_for(widest, tall, (WIDTH - LEFT - RIGHT, TALLEST))
    foot = DETAIL + 13.0
    height = foot + tall / scale + 20.0
    figure, axes = blank_sheet(height)
    at = Place(LEFT + (WIDTH - LEFT - RIGHT) / 2.0, foot - z.block_bottom / scale, scale)
    title(axes, height, joint.name)
    _section(axes, joint, z, at)
    _heights(axes, joint, z, at, told)
    _widths(axes, joint, z, at, told)
    _names(axes, joint, z, at, told)
    _gasket(axes, joint, told)
    words = f"section, scale {SCALES[scale]} where this is {told.length(WIDTH)} wide; {told.legend}"
    write(axes, 2.0, 2.2, words, color=QUIET)
    return figure


def _section(axes: Any, joint: Joint, z: Levels, at: Place) -> None:
    head, block, seat, fastener, washer = joint.head, joint.block, joint.seat, joint.fastener, joint.washer
    rings = [
        ("block", fastener.bonded_diameter, block.outer_diameter, z.hole_bottom, z.thread_top),
        ("block", block.counterbore_diameter, block.outer_diameter, z.thread_top, 0.0),
        ("block", 0.0, block.outer_diameter, z.block_bottom, z.hole_bottom),
        ("head", head.hole_diameter, head.outer_diameter, z.head_bottom, z.head_top),
        *(("gasket", zone.inner_diameter, zone.outer_diameter, 0.0, z.head_bottom) for zone in joint.gasket.zones),
    ]
    if washer is not None:
        rings.append(("washer", washer.inner_diameter, washer.outer_diameter, z.head_top, z.bearing))
    low = z.bearing
    for segment in fastener.segments:
        rings.append(("fastener", 0.0, segment.diameter, low - segment.length, low))
        low -= segment.length
    rings.append(("fastener", 0.0, fastener.bonded_diameter, z.thread_bottom, z.thread_top))
    if fastener.kind == "stud":
        rings.append(("nut", fastener.nut_bonded_diameter, seat.outer_diameter, z.bearing, z.seat_top))
        rings.append(("fastener", 0.0, fastener.nut_bonded_diameter, z.bearing, z.fastener_top))
    else:
        rings.append(("fastener", 0.0, seat.outer_diameter, z.bearing, z.seat_top))
    for side in (-1.0, 1.0):
        draw_cut(axes, rings_cut(rings), at, side)
    _threads(axes, joint, z, at)
    x, bottom = at(0.0, z.block_bottom)
    axis_line(axes, [x, x], [bottom - 3.0, at(0.0, z.fastener_top)[1] + 3.0])


def _threads(axes: Any, joint: Joint, z: Levels, at: Place) -> None:
    """Draw the outside of threads as thin lines."""
    fastener = joint.fastener
    spans = [(z.thread_bottom, z.thread_top, fastener.thread.nominal_diameter)]
    low = z.bearing
    for segment in fastener.segments:
        if segment.threaded:
            spans.append((low - segment.length, low, fastener.thread.nominal_diameter))
        low -= segment.length
    if fastener.kind == "stud":
        spans.append((z.bearing, z.fastener_top, fastener.nut_thread.nominal_diameter))
    for bottom, top, diameter in spans:
        for side in (-0.5, 0.5):
            (x, down), (_, up) = at(side * diameter, bottom), at(side * diameter, top)
            edge(axes, [x, x], [down, up], lw=0.35)


def _heights(axes: Any, joint: Joint, z: Levels, at: Place, told: Told) -> None:
    def span(bottom: float, top: float, field: str = "", name: str = "") -> tuple[float, float, str]:
        text = told.length(top - bottom, field)
        return at(0.0, bottom)[1], at(0.0, top)[1], f"{name} {text}".lstrip()

    left = at(-max(joint.head.outer_diameter, joint.block.outer_diameter) / 2.0, 0.0)[0]
    stack = [
        span(z.head_bottom, z.head_top, "head.height", "head"),
        span(0.0, z.head_bottom, "gasket.thickness", "gasket"),
        span(z.thread_bottom, z.thread_top, "fastener.engagement", "engaged"),
    ]
    if joint.washer is not None:
        stack.append(span(z.head_top, z.bearing, "washer.thickness", "washer"))
    if z.thread_top < 0.0:
        stack.append(span(z.thread_top, 0.0, "block.counterbore_depth", "counterbore"))
    if z.hole_bottom < z.thread_bottom:
        stack.append(span(z.hole_bottom, z.thread_bottom, "block.hole_below", "hole below"))
    seat = told.seat
    stack.append(span(z.bearing, z.seat_top, f"{seat}.height", seat.replace("_", " ")))
    heights(axes, left - 3.0, stack, left)
    ends = [z.bearing, *z.segment_ends, z.thread_top]
    pieces = [
        span(low, high, "", "thread" if segment.threaded else "shank")
        for high, low, segment in zip(ends, ends[1:], joint.fastener.segments, strict=False)
    ]
    heights(axes, left - 24.0, [*pieces, span(z.block_bottom, 0.0, "block.height", "block")], left)
    heights(axes, left - 43.0, [span(z.thread_top, z.bearing, "", "l_K")], left)


def _widths(axes: Any, joint: Joint, z: Levels, at: Place, told: Told) -> None:
    top = at(0.0, z.fastener_top)[1]
    half = joint.head.outer_diameter / 2.0
    left, right = at(-half, 0.0)[0], at(half, 0.0)[0]
    text = told.diameter(joint.head.outer_diameter, "head.outer_diameter")
    width(axes, top + 4.0, (left, right), f"head's share {text}", at(0.0, z.head_top)[1])
    half = joint.block.outer_diameter / 2.0
    bottom = at(0.0, z.block_bottom)[1]
    text = told.diameter(joint.block.outer_diameter, "block.outer_diameter")
    width(axes, bottom - 7.0, (at(-half, 0.0)[0], at(half, 0.0)[0]), f"block's share {text}", bottom)


def _names(axes: Any, joint: Joint, z: Levels, at: Place, told: Told) -> None:
    fastener, seat, washer, head, block = joint.fastener, joint.seat, joint.washer, joint.head, joint.block
    inner, outer = bearing_ring(joint)
    words = f"{told.seat.replace('_', ' ')} {told.diameter(seat.outer_diameter, f'{told.seat}.outer_diameter')}, bears"
    names = [
        (at(seat.outer_diameter * 0.4, (z.bearing + z.seat_top) / 2.0),
         f"{words} {told.diameter(inner)} to {told.diameter(outer, f'{told.seat}.bearing_outer_diameter')}"),
        (at(head.outer_diameter * 0.4, 0.3 * z.head_bottom + 0.7 * z.head_top), f"head: {head.material.name}"),
        (at(head.hole_diameter / 2.0, 0.5 * (z.head_bottom + z.head_top)),
         f"hole {told.diameter(head.hole_diameter, 'head.hole_diameter')}"),
        (at(block.outer_diameter * 0.4, 0.85 * z.block_bottom), f"block: {block.material.name}"),
        (at(fastener.bonded_diameter / 2.0, (z.thread_bottom + z.thread_top) / 2.0),
         f"{fastener.thread.designation}; pitch diameter {told.diameter(fastener.bonded_diameter)}"),
        (at(0.0, z.fastener_top), f"{fastener.kind} {fastener.property_class or fastener.material.name}"),
    ]  # fmt: skip
    if washer is not None:
        text = f"washer {told.diameter(washer.inner_diameter)} to {told.diameter(washer.outer_diameter)}"
        names.append(
            (at(washer.outer_diameter * 0.45, (z.head_top + z.bearing) / 2.0), f"{text}, {washer.material.name}")
        )
    if z.thread_top < 0.0:
        text = told.diameter(block.counterbore_diameter, "block.counterbore_diameter")
        names.append((at(block.counterbore_diameter / 2.0, z.thread_top / 2.0), f"counterbore {text}"))
    low = z.bearing
    for segment in fastener.segments:
        kind = "free thread, core" if segment.threaded else "shank"
        middle = low - 0.5 * segment.length
        low -= segment.length
        names.append((at(segment.diameter * 0.3, middle), f"{kind} {told.diameter(segment.diameter)}"))
    if joint.gas is not None:
        words = f"gas on {told.diameter(joint.gas.inner_diameter)} to {told.diameter(joint.gas.outer_diameter)}"
        names.append((at((joint.gas.inner_diameter + joint.gas.outer_diameter) / 4.0, z.head_bottom), words))
    named(axes, WIDTH - RIGHT + 4.0, [(place, wrapped(text, NAME_LETTERS)) for place, text in names])


def _gasket(axes: Any, joint: Joint, told: Told) -> None:
    """Draw half of the gasket along its radius, its thickness enlarged."""
    zones, gasket = joint.gasket.zones, joint.gasket
    reach = max(zone.outer_diameter for zone in zones) / 2.0
    scale = scale_for(reach, 0.0, (WIDTH - 60.0, 1.0))
    at, base = Place(30.0, 14.0, scale), 14.0
    write(axes, 2.0, DETAIL - 6.0, "gasket along the radius, free, its thickness enlarged", color=QUIET)
    axis_line(axes, [30.0, 30.0], [base - 4.0, base + THICK + 5.0])
    texts = []
    for zone in zones:
        top = base + THICK * (1.0 - zone.step / gasket.thickness)
        left, right = at(zone.inner_diameter / 2.0, 0.0)[0], at(zone.outer_diameter / 2.0, 0.0)[0]
        box(axes, ((left, base), (right, top)), "gasket")
        edge(axes, [left, right, right, left, left], [base, base, top, top, base], lw=0.6)
        step = f", {told.length(zone.step)} lower" if zone.step else ""
        text = f"{zone.name} {told.diameter(zone.inner_diameter)} to {told.diameter(zone.outer_diameter)}{step}"
        texts.append((((left + right) / 2.0, top), text))
    sealing = at(gasket.sealing_zone.sealing_diameter / 2.0, 0.0)[0]
    edge(axes, [sealing, sealing], [base - 3.0, base + THICK + 2.0], lw=0.9, ls=(0, (3, 1.5)))
    words = told.diameter(gasket.sealing_zone.sealing_diameter, "gasket.zones.sealing_diameter")
    write(axes, sealing, base - 4.5, f"sealing line {words}", ha="center")
    for number, ((x, y), text) in enumerate(texts):
        up = base + THICK + 3.0 + LINE * (len(texts) - 1 - number)
        edge(axes, [x, x], [y, up - 1.0], lw=0.35, color=INK)
        write(axes, x + 0.8, up, text, ha="left" if x < WIDTH / 2.0 else "right")
