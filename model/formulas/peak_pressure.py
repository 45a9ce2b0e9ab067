"""Peak cylinder pressure from what a builder knows: compression ratio, manifold pressure, kind of ignition.

Polytropic compression of what the manifold gives, p_c = p_m r^n, then the ratio of peak to compression pressure that
engines of its kind reach at full load. Every number below has a range, and the ranges are taken together, so that the
result says how little is known this way. Pressures MPa, absolute.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from headjoint.model.base.errors import InputError

Ignition = Literal["spark", "compression"]
ATMOSPHERE = 0.101325  # MPa, ISO 2533 at sea level
COMPRESSION_RATIOS = (5.0, 25.0)
MANIFOLD_PRESSURES = (0.02, 0.7)  # MPa
HELD_BACK = (0.0, 15.0)  # crank degrees over which the loss by degree was thought of


@dataclass(frozen=True)
class Range:
    """A likely value and the ends between which it lies."""

    low: float
    likely: float
    high: float


# n: textbooks give 1.3 +-0.05 for mixture with fuel and some 1.35 for hot air, heat loss included; from memory, medium
# confidence. The full geometric ratio is taken; inlet valves that close late make it less
EXPONENTS = {"spark": Range(1.28, 1.31, 1.34), "compression": Range(1.32, 1.35, 1.38)}
# peak over compression pressure at full load, ignition for best torque, no knock; common practice, no source
RISES = {"spark": Range(2.6, 2.9, 3.3), "compression": Range(1.25, 1.45, 1.8)}
# share of the rise lost for every degree that a spark comes later; common practice, no source
LOST_PER_DEGREE = Range(0.02, 0.03, 0.04)


@dataclass(frozen=True)
class PeakPressure:
    """Pressure at the end of compression without burning, and peak, each with its range; MPa absolute."""

    manifold: float
    compression: Range
    peak: Range


def peak_pressure(
    manifold: float, compression_ratio: float, ignition: Ignition, held_back: float = 0.0
) -> PeakPressure:
    """Return the peak pressure that an engine at full load is likely to reach.

    manifold : pressure at the inlet, MPa absolute. held_back : crank degrees by which a spark comes later than for best
    torque, as the margin against knock.

    Raises InputError for values that no engine has.
    """
    for name, value, (least, most) in (
        ("manifold pressure", manifold, MANIFOLD_PRESSURES),
        ("compression ratio", compression_ratio, COMPRESSION_RATIOS),
        ("knock margin", held_back, HELD_BACK),
    ):
        if not least <= value <= most:
            raise InputError(f"must lie between {least:g} and {most:g}", field=name, value=value)
    if ignition == "compression" and held_back:
        raise InputError("belongs to spark ignition", field="knock margin", value=held_back)
    n, rise = EXPONENTS[ignition], RISES[ignition]
    compressed = Range(*(manifold * compression_ratio**exponent for exponent in (n.low, n.likely, n.high)))
    lost = LOST_PER_DEGREE
    peak = Range(
        compressed.low * _risen(rise.low, lost.high * held_back),
        compressed.likely * _risen(rise.likely, lost.likely * held_back),
        compressed.high * _risen(rise.high, lost.low * held_back),
    )
    return PeakPressure(manifold, compressed, peak)


def _risen(rise: float, lost: float) -> float:
    """Return what is left of a rise; burning never takes the pressure below that of compression."""
    return max(1.0, rise * (1.0 - lost))
