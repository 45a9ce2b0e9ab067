"""How a fastener steel flows and relaxes: plastic strain over stress, and creep strain over time.

Plastic strain follows Ramberg and Osgood through the 0.2 % proof stress and the end of uniform elongation, in
engineering stress and strain:

    e_p = 0.002 (sigma/R_p0.2)^n,    n = ln(A_g/0.002)/ln(R_m/R_p0.2)

(Ramberg, Osgood, NACA TN 902, 1943; the two points are the tensile test's own). A heat scales the curve with the
proof stress at that temperature. Beyond A_g the fastener necks and breaks.

Relaxation follows EN 1992-1-1 eq. (3.28) to (3.30) for prestressing steel (from memory, high confidence),

    loss/stress = A rho_1000 exp(k mu) (t/1000 h)^(0.75 (1 - mu)) 1e-5,    mu = sigma/R_m

the nearest published law for high-strength steel at room temperature as a function of stress and time; class 3 (hot
rolled and processed bars, A = 1.98, k = 8.0, rho_1000 = 4 %) stands for quenched and tempered bolts. No published
curve for bolts was found, so the result carries a range of half to twice. The standard's tests load to 0.6, 0.7 and 0.8
of R_m (clause 3.3.2, from memory, medium confidence); beyond, the law is extrapolated and the range widens.

Strength when hot is that of a tensile test of minutes (short-time), in the property classes (ISO 898-1:1999 annex A),
the materials and what files state alike; what longer heat takes is left to relaxation.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass

from headjoint.model.base.property_table import PropertyTable

PROOF_STRAIN = 0.002
# share of the elongation after fracture that is uniform: from memory, low confidence (0.4 to 0.6 for these steels)
UNIFORM_SHARE = 0.5
TESTED_RATIO = 0.8  # of stress over R_m, the greatest that EN 1992-1-1's relaxation tests load to
GREATEST_RATIO = 0.95  # of stress over R_m in the relaxation law: beyond, it would not depend on time any more
RANGE = 2.0  # half to twice, where tested
GAS_CONSTANT = 8.314462618  # J/(mol K), CODATA
KELVIN = 273.15


@dataclass(frozen=True)
class FlowCurve:
    """Engineering stress (MPa) over plastic strain of a fastener.

    proof : R_p0.2 by temperature. ultimate : R_m at 20 degC. uniform_elongation : A_g as plastic strain, where necking
    begins. strains, stresses : a measured curve at 20 degC in place of the formula, from zero plastic strain on.
    """

    proof: PropertyTable
    ultimate: float
    uniform_elongation: float
    strains: tuple[float, ...] = ()
    stresses: tuple[float, ...] = ()
    source: str = "R_p0.2, R_m and A_g by Ramberg and Osgood"

    @property
    def exponent(self) -> float:
        """n of the formula."""
        return math.log(self.uniform_elongation / PROOF_STRAIN) / math.log(self.ultimate / self.proof.at(20.0))

    def hot(self, temperature: float) -> float:
        """Return stress at a temperature (degC) over stress at 20 degC for the same plastic strain."""
        return self.proof.at(temperature) / self.proof.at(20.0)

    def times(self, factor: float) -> FlowCurve:
        """Return the curve of a fastener that is stronger by a factor: every stress times it."""
        return dataclasses.replace(
            self,
            proof=self.proof.times(factor),
            ultimate=factor * self.ultimate,
            stresses=tuple(factor * stress for stress in self.stresses),
        )


@dataclass(frozen=True)
class SteelRelaxation:
    """Constants of the relaxation law in the module text, and how heat speeds it up.

    loss_1000h : rho_1000 of the formula, %; the formula itself gives about half of it in 1000 h at 70 % of R_m.
    A, k : of the formula. activation_energy : J/mol of the
    shift of time with temperature (Arrhenius).
    """

    loss_1000h: float = 4.0
    A: float = 1.98
    k: float = 8.0
    activation_energy: float = 40e3
    source: str = (
        "EN 1992-1-1 eq. (3.30), class 3, from memory, high confidence; for bolts typical, half to twice; "
        "activation energy from memory, low confidence (20 to 60 kJ/mol)"
    )


def relaxation_range(ratio: float) -> float:
    """Return the factor by which relaxation may be more or less at a stress over R_m: 2 where tested, 4 at 0.95.

    Doubled over what the law is extrapolated by (common practice, no source).
    """
    beyond = max(0.0, min(ratio, GREATEST_RATIO) - TESTED_RATIO)
    return RANGE ** (1.0 + beyond / (GREATEST_RATIO - TESTED_RATIO))


@dataclass(frozen=True)
class Creep:
    """How a gasket's body goes on setting under pressure, as an amplitude over pressure and a run in time.

    Under pressure p the zone sets by a(p) ln(1 + t/onset) (kind "logarithmic") or a(p) (t/onset)^exponent (kind
    "power"), with a = rate(T) p/k_u. It carries on by strain hardening where pressure or temperature change.

    rate : by temperature; to first order the share of its pressure that a zone loses at fixed closure per e-fold of
    time, or within the first `onset`. Gaskets spring back so little that it may exceed 1. onset : s.
    activation_energy : J/mol, shifts time from 20 degC; 0 leaves that to `rate`.
    """

    kind: str
    rate: PropertyTable
    onset: float
    exponent: float = 0.0
    activation_energy: float = 0.0
    source: str = "stated in the joint file"


def time_shift(activation_energy: float, temperature: float) -> float:
    """Return how many times faster time runs at a temperature (degC) than at 20 degC, by Arrhenius."""
    return math.exp(activation_energy / GAS_CONSTANT * (1.0 / (20.0 + KELVIN) - 1.0 / (temperature + KELVIN)))
