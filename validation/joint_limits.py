"""Joints so slender or so stiff that strength of materials is exact, solved through the whole product path.

Every constant is stated directly in a joint file; rigid parts are 1000 times stiffer than steel, and the shank
is long enough for its ends not to count.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from headjoint.cases.load_cases.load_history import History
from headjoint.cases.load_cases.solved import solve_joint
from headjoint.model.reading.reading import parse_joint
from headjoint.postproc.joint.findings import state_findings
from validation.check import Check

# it expands like the bolt, so that the bolt does not bulge out of a socket that stays cold
RIGID = '{ E = "2e8 MPa", nu = 0.3, expansion = 12e-6 }'
SHANK_AREA, SLEEVE_AREA = 100.0, 150.0  # mm2, a quarter of the source's 400 and 600
SHANK = math.sqrt(4.0 * SHANK_AREA / math.pi)
HOLE = 13.0
SLEEVE = math.sqrt(HOLE**2 + 4.0 * SLEEVE_AREA / math.pi)


@dataclass(frozen=True)
class Sleeve:
    """A bolt through a sleeve (the "head") on a gasket on a rigid block."""

    length: float = 4000.0
    bolt: str = '{ E = "200 GPa", nu = 0.3, expansion = 12e-6 }'
    sleeve: str = '{ E = "73.1 GPa", nu = 0.35, expansion = 23e-6 }'
    law: str = "closure = [0, 1]\npressure = [0, 1e8]"
    preload: float = 1000.0
    cases: str = ""

    def text(self) -> str:
        return f"""
name = "bolt in a sleeve"
[fastener]
kind = "stud"
thread = "M12"
material = {self.bolt}
engagement = 20
bonded_diameter = {SHANK}
nut_bonded_diameter = {SHANK}
thread_compliance = "bonded"
nut_compliance = "bonded"
protrusion = 0
[[fastener.segments]]
diameter = {SHANK}
[nut]
height = 10
outer_diameter = {SLEEVE}
bearing_outer_diameter = {SLEEVE}
bearing_inner_diameter = {HOLE}
material = {RIGID}
[head]
height = {self.length}
outer_diameter = {SLEEVE}
hole_diameter = {HOLE}
material = {self.sleeve}
[gasket]
thickness = 0.01
[[gasket.zones]]
name = "seat"
inner_diameter = {HOLE}
outer_diameter = {SLEEVE}
law = "seat"
[gasket.laws.seat]
{self.law}
[block]
height = 60
outer_diameter = 40
material = {RIGID}
[gas]
inner_diameter = {HOLE}
outer_diameter = {SLEEVE}
[tightening]
method = "preload"
preload = "{self.preload!r} N"
scatter = 1.0
embedding = 0
[[load_cases]]
name = "assembly"
kind = "assembly"
temperature = 15
{self.cases}
"""


def history(sleeve: Sleeve) -> History:
    return solve_joint(parse_joint(sleeve.text())).nominal


def case(name: str, kind: str, temperature: float, force: float = 0.0) -> str:
    ring = f'ring_force = "{force!r} N"' if force else ""
    return f'[[load_cases]]\nname = "{name}"\nkind = "{kind}"\ntemperature = {temperature}\n{ring}\n'


def checks() -> list[Check]:
    return [*hibbeler(), *slender(), *two_springs(), *load_factor(), *gasket_set()]


def hibbeler() -> list[Check]:
    """Steel bolt in an aluminium tube, 15 to 80 degC; areas a quarter of the source's, so a quarter of the force."""
    heated = history(Sleeve(cases=case("hot", "hot", 80.0)))
    change = heated.states[1].force[0] - heated.states[0].force[0]
    source = "Hibbeler, Mechanics of Materials, 8th ed., example 4.11 (from memory, recomputed 20.26)"
    return [Check("force of a bolt in a sleeve heated by 65 K", source, 20.26, 4 * change / 1e3, 0.002, "kN", "ends")]


def slender() -> list[Check]:
    sleeve = Sleeve()
    exact = sleeve.length * (1.0 / (200e3 * SHANK_AREA) + 1.0 / (73.1e3 * SLEEVE_AREA))
    computed = history(sleeve).cut_compliance
    source = "l/(E A) of bolt and sleeve in series (strength of materials)"
    return [
        Check("compliance of a slender bolt and sleeve", source, exact * 1e6, computed * 1e6, 0.002, "um/kN", "ends")
    ]


def two_springs() -> list[Check]:
    """Clamp 2250 lb, bolt twice as stiff as the clamped part: the load that leaves 225 lb, and the bolt force then."""
    pound = 4.4482216152605
    # the "gasket" is the soft clamped part; the sleeve is rigid: k_c = area x slope = k_b/2
    k_b = 200e3 * SHANK_AREA / 4000.0
    slope = k_b / 2.0 / SLEEVE_AREA
    law = f"closure = [0, 1]\npressure = [0, {slope}]"
    source = "machine-design review sheet, two-spring statement (seen, recomputed)"
    stated = Sleeve(sleeve=RIGID, law=law, preload=2250 * pound, cases=case("load", "firing", 15.0, 6075 * pound))
    solved = history(stated)
    bolt = solved.states[1].force[0] / pound
    return [
        Check("clamp left under 6075 lb", source, 225.0, bolt - 6075.0, 0.01, "lbf", "0.04 % of the bolt force; ends"),
        Check("bolt force under 6075 lb", source, 6300.0, bolt, 0.002, "lbf", "ends"),
    ]


def load_factor() -> list[Check]:
    """Gas right at a linear gasket: Phi = delta_G/(delta_S + delta_P + delta_G), exact for springs in a row."""
    slope = 50.0
    law = f"closure = [0, 1]\npressure = [0, {slope}]"
    solved = history(Sleeve(law=law, preload=20e3, cases=case("load", "firing", 15.0, 5e3)))
    delta_G = 1.0 / (slope * SLEEVE_AREA)
    chain = Sleeve.length * (1.0 / (200e3 * SHANK_AREA) + 1.0 / (73.1e3 * SLEEVE_AREA))
    factor = state_findings(solved)[1].load_factor
    assert factor is not None
    source = "springs in a row (VDI 2230-1 sec. 5.2 with n = 0)"
    return [Check("load factor of a soft gasket", source, delta_G / (chain + delta_G), factor, 0.002, "", "ends")]


def gasket_set() -> list[Check]:
    """Heat presses a gasket further along its loading line; cold again it has set.

    With loading slope m, unloading slope k (per area A), chain delta and free growth g, the hot force is
    F_h = (F_0 (delta + 1/mA) + g)/(delta + 1/mA); back along k the overlap F_0 (delta + 1/mA) must hold
    F_c (delta + 1/kA) + s, s = F_h (1/m - 1/k)/A. So F_c = (F_0 (delta + 1/mA) - s)/(delta + 1/kA).
    """
    m, k, preload = 40.0, 400.0, 8e3
    law = f"closure = [0, 1]\npressure = [0, {m}]\nunloading_stiffness = {k}"
    cases = case("hot", "hot", 80.0) + case("cold", "cold", 15.0)
    sleeve = Sleeve(law=law, preload=preload, cases=cases)
    states = history(sleeve).states
    chain = sleeve.length * (1.0 / (200e3 * SHANK_AREA) + 1.0 / (73.1e3 * SLEEVE_AREA))
    soft, stiff = 1.0 / (m * SLEEVE_AREA), 1.0 / (k * SLEEVE_AREA)
    growth = sleeve.length * (23e-6 - 12e-6) * 65.0
    hot = preload + growth / (chain + soft)
    cold = (preload * (chain + soft) - hot * (soft - stiff)) / (chain + stiff)
    source = "springs in a row, gasket on its unloading line (derived in validation/joint_limits.py)"
    return [
        Check("hot force with a gasket that sets", source, hot / 1e3, states[1].force[0] / 1e3, 0.002, "kN", "ends"),
        Check(
            "clamp lost once cold",
            source,
            (preload - cold) / 1e3,
            (preload - states[2].force[0]) / 1e3,
            0.005,
            "kN",
            "ends",
        ),
    ]
