"""Fatigue life of a bead by its local strain: a strain-life law from tensile strength, mean stress counted.

Strain amplitude: eps_a = sigma_f'/E (2N)^b + eps_f' (2N)^c, constants of steels from R_m by A. Baeumel and T. Seeger,
Materials Data for Cyclic Loading, Supplement 1, Elsevier 1990 (from memory, high confidence): sigma_f' = 1.5 R_m,
b = -0.087, eps_f' = 0.59 psi, c = -0.58, psi = 1 up to R_m/E = 0.003, then 1.375 - 125 R_m/E. They are of unalloyed and
low-alloy steels; cold-rolled austenitic strip is not among their data. Mean stress by K. N. Smith, P. Watson, T. H.
Topper, J. Materials 5 (1970) 767: sigma_max eps_a = sigma_f'^2/E (2N)^2b + sigma_f' eps_f' (2N)^(b+c).
"""

from __future__ import annotations

import math

from headjoint.model.base.roots import rising_root

B, C = -0.087, -0.58
SHORTEST = 0.5  # cycles: one reversal
LONGEST = 1e9  # cycles, beyond which a life is said to be longer
LAW = "Baeumel and Seeger (1990) from tensile strength, mean stress by Smith, Watson and Topper (1970)"


def damage_parameter(strength: float, E: float, cycles: float) -> float:
    """Return sigma_max eps_a (MPa) that so many cycles stand. strength : R_m in MPa."""
    psi = min(1.0, max(0.0, 1.375 - 125.0 * strength / E))
    fatigue, ductility = 1.5 * strength, 0.59 * psi
    return fatigue**2 / E * (2.0 * cycles) ** (2.0 * B) + fatigue * ductility * (2.0 * cycles) ** (B + C)


def cycles_to_crack(parameter: float, strength: float, E: float) -> float:
    """Return how many cycles of sigma_max eps_a (MPa) it takes to a crack, from `SHORTEST` to `LONGEST`."""
    if parameter <= damage_parameter(strength, E, LONGEST):
        return LONGEST
    missing = lambda exponent: parameter - damage_parameter(strength, E, math.exp(exponent))  # noqa: E731
    return math.exp(rising_root(missing, math.log(SHORTEST), math.log(LONGEST)))
