"""Torque and preload, the stress of tightening, scatter and embedding.

Symbols and equations follow VDI 2230 Part 1 (2003/2015), quoted from memory unless a check in validation/
compares with a printed table; forces N, torques N.mm, stresses MPa.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeVar

from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import unknown_name
from headjoint.model.library.threads import Thread

Number = TypeVar("Number", float, FloatArray)

# alpha_A = F_Mmax / F_Mmin by tightening method: VDI 2230-1 (2003) table A8, from memory, high confidence.
# (least, greatest); a joint uses the middle of the range.
TIGHTENING_FACTORS: dict[str, tuple[float, float]] = {
    "ultrasonic length": (1.05, 1.2),
    "mechanical length": (1.1, 1.5),
    "yield controlled": (1.2, 1.4),
    "angle controlled": (1.2, 1.4),
    "hydraulic tensioner": (1.2, 1.6),
    "torque wrench, tested on the joint": (1.4, 1.6),
    "torque wrench, friction class B": (1.6, 2.0),
    "torque wrench, friction class A": (1.7, 2.5),
    "impact driver": (2.5, 4.0),
}

# force at snug over that at yield, where a file does not state snug: common practice, no source
SNUG_SHARE = 0.1


@dataclass(frozen=True)
class Method:
    """A way to tighten, in words; keys that it takes and must have; its class of table A8 unless one is stated."""

    what: str
    takes: tuple[str, ...]
    needs: tuple[str, ...]
    scatter: str


_SNUG = ("snug_torque", "snug_force")
METHODS: dict[str, Method] = {
    "torque": Method(
        "turned to a torque, or through stages of it", ("torque",), ("torque",), "torque wrench, friction class B"
    ),
    "torque and angle": Method(
        "stages of torque, then stages of angle", ("torque", "angle"), ("torque", "angle"), "angle controlled"
    ),
    "angle": Method("stages of angle from snug", ("angle", *_SNUG), ("angle",), "angle controlled"),
    "yield control": Method(
        "turned on until the torque-angle slope has fallen to a share of its steepest",
        ("yield_slope", "torque", *_SNUG),
        ("yield_slope",),
        "yield controlled",
    ),
    "stretch": Method("turned until the fastener is so much longer", ("stretch",), ("stretch",), "mechanical length"),
    "tensioner": Method(
        "pulled by a hydraulic tensioner, nut run down, let go", ("pull",), ("pull",), "hydraulic tensioner"
    ),
    "preload": Method(
        "reached by whatever means", ("preload", "twisted"), ("preload",), "torque wrench, friction class B"
    ),
}
WAYS = tuple(dict.fromkeys(key for method in METHODS.values() for key in method.takes))

# f_Z guide values in um for axial load: VDI 2230-1 (2003) table 5, from memory, high confidence.
# roughness class -> (thread, each head or nut face, each inner interface)
EMBEDDING: dict[str, tuple[float, float, float]] = {
    "Rz below 10 um": (3.0, 2.5, 1.5),
    "Rz 10 to 40 um": (3.0, 3.0, 2.0),
    "Rz 40 to 160 um": (3.0, 4.0, 3.0),
}


def tightening_factor(scatter: str | float, field: str = "") -> tuple[float, str]:
    """Return alpha_A and its label from a class name of table A8 or a stated factor.

    Raises InputError with the nearest class for an unknown name.
    """
    if not isinstance(scatter, str):
        return float(scatter), f"alpha_A = {scatter:g} as stated"
    try:
        least, greatest = TIGHTENING_FACTORS[scatter]
    except KeyError:
        raise unknown_name("tightening class", scatter, TIGHTENING_FACTORS, field=field) from None
    return (least + greatest) / 2.0, f"{scatter} (alpha_A {least:g} to {greatest:g}, VDI 2230-1 table A8)"


def embedding(roughness: str, *, threads: int, bearing_faces: int, inner_interfaces: int) -> float:
    """Return f_Z in mm, the sum of the guide values over all loaded interfaces (VDI 2230-1 table 5)."""
    thread, face, inner = EMBEDDING[roughness]
    return (threads * thread + bearing_faces * face + inner_interfaces * inner) * 1e-3


def thread_friction_angle_tangent(thread: Thread, friction: float) -> float:
    """Return tan(phi + rho'), tan phi = P/(pi d2), tan rho' = mu_G/cos(30 deg) (VDI 2230-1 sec. 5.4.2)."""
    tan_phi = thread.pitch / (math.pi * thread.pitch_diameter)
    tan_rho = friction / math.cos(math.radians(30.0))
    return (tan_phi + tan_rho) / (1.0 - tan_phi * tan_rho)


def torque_per_preload(
    thread: Thread, thread_friction: float, bearing_friction: float, bearing_diameter: float
) -> float:
    """Return M_A/F_M in mm.

    M_A = F_M (d2/2 tan(phi + rho') + D_Km/2 mu_K): VDI 2230-1 eq. (R13/1) with the thread term exact rather
    than split into 0.16 P + 0.58 d2 mu_G. `bearing_diameter` is D_Km, the friction diameter in mm.
    """
    thread_arm = thread.pitch_diameter / 2.0 * thread_friction_angle_tangent(thread, thread_friction)
    return thread_arm + bearing_diameter / 2.0 * bearing_friction


def plastic_torsion_modulus(area: Number) -> Number:
    """Return W_P = pi d0^3/12 in mm3 of a round section (mm2): torque over shear stress once all of it flows.

    VDI 2230-1 sec. 5.4.2 assembles by it: what the rim reaches first the core still takes.
    """
    return math.pi / 12.0 * (4.0 * area / math.pi) ** 1.5


def elastic_torsion_modulus(area: float) -> float:
    """Return W_P = pi d0^3/16 in mm3 of a round section (mm2): torque over the shear stress at its rim.

    VDI 2230-1 sec. 5.5.1 (R8) judges service by it: no part of the section shall yield again.
    """
    return math.pi / 16.0 * (4.0 * area / math.pi) ** 1.5


@dataclass(frozen=True)
class ShankStress:
    """Stress in the smallest loaded section, MPa."""

    tension: float
    torsion: float

    @property
    def combined(self) -> float:
        """sigma_red = sqrt(sigma^2 + 3 tau^2), von Mises (VDI 2230-1 sec. 5.4.2 and 5.5.1)."""
        return math.sqrt(self.tension**2 + 3.0 * self.torsion**2)


def tightening_stress(preload: float, torque: float, area: float) -> ShankStress:
    """Return the stress as tightening ends at `preload` (N) with `torque` (N.mm) in a section of `area` (mm2).

    The plastic W_P: the rim may yield while the wrench turns, and tables of preload count on it.
    """
    return ShankStress(preload / area, torque / plastic_torsion_modulus(area))


def service_stress(tension: float, torque: float, area: float) -> ShankStress:
    """Return the stress of a `tension` (MPa) with `torque` (N.mm) left in a section of `area` (mm2).

    The elastic W_P: service is held against first yield, at the rim.
    """
    return ShankStress(tension, torque / elastic_torsion_modulus(area))


def preload_at_stress(thread: Thread, thread_friction: float, area: float, combined: float) -> float:
    """Return the preload (N) at which tightening by torque reaches the `combined` stress (MPa).

    With combined = 0.9 R_p0.2 this is F_MTab of VDI 2230-1 table A1.
    """
    arm = thread.pitch_diameter / 2.0 * thread_friction_angle_tangent(thread, thread_friction)
    return combined / tightening_stress(1.0, arm, area).combined
