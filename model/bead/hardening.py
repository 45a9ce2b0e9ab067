"""How a sheet hardens: isotropic by Voce and in proportion, kinematic by backstresses that fade.

Yield where sqrt(3/2) |s - X| reaches sigma_y(p) = sigma_0 + H p + Q (1 - exp(-b p)), with p the equivalent plastic
strain. Each backstress grows by dX_i = 2/3 C_i d(eps_p) - gamma_i X_i dp (C. O. Frederick and P. J. Armstrong, 1966,
reprinted in Materials at High Temperatures 24 (2007) 1; several of them: J.-L. Chaboche, Int. J. Plasticity 5 (1989)
247); gamma_i = 0 is Prager's rule. In tension from the virgin state the stress is
sigma_y(p) + sum C_i/gamma_i (1 - exp(-gamma_i p)).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

AS_STATED = "as stated"  # the name of a metal that a file gives in figures


@dataclass(frozen=True)
class Backstress:
    """One term: modulus C (MPa) at the start, and rate gamma at which it fades; it saturates at C/gamma."""

    modulus: float
    fading: float


@dataclass(frozen=True)
class SpringSteel:
    """An elastic-plastic sheet: E in MPa, nu, sigma_0 in MPa (None: stays elastic), hardening, expansion in 1/K.

    saturation Q (MPa), rate b, and modulus H (MPa) are isotropic. source : where the numbers come from.
    tensile_strength : R_m in MPa, None where not known.
    """

    name: str
    E: float
    nu: float
    yield_strength: float | None
    saturation: float = 0.0
    rate: float = 0.0
    modulus: float = 0.0
    backstresses: tuple[Backstress, ...] = ()
    source: str = "stated in the bead file"
    title: str = ""
    tensile_strength: float | None = None

    def tension(self, plastic_strain: float) -> float:
        """Return the true stress (MPa) of first tension at a plastic strain; infinite where it stays elastic."""
        if self.yield_strength is None:
            return math.inf
        p = plastic_strain
        stress = self.yield_strength + self.modulus * p + self.saturation * (1.0 - math.exp(-self.rate * p))
        for one in self.backstresses:
            grown = p if one.fading == 0.0 else (1.0 - math.exp(-one.fading * p)) / one.fading
            stress += one.modulus * grown
        return stress
