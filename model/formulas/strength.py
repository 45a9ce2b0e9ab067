"""Strength of fastener, threads and bearing faces, in the style of VDI 2230 Part 1.

Formulas from memory, high confidence unless a line says otherwise; checks in validation/.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from headjoint.model.joint import Joint, bearing_ring, washer_ring
from headjoint.model.library import tightening
from headjoint.model.library.materials import Material
from headjoint.model.library.threads import Thread

ENDURANCE_CYCLES = 2e6  # N_D

# tau_B/R_m of a fastener steel, VDI 2230-1 table 7, from memory, medium confidence
FASTENER_SHEAR_RATIO = 0.6
# Real threads are smaller than basic size by their tolerances, which lowers the shear areas by 5 to 15 %
# (worked from ISO 965 limits, from memory); the middle is taken.
SHEAR_AREA_REDUCTION = 0.10


@dataclass(frozen=True)
class Utilisation:
    """Combined stress and yield strength in MPa; factor = strength over stress, None if not stated."""

    stress: float
    strength: float | None

    @property
    def factor(self) -> float | None:
        """Safety factor against yield."""
        return None if self.strength is None else self.strength / self.stress


def tightening_utilisation(joint: Joint, preload: float) -> Utilisation:
    """Return combined tension and torsion at tightening against yield (VDI 2230-1 sec. 5.4.2)."""
    stress = _tightening_stress(joint, preload).combined
    return Utilisation(stress, _yield(joint, joint.assembly_temperature))


def service_utilisation(joint: Joint, preload: float, force: float, temperature: float) -> Utilisation:
    """Return the stress at a service force, with what is left of the torsion, against hot yield.

    sigma_red,B = sqrt(sigma_z^2 + 3 (k_tau tau)^2) (VDI 2230-1 sec. 5.5.1), k_tau of [ageing]. `preload` set the
    torsion; `temperature` (degC) is the fastener's.
    """
    stress = _tightening_stress(joint, preload).in_service(
        force / joint.fastener.smallest_area, joint.ageing.torsion_left
    )
    return Utilisation(stress, _yield(joint, temperature))


def _tightening_stress(joint: Joint, preload: float) -> tightening.TighteningStress:
    fastener, tight = joint.fastener, joint.tightening
    return tightening.tightening_stress(
        preload,
        fastener.nut_thread,
        tight.thread_friction,
        fastener.smallest_area,
        twisted=tight.step.turned,
    )


def _yield(joint: Joint, temperature: float) -> float | None:
    table = joint.fastener.yield_strength
    return None if table is None else table.at(temperature)


def endurance_limit(thread: Thread, rolled: str, mean_force: float, yield_force: float | None) -> float:
    """Return sigma_A (MPa, amplitude on the stress area) of a rolled thread at 2e6 cycles.

    Before heat treatment sigma_ASV = 0.85 (150/d + 45); after it sigma_ASG = (2 - F_Sm/F_0.2min) sigma_ASV,
    valid for 0.3 <= F_Sm/F_0.2min < 1 and held at the ends (VDI 2230-1 sec. 5.5.3). Without a stated yield the
    lower value is taken.
    """
    before = 0.85 * (150.0 / thread.nominal_diameter + 45.0)
    if rolled == "before heat treatment" or yield_force is None:
        return before
    return (2.0 - min(max(mean_force / yield_force, 0.3), 1.0)) * before


@dataclass(frozen=True)
class Fatigue:
    """Stress amplitude and endurance limit, MPa on the stress area."""

    amplitude: float
    limit: float

    @property
    def factor(self) -> float | None:
        """Endurance over amplitude; None without any amplitude."""
        return self.limit / self.amplitude if self.amplitude > 0.0 else None


def fatigue(joint: Joint, greatest: float, least: float) -> Fatigue:
    """Return sigma_a = (F_SAo - F_SAu)/(2 A_S) against the endurance limit (VDI 2230-1 sec. 5.5.3)."""
    thread = joint.fastener.thread
    strength = _yield(joint, joint.assembly_temperature)
    yield_force = None if strength is None else strength * thread.stress_area
    limit = endurance_limit(thread, joint.fastener.rolled, (greatest + least) / 2.0, yield_force)
    return Fatigue((greatest - least) / (2.0 * thread.stress_area), limit)


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


@dataclass(frozen=True)
class Stripping:
    """Force (N) at which one thread strips; which one; None where the strengths are not stated."""

    force: float
    weaker: str


def stripping(joint: Joint, temperature: float) -> Stripping | None:
    """Return the stripping force of the engaged thread in the block at a block temperature (degC).

    F_mG = AS tau_B with tau_B = (tau_B/R_m) R_m, for both threads; areas reduced for tolerances
    (VDI 2230-1 sec. 5.5.5 principle).
    """
    fastener, block = joint.fastener, joint.block.material
    share = 1.0 - SHEAR_AREA_REDUCTION
    ways: list[Stripping] = []
    if block.ultimate_strength is not None and block.shear_ratio is not None:
        area = shear_area_internal(fastener.thread, fastener.engagement) * share
        ways.append(Stripping(area * block.shear_ratio * block.ultimate_strength.at(temperature), "tapped thread"))
    if fastener.ultimate_strength is not None:
        area = shear_area_external(fastener.thread, fastener.engagement) * share
        ways.append(Stripping(area * FASTENER_SHEAR_RATIO * fastener.ultimate_strength, "fastener's thread"))
    return min(ways, key=lambda one: one.force) if ways else None


def bearing_limit(*materials: Material) -> float | None:
    """Return the smaller limit surface pressure p_G (MPa) of faces that meet, None if none is known."""
    known = [material.bearing_limit for material in materials if material.bearing_limit is not None]
    return min(known) if known else None


def bearing_pressures(joint: Joint, force: float) -> tuple[tuple[str, float, float | None], ...]:
    """Return name, mean pressure under a force (N) and limiting pressure (MPa) of every bearing face."""
    return tuple(
        (face, force / (math.pi / 4.0 * (outer**2 - inner**2)), limit)
        for face, (inner, outer), limit in bearing_faces(joint)
    )


def bearing_faces(joint: Joint) -> list[tuple[str, tuple[float, float], float | None]]:
    """Return name, inner and outer diameter (mm) and limiting pressure (MPa) of every bearing face, the head's last."""
    below = joint.washer.material if joint.washer is not None else joint.head.material
    name = "nut" if joint.fastener.kind == "stud" else "bolt head"
    partner = "washer" if joint.washer is not None else "head"
    faces = [(f"{name} on {partner}", bearing_ring(joint), bearing_limit(joint.seat.material, below))]
    if joint.washer is not None:
        limit = bearing_limit(joint.washer.material, joint.head.material)
        faces.append(("washer on head", washer_ring(joint), limit))
    return faces
