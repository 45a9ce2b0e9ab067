"""How the plan of an engine is filled: studs, columns, sealing rings, bore wall and water in the room there is."""

from __future__ import annotations

import math
from dataclasses import dataclass

from headjoint.cases.command.proportions import (
    NARROWEST_BAND,
    NARROWEST_BORE_WALL,
    NARROWEST_COLUMN,
    NARROWEST_JACKET,
    NO_SOURCE,
    PROPORTIONS,
    of_bore,
    of_stud,
)
from headjoint.cases.command.written import Lengths, Written
from headjoint.model.base.errors import InputError
from headjoint.model.library import threads
from headjoint.model.reading.cell_checks import LEAST_CUT, SMALLEST_ROOM

Known = dict[str, Written]
BETWEEN = 0.6  # mm between the last rings of neighbouring bores, each side of mid-bridge
OFF_BRIDGE = 1.5  # mm by which a circle stays clear of mid-bridge
SPARE = 0.3  # mm, so that rounding takes nothing that is needed
FITS = f"what the studs leave room for; {NO_SOURCE}"


@dataclass(frozen=True)
class Plan:
    """What lies round a bore and a stud, mm. jacket : 0 where there is no room for water between bore and studs."""

    column: Written
    band: float
    wall: Written
    jacket: Written


def circle(diameter: float) -> float:
    """Return the area of a circle, mm2."""
    return math.pi / 4.0 * diameter**2


def diameter_of(known: Known) -> float:
    """Return the nominal diameter of the studs' thread, mm."""
    return threads.thread(str(known["stud"].value)).nominal_diameter


def _half_pitch(known: Known) -> float:
    return known["pitch"].number / 2.0 if "pitch" in known else math.inf


def _distance_wanted(known: Known) -> float:
    """Return how far (mm) a stud stands from the bore's axis where everything has its usual size."""
    bore, column = known["bore"].number, of_stud("column", diameter_of(known))
    round_bore = of_bore("bore wall", bore) + of_bore("water jacket", bore)
    return bore / 2.0 + round_bore + column / 2.0 + SMALLEST_ROOM + 3.0 * SPARE


PLACED = f"leaves room for bore wall, water and the column round the stud; {NO_SOURCE}"


def typical_across(known: Known, units: str) -> Written:
    """Return how far from the line of the bores the studs between them stand."""
    beyond = _distance_wanted(known) ** 2 - _half_pitch(known) ** 2
    least = of_stud("column", diameter_of(known)) / 2.0 + 2.0
    return Lengths(units).up(max(least, math.sqrt(max(0.0, beyond))), PLACED)


def typical_beside(known: Known, units: str) -> Written:
    """Return how far from the line of the bores the studs beside them stand."""
    return Lengths(units).up(_distance_wanted(known), PLACED)


def typical_circle(known: Known, units: str) -> Written:
    """Return the diameter of the circle on which the studs round one bore stand."""
    return Lengths(units).up(2.0 * _distance_wanted(known), PLACED)


def nearest_stud(known: Known) -> float:
    """Return how far (mm) from the bore's axis the nearest stud stands."""
    if "stud_circle" in known:
        return known["stud_circle"].number / 2.0
    places = [math.hypot(_half_pitch(known), known["across"].number)]
    if "beside" in known:
        places.append(known["beside"].number)
    return min(places)


def plan_of(known: Known, units: str) -> Plan:
    """Return columns, rings, wall and water that fit between bore, studs and the next bore.

    Raises InputError where they do not.
    """
    lengths = Lengths(units)
    bore, d = known["bore"].number, diameter_of(known)
    half, distance = _half_pitch(known), nearest_stud(known)
    bridge = half - bore / 2.0
    if bridge < NARROWEST_BAND + BETWEEN:
        least = bore + 2.0 * (NARROWEST_BAND + BETWEEN)
        raise InputError(f"leaves no bridge to seal; at least {least:.4g} mm", field="--pitch",
                         value=known["pitch"].text)  # fmt: skip
    band = min(of_bore("sealing band", bore), bridge - BETWEEN)
    # a narrow column makes room first for the rings, then for the water
    widest, narrowest = of_stud("column", d), NARROWEST_COLUMN * d
    free = distance - bore / 2.0 - SMALLEST_ROOM - SPARE
    wanted = max(band, of_bore("bore wall", bore) + of_bore("water jacket", bore))
    column = min(widest, max(narrowest, 2.0 * (free - wanted)))
    if free - column / 2.0 < NARROWEST_BAND:
        least = bore / 2.0 + SMALLEST_ROOM + SPARE + NARROWEST_BAND + column / 2.0
        raise InputError(
            f"the studs stand {distance:.4g} mm from the bore's axis, which leaves no room for the gasket's rings; "
            f"at least {least:.4g} mm",
            field="--stud-circle" if "stud_circle" in known else "--across",
        )
    room = free - column / 2.0
    wall, jacket = _round_the_bore(bore, half, room, lengths)
    words = f"{PROPORTIONS['column'].words}; {NO_SOURCE}" if column == widest else FITS
    return Plan(lengths.down(column, words), min(band, room), wall, jacket)


def _round_the_bore(bore: float, half: float, room: float, lengths: Lengths) -> tuple[Written, Written]:
    """Return bore wall and water jacket in `room` (mm), their circles clear of mid-bridge; no jacket without room."""
    usual = of_bore("bore wall", bore)
    for width in (usual, (usual + NARROWEST_BORE_WALL * bore) / 2.0, NARROWEST_BORE_WALL * bore):
        wall = lengths.down(_clear_of_bridge(bore / 2.0 + width, half) - bore / 2.0, FITS)
        inside = bore / 2.0 + wall.number
        outside = min(inside + of_bore("water jacket", bore), bore / 2.0 + room)
        jacket = lengths.down(max(0.0, outside - inside), FITS)
        if _cuts_bridge_flatly(inside + jacket.number, half):
            jacket = lengths.down(max(0.0, half - OFF_BRIDGE - inside), FITS)
        if wall.number >= NARROWEST_BORE_WALL * bore - SPARE and jacket.number >= NARROWEST_JACKET:
            return wall, jacket
    words = f"{PROPORTIONS['bore wall'].words}; {NO_SOURCE}"
    return lengths.down(usual, words), Written(0.0, "0 mm", why=f"no room for water beside the studs; {NO_SOURCE}")


def _clear_of_bridge(radius: float, half: float) -> float:
    """Return a radius (mm) at most as large whose circle does not nearly touch the middle of the bridge."""
    return half - OFF_BRIDGE if _cuts_bridge_flatly(radius, half) else radius


def _cuts_bridge_flatly(radius: float, half: float) -> bool:
    return half - OFF_BRIDGE < radius < half / math.cos(math.radians(LEAST_CUT + 2.0))
