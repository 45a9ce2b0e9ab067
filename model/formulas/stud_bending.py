"""Bending of a stud whose nut sticks to a head that grows across the block: beam theory, and the nut's friction.

The stud is a beam clamped in the block's thread and guided by the nut: the head's face takes the nut along sideways and
keeps it from tilting. What moves it is the growth of head over block since tightening. The nut sticks while the shear
that takes stays below friction; then it slides, and the shear stays what friction can do.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from headjoint.model.joint import Joint, Segment

# Of round sections: shear stiffness kappa G A (Cowper, J. Appl. Mech. 33 (1966) 335, from memory, high confidence)
SHEAR = 0.9
# Bearing friction of one joint of a batch over its middle: class B of VDI 2230-1 table A5 is 0.08 to 0.16 about 0.12
FRICTION_SCATTER = 1.0 / 3.0


def second_moment(diameter: float) -> float:
    """Return I = pi d^4/64 in mm4 of a round section."""
    return math.pi / 64.0 * diameter**4


def section_modulus(diameter: float) -> float:
    """Return W = pi d^3/32 in mm3 of a round section: bending moment over the stress at its rim."""
    return math.pi / 32.0 * diameter**3


@dataclass(frozen=True)
class GuidedBeam:
    """A stud between thread and nut, neither of which tilts, under a shear at the nut.

    compliance : mm of the nut per N. turning_point : mm below the nut where nothing bends. arm : stress (MPa) per N if
    the larger end moment met the smallest section.
    """

    compliance: float
    turning_point: float
    arm: float


def guided_beam(segments: Sequence[Segment], modulus: float, poissons_ratio: float) -> GuidedBeam:
    """Return the beam of segments in order from the nut.

    M(x) = V (x - x_0); no tilt at either end: x_0 = int x/I dx / int 1/I dx. The nut moves by
    V (int (x - x_0)^2/(E I) dx + int 1/(kappa G A) dx), Timoshenko. One diameter: 12 E I/L^3 and M = V L/2.
    """
    shear = SHEAR * modulus / (2.0 * (1.0 + poissons_ratio))
    ends, at = [], 0.0
    for one in segments:
        ends.append((at, at + one.length, one.diameter))
        at += one.length
    even = sum((b - a) / second_moment(d) for a, b, d in ends)
    middle = sum((b**2 - a**2) / 2.0 / second_moment(d) for a, b, d in ends) / even
    bent = sum(((b - middle) ** 3 - (a - middle) ** 3) / 3.0 / second_moment(d) for a, b, d in ends)
    sheared = sum(one.length / one.area for one in segments)
    arm = max(middle, at - middle) / section_modulus(min(one.diameter for one in segments))
    return GuidedBeam(bent / modulus + sheared / shear, middle, arm)


def tension_stiffening(force: float, bending_stiffness: float, length: float) -> float:
    """Return by what tension multiplies the end moment of a guided beam that is moved sideways, 1 without any.

    force : N. bending_stiffness : E I, N mm2. E I y'''' = F y'' gives M = F delta/2 tanh a/(a - tanh a),
    a = L/2 sqrt(F/(E I)), which is 6 E I delta/L^2 times (1 + a^2/15 ...).
    """
    a = length / 2.0 * math.sqrt(max(force, 0.0) / bending_stiffness)
    if a < 1e-2:  # the difference would be rounding
        return 1.0 + a**2 / 15.0
    return a**2 / 3.0 * math.tanh(a) / (a - math.tanh(a))


def stiffened(joint: Joint, force: float, longer: float = 0.0) -> float:
    """Return `tension_stiffening` of a joint's stud, by the diameter of its longest segment, at a force (N).

    longer : mm that it is longer than the joint's.
    """
    E = joint.fastener.material.E.at(joint.assembly_temperature)
    longest = max(joint.fastener.segments, key=lambda segment: segment.length)
    return tension_stiffening(force, E * second_moment(longest.diameter), joint.fastener.clamped_length + longer)


def friction_range(joint: Joint) -> tuple[float, float]:
    """Return the least and the greatest bearing friction that one joint of a batch has."""
    mu = joint.tightening.bearing_friction
    return (1.0 - FRICTION_SCATTER) * mu, (1.0 + FRICTION_SCATTER) * mu


@dataclass(frozen=True)
class BeamBending:
    """Bending of a stud by beam theory, MPa at its worst place; lengths mm, forces N.

    offset : of the nut against the thread if it sticks. shear : that this takes. friction : shear that the nut can
    bear. sticking : if nothing slid. limit : while it slides. stiffening : of sticking, by tension.
    """

    offset: float
    shear: float
    friction: float
    sticking: float
    limit: float
    stiffening: float

    @property
    def sticks(self) -> bool:
        """Whether the nut sticks."""
        return self.shear <= self.friction

    @property
    def stress(self) -> float:
        """What holds: of a nut that sticks, or what friction lets come."""
        return min(self.sticking, self.limit)


def beam_bending(joint: Joint, offset: float, force: float) -> BeamBending:
    """Return the bending of a joint's stud whose nut is moved by `offset` (mm) under a tension `force` (N)."""
    fastener = joint.fastener
    material = fastener.material
    beam = guided_beam(fastener.segments, material.E.at(joint.assembly_temperature), material.nu)
    factor = stiffened(joint, force)
    shear = factor * offset / beam.compliance
    friction = friction_range(joint)[1] * max(force, 0.0)
    return BeamBending(offset, shear, friction, beam.arm * shear, beam.arm * friction, factor)


def growth_across(joint: Joint, temperatures: dict[str, float]) -> float:
    """Return how much more (mm/mm) the head has grown than the block since assembly, each free at its temperature."""
    reference = joint.assembly_temperature
    head, block = (joint.part_material(part).free_strain(temperatures[part], reference) for part in ("head", "block"))
    return head - block


def end_stud(joint: Joint, temperatures: dict[str, float], force: float) -> BeamBending | None:
    """Return the bending of the stud farthest from the middle of an engine at a tension `force` (N).

    An upper limit: head and block grow freely from the middle, both ends are rigid. None where the file does not say
    where that stud is.
    """
    if joint.from_middle is None:
        return None
    return beam_bending(joint, abs(growth_across(joint, temperatures)) * joint.from_middle, force)
