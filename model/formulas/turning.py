"""Where the wrench's torque goes, and what of it stays: nut or bolt head, thread, shank.

A bolt is turned at its head, so the friction torque of the block's thread runs through the whole shank. A stud stands
still while its nut turns: only the torque of the nut's thread, usually finer and oiled, runs down it, and no more than
the thread in the block holds before the stud winds further in. Symbols as in `tightening`; N, mm, N.mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from headjoint.model.formulas.resilience import NUT_CORE, bar
from headjoint.model.joint import Fastener, Joint
from headjoint.model.library.tightening import thread_friction_angle_tangent


@dataclass(frozen=True)
class Arms:
    """Torque per fastener force, mm: of the turned thread, of the bearing face, and of the shank."""

    thread: float
    bearing: float
    shank: float

    @property
    def wrench(self) -> float:
        """Wrench torque per force, M_A/F_M."""
        return self.thread + self.bearing


def turning_arms(joint: Joint, thread_friction: float, bearing_friction: float) -> Arms:
    """Return torque per force while the nut or bolt head turns (VDI 2230-1 eq. (R13/1), thread term exact)."""
    fastener = joint.fastener
    turned = fastener.nut_thread
    thread = turned.pitch_diameter / 2.0 * thread_friction_angle_tangent(turned, thread_friction)
    # D_Km = (d_W + D_Ki)/2
    inner, outer = joint.seat.bearing_inner_diameter, joint.seat.bearing_outer_diameter
    shank = thread
    if fastener.kind == "stud":
        block = fastener.thread
        held = block.pitch_diameter / 2.0 * thread_friction_angle_tangent(block, joint.ageing.block_friction)
        shank = min(thread, held)
    return Arms(thread, (inner + outer) / 4.0 * bearing_friction, shank)


def torsion_left(joint: Joint, arms: Arms, force: float) -> float:
    """Return the torsion (N.mm) in the shank once the wrench has let go.

    k_tau of what tightening put in (VDI 2230-1 sec. 5.5.1), and never more than the bearing face holds by friction.
    """
    return max(0.0, force) * min(joint.ageing.torsion_left * arms.shank, arms.bearing)


@dataclass(frozen=True)
class Torsion:
    """Torsion of the shank in N.mm: as tightening ends, and once the wrench has let go."""

    tightening: float
    left: float


def torsion_of(joint: Joint, preload: float) -> Torsion:
    """Return the torsion of the shank at a preload (N), with the friction that the joint states.

    A stated preload counts as turned, the worse way to reach it, unless the fastener is said not to be twisted.
    """
    tight = joint.tightening
    if not tight.twisted:
        return Torsion(0.0, 0.0)
    arms = turning_arms(joint, tight.thread_friction, tight.bearing_friction)
    return Torsion(preload * arms.shank, torsion_left(joint, arms, preload))


def breakaway_torque(joint: Joint, thread_friction: float, bearing_friction: float, force: float) -> float:
    """Return the torque (N.mm) that starts a nut which has stood under `force` (N)."""
    more = joint.ageing.breakaway
    return force * turning_arms(joint, thread_friction * more, bearing_friction * more).wrench


def travel_of(joint: Joint, angle: float) -> float:
    """Return the axial travel (mm) of nut or bolt head on its thread over an angle (rad)."""
    return joint.fastener.nut_thread.pitch * angle / (2.0 * math.pi)


def torsion_compliance(fastener: Fastener, modulus: float) -> float:
    """Return how far the turned end twists against the held one per torque, rad/(N.mm): sum of l/(G J).

    modulus : Young's, MPa. Engaged threads count half a diameter of core at either end, as they do in tension (from
    memory, medium confidence).
    """
    shear = modulus / (2.0 * (1.0 + fastener.material.nu))
    lengths = [(segment.length, segment.diameter) for segment in fastener.segments]
    ends = [fastener.thread] if fastener.kind == "bolt" else [fastener.thread, fastener.nut_thread]
    lengths += [(NUT_CORE * one.nominal_diameter, one.minor_diameter_external) for one in ends]
    return sum(bar(length, shear, math.pi / 32.0 * diameter**4) for length, diameter in lengths)


def untwisted(joint: Joint, torsion: float) -> float:
    """Return by how much (rad) nut or bolt head turns back where all of a torsion (N.mm) springs out of the shank.

    The most that a blow can shake loose, at assembly temperature: friction holds some of it.
    """
    fastener = joint.fastener
    return torsion * torsion_compliance(fastener, fastener.material.E.at(joint.assembly_temperature))
