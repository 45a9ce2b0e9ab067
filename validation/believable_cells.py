"""Random cells as an engine's drawing might have them, each from its seed.

A cell is believable where what it states could be cast, drilled and put together: what is drilled or cast keeps a web
of material to its neighbours, rings stay inside the pitch and clear of columns, nuts and washers stay on the head.
Nothing here asks what can be meshed. Proportions are common practice, no source.
"""

from __future__ import annotations

import math
import random

WEB = 1.5  # mm of material between what is drilled or cast
PITCHES = {8: 1.25, 9: 1.25, 10: 1.25, 11: 1.25, 12: 1.75, 14: 1.5}  # of the studs' threads, mm
Place = tuple[float, float]


class _Draw:
    """Random numbers of one cell, rounded as a drawing rounds them."""

    def __init__(self, seed: int) -> None:
        self._random = random.Random(seed)

    def between(self, low: float, high: float, step: float = 0.1) -> float:
        """Return a length (mm) between two, a multiple of `step`."""
        return round(round(self._random.uniform(low, max(low, high)) / step) * step, 3)

    def chance(self, share: float) -> bool:
        """Return whether something is so that is so in a share of engines."""
        return self._random.random() < share

    def one_of(self, *choices: float) -> float:
        """Return one of some numbers."""
        return self._random.choice(choices)


def cell_text(seed: int) -> str:
    """Return the file of the believable cell of one seed."""
    draw = _Draw(seed)
    bore = draw.between(70.0, 140.0, 0.5)
    d = draw.one_of(*(size for size in PITCHES if 0.085 * bore <= size <= 0.16 * bore))
    hole = d + draw.between(0.4, 1.6)
    column = draw.between(1.9 * d, 2.6 * d, draw.one_of(0.1, 0.5, 1.0))
    boss = column if draw.chance(0.5) else draw.between(1.8 * d, 2.6 * d, 0.5)
    beside = draw.between(0.2, 1.0)
    washer = draw.one_of(draw.between(1.9 * d, 2.5 * d), column, column - beside, column + beside)
    washer = max(washer, math.ceil(hole + 5.0)) if draw.chance(0.75) else 0.0
    nut = draw.between(1.5 * d, min(1.8 * d, washer or 1.8 * d))
    widest = max(column, boss, washer, nut)
    rings, outermost = _rings(draw, bore)
    # a stud keeps its column clear of the rings, by little in a tight engine
    nearest = outermost / 2.0 + widest / 2.0 + draw.between(1.2, 8.0)
    lay_out = _bank if draw.chance(0.6) else _ring
    layout, places, tile = lay_out(draw, bore, outermost, nearest, widest)
    block, jacket = _block(draw, bore, outermost, boss, hole, places, tile)
    return "\n\n".join(
        (
            f'name = "believable cell {seed}"',
            layout,
            _fastener(draw, d, hole, nut, washer),
            _head(draw, bore, column, hole),
            block,
            f'[gasket]\nthickness = "{draw.one_of(0.5, 0.75, 1.05, 1.3):g} mm"\nexpansion = "16e-6 1/K"',
            rings,
            *_holes(draw, bore, outermost, places, max(column, boss), tile, jacket),
            '[gasket.body]\nlaw = "multi-layer steel body"\nstep = "0.105 mm"',
            f'[gas]\nwall_depth = "{draw.between(0.0, 0.2 * bore, 0.5):g} mm"',
            f'[tightening]\nmethod = "torque"\ntorque = "{0.055 * d**3:.0f} N.m"',
            '[[load_cases]]\nname = "assembly"\nkind = "assembly"\ntemperature = "20 degC"',
            '[[load_cases]]\nname = "firing"\nkind = "firing"\ngas_pressure = "60 bar"\n'
            'temperatures = { head = "110 degC", fastener = "100 degC", block = "95 degC" }\n',
        )
    )


def _rings(draw: _Draw, bore: float) -> tuple[str, float]:
    """Return the rings and the diameter (mm) at which they end."""
    start = bore + draw.one_of(0.0, draw.between(0.4, 3.0))
    stopper = start + draw.between(1.6, 5.0)
    bead = stopper + draw.between(3.0, 7.0)
    names = [("stopper", start, stopper, "multi-layer steel stopper", 'step = "0.10 mm"')]
    if draw.chance(0.2):
        names, stopper = [], start
    names.append(("bead", stopper, bead, "multi-layer steel bead", "sealing = true"))
    return "\n\n".join(
        f'[[gasket.rings]]\nname = "{name}"\nlaw = "{law}"\ninner_diameter = "{inner:.4g} mm"\n'
        f'outer_diameter = "{outer:.4g} mm"\n{rest}'
        for name, inner, outer, law, rest in names
    ), float(f"{bead:.4g}")


def _bank(
    draw: _Draw, bore: float, outermost: float, nearest: float, widest: float
) -> tuple[str, list[Place], tuple[float, float]]:
    pitch = draw.between(max(1.07 * bore, outermost + WEB), max(1.22 * bore, outermost + 4.0), 0.5)
    half = pitch / 2.0
    clear = widest / 2.0 + WEB
    x = half
    if draw.chance(0.25) and half > 2.0 * clear:  # studs that no plane of symmetry cuts
        x = draw.between(clear, half - clear)
    y = max(math.sqrt(max(nearest**2 - x**2, 0.0)) + draw.between(0.0, 6.0), clear)
    places = [(x, math.ceil(10.0 * y) / 10.0)]
    if x == half and draw.chance(0.3):
        places.insert(0, (0.0, math.ceil(10.0 * nearest) / 10.0 + draw.between(0.0, 6.0)))
    side = max(max(y for _, y in places) + widest / 2.0 + WEB, outermost / 2.0 + 2.0 * WEB)
    half_width = math.ceil(10.0 * (side + draw.between(0.0, 20.0))) / 10.0
    stated = ", ".join(f'{{ x = "{x:.6g} mm", y = "{y:.6g} mm" }}' for x, y in places)
    text = (
        f'[layout]\nkind = "bank"\nbore = "{bore:g} mm"\npitch = "{pitch:g} mm"\nhalf_width = "{half_width:g} mm"\n'
        f"studs = [{stated}]"
    )
    return text, places, (half, half_width)


def _ring(
    draw: _Draw, bore: float, outermost: float, nearest: float, widest: float
) -> tuple[str, list[Place], tuple[float, float]]:
    number = int(draw.one_of(4, 5, 6, 6, 8))
    radius = max(nearest + draw.between(0.0, 6.0), (widest / 2.0 + WEB) / math.sin(math.pi / number))
    circle = math.ceil(2.0 * radius)
    outer = math.ceil(circle + widest + 2.0 * WEB + draw.between(0.0, 40.0))
    text = (
        f'[layout]\nkind = "ring"\nbore = "{bore:g} mm"\nnumber = {number}\nstud_circle = "{circle} mm"\n'
        f'outer_diameter = "{outer} mm"'
    )
    return text, [(circle / 2.0, 0.0)], (-math.pi / number, outer / 2.0)


def _fastener(draw: _Draw, d: float, hole: float, nut: float, washer: float) -> str:
    bolt = draw.chance(0.4)
    shank = d if draw.chance(0.3) else draw.between(0.8 * d, 0.95 * d)
    text = (
        f'[fastener]\nkind = "{"bolt" if bolt else "stud"}"\nthread = "M{d:g}x{PITCHES[int(d)]:g}"\n'
        f'property_class = "10.9"\nengagement = "{draw.between(1.4 * d, 2.2 * d, 0.5):g} mm"\n\n'
        f'[[fastener.segments]]\ndiameter = "{shank:g} mm"\n\n[[fastener.segments]]\nlength = "8 mm"\nthread = true\n\n'
        f'[{"bolt_head" if bolt else "nut"}]\nheight = "{draw.between(0.8 * d, 1.2 * d):g} mm"\n'
        f'outer_diameter = "{nut:g} mm"\nbearing_outer_diameter = "{nut:g} mm"'
    )
    if not washer:
        return text
    return text + (
        f'\n\n[washer]\ninner_diameter = "{draw.one_of(hole, d + draw.between(0.3, 1.5)):g} mm"\n'
        f'outer_diameter = "{washer:g} mm"\nthickness = "{draw.between(1.6, 4.5):g} mm"\nmaterial = "EN 1.7225"'
    )


def _head(draw: _Draw, bore: float, column: float, hole: float) -> str:
    fire_deck, upper_deck = draw.between(0.09 * bore, 0.24 * bore, 0.5), draw.between(0.08 * bore, 0.16 * bore, 0.5)
    height = draw.between(max(0.8 * bore, fire_deck + upper_deck + 20.0), 1.25 * bore, 1.0)
    centre = draw.between(0.25 * bore, 0.7 * bore, 0.5) if draw.chance(0.8) else 0.0
    bridge = draw.between(5.0, 0.28 * bore, 0.5) if draw.chance(0.75) else 0.0
    return (
        f'[head]\nheight = "{height:g} mm"\nfire_deck = "{fire_deck:g} mm"\nupper_deck = "{upper_deck:g} mm"\n'
        f'side_wall = "{draw.between(4.0, 16.0):g} mm"\ncolumn_diameter = "{column:g} mm"\n'
        f'centre_column_diameter = "{centre:g} mm"\nbridge_wall = "{bridge:g} mm"\nhole_diameter = "{hole:g} mm"\n'
        f'material = "{"EN AC-42100" if draw.chance(0.6) else "EN-GJL-250"}"'
    )


def _block(
    draw: _Draw,
    bore: float,
    outermost: float,
    boss: float,
    hole: float,
    places: list[Place],
    tile: tuple[float, float],
) -> tuple[str, tuple[float, float]]:
    """Return the block, and the radii (mm) of its water jacket; it ends before the bosses or runs into them."""
    wall = draw.between(4.0, 10.0)
    near = min(math.hypot(*place) for place in places)
    end = near - boss / 2.0 - draw.between(0.0, 4.0) if draw.chance(0.7) else near - hole / 2.0 - 2.0 * WEB
    width = min(draw.between(2.5, 9.0), math.floor(10.0 * (min(end, tile[1] - 4.0) - bore / 2.0 - wall)) / 10.0)
    width = width if width >= 2.0 and draw.chance(0.9) else 0.0
    height = draw.between(1.2 * bore, 1.7 * bore, 1.0)
    # an open deck's rings stand on the bore's wall
    closed = draw.chance(0.8) or bore / 2.0 + wall < outermost / 2.0
    deck = draw.between(0.07 * bore, 0.2 * bore, 0.5) if closed else 0.0
    depth = draw.between(0.45 * bore, 0.9 * bore, 0.5)
    text = (
        f'[block]\nheight = "{height:g} mm"\nwall = "{wall:g} mm"\njacket_width = "{width:.4g} mm"\n'
        f'jacket_depth = "{depth:g} mm"\ndeck_thickness = "{deck:g} mm"\nboss_diameter = "{boss:g} mm"\n'
        f'counterbore_depth = "{draw.one_of(0.0, 5.0, 10.0, draw.between(2.0, 15.0)):g} mm"\n'
        f'material = "{"EN AC-42100" if draw.chance(0.4) else "EN-GJL-250"}"'
    )
    # liners of neighbours do not meet
    liner = draw.between(1.5, min(wall, 5.0 if tile[0] < 0.0 else tile[0] - bore / 2.0 - 0.5))
    if draw.chance(0.3):
        text += (
            f'\n\n[liner]\nouter_diameter = "{bore + 2.0 * liner:g} mm"\nprotrusion = "0.03 mm"\n'
            'material = "EN-GJL-250"'
        )
    return text, (bore / 2.0 + wall, bore / 2.0 + wall + width)


def _holes(
    draw: _Draw,
    bore: float,
    outermost: float,
    places: list[Place],
    column: float,
    tile: tuple[float, float],
    jacket: tuple[float, float],
) -> list[str]:
    """Return up to two holes of the gasket that keep a web to rings, columns, each other and the tile's edges."""
    found: list[tuple[float, float, float]] = []
    for _ in range(8 * int(draw.one_of(0, 0, 1, 2))):
        diameter = draw.between(4.0, 0.1 * bore)
        if tile[0] > 0.0:
            x, y = draw.between(0.0, tile[0]), draw.between(0.0, tile[1])
            room = min(x, y, tile[0] - x, tile[1] - y)
        else:
            radius, angle = draw.between(outermost / 2.0, tile[1]), -tile[0] * draw.between(0.0, 1.0, 0.01)
            x, y = round(radius * math.cos(angle), 1), round(radius * math.sin(angle), 1)
            room = min(y, x * math.sin(-tile[0]) - y * math.cos(tile[0]), tile[1] - math.hypot(x, y))
        away = [math.hypot(x, y) - outermost / 2.0, room]
        away += [math.hypot(x - place[0], y - place[1]) - column / 2.0 for place in places]
        away += [math.hypot(x - other[0], y - other[1]) - other[2] / 2.0 for other in found]
        if min(away) >= diameter / 2.0 + WEB and len(found) < 2:
            found.append((x, y, diameter))
    return [
        f'[[gasket.holes]]\nx = "{x:g} mm"\ny = "{y:g} mm"\ndiameter = "{diameter:g} mm"' for x, y, diameter in found
    ]
