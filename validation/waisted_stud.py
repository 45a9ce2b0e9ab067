"""A stud with a waist, its joint and the service that is solved twice: what both sides take, and headjoint's figures.

Nut and block are 1000 times stiffer than steel. Nothing beds in, creeps or relaxes; the stud is pulled, so there is no
torsion. Thick ends do not yield.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from headjoint.cases.models.from_mesh import one_fastener
from headjoint.cases.service.model import service_of
from headjoint.cases.service.run import Record, run_service
from headjoint.model.joint import Joint
from headjoint.model.reading.reading import parse_joint

FloatArray = NDArray[np.float64]
THICK, THIN, HOLE, NUT, OUTER = 14.0, 10.0, 17.0, 30.0, 60.0  # mm, diameters of stud, waist, hole, nut, head and block
DEEP, ENGAGED, BELOW, HIGH, GASKET = 60.0, 20.0, 10.0, 10.0, 1.0  # mm: block, thread in it, hole below, nut, gasket
STEEL, RIGID, ALUMINIUM = (200e3, 0.3, 12e-6), (2e8, 0.3, 12e-6), (73.1e3, 0.35, 23e-6)  # MPa, ratio, 1/K
YIELD, UNIFORM = 900.0, 0.1  # MPa at 20 degC, plastic strain up to which it hardens
COLD, HOT, WEAKER = 20.0, 130.0, 0.96  # degC, and what strength is left at HOT
SLOPE = 20.0  # MPa/mm of the gasket
AREA = math.pi / 4.0 * THIN**2
PULLED, PULLED_AGAIN = 0.004, 0.016  # plastic strain to which it is pulled at first, and in the next use
GAS = 15e3  # N
Figures = dict[tuple[str, str], float]  # by name and unit


@dataclass(frozen=True)
class Stud:
    """Lengths (mm) of a stud's thick ends and of the waist between, and the radius of the fillets there.

    hardening : MPa per plastic strain.
    """

    end: float
    waist: float
    fillet: float = 0.0
    hardening: float = 5000.0

    @property
    def head(self) -> float:
        """Height of the head."""
        return 2.0 * self.end + self.waist - GASKET

    @property
    def first(self) -> float:
        """Force (N) that it is pulled to at first."""
        return (YIELD + self.hardening * PULLED) * AREA

    @property
    def again(self) -> float:
        """Force (N) that it is pulled to in the next use."""
        return (YIELD + self.hardening * PULLED_AGAIN) * AREA

    def outline(self, z: FloatArray) -> FloatArray:
        """Return what the radius of the waist is there, over its own: more in the fillets, fading outside the waist."""
        if self.fillet == 0.0:
            return np.ones_like(z)
        inside = np.minimum(z - self.end, self.end + self.waist - z)
        rise = np.clip(self.fillet - np.maximum(inside, 0.0), 0.0, None)
        more = self.fillet - np.sqrt(self.fillet**2 - rise**2)
        return 1.0 + more * np.clip(1.0 + inside / (THICK / 2.0), 0.0, 1.0) / (THIN / 2.0)


@dataclass(frozen=True)
class Served:
    """What a service did to a stud. Forces in N, lengths in mm.

    first : that it was pulled to. stretch, again : elongation under the first pull and under that of the next use.
    hot, fired, run, cold : clamp in the heat, stud force under gas, clamp after gas, and cold again. let_go, longer :
    how much longer it is, let go after the first and the next use; strain, strain_again : its plastic strain then.
    """

    first: float
    stretch: float
    hot: float
    fired: float
    run: float
    cold: float
    let_go: float
    strain: float
    again: float
    longer: float
    strain_again: float

    def figures(self) -> Figures:
        """Return the figures that are compared."""
        return {
            ("elongation under the first pull", "mm"): self.stretch,
            ("clamp in the heat", "kN"): self.hot / 1e3,
            ("stud force in the heat under gas", "kN"): self.fired / 1e3,
            ("clamp in the heat after gas", "kN"): self.run / 1e3,
            ("clamp cold again", "kN"): self.cold / 1e3,
            ("clamp lost by heat and gas", "kN"): (self.first - self.cold) / 1e3,
            ("longer for good, let go", "mm"): self.let_go,
            ("plastic strain half-way along the waist", "%"): 100.0 * self.strain,
            ("elongation under the pull of the next use", "mm"): self.again,
            ("longer for good after the next use", "mm"): self.longer,
            ("plastic strain after the next use", "%"): 100.0 * self.strain_again,
        }


def own_service(stud: Stud, joint: Joint | None = None) -> Served:
    """Return what headjoint finds of a stud, or of a joint in its place."""
    joint = joint or joint_of(stud)
    model = service_of(one_fastener(joint)[1])
    tight, heat, run, cool, let_go, again, end = run_service(model, joint.history).records
    law = model.law
    # the halves of engaged thread that a length has at either end are bonded to something rigid here
    engaged = float(law.lengths.elastic[-2:].sum())

    def elongation(record: Record) -> float:
        assert record.turning is not None
        return record.turning.stretch - engaged * float(record.force[0])

    def permanent(record: Record) -> float:
        return float(law.permanent(record.memory.strains)[0])

    def strain(record: Record) -> float:
        return float(record.memory.plastic.max())

    assert run.fired_force is not None
    return Served(
        first=stud.first,
        stretch=elongation(tight),
        hot=float(heat.force[0]),
        fired=float(run.fired_force[0]),
        run=float(run.force[0]),
        cold=float(cool.force[0]),
        let_go=permanent(let_go),
        strain=strain(let_go),
        again=elongation(again),
        longer=permanent(end),
        strain_again=strain(end),
    )


def joint_of(stud: Stud) -> Joint:
    """Return the joint and its service as headjoint reads them; its file knows no fillets."""

    def material(one: tuple[float, float, float], more: str = "") -> str:
        return f"{{ E = {one[0]}, nu = {one[1]}, expansion = {one[2]}{more} }}"

    segments = "".join(
        f"[[fastener.segments]]\nlength = {length}\ndiameter = {across}\n"
        for length, across in ((stud.end, THICK), (stud.waist, THIN), (stud.end, THICK))
    )
    return parse_joint(
        f"""
name = "waisted stud"
[fastener]
kind = "stud"
thread = "M16"
material = {material(STEEL, f", yield_strength = {YIELD}")}
engagement = {ENGAGED}
bonded_diameter = {THICK}
nut_bonded_diameter = {THICK}
thread_compliance = "bonded"
nut_compliance = "bonded"
protrusion = 0
{segments}
[fastener.flow]
plastic_strain = [0, 0.01, {UNIFORM}]
stress = [{YIELD}, {YIELD + 0.01 * stud.hardening}, {YIELD + UNIFORM * stud.hardening}]
temperature = [{COLD}, {HOT}]
hot = [1.0, {WEAKER}]
[fastener.relaxation]
loss_1000h = 0
[nut]
height = {HIGH}
outer_diameter = {NUT}
bearing_outer_diameter = {NUT}
bearing_inner_diameter = {HOLE}
material = {material(RIGID)}
[head]
height = {stud.head}
outer_diameter = {OUTER}
hole_diameter = {HOLE}
material = {material(ALUMINIUM)}
[gasket]
thickness = {GASKET}
[[gasket.zones]]
name = "seat"
inner_diameter = {HOLE}
outer_diameter = {OUTER}
law = "seat"
[gasket.laws.seat]
closure = [0, 10]
pressure = [0, {10.0 * SLOPE}]
[block]
height = {DEEP}
outer_diameter = {OUTER}
hole_below = {BELOW}
material = {material(RIGID)}
[gas]
inner_diameter = {HOLE}
outer_diameter = {OUTER}
[tightening]
method = "tensioner"
pull = "50 kN"
scatter = 1.0
embedding = 0
[ageing]
seating = 0
bearing_set = 0
[mesh]
largest = 40
[[load_cases]]
name = "assembly"
kind = "assembly"
temperature = {COLD}
[[load_cases]]
name = "fired"
kind = "firing"
temperature = {HOT}
ring_force = "{GAS!r} N"
[[history]]
do = "tighten"
pull = "{stud.first!r} N"
[[history]]
do = "heat"
temperature = {HOT}
[[history]]
do = "run"
case = "fired"
[[history]]
do = "cool"
[[history]]
do = "loosen"
[[history]]
do = "tighten"
pull = "{stud.again!r} N"
[[history]]
do = "loosen"
""",
        file="waisted stud",
    )
