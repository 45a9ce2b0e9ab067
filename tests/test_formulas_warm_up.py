"""Stiffness and strain by temperature, and when a warm-up looks at the joint again: numbers by hand."""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace

import numpy as np
import pytest
from hand_made import ALUMINIUM, HEAT, JOINT, STEEL, always, case, joint

from headjoint.cases.heat.transient import HeatStep
from headjoint.cases.models.condensed import chain_of
from headjoint.cases.service.model import service_of
from headjoint.cases.service.tightened import cold_and_settled
from headjoint.cases.warm_up.heated_joint import element_temperatures, free_strain
from headjoint.cases.warm_up.hot_stiffness import HotStiffness, hot_stiffness, softened
from headjoint.cases.warm_up.warm_up import March, _hottest_time
from headjoint.model.base.time_table import TimeTable
from headjoint.model.formulas.resilience import fastener_resilience, total
from headjoint.model.formulas.tightened import by_formula
from headjoint.model.heat.transfer import properties
from validation.heat_bodies import ring

MODEL = service_of(chain_of(JOINT))
PARTS = ("fastener", "nut", "washer", "head", "gasket", "block")


def heated(load=None) -> SimpleNamespace:
    """Nodal temperatures are two: head and fastener."""
    places = {f"{part} mean": (lambda T: float(T[0])) for part in PARTS} | {"fastener mean": lambda T: float(T[1])}
    cold = SimpleNamespace(load=load or (lambda T: T.copy()))
    return SimpleNamespace(places=places, model=MODEL, cold=cold)


def hot() -> SimpleNamespace:
    loads = {name: 1.1 * load for name, load in MODEL.reduced.loads.items()}
    return SimpleNamespace(
        reduced=dataclasses.replace(MODEL.reduced, K=0.9 * MODEL.reduced.K, loads=loads), load=lambda T: 1.2 * T
    )


def test_castings_are_as_soft_as_the_head_s_share_of_the_way_to_the_hot_field():
    stiffness = HotStiffness(heated(), hot(), 100.0)
    T = np.array([60.0, 20.0])  # the head 40 of 100 K on its way, the fastener cold
    assert stiffness.share(T) == pytest.approx(0.4)
    assert pytest.approx(0.96 * MODEL.reduced.K) == stiffness.model(T).reduced.K
    assert stiffness.model(T).reduced.loads["head"] == pytest.approx(1.04 * MODEL.reduced.loads["head"])
    assert stiffness.load(T) == pytest.approx(1.08 * T)
    assert stiffness.share(np.array([0.0, 0.0])) == pytest.approx(-0.2)
    cold = HotStiffness(heated(), None, 0.0)
    assert (cold.share(T), cold.model(T)) == (0.0, MODEL)
    assert cold.load(T) == pytest.approx(T)
    ready = heated()
    ready.at_temperature = lambda T, whole: ("condensed", float(T[0]), whole)
    assert hot_stiffness(ready, np.array([21.5, 90.0])).rise == pytest.approx(1.5)
    assert hot_stiffness(ready, np.array([21.5, 90.0])).hot == ("condensed", 21.5, False)
    assert hot_stiffness(ready, np.array([20.9, 90.0])).hot is None


def test_a_hot_fastener_is_softer_by_its_own_resilience_and_not_by_its_teeth():
    own = total(fastener_resilience(JOINT)) - 0.4e-6
    # 200 GPa at 20 degC, 190 at 120: 5.26 % softer; half-way 195: 2.56 %
    assert softened(MODEL, 120.0).law.compliance[0] == pytest.approx(0.4e-6 + own * (200 / 190 - 1))
    assert softened(MODEL, 70.0).law.compliance[0] == pytest.approx(0.4e-6 + own * (200 / 195 - 1))
    assert softened(MODEL, 20.0).law.compliance[0] == pytest.approx(0.4e-6)


def body_and_mesh():
    body = ring(np.array([10.0, 20.0]), np.array([0.0, 6.0, 12.0]), properties(40.0, 8000.0, 500.0))
    return body, SimpleNamespace(part=np.array([0, 1]), parts=("head", "fastener"))


def test_elements_are_as_stiff_as_at_their_mean_temperature_fasteners_as_at_assembly():
    body, mesh = body_and_mesh()
    low = body.places[1, body.cells].mean(axis=0)
    T = 10.0 * body.places[1]
    means = np.where(low < 6.0, 30.0, 90.0)
    assert element_temperatures(JOINT, mesh, body, T, True) == pytest.approx(means)
    assert element_temperatures(JOINT, mesh, body, T, False) == pytest.approx([means[0], 20.0])


def test_free_strain_at_points_counts_from_assembly_by_the_mean_coefficient():
    body, mesh = body_and_mesh()
    materials = {"head": ALUMINIUM, "fastener": STEEL}
    found = free_strain(materials.__getitem__, 70.0, mesh, body, np.full(body.count, 120.0))
    # aluminium 22e-6 x 100 less 21e-6 x 50; steel 12e-6 x 50
    assert found[0] == pytest.approx(np.full(found.shape[1], 1150e-6))
    assert found[1] == pytest.approx(np.full(found.shape[1], 600e-6))


def march(duty=HEAT) -> March:
    return March(heated(), duty, HotStiffness(heated(), None, 0.0), MODEL)


def test_an_instant_s_load_case_has_the_gas_of_its_time_on_the_gas_s_area():
    made = march(dataclasses.replace(HEAT, gas_pressure=TimeTable((0.0, 10.0), (0.0, 5.0))))
    temperatures = {f"{part} mean": 50.0 for part in PARTS}
    at_work = made.case(4.0, temperatures)
    assert (at_work.kind, at_work.gas_pressure, at_work.gas_force) == (
        "firing",
        pytest.approx(2.0),
        pytest.approx(3000.0),
    )
    assert made.case(0.0, temperatures).kind == "hot"
    assert at_work.temperatures == dict.fromkeys(PARTS, 50.0)
    assert made.load(3.0, np.array([1.0, 2.0])) == pytest.approx([1.0, 2.0])
    assert made.load(3.0, np.array([9.0, 9.0])) == pytest.approx([1.0, 2.0])  # condensed once


def test_the_joint_is_looked_at_where_something_moved_by_two_kelvin_or_time_is_up():
    made = march(
        dataclasses.replace(HEAT, gas_pressure=TimeTable((0.0, 100.0, 101.0), (0.0, 0.0, 5.0)), duration=600.0)
    )
    was = dict.fromkeys(made.heated.places, 50.0)
    before = SimpleNamespace(instant=SimpleNamespace(time=90.0, gas_pressure=0.0, temperatures=was))

    def due(time: float, temperature: float) -> bool:
        return made.due(before, HeatStep(((90.0, np.zeros(2)), (time, np.full(2, temperature)))))

    assert not due(95.0, 51.9)
    assert due(95.0, 52.1)
    assert due(95.0, 47.9)
    assert due(100.5, 50.0)  # gas begins to press
    assert not due(99.9, 50.0)
    assert due(111.0, 50.0)  # a thirtieth of ten minutes is over
    assert made.due(SimpleNamespace(instant=SimpleNamespace(time=590.0, gas_pressure=5.0, temperatures=was)),
                    HeatStep(((590.0, np.zeros(2)), (600.0, np.full(2, 50.0)))))  # fmt: skip


def test_the_hottest_time_has_the_greatest_heat_of_gas_and_then_the_hottest_coolant():
    duty = dataclasses.replace(
        HEAT,
        gas_film=TimeTable((0.0, 10.0, 50.0, 60.0), (0.0, 4e-4, 4e-4, 1e-4)),
        gas_temperature=always(800.0),
        coolant_temperature=TimeTable((0.0, 30.0, 100.0), (20.0, 90.0, 95.0)),
    )
    # the gas is at its most from 10 to 50 s, the coolant hottest of that at 50 s; 95 degC comes after
    assert _hottest_time(duty) == 50.0


def test_a_joint_before_its_warm_up_has_all_of_its_embedding_behind_it():
    made = joint()
    model = service_of(chain_of(made))
    reached = cold_and_settled(model, by_formula(made, 20e3))
    assert reached.memory.embedded[0] == pytest.approx(0.010)
    assert reached.force[0] < 20e3
    more = cold_and_settled(model, by_formula(made, 25e3))
    assert float(more.force[0]) - float(reached.force[0]) == pytest.approx(5e3, rel=1e-3)
    assert case().temperatures["head"] == 20.0
