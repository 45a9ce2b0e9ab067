"""What a gasket zone takes and gives back: the work of its pressure along a path of closures.

The set s of a law that keeps one only grows, and the pressure at a closure falls as s grows. While a zone closes
through c at temperature T its set comes to at least that whose line meets L(c, T) there, because no line is softer
than L where it meets it (`check_law`); so whatever temperature follows, it opens through c under no more pressure than
it closed. Hence, from a fresh zone that does not bear yet, no path that ends where it began gives energy back, at any
history of temperature. At one temperature that holds from any first closure.

A law that keeps no set has no such memory: at one temperature it gives back all and no more, but closed hot
and opened cold it gives back the area between its two curves, which is heat turned into work.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from headjoint.model.gasket.law import GasketLaw


def loop_energy(law: GasketLaw, closures: Sequence[float], temperature: float | Sequence[float]) -> float:
    """Return the energy per area (MPa mm, which is N/mm) that a closed path of closures puts into a fresh zone.

    Parameters
    ----------
    law : of the zone.
    closures : corners of the path, mm; the last is the first again. Between them closure changes evenly.
    temperature : degC throughout, or of each leg; it changes at the corners, while closure stands still.

    Raises
    ------
    ValueError : the path is not closed, or the temperatures are not one for each leg.
    """
    legs = list(pairwise(closures))
    if not legs or closures[0] != closures[-1]:
        raise ValueError("a closed path has at least two corners and ends where it began")
    temperatures = list(temperature) if isinstance(temperature, Sequence) else [temperature] * len(legs)
    if len(temperatures) != len(legs):
        raise ValueError(f"{len(legs)} legs need as many temperatures, not {len(temperatures)}")
    energy, permanent_set = 0.0, 0.0
    for (start, end), leg_temperature in zip(legs, temperatures, strict=True):
        permanent_set = law.set_after(start, permanent_set, leg_temperature)
        energy += _work(law, start, end, permanent_set, leg_temperature)
        permanent_set = law.set_after(end, permanent_set, leg_temperature)
    return energy


def _work(law: GasketLaw, start: float, end: float, permanent_set: float, temperature: float) -> float:
    """Return the integral of pressure over closure from `start` to `end`; exact, piece by piece.

    The set of the start serves for the whole leg: a zone that closes beyond it is on its loading curve in any case.
    """
    low, high = min(start, end), max(start, end)
    places = sorted({low, high, *(place for place in law.corners(permanent_set, temperature) if low < place < high)})
    work = 0.0
    for a, b in pairwise(places):
        work += sum(law.pressure(place, permanent_set, temperature) for place in (a, b)) / 2.0 * (b - a)
    return work if end >= start else -work
