"""A test rig as every later stage reads it, and what the mechanics says of a fastener in it before any measurement.

A nut (or bolt head) is turned against a hollow ram whose pressure tells the clamp, or the ram is pumped and pulls.
Units inside: N, mm, MPa, N.mm, rad, degC.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from headjoint.model.files.rig_file import RigTable
from headjoint.model.formulas import turning
from headjoint.model.formulas.resilience import clamped_resilience, fastener_resilience, total
from headjoint.model.joint import Joint, Segment
from headjoint.model.library.threads import Thread
from headjoint.model.library.tightening import thread_friction_angle_tangent

RAM_LAYER = "ram with its oil"  # name of the layer that stands for the ram's own stiffness


@dataclass(frozen=True)
class Rig:
    """A rig with the fastener in it.

    stated : ram, stack, gauges. joint : the rig as a joint - the head is ram body and stack, the gasket a layer with
    the ram's stiffness, the block the base - so that estimate and finite elements can predict what the rig reads.
    gasket_stiffness : N/mm of a gasket in the stack, by its slope between the loads that angle is fitted over; infinite
    without one.
    """

    name: str
    note: str
    stated: RigTable
    joint: Joint
    gasket_stiffness: float = math.inf

    @property
    def layer_stiffness(self) -> float:
        """Stiffness of the layer that stands for ram and gasket, N/mm."""
        return 1.0 / (1.0 / self.stated.ram.stiffness + 1.0 / self.gasket_stiffness)

    @property
    def thread(self) -> Thread:
        """Thread that is turned."""
        return self.joint.fastener.nut_thread

    @property
    def shank(self) -> Segment:
        """Longest segment, whose section the effective length is referred to."""
        return max(self.joint.fastener.segments, key=lambda one: one.length)

    @property
    def free_length(self) -> float:
        """Length between nut or bolt head and first engaged thread, mm."""
        return self.joint.fastener.clamped_length

    @property
    def offset_length(self) -> float:
        """Length that the yield offset is a share of, mm."""
        return self.stated.offset_length or self.free_length

    @property
    def modulus(self) -> float:
        """Young's modulus of the fastener at the rig's temperature, MPa."""
        return self.joint.fastener.material.E.at(self.joint.assembly_temperature)

    @property
    def bearing_diameter(self) -> float:
        """Mean friction diameter D_Km under nut or bolt head, mm; that of the thrust bearing where there is one."""
        if self.stated.bearing is not None:
            return self.stated.bearing.mean_diameter
        seat = self.joint.seat
        return (seat.bearing_inner_diameter + seat.bearing_outer_diameter) / 2.0


def stretch_compliance(rig: Rig) -> float:
    """Return what the indicator should read per force below yield, mm/N, by closed form.

    Over both ends the engaged cores stretch as well, not the teeth; from the end to the base its teeth give, too.
    """
    terms = fastener_resilience(rig.joint)
    own = sum(term.value for term in terms if "delta_M" not in term.name)
    if rig.stated.gauges.stretch.position == "end to base":
        own += rig.joint.fastener.thread_compliance
    return own


def setup_compliance(rig: Rig) -> float:
    """Return what turning finds besides the fastener's own stretch, mm/N: ram, stack, washer, thread teeth."""
    reads = stretch_compliance(rig)
    fastener = total(fastener_resilience(rig.joint))
    return 1.0 / rig.layer_stiffness + total(clamped_resilience(rig.joint)) + fastener - reads


def torsion_compliance(rig: Rig) -> float:
    """Return how far the turned end twists against the held one per torque, rad/(N.mm)."""
    return turning.torsion_compliance(rig.joint.fastener, rig.modulus)


def thread_arm(thread: Thread, friction: float, *, loosening: bool = False) -> float:
    """Return thread torque per force in mm: d2/2 tan(rho' + phi), against the load d2/2 tan(rho' - phi)."""
    if not loosening:
        return thread.pitch_diameter / 2.0 * thread_friction_angle_tangent(thread, friction)
    tan_phi = thread.pitch / (math.pi * thread.pitch_diameter)
    tan_rho = friction / math.cos(math.radians(30.0))
    return thread.pitch_diameter / 2.0 * (tan_rho - tan_phi) / (1.0 + tan_phi * tan_rho)


def friction_of_arm(thread: Thread, arm: float) -> float:
    """Return the thread friction at which turning takes `arm` (mm) of torque per force."""
    tan_phi = thread.pitch / (math.pi * thread.pitch_diameter)
    tangent = 2.0 * arm / thread.pitch_diameter
    tan_rho = (tangent - tan_phi) / (1.0 + tangent * tan_phi)
    return tan_rho * math.cos(math.radians(30.0))


def mean_friction(thread: Thread, bearing_diameter: float, arm: float) -> float:
    """Return the one friction coefficient of thread and bearing face at which turning takes `arm` (mm) per force."""
    return _friction_at(lambda mu: thread_arm(thread, mu) + bearing_diameter / 2.0 * mu, arm)


def friction_of_reversal(thread: Thread, torque: float, tight: float, loose: float) -> float:
    """Return the thread friction at which shank torques of both directions add up to `torque` (N.mm).

    tight, loose : forces (N) at the end of tightening and at the first slip backwards. At equal forces this is
    F d2 tan rho' (1 + tan^2 phi)/(1 - tan^2 phi tan^2 rho'), so almost F d2 tan rho'.
    """
    return _friction_at(
        lambda mu: thread_arm(thread, mu) * tight + thread_arm(thread, mu, loosening=True) * loose, torque
    )


def _friction_at(rising: Callable[[float], float], wanted: float) -> float:
    low, high = -0.2, 2.0
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (middle, high) if rising(middle) < wanted else (low, middle)
    return (low + high) / 2.0
