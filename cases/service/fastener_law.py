"""The fastener beyond elasticity: every length of it yields, hardens and creeps under its own stress.

The elastic body is in the condensed stiffness. What is permanent is an elongation that the nut's travel must also
cover: with the cut's overlap u, the thread teeth c and the nut's travel x (losses taken off)

    x = u + c F + sum over lengths l (e_p + e_c)(F)

so the fastener is a nonlinear spring F(x - u) in series with the body, rising and therefore of convex energy. Plastic
strain follows von Mises with isotropic hardening: sigma_red = sqrt(sigma^2 + 3 tau^2) (VDI 2230-1 sec. 5.4.2),
de_p/de_bar = sigma/sigma_red, tau = M_G/W_P with the plastic W_P = pi d^3/12: what lengthens a fastener is that its
whole section flows, as while the wrench turns, and not the first yield of its rim, which a verdict on service is about.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from headjoint.cases.condensed.rising_roots import rising_roots
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import InputError
from headjoint.model.formulas.resilience import NUT_CORE
from headjoint.model.joint import Joint
from headjoint.model.library.plasticity import GREATEST_RATIO, PROOF_STRAIN, FlowCurve, SteelRelaxation, time_shift
from headjoint.model.library.tightening import plastic_torsion_modulus

LEAST_COMPLIANCE = 1e-10  # mm/N in series where thread teeth are bonded: some 1e-5 mm under load
RELAXATION_HOURS = 1000.0 * 3600.0  # s


@dataclass(frozen=True)
class Lengths:
    """The lengths of a fastener that yield on their own: shank, free thread, and the engaged cores at full force.

    length : (s,) mm. area : (s,) mm2 of strength, A_S for threads. torsion_modulus : (s,) mm3, W_P. elastic : (s,)
    mm/N of each free length; engaged cores count half a diameter, as in the standard's resilience.
    """

    names: tuple[str, ...]
    length: FloatArray
    area: FloatArray
    torsion_modulus: FloatArray
    elastic: FloatArray


def lengths_of(joint: Joint) -> Lengths:
    """Return the lengths of a joint's fastener, from the bearing face down, engaged cores last."""
    fastener = joint.fastener
    E = fastener.material.E.at(joint.assembly_temperature)
    rows = []
    for number, segment in enumerate(fastener.segments, start=1):
        thread = fastener.nut_thread if number == 1 else fastener.thread
        kind = "free thread" if segment.threaded else "shank"
        # a free thread that is stated thinner than its core is as strong as stated
        full = segment.threaded and segment.area > (1.0 - 1e-9) * thread.core_area
        strength_area = thread.stress_area if full else segment.area
        rows.append((f"{kind} {number}", segment.length, strength_area, segment.area))
    ends = [fastener.thread] if fastener.kind == "bolt" else [fastener.nut_thread, fastener.thread]
    for name, thread in zip(("thread in the block", "thread in the nut"), reversed(ends), strict=False):
        rows.append((name, NUT_CORE * thread.nominal_diameter, thread.stress_area, thread.core_area))
    area = np.array([row[2] for row in rows])
    length = np.array([row[1] for row in rows])
    modulus = plastic_torsion_modulus(area)
    return Lengths(tuple(row[0] for row in rows), length, area, modulus, length / (E * np.array([r[3] for r in rows])))


def flow_of(joint: Joint) -> FlowCurve:
    """Return the joint's flow curve; InputError where proof stress, ultimate strength or elongation is not known."""
    flow = joint.fastener.flow
    if flow is None:
        raise InputError(
            "a service history needs to know how the fastener yields: its yield strength, ultimate strength and "
            "elongation (property_class, a library material, or fastener.material and fastener.flow)",
            field="fastener.flow",
        )
    return flow


def plastic_strain(flow: FlowCurve, stress: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return equivalent plastic strain and its slope (1/MPa) on first loading to a stress (MPa) at 20 degC."""
    if flow.strains:
        stresses, strains = np.array(flow.stresses), np.array(flow.strains)
        piece = np.clip(stresses.searchsorted(stress, side="right") - 1, 0, len(stresses) - 2)
        slope = (np.diff(strains) / np.diff(stresses))[piece] * (stress > stresses[0])
        return np.where(stress > stresses[0], strains[piece] + slope * (stress - stresses[piece]), 0.0), slope
    n, proof = flow.exponent, flow.proof.at(20.0)
    strain = PROOF_STRAIN * (np.maximum(stress, 0.0) / proof) ** n
    return strain, n * strain / np.maximum(stress, 1e-9 * proof)


def flow_stress(flow: FlowCurve, strain: FloatArray) -> FloatArray:
    """Return the stress (MPa) at 20 degC at which first loading has reached an equivalent plastic strain."""
    if flow.strains:
        stresses, strains = np.array(flow.stresses), np.array(flow.strains)
        piece = np.clip(strains.searchsorted(strain, side="right") - 1, 0, len(stresses) - 2)
        slope = np.diff(stresses) / np.diff(strains)
        return stresses[piece] + slope[piece] * (strain - strains[piece])
    return flow.proof.at(20.0) * (strain / PROOF_STRAIN) ** (1.0 / flow.exponent)


@dataclass(frozen=True)
class Twist:
    """Torsion of the fasteners: `torque` (f,) N.mm that is left, `arm` (f,) mm of torque over force while turned."""

    torque: FloatArray
    arm: FloatArray

    def at(self, force: FloatArray) -> FloatArray:
        """Return the torque (f,) N.mm at forces (f,) N."""
        return self.torque + self.arm * force


def at_rest(torque: FloatArray) -> Twist:
    """Return the torsion of fasteners that nobody turns."""
    return Twist(torque, np.zeros_like(torque))


def turned(arm: FloatArray | float, fasteners: int) -> Twist:
    """Return the torsion of fasteners while all of them are turned."""
    return Twist(np.zeros(fasteners), np.full(fasteners, arm))


@dataclass(frozen=True)
class Strains:
    """Permanent strains of every fastener's lengths, all (f, s): equivalent plastic, axial plastic, creep."""

    equivalent: FloatArray
    axial: FloatArray
    creep: FloatArray


@dataclass(frozen=True)
class FastenerLaw:
    """What every fastener of a joint does beyond elasticity; compliance : (f,) mm/N in series."""

    lengths: Lengths
    flow: FlowCurve
    relaxation: SteelRelaxation
    modulus: float
    compliance: FloatArray

    def permanent(self, strains: Strains) -> FloatArray:
        """Return the permanent elongation (f,) in mm."""
        return (strains.axial + strains.creep) @ self.lengths.length

    def stress(self, force: FloatArray, twist: Twist) -> tuple[FloatArray, FloatArray]:
        """Return tension and combined stress (f, s) in MPa under forces (f,)."""
        sigma = force[:, None] / self.lengths.area
        tau = twist.at(force)[:, None] / self.lengths.torsion_modulus
        return sigma, np.sqrt(sigma**2 + 3.0 * tau**2)

    def yielded(self, force: FloatArray, strains: Strains, twist: Twist, temperature: float) -> Strains:
        """Return the strains once `force` (f,) has been reached at a temperature (degC)."""
        added, equivalent, _ = self._flow(force, strains, twist, temperature)
        return Strains(equivalent, strains.axial + added, strains.creep)

    def elongation(
        self, force: FloatArray, strains: Strains, twist: Twist, temperature: float
    ) -> tuple[FloatArray, FloatArray]:
        """Return thread teeth and permanent elongation (f,) in mm at `force`, and the slope in mm/N."""
        added, _, slope = self._flow(force, strains, twist, temperature)
        c = np.maximum(self.compliance, LEAST_COMPLIANCE)
        l = self.lengths.length  # noqa: E741
        return c * force + self.permanent(strains) + added @ l, c + slope @ l

    def _flow(
        self, force: FloatArray, strains: Strains, twist: Twist, temperature: float
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return added axial strain (f, s), equivalent strain after, and d added/d force (1/N)."""
        sigma, reduced = self.stress(force, twist)
        hot = self.flow.hot(temperature)
        equivalent, slope = plastic_strain(self.flow, reduced / hot)
        more = np.maximum(equivalent - strains.equivalent, 0.0)
        share = sigma / np.maximum(reduced, 1e-12)
        tau = twist.at(force)[:, None] / self.lengths.torsion_modulus
        # d sigma_red/dF = (sigma/A + 3 tau arm/W_P)/sigma_red
        arm = twist.arm[:, None] / self.lengths.torsion_modulus
        reduced_slope = (sigma / self.lengths.area + 3.0 * tau * arm) / (np.maximum(reduced, 1e-12))
        share_slope = (1.0 / self.lengths.area - share * reduced_slope) / np.maximum(reduced, 1e-12)
        growing = more > 0.0
        d_added = np.where(growing, slope / hot * reduced_slope * share + more * share_slope, 0.0)
        return more * share, np.maximum(equivalent, strains.equivalent), d_added

    def series(
        self, strains: Strains, twist: Twist, temperature: float
    ) -> Callable[[FloatArray], tuple[FloatArray, FloatArray]]:
        """Return the spring: force (f,) N and stiffness (f,) N/mm at a distance x - u (f,) in mm; it cannot push."""
        return _Spring(self, strains, twist, temperature)

    def relaxed(
        self,
        force: FloatArray,
        strains: Strains,
        since: FloatArray,
        base: FloatArray,
        temperature: float,
        duration: float,
    ) -> Strains:
        """Return the strains after `duration` (s) under `force` (f,).

        since : (f, s) creep strain at the latest tightening. base : (f, s) creep strain from which hardening counts,
        that of the latest tightening which yielded the length anew. The stress that drives is the present one plus what
        has relaxed since, so that at fixed length the loss is the formula's own; where stress or temperature change, it
        carries on by strain hardening (the equivalent time of EN 1992-1-1 annex D).
        """
        law = self.relaxation
        if law.loss_1000h == 0.0 or law.A == 0.0 or duration == 0.0:
            return strains
        sigma = np.maximum(force, 0.0)[:, None] / self.lengths.area
        driving = sigma + self.modulus * (strains.creep - since)
        mu = np.clip(driving / self.flow.ultimate, 0.0, GREATEST_RATIO)
        amplitude = driving / self.modulus * law.A * law.loss_1000h * np.exp(law.k * mu) * 1e-5
        exponent = 0.75 * (1.0 - mu)
        time = duration * time_shift(law.activation_energy, temperature) / RELAXATION_HOURS
        amplitude = np.maximum(amplitude, 1e-30)
        with np.errstate(over="ignore"):
            before = ((strains.creep - base) / amplitude) ** (1.0 / exponent)
        after = np.where(np.isfinite(before), base + amplitude * (before + time) ** exponent, strains.creep)
        return Strains(strains.equivalent, strains.axial, np.maximum(after, strains.creep))


@dataclass(frozen=True)
class _Spring:
    """What a law is in series with the mesh in one state; no closure, for states go from process to process."""

    law: FastenerLaw
    strains: Strains
    twist: Twist
    temperature: float

    def __call__(self, distance: FloatArray) -> tuple[FloatArray, FloatArray]:
        law, strains = self.law, self.strains
        c = np.maximum(law.compliance, LEAST_COMPLIANCE)
        permanent = law.permanent(strains)
        reach = np.maximum(distance - permanent, 0.0)
        # the force at which a length alone would take the whole distance by flowing, its equivalent strain at most
        # twice the axial one, is an upper bound; the elongation rises with it ever faster
        within = strains.equivalent + 2.0 * reach[:, None] / law.lengths.length
        bound = (law.flow.hot(self.temperature) * flow_stress(law.flow, within) * law.lengths.area).min(axis=1)

        def too_long(force: FloatArray) -> tuple[FloatArray, FloatArray]:
            length, slope = law.elongation(force, strains, self.twist, self.temperature)
            return length - permanent - reach, slope

        force = rising_roots(too_long, np.minimum(reach / c, bound), 1e-12, "the fastener's force at its length")
        _, slope = law.elongation(force, strains, self.twist, self.temperature)
        pulling = reach > 0.0
        return np.where(pulling, force, 0.0), np.where(pulling, 1.0 / slope, 0.0)
