"""Resilience, load introduction and the chain of springs, worked out by hand on the joint of `hand_made`.

The symbols are those of VDI 2230-1 sec. 5.1 and 5.2.
"""

from __future__ import annotations

import dataclasses
import math

import pytest
from hand_made import ELASTIC, FASTENER, JOINT, STEEL, WASHER, case, joint, zone

from headjoint.model.formulas import load_introduction
from headjoint.model.formulas.estimate import estimate
from headjoint.model.formulas.resilience import (
    Layer,
    bar,
    clamped_layers,
    clamped_resilience,
    cone_angle_tangent,
    fastener_resilience,
    layer_resilience,
    total,
)
from headjoint.model.formulas.sampled_joint import drawn_joint, preload_per_torque
from headjoint.model.joint import Gas, Gasket

QUARTER_PI = math.pi / 4
CORE = QUARTER_PI * 8.1596965**2  # mm2, of M10

# --- resilience


def test_a_bolt_s_resilience_is_head_shank_thread_core_and_teeth():
    found = [(term.name.split(",")[0], term.value) for term in fastener_resilience(JOINT)]
    assert found == [
        ("bolt head", pytest.approx(5.0 / (200e3 * QUARTER_PI * 100.0))),  # l_SK = 0.5 d of nominal section
        ("segment 1", pytest.approx(60.0 / (200e3 * 16.0 * math.pi))),
        ("segment 2", pytest.approx(40.0 / (200e3 * CORE))),
        ("core in the block", pytest.approx(5.0 / (200e3 * CORE))),  # l_G = 0.5 d of the core
        ("tapped thread", 0.4e-6),
    ]


def test_a_stud_has_an_engaged_thread_at_both_ends():
    fine = dataclasses.replace(FASTENER.thread, nominal_diameter=9.0, pitch=1.0)
    stud = dataclasses.replace(FASTENER, kind="stud", nut_thread=fine, nut_compliance=0.3e-6)
    found = [term.value for term in fastener_resilience(joint(fastener=stud))]
    assert found[:2] == pytest.approx([4.5 / (200e3 * QUARTER_PI * (9.0 - 1.226869) ** 2), 0.3e-6])
    assert found[-2:] == pytest.approx([5.0 / (200e3 * CORE), 0.4e-6])


def test_stiffness_is_that_of_the_assembly_temperature():
    # steel: 190 GPa at 120 degC against 200 at 20
    warm = joint(load_cases=(case(**dict.fromkeys(("fastener", "nut", "washer", "head", "gasket", "block"), 120.0)),))
    assert fastener_resilience(warm)[1].value == pytest.approx(60.0 / (190e3 * 16.0 * math.pi))
    assert clamped_layers(warm)[0].modulus == 70e3


def integrated(thickness: float, hole: float, outer: float, modulus: float, start: float, tangent: float) -> float:
    """Integral of dz/(E A) by the midpoint rule, A = pi/4 (D(z)^2 - hole^2), D growing by 2 tan phi per length."""
    n = 20000
    areas = (
        QUARTER_PI * (min(outer, start + 2.0 * tangent * (i + 0.5) * thickness / n) ** 2 - hole**2) for i in range(n)
    )
    return sum(thickness / n / (modulus * area) for area in areas)


@pytest.mark.parametrize(
    ("thickness", "start"), [(30.0, 16.0), (80.0, 16.0), (30.0, 40.0), (30.0, 50.0)],
    ids=["cone alone", "cone and sleeve", "sleeve alone", "start beyond the edge"],
)  # fmt: skip
def test_a_layer_s_resilience_is_the_integral_over_its_cone(thickness, start):
    layer = Layer("", thickness, 11.0, 40.0, 70e3)
    assert layer_resilience(layer, start, 0.4) == pytest.approx(
        integrated(thickness, 11.0, 40.0, 70e3, start, 0.4), rel=1e-6
    )


def test_a_cone_that_does_not_grow_is_a_tube():
    assert layer_resilience(Layer("", 30.0, 11.0, 40.0, 70e3), 20.0, 0.0) == pytest.approx(
        30.0 / (70e3 * QUARTER_PI * (400.0 - 121.0))
    )
    assert bar(30.0, 70e3, 100.0) == pytest.approx(30.0 / 7e6)


def test_the_cone_angle_of_a_tapped_joint():
    # 0.348 + 0.013 ln(100/18) + 0.193 ln(60/18) = 0.348 + 0.02229 + 0.23237
    assert cone_angle_tangent(100.0, 18.0, 60.0) == pytest.approx(0.60266, abs=1e-5)


def test_one_cone_goes_through_washer_head_and_block():
    washered = joint(washer=WASHER, head__height=77.0)
    # d_W = 18, l_K = 100, D'_A the smaller outer diameter: tan phi = 0.60266; 3.616 mm wider below the washer
    t = 0.602656
    found = [term.value for term in clamped_resilience(washered)]
    assert found == pytest.approx(
        [
            integrated(3.0, 11.0, 24.0, 200e3, 18.0, t),
            integrated(77.0, 12.0, 60.0, 70e3, 18.0 + 6.0 * t, t),
            integrated(19.0, 12.5, 64.0, 100e3, 60.0, t),
        ],
        rel=1e-5,
    )
    assert total(clamped_resilience(washered)) == pytest.approx(sum(found))
    flat = joint(block__counterbore_depth=0.0)
    assert [term.name for term in clamped_resilience(flat)] == ["head"]
    # the block is the narrower one: its rim limits the cone
    narrow = joint(block__outer_diameter=50.0, block__counterbore_depth=0.0)
    t = 0.348 + 0.013 * math.log(100 / 18) + 0.193 * math.log(50 / 18)
    assert clamped_resilience(narrow)[0].value == pytest.approx(integrated(80.0, 12.0, 60.0, 70e3, 18.0, t), rel=1e-5)


def test_a_cone_begins_no_narrower_than_the_hole_it_meets():
    wide = joint(head__hole_diameter=20.0, block__counterbore_depth=0.0, seat__bearing_outer_diameter=19.0)
    t = 0.348 + 0.013 * math.log(100 / 19) + 0.193 * math.log(60 / 19)
    grown = 20.0 * 1.0001
    # closed form of the cone: 2 ln[(d + h)(e - h)/((d - h)(e + h))]/(E pi h 2 tan phi), up to 60 mm, then the sleeve
    length = (60.0 - grown) / (2 * t)
    cone = math.log((grown + 20) * 40 / ((grown - 20) * 80)) / (70e3 * math.pi * 20 * t)
    sleeve = (80.0 - length) / (70e3 * QUARTER_PI * (3600 - 400))
    assert total(clamped_resilience(wide)) == pytest.approx(cone + sleeve)


# --- load introduction


def test_the_load_introduction_factor_falls_with_lever_and_attached_length():
    for rows in load_introduction.TABLE.values():
        assert all(left >= right for row in rows for left, right in zip(row, row[1:], strict=False))
        assert all(
            above >= below
            for column in zip(*rows, strict=True)
            for above, below in zip(column, column[1:], strict=False)
        )
        assert all(0.0 < n <= 0.7 for row in rows for n in row)
    assert list(load_introduction.TABLE) == [f"SV{number}" for number in range(1, 7)]


def test_the_table_is_read_linearly_both_ways():
    # a quarter of the way from 0.1 to 0.3 and a fifth from 0 to 0.1
    upper, lower = 0.75 * 0.37 + 0.25 * 0.26, 0.75 * 0.30 + 0.25 * 0.20
    assert load_introduction.from_table("SV3", 0.15, 0.02) == pytest.approx(0.8 * upper + 0.2 * lower)
    assert load_introduction.from_table("SV2", -1.0, 0.3) == 0.16


def test_gas_beside_the_bearing_ring_enters_at_its_lever():
    # middle of the gas ring at 27.5 mm, rim of the bearing at 9 mm: 18.5/46.25 = 0.4, SV6 between 0.14 and 0.07
    plain = joint(load_introduction_factor=None, head__height=46.25)
    assert load_introduction.factor(plain)[0] == pytest.approx(0.105)
    within = dataclasses.replace(plain, gas=Gas(0.0, 10.0, 80.0))
    assert load_introduction.factor(within)[0] == pytest.approx(0.15)
    assert load_introduction.factor(dataclasses.replace(plain, gas=None))[0] == 0.0
    assert load_introduction.factor(JOINT)[0] == 0.25


# --- the chain

AREA = math.pi * (25.0**2 - 6.0**2)  # mm2, both zones
DELTA_S, DELTA_P = total(fastener_resilience(JOINT)), total(clamped_resilience(JOINT))
DELTA = DELTA_S + DELTA_P
FIRING = case("firing", "firing", pressure=5e3 / 1500.0, force=5e3)


def chain(law=None, *cases, embedding: float = 0.010, step: float = 0.0):
    zones = JOINT.gasket.zones
    if law is not None:
        zones = (zone("body", 12.0, 40.0, law, step), zone("seal", 40.0, 50.0, law, sealing=True))
    made = joint(gasket__zones=zones, tightening__embedding=embedding)
    return estimate(dataclasses.replace(made, load_cases=(case(), *cases)))


def test_a_stack_of_these_sizes_has_the_resilience_of_a_bolt_ten_times_as_soft_as_its_parts():
    # delta_S = 0.318 + 5.968 + 3.825 + 0.478 + 0.400 um/kN
    assert pytest.approx(10.99e-6, abs=0.01e-6) == DELTA_S
    one = chain()
    assert (one.delta_S, one.delta_P) == pytest.approx((DELTA_S, DELTA_P))


def test_tightening_closes_the_gasket_by_its_loading_curve():
    one = chain()
    closure = 30e3 / (AREA * 1000.0)  # 1000 MPa/mm while loading
    assert one.states[0].closure == pytest.approx(closure)
    assert one.states[0].sealing_pressure == pytest.approx(30e3 / AREA)
    assert one.states[0].gasket_force == pytest.approx(30e3)
    assert one.overlap == pytest.approx(30e3 * DELTA + closure)
    # a quarter of the closure springs back at four times the stiffness
    assert [z.permanent_set for z in one.states[0].zones] == pytest.approx([0.75 * closure] * 2)
    assert [z.force for z in one.states[0].zones] == pytest.approx(
        [30e3 * z.area / AREA for z in one.joint.gasket.zones]
    )
    assert one.gasket_loading == pytest.approx(1.0 / (AREA * 1000.0), rel=1e-6)
    assert one.gasket_relief == pytest.approx(1.0 / (AREA * 4000.0), rel=1e-6)
    assert one.cut_compliance == pytest.approx(DELTA + 1.0 / (AREA * 1000.0), rel=1e-6)


def test_load_factors_with_and_without_the_gasket():
    one = chain()
    relief = 1.0 / (AREA * 4000.0)
    assert one.Phi_bare == pytest.approx(0.25 * DELTA_P / DELTA)
    assert one.Phi == pytest.approx((0.25 * DELTA_P + relief) / (DELTA + relief), rel=1e-6)


def test_embedding_relieves_the_gasket_on_its_steep_way_back():
    one = chain()
    relief = 1.0 / (AREA * 4000.0)
    assert one.embedding_loss == pytest.approx(0.010 / (DELTA + relief), rel=1e-6)
    assert one.states[1].fastener_force == pytest.approx(30e3 - 0.010 / (DELTA + relief), rel=1e-6)
    assert [state.kind for state in one.states] == ["assembly", "settled"]
    assert [state.kind for state in chain(embedding=0.0).states] == ["assembly"]


def test_heat_adds_the_growth_of_head_block_and_gasket_less_that_of_the_fastener():
    hot = case("hot", "hot", head=100.0, block=80.0, fastener=60.0, gasket=90.0)
    one = chain(ELASTIC, hot)
    # aluminium at 100 degC: (20 + 2 x 0.8)e-6 x 80 K over 80 mm; iron 11e-6 x 60 K over 19 mm; steel 12e-6 x 40 K over
    # 100 mm; gasket 30e-6 x 70 K over 1 mm
    stack = 80.0 * 21.6e-6 * 80.0 + 19.0 * 11e-6 * 60.0 - 100.0 * 12e-6 * 40.0
    gasket = 30e-6 * 1.0 * 70.0
    G = 1.0 / (AREA * 1000.0)
    force = 30e3 + (stack + gasket - 0.010) / (DELTA + G)
    hot_state = one.states[2]
    assert hot_state.fastener_force == pytest.approx(force, rel=1e-6)
    assert hot_state.closure + gasket == pytest.approx(force * G, rel=1e-6)
    assert [z.closure for z in hot_state.zones] == pytest.approx([force * G] * 2, rel=1e-6)
    assert hot_state.thermal_change == pytest.approx((stack + gasket) / (DELTA + G), rel=1e-5)
    assert one.states[0].thermal_change == 0.0


def test_a_washer_grows_along_and_lengthens_the_fastener():
    warm = case("hot", "hot", head=40.0, washer=60.0)
    made = joint(
        washer=WASHER, gasket__zones=(zone("all", 12.0, 50.0, ELASTIC, sealing=True),), tightening__embedding=0.0
    )
    made = dataclasses.replace(made, load_cases=(case(), warm))
    one = estimate(made)
    growth = 80.0 * 20.4e-6 * 20.0 + 3.0 * 12e-6 * 40.0
    delta = total(fastener_resilience(made)) + total(clamped_resilience(made))
    assert one.states[1].fastener_force == pytest.approx(30e3 + growth / (delta + 1 / (AREA * 1000)), rel=1e-6)
    heated = dataclasses.replace(made, load_cases=(case(), case("hot", "hot", fastener=60.0)))
    lost = 103.0 * 12e-6 * 40.0  # washer 3, head 80, gasket 1, counterbore 19
    assert estimate(heated).states[1].fastener_force == pytest.approx(
        30e3 - lost / (delta + 1 / (AREA * 1000)), rel=1e-6
    )


def test_a_zone_that_lies_lower_touches_later():
    one = chain(ELASTIC, step=0.005)
    body, seal = (math.pi * (400.0 - 36.0), math.pi * (625.0 - 400.0))
    # 1000 (body (c - 0.005) + seal c) = 30 kN
    closure = (30.0 + 0.005 * body) / (body + seal)
    assert one.states[0].closure == pytest.approx(closure)
    assert [z.pressure for z in one.states[0].zones] == pytest.approx([1e3 * (closure - 0.005), 1e3 * closure])


def test_gas_pulls_the_fastener_by_the_load_factor_and_relieves_the_seal_by_the_rest():
    one = chain(None, FIRING)
    relief = 1.0 / (AREA * 4000.0)
    Phi = (0.25 * DELTA_P + relief) / (DELTA + relief)
    settled = 30e3 - 0.010 / (DELTA + relief)
    fired = one.states[2]
    assert fired.load_factor == pytest.approx(Phi, rel=1e-5)
    assert fired.fastener_force == pytest.approx(settled + Phi * 5e3, rel=1e-6)
    assert fired.force_amplitude == pytest.approx(Phi * 5e3 / 2, rel=1e-5)
    assert fired.sealing_pressure == pytest.approx((settled - (1 - Phi) * 5e3) / AREA, rel=1e-6)
    # twice the gas pressure of 3.333 MPa f is wanted: (settled - (1 - Phi) 5 kN f)/A = 6.667 f
    assert fired.separation_factor == pytest.approx(settled / (AREA * 20.0 / 3.0 + (1 - Phi) * 5e3), rel=1e-4)
    assert fired.lift_off_factor == pytest.approx(settled / ((1 - Phi) * 5e3), rel=1e-4)
    assert one.states[1].load_factor is None


def test_the_least_pressure_rules_where_gas_is_weak():
    weak = case("firing", "firing", pressure=0.5, force=5e3)
    fired = chain(None, weak).states[2]
    relief = 1.0 / (AREA * 4000.0)
    Phi = (0.25 * DELTA_P + relief) / (DELTA + relief)
    settled = 30e3 - 0.010 / (DELTA + relief)
    # 5 MPa are left at f = 3.9, where twice the gas pressure is 3.9 MPa only
    assert fired.separation_factor == pytest.approx((settled - 5.0 * AREA) / ((1 - Phi) * 5e3), rel=1e-4)


def test_a_seal_that_has_lost_its_clamp_has_no_factor_and_gas_without_effect_none_at_all():
    cold = case("cold firing", "firing", pressure=1.0, force=1e3, head=-180.0)
    assert chain(None, cold).states[2].separation_factor == 0.0
    assert chain(None, case("firing", "firing", pressure=1e-3, force=10.0)).states[2].lift_off_factor is None


# --- one joint out of a batch


def test_a_draw_of_torque_and_friction_changes_the_preload_as_the_wedge_says():
    d2, P = 9.0257215, 1.5

    def arm(thread: float, bearing: float) -> float:
        tangent = math.tan(math.atan(P / (math.pi * d2)) + math.atan(thread / math.cos(math.pi / 6)))
        return d2 / 2 * tangent + 29.0 / 4 * bearing

    assert 1.0 / preload_per_torque(JOINT, 0.14, 0.08) == pytest.approx(arm(0.14, 0.08))
    tight = drawn_joint(JOINT, {"torque": 1.1, "thread friction": 0.14, "bearing friction": 0.08}).tightening
    assert tight.torque == pytest.approx(55e3)
    assert tight.preload == pytest.approx(55e3 / arm(0.14, 0.08))
    assert (tight.thread_friction, tight.bearing_friction) == (0.14, 0.08)
    # by length or angle the preload is what is drawn, and the torque what it takes
    tight = drawn_joint(JOINT, {"preload": 0.9}).tightening
    assert (tight.preload, tight.torque) == pytest.approx((27e3, 27e3 * arm(0.12, 0.10)))


def test_a_draw_scales_rises_of_temperature_gas_strength_expansion_and_embedding():
    made = joint(load_cases=(case(), case("f", "firing", 6.0, 9e3, head=120.0, block=100.0, fastener=60.0, nut=60.0,
                                          washer=110.0, gasket=110.0)))  # fmt: skip
    draw = {"temperature rise of head": 1.1, "temperature rise of block": 0.9, "temperature rise of fastener": 0.5,
            "gas pressure": 1.2, "yield strength": 0.95, "expansion of head": 1.05, "embedding": 1.5}  # fmt: skip
    found = drawn_joint(made, draw)
    fired = found.load_cases[1]
    assert fired.temperatures == pytest.approx(
        {"head": 130.0, "block": 92.0, "fastener": 40.0, "nut": 40.0, "washer": 119.0, "gasket": 110.0}
    )
    assert (fired.gas_pressure, fired.gas_force) == pytest.approx((7.2, 10.8e3))
    assert found.fastener.yield_strength.values == pytest.approx((855.0, 760.0))
    assert found.head.material.expansion.values == pytest.approx((21e-6, 23.1e-6))
    assert found.seat.material.expansion == STEEL.expansion
    assert found.tightening.embedding == pytest.approx(0.015)
    assert drawn_joint(made, {"embedding": -1.0, "gas pressure": -1.0}).tightening.embedding == 0.0


def test_a_higher_bead_touches_earlier_and_a_hollow_deck_later_where_the_gas_is():
    zones = (zone("inner", 12.0, 20.0, step=0.01), zone("seal", 20.0, 30.0, sealing=True), zone("outer", 30.0, 40.0))
    made = joint(gasket=Gasket(1.0, zones, 0.0))
    draw = {"bead height": 0.02, "deck unevenness": 0.03, "gasket pressure, linear": 0.8}
    # gas outside (50 to 60 mm): the seal and what lies beyond it
    found = drawn_joint(made, draw).gasket.zones
    assert [one.step for one in found] == pytest.approx([0.01, 0.01, 0.03])
    assert found[0].law.curves[0].pressure == pytest.approx((0.0, 80.0))
    assert found[0].law.unloading_stiffness == pytest.approx(3200.0)
    # gas inside: the seal and what lies within it
    inside = drawn_joint(dataclasses.replace(made, gas=Gas(0.0, 12.0, 100.0)), draw).gasket.zones
    assert [one.step for one in inside] == pytest.approx([0.04, 0.01, 0.0])
    assert ELASTIC.scaled(0.5).unloading_stiffness is None
