"""Strength of fastener and bearing faces, in the style of VDI 2230 Part 1; of threads in `stripping`.

Formulas from memory, high confidence unless a line says otherwise; checks in validation/.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from headjoint.model.base.property_table import PropertyTable
from headjoint.model.joint import Joint, bearing_ring, washer_ring
from headjoint.model.library import tightening
from headjoint.model.library.materials import Material
from headjoint.model.library.threads import Thread

ENDURANCE_CYCLES = 2e6  # N_D
WASHER_SPREAD = 1.6  # of its thickness: by so much a washer bears wider than what presses on it


@dataclass(frozen=True)
class Utilisation:
    """Combined stress and yield strength in MPa; factor = strength over stress, None if not stated."""

    stress: float
    strength: float | None

    @property
    def factor(self) -> float | None:
        """Safety factor against yield."""
        return None if self.strength is None else self.strength / self.stress


def tightening_utilisation(joint: Joint, preload: float, torque: float) -> Utilisation:
    """Return tension and torsion as tightening ends, at `preload` (N) with `torque` (N.mm) in the shank, against yield.

    By the plastic W_P (VDI 2230-1 sec. 5.4.2): the rim may yield while the wrench turns.
    """
    stress = tightening.tightening_stress(preload, torque, joint.fastener.smallest_area).combined
    return Utilisation(stress, _yield(joint, joint.assembly_temperature))


def service_utilisation(joint: Joint, tension: float, torque: float, temperature: float) -> Utilisation:
    """Return the stress in service against hot yield.

    tension : MPa in the smallest section, of the fastener's force and, where known, of its bending (sigma_z,max of
    VDI 2230-1 sec. 5.5.1). torque : N.mm that tightening left in the shank (k_tau in it already). temperature : of the
    fastener, degC. By the elastic W_P: nothing shall yield again.
    """
    stress = tightening.service_stress(tension, torque, joint.fastener.smallest_area).combined
    return Utilisation(stress, _yield(joint, temperature))


def force_at_yield(joint: Joint, temperature: float) -> float | None:
    """Return F_0.2 (N) of the stress area at a temperature (degC), None where no yield is stated."""
    strength = _yield(joint, temperature)
    return None if strength is None else strength * joint.fastener.thread.stress_area


def _yield(joint: Joint, temperature: float) -> float | None:
    table = joint.fastener.yield_strength
    return None if table is None else table.at(temperature)


def endurance_limit(thread: Thread, rolled: str, mean_force: float, yield_force: float | None) -> float:
    """Return sigma_A (MPa, amplitude on the stress area) of a rolled thread at 2e6 cycles.

    Before heat treatment sigma_ASV = 0.85 (150/d + 45); after it sigma_ASG = (2 - F_Sm/F_0.2min) sigma_ASV,
    valid for 0.3 <= F_Sm/F_0.2min < 1 and held at the ends (VDI 2230-1 sec. 5.5.3). The lower one, before, where it is
    not known which, or no yield is stated.
    """
    before = 0.85 * (150.0 / thread.nominal_diameter + 45.0)
    if rolled != "after heat treatment" or yield_force is None:
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


def fatigue(joint: Joint, greatest: float, least: float, temperature: float) -> Fatigue:
    """Return sigma_a = (F_SAo - F_SAu)/(2 A_S) against the endurance limit (VDI 2230-1 sec. 5.5.3).

    temperature : of the fastener, degC; what a thread rolled after heat treatment gains goes by its yield there.
    """
    thread = joint.fastener.thread
    mean = (greatest + least) / 2.0
    limit = endurance_limit(thread, joint.fastener.rolled, mean, force_at_yield(joint, temperature))
    return Fatigue((greatest - least) / (2.0 * thread.stress_area), limit)


@dataclass(frozen=True)
class BearingFace:
    """A bearing face: the ring that is loaded (diameters in mm), and its limiting pressure (MPa), None if not known."""

    name: str
    inner_diameter: float
    outer_diameter: float
    limit: float | None

    @property
    def area(self) -> float:
        """Area of the loaded ring, mm2."""
        return math.pi / 4.0 * (self.outer_diameter**2 - self.inner_diameter**2)


def bearing_faces(joint: Joint, temperature: float) -> tuple[BearingFace, ...]:
    """Return every bearing face at a temperature (degC) of the head, the head's own face last.

    A washer spreads the force of what presses on it to no more than d_Wa = d_W + 1.6 h_S (VDI 2230-1 sec. 5.5.4, from
    memory, medium confidence); what is wider bears next to nothing.
    """
    seat, washer, head = joint.seat, joint.washer, joint.head
    name = "nut" if joint.fastener.kind == "stud" else "bolt head"
    inner, outer = bearing_ring(joint)
    if washer is None:
        return (
            BearingFace(f"{name} on head", inner, outer, bearing_limit((seat.material, head.material), temperature)),
        )
    below, edge = washer_ring(joint)
    spread = min(edge, outer + WASHER_SPREAD * washer.thickness)
    return (
        BearingFace(f"{name} on washer", inner, outer, bearing_limit((seat.material, washer.material), temperature)),
        BearingFace("washer on head", below, spread, bearing_limit((washer.material, head.material), temperature)),
    )


def bearing_limit(materials: Iterable[Material], temperature: float) -> float | None:
    """Return the least limit surface pressure p_G (MPa) of faces that meet, None if none is known.

    p_G is tabulated at room temperature; hot it falls as the material's yield strength does, where that is known
    (no source: a face gives way by yielding).
    """
    known = [
        material.bearing_limit * yield_ratio(material.yield_strength, temperature)
        for material in materials
        if material.bearing_limit is not None
    ]
    return min(known, default=None)


def yield_ratio(strength: PropertyTable | None, temperature: float) -> float:
    """Return yield strength at a temperature (degC) over that at 20 degC, 1 where it is not known."""
    return 1.0 if strength is None else strength.at(temperature) / strength.at(20.0)


def bearing_pressures(joint: Joint, force: float, temperature: float) -> tuple[tuple[str, float, float | None], ...]:
    """Return name, mean pressure (MPa) under a force (N) and limit at a temperature (degC) of every bearing face."""
    return tuple((face.name, force / face.area, face.limit) for face in bearing_faces(joint, temperature))
