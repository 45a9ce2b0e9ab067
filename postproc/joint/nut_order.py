"""In which order the nuts of a whole engine are turned, and where they stand; seen from above."""

from __future__ import annotations

import math
from collections.abc import Sequence

from headjoint.model.cell import Bank, Ring

Place = tuple[float, float]  # x along the engine, y across, mm
ALIKE = 0.01  # mm below which two places are one


def studs_of(layout: Bank | Ring, in_row: int = 1) -> list[Place]:
    """Return the places of all studs: row by row along a bank of `in_row` bores, round a ring.

    x = 0 is the axis of the first bore, or the ring's.
    """
    if isinstance(layout, Ring):
        turns = [2.0 * math.pi * k / layout.number for k in range(layout.number)]
        # clockwise from the x axis, as a clock runs
        return [(layout.stud_circle / 2.0 * math.cos(t), -layout.stud_circle / 2.0 * math.sin(t)) for t in turns]
    found: list[Place] = []
    for bore in range(in_row):
        for x, y in layout.studs:
            for place in ((bore * layout.pitch + a * x, b * y) for a in (-1.0, 1.0) for b in (1.0, -1.0)):
                if all(math.dist(place, one) > ALIKE for one in found):
                    found.append(place)
    return sorted(found, key=lambda one: (-round(one[1], 2), round(one[0], 2)))


def from_the_middle(places: Sequence[Place]) -> list[int]:
    """Return the order (indices) from the middle outward, each nut followed by the one diagonally opposite.

    Common practice, no source: what the gasket gives way, and what the head is bent, goes outward and not inward.
    """
    x_middle, y_middle = (sum(one[axis] for one in places) / len(places) for axis in (0, 1))

    def key(index: int) -> tuple[float, float, int]:
        x, y = places[index][0] - x_middle, places[index][1] - y_middle
        # of four alike: right behind, left before, left behind, right before
        turn = [(True, True), (False, False), (False, True), (True, False)].index((x > -ALIKE, y > 0.0))
        return round(abs(x), 1), round(abs(y), 1), turn

    return sorted(range(len(places)), key=key)


def crosswise(number: int) -> list[int]:
    """Return the order (indices) of nuts round a circle: opposite ones in pairs, each pair far from those before.

    An odd number goes on by nearly half a turn. Common practice, no source.
    """
    if number % 2:
        return [k * (number // 2) % number for k in range(number)]
    half = number // 2
    pairs = [0]
    while len(pairs) < half:
        left = [one for one in range(half) if one not in pairs]
        pairs.append(max(left, key=lambda one: min(min((one - p) % half, (p - one) % half) for p in pairs)))
    return [nut for pair in pairs for nut in (pair, pair + half)]


def plan_of_nuts(places: Sequence[Place], order: Sequence[int], bores: Sequence[float]) -> list[str]:
    """Return a plan in characters: at every stud its number in the order, O at every bore's axis (x, on y = 0)."""
    columns = sorted({round(x, 1) for x, _ in places} | {round(x, 1) for x in bores})
    rows = sorted({round(y, 1) for _, y in places} | {0.0}, reverse=True)
    width = 4 if len(columns) <= 18 else 3
    marks = {(round(x, 1), 0.0): "O" for x in bores}
    marks |= {(round(places[nut][0], 1), round(places[nut][1], 1)): str(turn) for turn, nut in enumerate(order, 1)}
    return ["".join(f"{marks.get((x, y), ''):>{width}}" for x in columns).rstrip() for y in rows]
