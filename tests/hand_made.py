"""A joint in round numbers, for tests whose results are worked out by hand; nothing of it comes from reading a file."""

from __future__ import annotations

import dataclasses

import numpy as np
import scipy.sparse as sp

from headjoint.cases.condensed.interface_laws import PointGroup
from headjoint.cases.condensed.reduced_joint import ReducedJoint
from headjoint.model.base.property_table import PropertyTable
from headjoint.model.base.time_table import TimeTable
from headjoint.model.gasket.law import GasketLaw
from headjoint.model.gasket.loading import LoadingCurve
from headjoint.model.gasket.one_stiffness import OneStiffnessLaw
from headjoint.model.heat.duty import GasketFaces, HeatDuty, RoughFaces
from headjoint.model.joint import (
    Block,
    Fastener,
    Gas,
    Gasket,
    Head,
    Joint,
    MeshSize,
    Requirements,
    Seat,
    Segment,
    Tightening,
    Washer,
    Zone,
)
from headjoint.model.library.materials import Material
from headjoint.model.library.plasticity import FlowCurve, SteelRelaxation
from headjoint.model.library.threads import Thread
from headjoint.model.load_case import LoadCase
from headjoint.model.service import Ageing, Tighten

M10 = Thread("M10", 10.0, 1.5, "metric", 16.0, 8.0, 11.0, "")
# d2 = 10 - 0.649519 x 1.5, d3 = 10 - 1.226869 x 1.5, D1 = 10 - 1.082532 x 1.5 (ISO 724, ISO 898-1)
D2, D3, D1 = 9.0257215, 8.1596965, 8.376202
PARTS = ("fastener", "nut", "washer", "head", "gasket", "block")


def rows(*pairs: tuple[float, float]) -> PropertyTable:
    return PropertyTable(tuple(float(at) for at, _ in pairs), tuple(float(value) for _, value in pairs))


STEEL = Material(
    "steel", "steel", (), E=rows((20, 200e3), (120, 190e3)), nu=0.25, expansion=rows((20, 12e-6)),
    conductivity=rows((20, 40.0)), density=8000.0, heat_capacity=rows((20, 500.0)), bearing_limit=800.0,
)  # fmt: skip
ALUMINIUM = Material(
    "aluminium", "aluminium", (), E=rows((20, 70e3)), nu=0.3, expansion=rows((20, 20e-6), (120, 22e-6)),
    conductivity=rows((20, 160.0)), density=2700.0, heat_capacity=rows((20, 900.0)), bearing_limit=250.0,
)  # fmt: skip
IRON = Material(
    "iron", "iron", (), E=rows((20, 100e3)), nu=0.26, expansion=rows((20, 11e-6)), conductivity=rows((20, 50.0)),
    density=7200.0, heat_capacity=rows((20, 500.0)), ultimate_strength=rows((20, 250.0), (120, 200.0)),
    shear_ratio=0.9, bearing_limit=600.0,
)  # fmt: skip

# 100 MPa at 0.1 mm, straight; springs back four times as steep
LINEAR = OneStiffnessLaw("linear", (LoadingCurve(20.0, (0.0, 0.1), (0.0, 100.0)),), unloading_stiffness=4000.0)
ELASTIC = dataclasses.replace(LINEAR, name="elastic", unloading_stiffness=None)
YIELD = rows((20, 900.0), (120, 800.0))
# n = ln(0.05/0.002)/ln(1000/900)
FLOW = FlowCurve(YIELD, 1000.0, 0.05)
RELAXATION = SteelRelaxation()
AGEING = Ageing(
    embedding_first=0.4, embedding_time=3600.0, embedding_again=0.25, torsion_left=0.5, breakaway=1.2,
    dry_friction=0.25, block_friction=0.16, seating=0.004, bearing_set=None, permanent_limit=0.002,
)  # fmt: skip


def case(name: str = "assembly", kind: str = "assembly", pressure: float = 0.0, force: float = 0.0, **temperatures):
    return LoadCase(name, kind, dict.fromkeys(PARTS, 20.0) | temperatures, pressure, force)


def always(value: float) -> TimeTable:
    return TimeTable((0.0,), (value,))


HEAT = HeatDuty(
    gas_temperature=always(800.0), gas_film=always(400e-6), gas_pressure=always(0.0),
    coolant_temperature=always(90.0), coolant_film=always(1500e-6), ambient_temperature=always(20.0),
    ambient_film=always(15e-6), gasket_contact=GasketFaces(3e-3, 0.2, 300.0, 0.03e-3, 0.0, 2e-3),
    bearing_contact=RoughFaces(1.5e-3, 0.1, 1000.0, 0.1e-3, 0.0), shank_gap=0.03e-3, start_temperature=20.0,
    duration=600.0,
)  # fmt: skip

FASTENER = Fastener(
    kind="bolt", thread=M10, nut_thread=M10, material=STEEL, yield_strength=YIELD, ultimate_strength=1000.0,
    segments=(Segment(60.0, 8.0, False), Segment(40.0, D3, True)), engagement=15.0, bonded_diameter=D2,
    nut_bonded_diameter=D2, thread_compliance=0.4e-6, nut_compliance=0.0, protrusion=0.0,
    rolled="before heat treatment", flow=FLOW,
)  # fmt: skip


def zone(
    name: str, inner: float, outer: float, law: GasketLaw = LINEAR, step: float = 0.0, sealing: bool = False
) -> Zone:
    return Zone(name, inner, outer, law, step, sealing, (inner + outer) / 2.0)


TURNED = Tighten("tighten", (50e3,), (), None, None, None, None, 0.12, 0.10)
# head 80 + gasket 1 + counterbore 19 = grip 100 = shank 60 + free thread 40
JOINT = Joint(
    name="by hand",
    note="",
    fastener=FASTENER,
    seat=Seat(8.0, 18.0, 11.0, 18.0, STEEL, "frictionless"),
    washer=None,
    head=Head(80.0, 60.0, 12.0, ALUMINIUM),
    gasket=Gasket(1.0, (zone("body", 12.0, 40.0), zone("seal", 40.0, 50.0, sealing=True)), 30e-6),
    block=Block(100.0, 64.0, 12.5, 19.0, 5.0, IRON),
    gas=Gas(50.0, 60.0, 1500.0),
    tightening=Tightening("torque", TURNED, 30e3, 50e3, 0.12, 0.10, 1.6, "", 0.010, ""),
    load_cases=(case(), case("hot", "hot", head=100.0, block=80.0, fastener=60.0, gasket=90.0)),
    requirements=Requirements(2.0, 5.0, 1.2, 1.1, 1.2, 1.0, 1.2, 0.8),
    mesh_size=MeshSize(0.5, 0.3, 6.0),
    load_introduction_factor=0.25,
    history=(),
    ageing=AGEING,
    heat=HEAT,
)
WASHER = Washer(11.0, 24.0, 3.0, STEEL, "frictionless")


def joint(**changed) -> Joint:
    """The joint with other fields, of itself or (by `fastener_kind=...`) of its fastener, tightening, ageing..."""
    made = JOINT
    for name, value in changed.items():
        part, _, inner = name.partition("__")
        if inner:
            value = dataclasses.replace(getattr(made, part), **{inner: value})
        made = dataclasses.replace(made, **{part: value})
    return made


def one_stud() -> ReducedJoint:
    """A head on one stud of 100 kN/mm and 100 mm2 of gasket; 1 MPa of gas lifts it by 1 kN."""
    return ReducedJoint(
        K=1e5 * np.array([[1.0, -1.0], [-1.0, 1.0]]),
        loads={"gas 1": np.array([-1e3, 0.0])},
        B=sp.csr_matrix(np.array([[1.0, 0.0]])),
        weight=np.array([100.0]),
        radius=np.array([5.0]),
        groups=(PointGroup("seal", "gasket", np.array([0]), LINEAR),),
        overlaps=np.array([1]),
        series_compliance=np.array([0.0]),
        share=np.ones(1),
    )
