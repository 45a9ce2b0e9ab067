"""The closed-form answer: constructed numbers, limits, and the memory of the gasket."""

from __future__ import annotations

import math

import pytest
from conftest import shipped_text

from headjoint.model.formulas import load_introduction
from headjoint.model.formulas.estimate import estimate
from headjoint.model.formulas.resilience import (
    Layer,
    cone_angle_tangent,
    fastener_resilience,
    layer_resilience,
)
from headjoint.model.library import tightening
from headjoint.model.reading.reading import parse_joint

STEEL = shipped_text("boosted-four-steel")


def plain_joint(law: str, cases: str = "", head: str = '{ E = "72 GPa", nu = 0.33, expansion = 22e-6 }') -> str:
    """M10 hexagon bolt in an iron block, the constructed example of VDI 2230-1 sec. 5.1."""
    return f"""
name = "constructed"
[fastener]
kind = "bolt"
thread = "M10"
material = {{ E = "205 GPa", nu = 0.3, expansion = 12e-6 }}
engagement = 15
[[fastener.segments]]
diameter = 10
length = 40
[[fastener.segments]]
thread = true
[bolt_head]
bearing_outer_diameter = 16
outer_diameter = 16
[head]
height = 59.9
outer_diameter = 40
hole_diameter = 11
material = {head}
[gasket]
thickness = 0.1
[[gasket.zones]]
name = "all"
inner_diameter = 12
outer_diameter = 40
law = "all"
[gasket.laws.all]
{law}
[block]
height = 60
outer_diameter = 40
material = {{ E = "110 GPa", nu = 0.26, expansion = 11e-6 }}
[gas]
inner_diameter = 20
outer_diameter = 40
[tightening]
method = "preload"
preload = "30 kN"
scatter = 1.6
embedding = "7 um"
[[load_cases]]
name = "assembly"
kind = "assembly"
{cases}
"""


RIGID_LAW = "closure = [0, 1]\npressure = [0, 1e9]"
FIRING = '[[load_cases]]\nname = "firing"\nkind = "firing"\nring_force = "5 kN"\n'
HOT = '[[load_cases]]\nname = "hot"\nkind = "hot"\ntemperature = 100\n'
COLD = '[[load_cases]]\nname = "cold"\nkind = "cold"\n'


def test_fastener_resilience_adds_up_to_the_constructed_example():
    terms = {
        term.name.split(",")[0]: term.value * 1e6 for term in fastener_resilience(parse_joint(plain_joint(RIGID_LAW)))
    }
    assert terms["bolt head"] == pytest.approx(0.3105, rel=1e-3)
    assert terms["segment 1"] == pytest.approx(2.4844, rel=1e-3)
    assert terms["segment 2"] == pytest.approx(1.8657, rel=1e-3)
    assert terms["core in the block"] == pytest.approx(0.4664, rel=1e-3)
    assert terms["tapped thread"] == pytest.approx(0.3820, rel=1e-3)


def test_the_cone_of_one_material_is_the_formula_of_the_standard():
    l_K, d_W, D_A, d_h, E = 60.0, 16.0, 40.0, 11.0, 72e3
    tan_phi = cone_angle_tangent(l_K, d_W, D_A)
    assert tan_phi == pytest.approx(0.5420, rel=1e-3)
    # VDI 2230-1 sec. 5.1.2, cone and sleeve, w = 2
    log = math.log((d_W + d_h) * (D_A - d_h) / ((d_W - d_h) * (D_A + d_h)))
    standard = (2 / (2 * d_h * tan_phi) * log + 4 / (D_A**2 - d_h**2) * (l_K - (D_A - d_W) / (2 * tan_phi))) / (
        E * math.pi
    )
    assert layer_resilience(Layer("", l_K, d_h, D_A, E), d_W, tan_phi) == pytest.approx(standard, rel=1e-12)
    assert standard * 1e6 == pytest.approx(1.2845, rel=1e-3)


def test_cutting_a_layer_in_two_changes_nothing():
    whole = layer_resilience(Layer("", 30.0, 11.0, 90.0, 72e3), 16.0, 0.5)
    upper = layer_resilience(Layer("", 12.0, 11.0, 90.0, 72e3), 16.0, 0.5)
    lower = layer_resilience(Layer("", 18.0, 11.0, 90.0, 72e3), 16.0 + 12.0, 0.5)
    assert upper + lower == pytest.approx(whole, rel=1e-12)


def test_a_rigid_gasket_leaves_the_load_factor_of_the_standard():
    one = estimate(parse_joint(plain_joint(RIGID_LAW, FIRING)))
    delta_S, delta_P, n = one.delta_S, one.delta_P, one.load_introduction_factor
    assert one.states[-1].load_factor == pytest.approx(n * delta_P / (delta_S + delta_P), rel=1e-4)
    assert one.Phi == pytest.approx(one.Phi_bare, rel=1e-4)


def test_the_softer_the_gasket_the_more_gas_the_fastener_feels():
    laws = [f"closure = [0, 1]\npressure = [0, {slope}]" for slope in (1e5, 1e3, 1e2)]
    factors = [estimate(parse_joint(plain_joint(law, FIRING))).states[-1].load_factor for law in laws]
    assert factors == sorted(factors)
    assert factors[-1] < 1.0


def test_embedding_costs_its_depth_over_the_compliance():
    one = estimate(parse_joint(plain_joint(RIGID_LAW)))
    loss = one.states[0].fastener_force - one.states[1].fastener_force
    assert loss == pytest.approx(0.007 / (one.delta_S + one.delta_P), rel=1e-4)
    assert loss == pytest.approx(one.embedding_loss, rel=1e-4)
    # constructed with the standard's formula: 7 um on 5.509 + 1.2845 um/kN
    assert loss == pytest.approx(1030.0, rel=0.005)


def test_heat_adds_the_clamp_of_two_bars():
    one = estimate(parse_joint(plain_joint(RIGID_LAW, HOT)))
    gain = one.states[2].fastener_force - one.states[1].fastener_force
    expected = 80.0 * (59.9 * 22e-6 - 60.0 * 12e-6) / (one.delta_S + one.delta_P)
    assert gain == pytest.approx(expected, rel=1e-4)
    assert gain == pytest.approx(7.07e3, rel=0.01)


def test_a_gasket_that_sets_loses_clamp_in_the_cold_and_an_elastic_one_does_not():
    law = "closure = [0, 0.5]\npressure = [0, 200]"
    elastic = estimate(parse_joint(plain_joint(law, HOT + COLD)))
    setting = estimate(parse_joint(plain_joint(law + "\nunloading_stiffness = 4000", HOT + COLD)))
    assert elastic.states[-1].fastener_force == pytest.approx(elastic.states[1].fastener_force, rel=1e-9)
    assert setting.states[-1].fastener_force < 0.98 * setting.states[1].fastener_force


def test_a_cold_case_before_the_heat_differs_from_one_after_it():
    early = COLD.replace('"cold"', '"cold before"', 1)
    one = estimate(
        parse_joint(
            STEEL.split("[[load_cases]]")[0] + '[[load_cases]]\nname = "a"\nkind = "assembly"\n' + early + HOT + COLD
        )
    )
    before, after = (state.fastener_force for state in one.states if state.kind == "cold")
    assert after < before


def test_at_its_margin_the_sealing_zone_has_just_what_it_needs():
    joint = parse_joint(STEEL)
    firing = next(state for state in estimate(joint).states if state.kind == "firing")
    text = STEEL.replace('gas_pressure = "110 bar"', f'gas_pressure = "{110 * firing.separation_factor} bar"')
    # the margin keeps the set that the stated pressure left, and more gas only unloads: the same set
    at_margin = next(state for state in estimate(parse_joint(text)).states if state.kind == "firing")
    needed = joint.requirements.sealing_ratio * at_margin.case.gas_pressure
    assert at_margin.sealing_pressure == pytest.approx(needed, rel=1e-3)


def test_the_load_introduction_table_is_met_at_its_corners_and_between():
    assert load_introduction.from_table("SV1", 0.0, 0.0) == 0.70
    assert load_introduction.from_table("SV6", 0.5, 0.3) == 0.03
    assert load_introduction.from_table("SV4", 0.05, 0.05) == pytest.approx((0.42 + 0.34 + 0.33 + 0.27) / 4)
    assert load_introduction.from_table("SV4", 9.0, 9.0) == 0.03


def test_preload_and_torque_invert_each_other():
    joint = parse_joint(STEEL)
    tight, fastener = joint.tightening, joint.fastener
    arm = tightening.torque_per_preload(fastener.nut_thread, 0.12, 0.12, (17.0 + 11.0) / 2)
    assert tight.preload * arm == pytest.approx(tight.torque)


def test_a_gasket_that_grows_adds_clamp():
    # 0.1 mm at 1e-4 /K, 100 K hotter than all else: 1 um in the chain; 1000 MPa/mm on pi/4 (40^2 - 12^2) mm2
    hot = '[[load_cases]]\nname = "hot"\nkind = "hot"\ntemperatures = { head = 20, fastener = 20, block = 20, gasket = 120 }\n'
    text = plain_joint("closure = [0, 1]\npressure = [0, 1000]", hot).replace(
        "thickness = 0.1\n", "thickness = 0.1\nexpansion = 1e-4\n"
    )
    one = estimate(parse_joint(text))
    delta_G = 1.0 / (1000.0 * math.pi / 4.0 * (40.0**2 - 12.0**2))
    gain = 1e-3 / (one.delta_S + one.delta_P + delta_G)
    settled, grown = one.states[1:]
    assert grown.thermal_change == pytest.approx(gain, rel=1e-4)
    assert grown.fastener_force - settled.fastener_force == pytest.approx(gain, rel=1e-4)


def test_gas_on_the_head_alone_relieves_the_block_s_layer_by_all_of_it():
    deep = plain_joint(RIGID_LAW, FIRING).replace("height = 60\n", "height = 60\ncounterbore_depth = 12\n")
    deep = deep.replace("length = 40\n", "length = 52\n")
    both, head = estimate(parse_joint(deep)), estimate(parse_joint(deep.replace("[gas]\n", '[gas]\nfaces = "head"\n')))
    block = next(term.value for term in both.clamped_terms if "block" in term.name)
    n, delta_P = both.load_introduction_factor, both.delta_P
    assert head.delta_P == delta_P
    # n (delta_P - delta_block) + delta_block, against n delta_P
    assert head.load_introduction_factor * delta_P == pytest.approx(n * (delta_P - block) + block)
    more = head.states[-1].load_factor - both.states[-1].load_factor
    assert more == pytest.approx((1.0 - n) * block / (both.delta_S + delta_P), rel=1e-3)
    # without a counterbore the block is no part of the clamped stack, and it makes no difference
    shallow = plain_joint(RIGID_LAW, FIRING)
    either = [estimate(parse_joint(t)) for t in (shallow, shallow.replace("[gas]\n", '[gas]\nfaces = "head"\n'))]
    assert either[0].load_introduction_factor == either[1].load_introduction_factor
