"""Lines that the plan mesh of a cell follows: circles round bore, studs and holes, and edges of walls and jacket.

Some must be lines, for parts or zones of the gasket end there. Others - column, washer, nut, jacket, side wall - are
lines where they have room; where they nearly touch or cross another they count by `solid_shares`.
"""

from __future__ import annotations

import math

from headjoint.meshes.solid.plan import Arc, Line, Rings
from headjoint.model.cell import HOLE_RIM, LEAST_RING, Bank, Cell, Hole, is_large, typical_mesh

SLACK = 0.6  # of the element size at studs, room that elements need beside the edges of walls and jacket
ROOM = 0.3  # of it, beside whole circles that need not be lines
LEAST_CUT = math.radians(25.0)  # between an edge of the jacket and the plane of symmetry that it cuts
SHORTEST = 4.0  # times the room, the length of an edge that is worth a line

Circle = tuple[float, float, float]  # centre x, y and radius, mm
Span = tuple[float, float]


def rings_of(cell: Cell) -> list[Rings]:
    """Return all whole circles that the plan mesh follows: round bore, studs and gasket holes."""
    rings = [_bore_rings(cell)]
    for place in cell.layout.tile_studs:
        radii = _stud_radii(cell, place)
        rings.append(Rings(*place, radii, True, (radii[0], radii[-1])))
    # a circle alone leaves flat corners at its edge: a second one, spokes between, and a square inside
    for hole in cell.holes:
        edge, rim = hole.diameter / 2.0, _rim(cell, hole)
        rings.append(Rings(hole.x, hole.y, (edge, rim), True, (edge, rim)))
    return rings


def edges_of(cell: Cell, rings: list[Rings]) -> list[Line | Arc]:
    """Return the lines that the plan follows in part: where they come near to `rings` or edges of the tile they end."""
    slack = SLACK * _beside(cell)
    obstacles = [(ring.x, ring.y, ring.radii[-1]) for ring in rings[1:]]
    return [*_jacket_edges(cell, rings[0], obstacles, slack), *_side_wall_edge(cell, rings[0], obstacles, slack)]


def _bore_rings(cell: Cell) -> Rings:
    """Return the circles round the bore: rings of the gasket, the liner, and a jacket wall that lies below them."""
    bore, half = cell.layout.bore / 2.0, _half(cell)
    radii = {bore}
    for zone in cell.zones[:-1]:
        radii |= {zone.inner_diameter / 2.0, zone.outer_diameter / 2.0}
    outer = max(radii)
    if cell.liner is not None:
        liner = cell.liner.outer_diameter / 2.0
        radii.add(liner)
        # between spokes a thin ring is no trouble: so they reach a liner that nearly meets its neighbour's, too
        nearer = liner - outer < half - liner
        outer = max(outer, liner if nearer else min(liner, half - ROOM * _beside(cell)))
    radii |= {radius for radius in _jacket_radii(cell) if radius <= outer and _apart(radius, radii)}
    # a square needs a small disc: inside the bore the mesh follows a circle even without a centre column
    centre = cell.head.centre_column_diameter / 2.0 or bore / 3.0
    spoke_end = max(radius for radius in radii if radius <= outer)
    return Rings(0.0, 0.0, (centre, *sorted(radii)), True, (centre, spoke_end))


def _beside(cell: Cell) -> float:
    """Return the element size (mm) at studs that lines leave room for.

    Somewhat larger elements than the typical ones keep their lines: what a jacket cuts joins its walls and is far too
    stiff, on a mesh of twice the size as well, so that no mesh error would show it. Still larger ones would fold.
    """
    size, typical = cell.mesh.stud_size, typical_mesh(cell.layout.bore).stud_size
    return size if is_large(size, typical) else min(size, typical)


def _half(cell: Cell) -> float:
    return cell.layout.pitch / 2.0 if isinstance(cell.layout, Bank) else math.inf


def _jacket_radii(cell: Cell) -> tuple[float, ...]:
    block = cell.block
    inside = cell.layout.bore / 2.0 + block.wall
    return (inside, inside + block.jacket_width) if block.jacket_width > 0.0 else ()


def _apart(radius: float, others: set[float]) -> bool:
    return all(abs(radius - other) >= LEAST_RING for other in others)


def _stud_radii(cell: Cell, place: tuple[float, float]) -> tuple[float, ...]:
    """Return the radii (mm) round a stud that the plan mesh follows, rising: those that have room, and its hole's."""
    joint, head = cell.joint, cell.head
    radii = {cell.shank_diameter / 2.0, head.hole_diameter / 2.0}
    if joint.washer is not None:
        radii.add(joint.washer.inner_diameter / 2.0)
    wider = [joint.seat.outer_diameter / 2.0, head.column_diameter / 2.0]
    if joint.washer is not None:
        wider.append(joint.washer.outer_diameter / 2.0)
    room = _room_round(cell, *place, [(hole.x, hole.y, hole.diameter / 2.0) for hole in cell.holes])
    room -= ROOM * cell.mesh.stud_size
    for radius in wider:
        if radius <= room and _apart(radius, radii):
            radii.add(radius)
    return tuple(sorted(radii))


def _room_round(cell: Cell, x: float, y: float, circles: list[Circle]) -> float:
    """Return the distance (mm) from a place to the nearest of circles, rings of the gasket and edges of the tile that
    do not go through it.
    """
    ring = max(zone.outer_diameter / 2.0 for zone in cell.zones[:-1])
    if cell.liner is not None:
        ring = max(ring, cell.liner.outer_diameter / 2.0)
    away = [math.hypot(x, y) - ring, *edges_away(cell, x, y)]
    away += [math.hypot(x - x0, y - y0) - radius for x0, y0, radius in circles]
    return min(distance for distance in away if distance > 1e-6)


def edges_away(cell: Cell, x: float, y: float) -> list[float]:
    """Return the distances (mm) of a place from the edges of the first tile."""
    layout = cell.layout
    if isinstance(layout, Bank):
        return [x, layout.pitch / 2.0 - x, y, layout.half_width - y]
    half = math.pi / layout.number
    return [y, x * math.sin(half) - y * math.cos(half), layout.outer_diameter / 2.0 - math.hypot(x, y)]


def _rim(cell: Cell, hole: Hole) -> float:
    """Return the radius (mm) of the second circle round a gasket hole: at most half-way to what is next to it."""
    edge = hole.diameter / 2.0
    holes = [(other.x, other.y, other.diameter / 2.0) for other in cell.holes if other is not hole]
    studs = [(*place, _stud_radii(cell, place)[-1]) for place in cell.layout.tile_studs]
    return min(HOLE_RIM * edge, edge + 0.4 * (_room_round(cell, hole.x, hole.y, holes + studs) - edge))


def _jacket_edges(cell: Cell, round_bore: Rings, obstacles: list[Circle], slack: float) -> list[Arc]:
    layout, half, found = cell.layout, _half(cell), set[float]()
    arcs: list[Arc] = []
    for radius in reversed(_jacket_radii(cell)):
        # one that lies between the rings is a line already
        if any(abs(radius - other) < slack for other in (*round_bore.radii, *found)):
            continue
        found.add(radius)
        closed: list[Span] = []
        start, end = 0.0, math.pi / 2.0
        if isinstance(layout, Bank):
            depth = layout.half_width
            if radius > depth - slack:
                closed.append((math.asin(min((depth - slack) / radius, 1.0)), end))
            start = math.acos(min(half / radius, 1.0))
            if radius > half - slack and (radius <= half or math.acos(half / radius) < LEAST_CUT):
                closed.append((0.0, math.acos(min((half - slack) / radius, 1.0))))
        else:
            end = math.pi / layout.number
        closed += [_near(radius, circle, slack) for circle in obstacles]
        whole = not any(b > a for a, b in closed)
        arcs += [Arc(radius, 0.0, 2.0 * math.pi)] if whole else _arcs(radius, (start, end), closed, SHORTEST * slack)
    return arcs


def _near(radius: float, circle: Circle, slack: float) -> Span:
    """Return the angles (rad) between which a circle round the origin lies within `slack` mm of another or in it."""
    x, y, own = circle
    away, reach = math.hypot(x, y), own + slack
    cosine = (radius**2 + away**2 - reach**2) / (2.0 * radius * away)
    if cosine >= 1.0:
        return (0.0, 0.0)
    middle, half = math.atan2(y, x), math.acos(max(cosine, -1.0))
    return (middle - half, middle + half)


def _open(span: Span, closed: list[Span]) -> list[Span]:
    """Return what is left of a span."""
    spans = [span]
    for start, end in closed:
        if end > start:
            spans = [part for a, b in spans for part in ((a, min(b, start)), (max(a, end), b)) if part[1] > part[0]]
    return spans


def _arcs(radius: float, span: Span, closed: list[Span], shortest: float) -> list[Arc]:
    return [Arc(radius, a, b) for a, b in _open(span, closed) if (b - a) * radius > shortest]


def _side_wall_edge(cell: Cell, round_bore: Rings, obstacles: list[Circle], slack: float) -> list[Line | Arc]:
    """Return the inner edge of the side wall: none where it nearly touches a circle round the bore."""
    layout, head = cell.layout, cell.head
    shortest = head.column_diameter / 4.0 + slack / 2.0
    circles = (*round_bore.radii, *_jacket_radii(cell))
    if not isinstance(layout, Bank):
        radius = layout.outer_diameter / 2.0 - head.side_wall
        if any(abs(radius - other) < slack for other in circles):
            return []
        span = (0.0, math.pi / layout.number)
        return list(_arcs(radius, span, [_near(radius, circle, slack) for circle in obstacles], shortest))
    depth, width = layout.half_width - head.side_wall, layout.pitch / 2.0
    if any(abs(depth - radius) < slack for radius in circles):
        return []
    closed = []
    for x, y, radius in obstacles:
        reach = math.sqrt(max((radius + slack) ** 2 - (depth - y) ** 2, 0.0))
        closed.append((x - reach, x + reach))
    return [((a, depth), (b, depth)) for a, b in _open((0.0, width), closed) if b - a > shortest]
