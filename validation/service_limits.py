"""A joint that remembers, against closed forms: tightening, yield, relaxation, creep, embedding, fatigue.

Joints here are a slender bolt on parts 1000 times stiffer than steel, or the chain of the closed-form estimate, so that
strength of materials is exact; every comparison value is worked out here from its source's formula, not by the product.
"""

from __future__ import annotations

import dataclasses
import math
from functools import cache

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from headjoint.cases.condensed.condensation import condense, full_model
from headjoint.cases.models.condensed import OneFastener, chain_of
from headjoint.cases.service.fastener_law import turned
from headjoint.cases.service.model import ServiceModel, service_of
from headjoint.cases.service.run import run_service
from headjoint.meshes.one_fastener.single_stud import build
from headjoint.model.formulas.turning import turning_arms
from headjoint.model.joint import Joint
from headjoint.model.reading.reading import parse_joint
from headjoint.model.service import Change, Hold, Retorque, Tighten
from headjoint.postproc.service.fatigue import CountedCycle, miner_sum, rainflow_cycles
from validation.check import Check

RIGID = '{ E = "2e8 MPa", nu = 0.3, expansion = 12e-6 }'
AREA, LENGTH = 100.0, 2000.0  # mm2, mm
SHANK = math.sqrt(4.0 * AREA / math.pi)
E, PROOF, ULTIMATE, UNIFORM = 200e3, 900.0, 1000.0, 0.05
EXPONENT = math.log(UNIFORM / 0.002) / math.log(ULTIMATE / PROOF)
DAY = 86400.0
HOURS = 1000.0 * 3600.0


def bar(law: str = "closure = [0, 1]\npressure = [0, 1e8]", more: str = "") -> Joint:
    """Return a long bolt on rigid parts, its gasket zone following `law`; no embedding."""
    return parse_joint(f"""
name = "bar"
[fastener]
kind = "stud"
thread = "M16x1.5"
material = {{ E = {E}, nu = 0.3, expansion = 12e-6, yield_strength = {PROOF}, ultimate_strength = {ULTIMATE} }}
flow = {{ uniform_elongation = {UNIFORM} }}
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
outer_diameter = 30
bearing_outer_diameter = 30
bearing_inner_diameter = 17
material = {RIGID}
[head]
height = {LENGTH}
outer_diameter = 60
hole_diameter = 17
material = {RIGID}
[gasket]
thickness = 0.01
[[gasket.zones]]
name = "seat"
inner_diameter = 17
outer_diameter = 60
law = "seat"
[gasket.laws.seat]
{law}
[block]
height = 60
outer_diameter = 60
material = {RIGID}
[tightening]
method = "preload"
preload = "50 kN"
scatter = 1.0
embedding = 0
{more}
[[load_cases]]
name = "assembly"
kind = "assembly"
""")


def finite_elements(joint: Joint) -> ServiceModel:
    return service_of(OneFastener(joint, condense(joint, full_model(joint, build(joint)))))


@cache
def rigid_bar() -> ServiceModel:
    return finite_elements(bar())


def tighten(name: str = "tighten", **ways: object) -> Tighten:
    plain = {"torques": (), "angles": (), "gradient": None, "stretch": None, "pull": None, "preload": None}
    return Tighten(name, **(plain | ways), thread_friction=0.12, bearing_friction=0.12)  # type: ignore[arg-type]


def wait(joint: Joint, duration: float) -> Hold:
    return Hold("wait", "wait", joint.load_cases[0], duration)


def checks() -> list[Check]:
    return [
        *combined_stress(),
        *torque_angle(),
        *cyclic_bar(),
        *relaxation(),
        *gasket_creep(),
        *embedding(),
        *tensioner(),
        *counting(),
    ]


def combined_stress() -> list[Check]:
    """Force at which tightening by torque brings tension and torsion together to 90 % of yield, in A_S."""
    found = []
    # thread, class, friction, F_M in kN
    for thread, grade, friction, published in (
        ("M10x1.25", "8.8", 0.10, 32.4),
        ("M10x1.25", "10.9", 0.12, 46.4),
        ("M12x1.25", "12.9", 0.14, 80.4),
        ("M14x1.5", "10.9", 0.14, 92.9),
    ):
        joint = parse_joint(BOLTED.replace('"M10"', f'"{thread}"').replace('"10.9"', f'"{grade}"'))
        model = service_of(chain_of(joint))
        arm = turning_arms(joint, friction, friction).shank
        yield_strength = joint.fastener.flow.proof.at(20.0)
        at = model.law.lengths.names.index("free thread 2")

        def spare(force: float, model=model, arm=arm, at=at, limit=0.9 * yield_strength) -> float:
            _, reduced = model.law.stress(np.array([force]), turned(arm, 1))
            return float(reduced[0, at]) - limit

        force = brentq(spare, 1.0, 1e6)
        source = "VDI 2230-1 (2003) table A2, fine threads (seen in a public catalogue)"
        quantity = f"F_M of {thread}, {grade}, friction {friction:.2f}, by tension and torsion in its free thread"
        found.append(Check(quantity, source, published, force / 1e3, 0.003, "kN", "table rounding"))
    return found


# the joint of the constructed resilience example: M10, 40 mm shank, 20 mm free thread, aluminium on iron
BOLTED = """
name = "constructed"
[fastener]
kind = "bolt"
thread = "M10"
property_class = "10.9"
material = { E = "205 GPa", nu = 0.3, expansion = 12e-6 }
engagement = 20
[[fastener.segments]]
length = 40
diameter = 10
[[fastener.segments]]
length = 20
thread = true
[bolt_head]
height = 6.5
outer_diameter = 16
bearing_outer_diameter = 16
bearing_inner_diameter = 11
[head]
height = 59.99
outer_diameter = 40
hole_diameter = 15
material = { E = "72 GPa", nu = 0.33, expansion = 22e-6 }
[gasket]
thickness = 0.01
[[gasket.zones]]
name = "seat"
inner_diameter = 16
outer_diameter = 40
law = "seat"
[gasket.laws.seat]
closure = [0, 1]
pressure = [0, 1e8]
[block]
height = 60
outer_diameter = 40
material = { E = "110 GPa", nu = 0.26, expansion = 11e-6 }
[tightening]
method = "preload"
preload = "20 kN"
scatter = 1.0
embedding = 0.007
[[load_cases]]
name = "assembly"
kind = "assembly"
"""


def constructed() -> Joint:
    return parse_joint(BOLTED.replace("hole_diameter = 15", "hole_diameter = 11"))


def torque_angle() -> list[Check]:
    """90 degrees more on a tight joint: force over angle from the resilience of bolt and parts."""
    joint = constructed()
    # 55.2 kN for 90 degrees passes yield; a tenth of the angle stays elastic and gives a tenth
    steps = [tighten(preload=15000.0), Retorque("on", None, math.radians(9.0), 0.12, 0.12)]
    gained = []
    for model in (service_of(chain_of(joint)), finite_elements(joint)):
        records = run_service(model, steps).records
        force = records[1].turning.force
        gained.append(10.0 * float(force[-1] - force[0]))
    source = "pitch times angle over delta_S + delta_P of VDI 2230-1 (constructed example, recomputed: 55.2 kN)"
    return [
        Check("force gained by 90 degrees of turn, M10, chain", source, 55.2, gained[0] / 1e3, 0.002, "kN", "rounding"),
        Check(
            "the same by finite elements", source, 55.2, gained[1] / 1e3, 0.10, "kN",
            "the standard's cone is a fit, within some 10 % of elasticity",
        ),
    ]  # fmt: skip


def cyclic_bar() -> list[Check]:
    """A bar stretched past yield, let go and stretched again: Ramberg-Osgood, isotropic hardening."""
    source = "e = sigma/E + 0.002 (sigma/R_p)^n, unloading along E (Ramberg, Osgood, NACA TN 902), solved by brentq"
    model = rigid_bar()

    def plastic(stress: float) -> float:
        return 0.002 * (stress / PROOF) ** EXPONENT

    # the engaged half diameters at both ends are part of it, on the thread's stress area
    thread = model.joint.fastener.thread
    ends, end_area = thread.nominal_diameter, thread.stress_area

    def longer(force: float) -> float:
        elastic = force / E * (LENGTH / AREA + ends / thread.core_area)
        return elastic + LENGTH * plastic(force / AREA) + ends * plastic(force / end_area)

    stretch, more = 16.0, 18.0
    first, further = (brentq(lambda force, of=of: longer(force) - of, 1e3, 1e5) for of in (stretch, more))
    left = LENGTH * plastic(first / AREA) + ends * plastic(first / end_area)
    steps = [
        tighten(preload=first, twisted=False),
        Change("loosen", "loosen"),
        tighten(preload=first, twisted=False),
        Change("loosen", "loosen"),
        tighten(preload=further, twisted=False),
    ]
    records = run_service(model, steps).records
    stretches = [record.turning.stretch for record in records if record.turning is not None]
    remained = float(model.law.permanent(records[1].memory.strains)[0])
    again = float(model.law.permanent(records[3].memory.strains)[0])
    return [
        Check("stretch of a bar pulled past yield", source, stretch, stretches[0], 1e-5, "mm", "exact"),
        Check("elongation that remains when it is let go", source, left, remained, 1e-5, "mm", "exact"),
        Check("stretch of the same bar pulled as far again", source, stretch - left, stretches[1], 1e-5, "mm", "exact"),
        Check("elongation that remains then: no more", source, left, again, 1e-5, "mm", "exact"),
        Check("stretch beyond, on the hardening curve", source, more - left, stretches[2], 1e-5, "mm", "exact"),
    ]


def relaxation() -> list[Check]:
    """Stress lost by a bar held at fixed length, and by one whose stress drops half-way."""
    model = rigid_bar()
    found = []
    for mu, hours in ((0.6, 1000.0), (0.7, 1000.0), (0.7, 24.0), (0.8, 1.0)):
        stress = mu * ULTIMATE
        steps = [tighten(preload=stress * AREA), wait(model.joint, hours * 3600.0)]
        records = run_service(model, steps).records
        lost = 1.0 - float(records[1].force[0] / records[0].force[0])
        published = 1.98 * 4.0 * math.exp(8.0 * mu) * (hours / 1000.0) ** (0.75 * (1.0 - mu)) * 1e-5
        source = "EN 1992-1-1 eq. (3.30), class 3, rho_1000 = 4 % (from memory, high confidence)"
        quantity = f"stress lost at fixed length, {mu:g} of R_m, {hours:g} h"
        found.append(Check(quantity, source, published, lost, 0.01, "", "the rigid parts and ends give a little"))
    return found


def gasket_creep() -> list[Check]:
    """Clamp of a zone that creeps under a long bolt: the strain-hardening law integrated by another solver."""
    stiffness, share, onset, start = 200.0, 0.3, 60.0, 20.0
    law = f"closure = [0, 1]\npressure = [0, {stiffness}]\nunloading_stiffness = {stiffness}\n"
    joint = bar(law + f'creep = {{ loss = [{share}], onset = "{onset} s" }}', "[ageing]\ntorsion_left = 0")
    # the bolt itself does not relax here
    joint = dataclasses.replace(
        joint, fastener=dataclasses.replace(
            joint.fastener, relaxation=dataclasses.replace(joint.fastener.relaxation, loss_1000h=0.0)
        )
    )  # fmt: skip
    model = finite_elements(joint)
    area = math.pi / 4.0 * (60.0**2 - 17.0**2)
    records = run_service(model, [tighten(preload=start * area), wait(joint, DAY)]).records
    lost = 1.0 - float(records[1].force[0] / records[0].force[0])

    # bar and zone in series: p area = F, F = (D - c) E A/L, c - s = p/k
    compliance = LENGTH / (E * AREA)
    factor = 1.0 / (1.0 / stiffness + area * compliance)  # MPa/mm of set

    def rate(time: float, state: np.ndarray) -> np.ndarray:
        pressure = start - factor * state[0]
        amplitude = share / math.log(10.0) * pressure / stiffness
        return np.array([amplitude / onset * math.exp(-state[0] / amplitude)])

    reference = solve_ivp(rate, (0.0, DAY), np.zeros(1), method="LSODA", rtol=1e-9, atol=1e-14)
    expected = factor * float(reference.y[0, -1]) / start
    source = "ds/dt = a/t0 exp(-s/a), a = 0.3/ln(10) p/k, in series with the bar (integrated by LSODA)"
    quantity = "clamp lost to logarithmic creep of a zone under a long bolt in a day"
    return [Check(quantity, source, expected, lost, 0.01, "", "the bolt's ends give; substeps hold the pressure")]


def embedding() -> list[Check]:
    """F_Z = f_Z/(delta_S + delta_P) once all of it has come."""
    joint = constructed()
    ageing = dataclasses.replace(joint.ageing, embedding_first=0.3)
    relaxed = dataclasses.replace(joint.fastener.relaxation, loss_1000h=0.0)
    joint = dataclasses.replace(joint, ageing=ageing, fastener=dataclasses.replace(joint.fastener, relaxation=relaxed))
    model = service_of(chain_of(joint))
    records = run_service(model, [tighten(preload=20000.0), wait(joint, DAY)]).records
    source = "VDI 2230-1 sec. 5.4.2.1, 7 um on 5.509 + 1.2845 um/kN (constructed, recomputed: 1.030 kN)"
    whole = (20000.0 - float(records[1].force[0])) / 1e3
    first = (20000.0 - float(records[0].force[0])) / 1e3
    return [
        Check("loss by embedding after a day", source, 1.030, whole, 0.002, "kN", "rounding"),
        Check("three tenths of it at once", source, 0.3 * 1.030, first, 0.002, "kN", "rounding"),
    ]


def tensioner() -> list[Check]:
    """Force left after a tensioner lets go: the nut's teeth and its seating take their share of the stretch."""
    seating, pull, nut = 0.02, 60000.0, 5e-7
    joint = bar(more=f"[ageing]\nseating = {seating}\nembedding_first = 0")
    fastener = dataclasses.replace(joint.fastener, nut_compliance=nut)
    joint = dataclasses.replace(joint, fastener=fastener)
    model = finite_elements(joint)
    force = float(run_service(model, [tighten(pull=pull)]).records[0].force[0])
    stem = LENGTH / (E * AREA)
    expected = (pull * stem - seating) / (stem + nut)
    source = "F = (F_pull delta - s)/(delta + delta_nut), springs in series (strength of materials)"
    return [Check("force after a tensioner lets go", source, expected / 1e3, force / 1e3, 0.002, "kN", "ends")]


def counting() -> list[Check]:
    """Rainflow and Miner."""
    cycles = rainflow_cycles([-2, 1, -3, 5, -1, 3, -4, 4, -2], [1.0] * 9, [20.0] * 9)
    counts: dict[float, float] = {}
    for cycle in cycles:
        counts[2 * cycle.amplitude] = counts.get(2 * cycle.amplitude, 0.0) + cycle.count
    source = "ASTM E1049 fig. 6 example, rainflow (from memory, high confidence)"
    found = [
        Check(f"cycles of range {size:g}", source, published, counts.get(size, 0.0), 0.0)
        for size, published in ((3.0, 0.5), (4.0, 1.5), (6.0, 0.5), (8.0, 1.0), (9.0, 0.5))
    ]
    joint = parse_joint(BOLTED.replace("engagement = 20", 'engagement = 20\nrolled = "before heat treatment"'))
    area, limit = joint.fastener.thread.stress_area, 0.85 * (150.0 / 10.0 + 45.0)
    rows = miner_sum(
        [
            CountedCycle(2.0 * limit * area, 30e3, 5e4, 20.0),  # lasts 2.5e5
            CountedCycle(1.25 * limit * area, 30e3, 1e5, 20.0),  # lasts 2e6/1.25^3 = 1.024e6
            CountedCycle(0.9 * limit * area, 30e3, 1e8, 20.0),  # does nothing
        ],
        joint,
    )
    published = 5e4 / 2.5e5 + 1e5 / 1.024e6
    source = (
        "Miner by hand with sigma_AZSV = sigma_ASV (N_D/N)^(1/3), VDI 2230-1 sec. 5.5.3: N = 2.5e5 at twice sigma_ASV"
    )
    found.append(Check("Miner sum of three amplitudes, M10", source, published, sum(row.damage for row in rows), 1e-9))
    return found
