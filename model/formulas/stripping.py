"""Stripping of engaged threads, in the block and in the nut, in the style of VDI 2230 Part 1 sec. 5.5.5.

F_mG = C A_SG tau_B, the shear area A_SG over the length of full threads. C1 counts how a thin nut widens, C2 and C3 how
the teeth of either thread bend with the strength ratio R_S (SAE 770420 (1977); formulas from memory, medium
confidence). None of them is taken above 1: what they promise beyond is not counted on.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from headjoint.model.base.property_table import PropertyTable
from headjoint.model.formulas.strength import yield_ratio
from headjoint.model.joint import Joint
from headjoint.model.library.materials import Material
from headjoint.model.library.threads import Thread

# tau_B/R_m of steels, the least of VDI 2230-1 table 7, from memory, medium confidence; where a material's is not known
LEAST_SHEAR_RATIO = 0.6
# Real threads are smaller than basic size by their tolerances, which lowers the shear areas by 5 to 15 %
# (worked from ISO 965 limits, from memory); the middle is taken.
SHEAR_AREA_REDUCTION = 0.10
WEAKEST_RATIO = 0.897  # of C2 and C3, where R_S is not known
NUT_RUN_OUT = 1.0  # pitches that the chamfers at both ends of a nut take (common practice, no source)
HEXAGON = math.sqrt(2.0 * math.sqrt(3.0) / math.pi)  # cylinder of equal area over width across flats


def shear_area_external(thread: Thread, engagement: float) -> float:
    """Return AS of the external thread in mm2 at basic size.

    (pi L/P) D1 [P/2 + 0.57735 (d2 - D1)] (FED-STD-H28, ISO 898-2 annex form).
    """
    P, D1 = thread.pitch, thread.minor_diameter_internal
    return math.pi * engagement / P * D1 * (P / 2.0 + 0.57735 * (thread.pitch_diameter - D1))


def shear_area_internal(thread: Thread, engagement: float) -> float:
    """Return AS of the tapped thread in mm2 at basic size: (pi L/P) d [P/2 + 0.57735 (d - d2)]."""
    P, d = thread.pitch, thread.nominal_diameter
    return math.pi * engagement / P * d * (P / 2.0 + 0.57735 * (d - thread.pitch_diameter))


def dilation_factor(width: float) -> float:
    """Return C1 of an internal thread whose wall is `width` = s/d wide, in thread diameters across flats.

    3.8 s/d - (s/d)^2 - 2.61 for 1.4 <= s/d < 1.9, 1 beyond; below 1.4 it falls on along the same curve.
    """
    return 1.0 if width >= 1.9 else max(0.0, 3.8 * width - width**2 - 2.61)


def external_bending_factor(R_S: float) -> float:  # noqa: N803
    """Return C2 of the external thread; R_S is held at the ends, 1 and 2.2."""
    R = min(max(R_S, 1.0), 2.2)
    return 5.594 - 13.682 * R + 14.107 * R**2 - 6.057 * R**3 + 0.9353 * R**4


def internal_bending_factor(R_S: float) -> float:  # noqa: N803
    """Return C3 of the internal thread; R_S is held at the ends, 0.4 and 1."""
    R = min(max(R_S, 0.4), 1.0)
    return 0.728 + 1.769 * R - 2.896 * R**2 + 1.296 * R**3


@dataclass(frozen=True)
class Stripping:
    """Force (N) at which one of two engaged threads strips, and which."""

    force: float
    weaker: str


@dataclass(frozen=True)
class _Side:
    """One of two engaged threads: shear area in mm2 per mm, length of full threads in mm, R_m in MPa, tau_B/R_m."""

    name: str
    area_per_length: float
    length: float
    ultimate: float | None
    shear_ratio: float

    @property
    def area(self) -> float:
        return self.area_per_length * self.length


def stripping(joint: Joint, temperature: float) -> Stripping | None:
    """Return the stripping force in the block at its temperature (degC); None where no strength is known.

    A thread insert strips out of the block by its outer thread, and the fastener out of the insert; the insert's own
    threads are not judged, for its strength is not known.
    """
    fastener, block = joint.fastener, joint.block
    full = max(0.0, fastener.engagement - fastener.run_out)
    own = _fastener_side(joint, fastener.thread, full, temperature, "fastener's thread")
    insert = block.insert
    if insert is None:
        tapped = _internal_side("tapped thread", fastener.thread, full, block.material, temperature)
        return _weaker(tapped, own, block.outer_diameter / fastener.thread.nominal_diameter)
    held = max(0.0, min(insert.length, fastener.engagement) - fastener.run_out)
    tapped = _internal_side("insert's thread in the block", insert.outer_thread, held, block.material, temperature)
    width = block.outer_diameter / insert.outer_thread.nominal_diameter
    ways = (_weaker(tapped, None, width), _weaker(None, own, width))
    return min((one for one in ways if one is not None), key=lambda one: one.force, default=None)


def nut_stripping(joint: Joint, temperature: float) -> Stripping | None:
    """Return the stripping force in the nut at its temperature (degC); None for a bolt, or where R_m is not known."""
    fastener, nut = joint.fastener, joint.seat
    if fastener.kind != "stud" or nut.material.ultimate_strength is None:
        return None
    thread = fastener.nut_thread
    full = max(0.0, nut.height - NUT_RUN_OUT * thread.pitch)
    inside = _internal_side("nut's thread", thread, full, nut.material, temperature)
    own = _fastener_side(joint, thread, full, temperature, "fastener's thread in the nut")
    return _weaker(inside, own, nut.outer_diameter / HEXAGON / thread.nominal_diameter)


def _weaker(internal: _Side | None, external: _Side | None, width: float) -> Stripping | None:
    """Return which of two engaged threads strips first, None where neither is known; s/d of the wall is `width`."""
    C1, C2, C3 = dilation_factor(width), WEAKEST_RATIO, WEAKEST_RATIO
    known = [(side, side.ultimate) for side in (internal, external) if side is not None and side.ultimate is not None]
    if len(known) == 2:
        # R_S = A_SGM R_mM/(A_SGS R_mS); both threads are engaged over one length, which drops out
        (nut, R_mM), (bolt, R_mS) = known
        R_S = nut.area_per_length * R_mM / (bolt.area_per_length * R_mS)
        C2, C3 = min(1.0, external_bending_factor(R_S)), min(1.0, internal_bending_factor(R_S))
    ways = [
        Stripping(C1 * (C3 if side is internal else C2) * side.area * side.shear_ratio * R_m, side.name)
        for side, R_m in known
    ]
    return min(ways, key=lambda one: one.force, default=None)


def _internal_side(name: str, thread: Thread, length: float, material: Material, temperature: float) -> _Side:
    ultimate = None
    if material.ultimate_strength is not None:
        ultimate = _hot(material.ultimate_strength, material.yield_strength, temperature)
    ratio = LEAST_SHEAR_RATIO if material.shear_ratio is None else material.shear_ratio
    return _Side(name, (1.0 - SHEAR_AREA_REDUCTION) * shear_area_internal(thread, 1.0), length, ultimate, ratio)


def _fastener_side(joint: Joint, thread: Thread, length: float, temperature: float, name: str) -> _Side:
    ultimate = joint.fastener.ultimate_strength
    if ultimate is not None:
        ultimate *= yield_ratio(joint.fastener.yield_strength, temperature)
    area = (1.0 - SHEAR_AREA_REDUCTION) * shear_area_external(thread, 1.0)
    return _Side(name, area, length, ultimate, LEAST_SHEAR_RATIO)


def _hot(ultimate: PropertyTable, strength: PropertyTable | None, temperature: float) -> float:
    """Return R_m (MPa) at a temperature (degC); where only one is known it falls as the yield strength does."""
    if len(ultimate.temperatures) > 1:
        return ultimate.at(temperature)
    return ultimate.at(20.0) * yield_ratio(strength, temperature)
