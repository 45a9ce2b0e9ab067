"""What strength is judged by: torsion, bearing faces, stripping, fatigue, the edges of a gasket; each worked by hand."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from conftest import shipped_text, solved

from headjoint.cases.models.condensed import chain_of
from headjoint.cases.service.fastener_law import lengths_of
from headjoint.cases.service.model import service_of
from headjoint.cases.service.steps import bearing_set
from headjoint.model.base.errors import InputError
from headjoint.model.formulas import strength, stripping
from headjoint.model.formulas.turning import torsion_of, turning_arms
from headjoint.model.joint import bearing_ring, washer_ring
from headjoint.model.library import tightening
from headjoint.model.library.threads import thread
from headjoint.model.reading.reading import parse_cell, parse_joint
from headjoint.postproc.joint.estimate_answer import assess_estimate
from headjoint.postproc.joint.findings import state_findings
from headjoint.postproc.joint.lifted_faces import bearing_share, lifted_words
from headjoint.postproc.service.fatigue import CountedCycle, miner_sum

STEEL = shipped_text("boosted-four-steel")
BOLT = shipped_text("iron-diesel-steel")
PRELOAD = STEEL.replace('method = "torque"', 'method = "preload"').replace('torque = "68 lbf.ft"', 'preload = "50 kN"')


def steel(*changes: tuple[str, str]):
    text = STEEL
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    return parse_joint(text)


# --- torsion

# M10: d0 = (d2 + d3)/2 = (9.02572 + 8.15970)/2 = 8.59271 mm, A_S = 57.990 mm2
M10 = thread("M10")


def test_assembly_takes_torsion_by_the_plastic_section_and_service_by_the_elastic_one():
    # pi d0^3/12 = 166.10 mm3, pi d0^3/16 = 124.57 mm3: a section that flows all over bears a third more
    assert tightening.plastic_torsion_modulus(M10.stress_area) == pytest.approx(166.10, abs=0.01)
    assert tightening.elastic_torsion_modulus(M10.stress_area) == pytest.approx(124.57, abs=0.01)
    # 30 kN at 26.113 N.m: sigma 517.33, tau 26113/166.10 = 157.22, sigma_red = sqrt(517.33^2 + 3 x 157.22^2) = 584.6
    tight = tightening.tightening_stress(30e3, 26113.0, M10.stress_area)
    assert (tight.tension, tight.torsion) == pytest.approx((517.33, 157.22), abs=0.01)
    assert tight.combined == pytest.approx(584.62, abs=0.01)
    # half of it left at the same force: tau 13056.5/124.57 = 104.81, sigma_red = 548.3
    assert tightening.service_stress(517.33, 13056.5, M10.stress_area).combined == pytest.approx(548.25, abs=0.02)


def test_the_service_s_flow_goes_by_the_same_plastic_section_as_assembly():
    joint = steel()
    lengths = lengths_of(joint)
    expected = [tightening.plastic_torsion_modulus(area) for area in lengths.area]
    assert lengths.torsion_modulus == pytest.approx(expected)


def test_torsion_of_a_bolt_is_that_of_its_thread_and_half_stays():
    joint = parse_joint(BOLT)
    # M14x1.5, mu 0.12: d2 = 13.02572, arm = d2/2 tan(atan(P/(pi d2)) + atan(mu/cos 30))
    d2 = 14.0 - 0.649519 * 1.5
    assert joint.fastener.thread.pitch_diameter == pytest.approx(d2)
    mu = joint.tightening.thread_friction
    arm = d2 / 2.0 * math.tan(math.atan(1.5 / (math.pi * d2)) + math.atan(mu / math.cos(math.pi / 6.0)))
    found = torsion_of(joint, 80e3)
    assert (found.tightening, found.left) == pytest.approx((80e3 * arm, 40e3 * arm))


def test_no_more_torsion_is_left_than_the_bearing_face_holds_and_a_stud_takes_no_more_than_its_block():
    greasy = steel(("bearing_friction = 0.12", "bearing_friction = 0.02"), ("68 lbf.ft", "40 lbf.ft"))
    # D_Km/2 mu_K = (11 + 17)/4 x 0.02 = 0.14 mm
    assert torsion_of(greasy, 50e3).left == pytest.approx(50e3 * 0.14)
    held = dataclasses.replace(steel(), ageing=dataclasses.replace(steel().ageing, block_friction=0.04))
    d2 = 11.0 - 0.649519 * 1.25
    arm = d2 / 2.0 * math.tan(math.atan(1.25 / (math.pi * d2)) + math.atan(0.04 / math.cos(math.pi / 6.0)))
    assert torsion_of(held, 50e3).tightening == pytest.approx(50e3 * arm)
    assert torsion_of(held, 50e3).left == pytest.approx(25e3 * arm)


def test_a_stated_preload_counts_as_turned_unless_the_file_says_that_nothing_was_twisted():
    turned, pulled = parse_joint(PRELOAD), parse_joint(PRELOAD.replace("preload =", "twisted = false\npreload ="))
    assert torsion_of(turned, 50e3).tightening == pytest.approx(50e3 * turning_arms(turned, 0.12, 0.12).shank)
    assert (torsion_of(pulled, 50e3).tightening, torsion_of(pulled, 50e3).left) == (0.0, 0.0)
    for joint, twisted in ((turned, True), (pulled, False)):
        torsion = torsion_of(joint, 50e3)
        stress = strength.tightening_utilisation(joint, 50e3, torsion.tightening).stress
        alone = 50e3 / joint.fastener.smallest_area
        assert stress > 1.05 * alone if twisted else stress == pytest.approx(alone)
    with pytest.raises(InputError, match=r"tightening\.twisted: does not belong to method 'torque'"):
        parse_joint(STEEL.replace("thread_friction = 0.12", "twisted = false\nthread_friction = 0.12"))


def test_bending_adds_to_the_tension_that_service_is_judged_by():
    joint = steel()
    area, left = joint.fastener.smallest_area, torsion_of(joint, 52e3).left
    straight = strength.service_utilisation(joint, 60e3 / area, left, 20.0)
    bent = strength.service_utilisation(joint, 60e3 / area + 40.0, left, 20.0)
    tau = left / tightening.elastic_torsion_modulus(area)
    assert straight.stress == pytest.approx(math.sqrt((60e3 / area) ** 2 + 3.0 * tau**2))
    assert bent.stress == pytest.approx(math.sqrt((60e3 / area + 40.0) ** 2 + 3.0 * tau**2))


# --- bearing faces


def test_a_washer_is_loaded_no_wider_than_it_spreads_the_force():
    joint = steel()
    assert washer_ring(joint) == (12.0, 24.0)
    upper, lower = strength.bearing_faces(joint, 20.0)
    assert (upper.inner_diameter, upper.outer_diameter) == bearing_ring(joint)
    # d_Wa = 17 + 1.6 x 4 = 23.4: pi/4 (23.4^2 - 12^2) = 316.96 mm2, 50 kN on it 157.8 MPa, not 147.4 on all 339.3 mm2
    assert lower.outer_diameter == pytest.approx(23.4)
    assert strength.bearing_pressures(joint, 50e3, 20.0)[1][1] == pytest.approx(157.75, abs=0.01)
    thick = steel(('thickness = "4 mm"', 'thickness = "8 mm"'))
    assert strength.bearing_faces(thick, 20.0)[1].outer_diameter == 24.0


def test_a_hot_face_gives_way_as_its_material_yields():
    joint = steel()
    # EN AC-42100 at 118 degC: R_p0.2 = 210 - 98/130 x 35 = 183.6, so 290 x 183.6/210 = 253.6
    assert strength.bearing_faces(joint, 118.0)[1].limit == pytest.approx(253.56, abs=0.02)
    assert strength.bearing_faces(joint, 20.0)[1].limit == 290.0
    unknown = dataclasses.replace(joint.head.material, yield_strength=None)
    assert strength.bearing_limit([unknown], 118.0) == 290.0


def test_the_estimate_judges_a_hot_head_by_its_hot_limit():
    # washer on head 316.96 mm2; firing, the head at 118 degC bears 253.56 MPa
    answer = assess_estimate(steel())
    force = answer.estimates["greatest"].states[-2].fastener_force
    assert answer.verdict.criterion("bearing").value == pytest.approx(253.56 * 316.96 / force, rel=1e-4)


def test_finite_elements_show_that_the_washer_bears_on_no_more_than_that():
    history = solved("boosted-four-steel").nominal
    tight, reduced = history.states[0], history.reduced
    at = reduced.group("washer on head").points
    force = reduced.weight[at] * tight.equilibrium.pressure[at]
    inside = reduced.radius[at] < 23.4 / 2.0
    assert force[inside].sum() > 0.999 * force.sum()
    found = state_findings(history, margins=False)[0].bearings[1]
    assert 0.5 < found.bearing_share < 0.95


def test_what_has_lifted_off_is_said_at_its_worst():
    assert bearing_share(np.array([1.0, 2.0, 1.0]), np.array([10.0, 5.0, 0.0])) == 0.75
    shares = [("nut", "hot", 1.0), ("washer", "hot", 0.8), ("washer", "firing", 0.7), ("face", "hot", None)]
    words = lifted_words(shares)
    assert words == ("washer: only 70 % of the face bears (firing), the rest has lifted off",)


# --- stripping


def test_shear_areas_per_length_at_basic_size():
    # per mm of engagement, FED-STD-H28 form at basic sizes (from memory, recomputed): external, internal
    for name, external, internal in (("M8", 15.66, 21.99), ("M10x1.25", 20.37, 27.49), ("M12", 23.81, 32.99)):
        assert stripping.shear_area_external(thread(name), 1.0) == pytest.approx(external, rel=1e-3)
        assert stripping.shear_area_internal(thread(name), 1.0) == pytest.approx(internal, rel=1e-3)


def test_bending_of_teeth_and_widening_of_nuts_meet_where_their_formulas_change():
    # the polynomials of either thread end at the constant of the other side (VDI 2230-1 sec. 5.5.5)
    assert stripping.internal_bending_factor(1.0) == pytest.approx(0.897, abs=1e-3)
    assert stripping.external_bending_factor(1.0) == pytest.approx(0.897, abs=1e-3)
    assert stripping.internal_bending_factor(3.0) == stripping.internal_bending_factor(1.0)
    assert stripping.external_bending_factor(0.5) == stripping.external_bending_factor(1.0)
    # 0.728 + 1.769 x 0.7 - 2.896 x 0.49 + 1.296 x 0.343
    assert stripping.internal_bending_factor(0.7) == pytest.approx(0.9918, abs=1e-4)
    assert stripping.dilation_factor(1.9) == 1.0
    assert stripping.dilation_factor(1.8999) == pytest.approx(1.0, abs=1e-4)
    assert stripping.dilation_factor(1.5) == pytest.approx(0.84)  # 5.70 - 2.25 - 2.61


def test_the_thread_in_the_block_strips_over_its_full_turns():
    # 22 mm less two pitches of 1.25; internal pi/1.25 x 11 [0.625 + 0.57735 x 0.8119] = 30.238 mm2 per mm, 90 % of it
    # R_S = 30.238 x 250/(22.730 x 1300) = 0.26: C3 would be 1.055, taken as 1; iron of 0.9 x 250 MPa
    found = stripping.stripping(steel(), 20.0)
    assert found.weaker == "tapped thread"
    assert found.force == pytest.approx(19.5 * 30.238 * 0.9 * 0.9 * 250.0, rel=1e-4)
    stated = steel(('engagement = "22 mm"', 'engagement = "22 mm"\nrun_out = "4.75 mm"'))
    assert stripping.stripping(stated, 20.0).force == pytest.approx(found.force * 17.25 / 19.5)
    with pytest.raises(InputError, match=r"fastener\.run_out: must be less than the engagement"):
        steel(('engagement = "22 mm"', 'engagement = "22 mm"\nrun_out = "22 mm"'))


def test_a_strong_block_lets_the_fastener_strip_and_bends_less_than_it():
    hard = steel(('material = "EN-GJL-250"', 'material = { base = "EN-GJL-250", ultimate_strength = "1300 MPa" }'))
    # R_S = 30.238/22.730 = 1.330: C2 = 1.028, taken as 1, C3 = 0.897; 0.6 x 1300 against 0.9 x 0.897 x 1300 MPa
    found = stripping.stripping(hard, 20.0)
    assert found.weaker == "fastener's thread"
    assert found.force == pytest.approx(19.5 * 22.730 * 0.9 * 0.6 * 1300.0, rel=1e-4)


def test_the_nut_is_judged_where_its_strength_is_known():
    # 11 mm less a pitch; M11x1.25, both of 1300 MPa: R_S = 1.330. Flats of a 17 mm cylinder 17/1.05004 = 16.190, s/d =
    # 1.4718, C1 = 3.8 x 1.4718 - 1.4718^2 - 2.61 = 0.8166. Nut 0.897 x 30.238, stud 1 x 22.730 per mm: the stud's first
    found = stripping.nut_stripping(steel(), 20.0)
    assert found.weaker == "fastener's thread in the nut"
    assert found.force == pytest.approx(0.8166 * 9.75 * 22.730 * 0.9 * 0.6 * 1300.0, rel=1e-3)
    # hot it falls with the yield strength of the stud: AISI 8740 as tabulated
    ratio = steel().fastener.yield_strength.at(108.0) / steel().fastener.yield_strength.at(20.0)
    assert stripping.nut_stripping(steel(), 108.0).force == pytest.approx(ratio * found.force)
    assert stripping.nut_stripping(parse_joint(BOLT), 20.0) is None
    by_class = steel(('material = "AISI 8740"', 'property_class = "12.9"'))
    assert stripping.nut_stripping(by_class, 20.0) is None


def test_an_insert_strips_out_of_the_block_by_its_outer_thread():
    with_insert = steel(('material = "EN-GJL-250"', 'material = "EN-GJL-250"\ninsert = { outer_thread = "M14x1.5" }'))
    # M14x1.5: 38.485 mm2 per mm; what is inside it is not known, so C3 = 0.897
    found = stripping.stripping(with_insert, 20.0)
    assert found.weaker == "insert's thread in the block"
    assert found.force == pytest.approx(0.897 * 19.5 * 38.485 * 0.9 * 0.9 * 250.0, rel=1e-4)
    short = steel(
        ('material = "EN-GJL-250"', 'material = "EN-GJL-250"\ninsert = { outer_thread = "M14x1.5", length = "15 mm" }')
    )
    assert stripping.stripping(short, 20.0).force == pytest.approx(found.force * 12.5 / 19.5)
    with pytest.raises(InputError, match=r"block\.insert\.outer_thread: must have room for the fastener's M11x1\.25"):
        steel(('material = "EN-GJL-250"', 'material = "EN-GJL-250"\ninsert = { outer_thread = "M12" }'))


def test_a_cell_takes_insert_and_run_out_as_a_joint_does():
    text = shipped_text_of_cell()
    assert 'material = "EN-GJL-250"' in text
    block = text.split("[block]")[1].replace(
        'material = "EN-GJL-250"', 'material = "EN-GJL-250"\ninsert = { outer_thread = "M14x1.5" }', 1
    )
    cell = parse_cell(text.split("[block]")[0] + "[block]" + block)
    assert cell.joint.block.insert.outer_thread.designation == "M14x1.5"
    assert cell.joint.fastener.run_out == pytest.approx(2.0 * cell.joint.fastener.thread.pitch)


def shipped_text_of_cell() -> str:
    from headjoint.cases.command.stated_files import shipped_files

    return shipped_files("cells")["boosted-four"].read_text("utf-8")


# --- fatigue


def test_the_endurance_limit_that_is_taken_unstated_is_the_lower_one():
    # 0.85 (150/10 + 45) = 51.0 MPa; rolled after heat treatment at 0.7 of yield (2 - 0.7) x 51.0 = 66.3 MPa
    assert steel().fastener.rolled == "not known"
    lower = strength.endurance_limit(M10, "not known", 700.0, 1000.0)
    assert lower == strength.endurance_limit(M10, "before heat treatment", 700.0, 1000.0) == pytest.approx(51.0)
    after = strength.endurance_limit(M10, "after heat treatment", 700.0, 1000.0)
    assert after == pytest.approx(66.3, abs=0.05)
    assert strength.endurance_limit(M10, "after heat treatment", 100.0, 1000.0) == pytest.approx(1.7 * 51.0)


def test_threads_of_unknown_rolling_live_the_shorter_life():
    # M11x1.25: 0.85 (150/11 + 45) = 49.84 MPa before, 1.3 x 49.84 = 64.79 MPa after, at a mean of 0.7 of yield.
    # 60 MPa: 2e6 (49.84/60)^3 = 1.146e6 before, for ever after. 100 MPa: 2e6 x 0.4984^3 = 2.476e5 before,
    # 2e6 x 0.6479^6 = 1.479e5 after
    joint = steel()
    area = joint.fastener.thread.stress_area
    mean = 0.7 * joint.fastener.yield_strength.at(20.0) * area
    rows = miner_sum([CountedCycle(amplitude * area, mean, 1.0, 20.0) for amplitude in (60.0, 100.0)], joint)
    assert [row.limit for row in rows] == pytest.approx([49.84, 49.84], abs=0.01)
    assert [row.life for row in rows] == pytest.approx([1.146e6, 1.479e5], rel=2e-3)


def test_a_hot_thread_gains_less_by_rolling_after_heat_treatment():
    joint = dataclasses.replace(steel(), fastener=dataclasses.replace(steel().fastener, rolled="after heat treatment"))
    area, table = joint.fastener.thread.stress_area, joint.fastener.yield_strength
    mean = 0.5 * table.at(20.0) * area
    (cold, hot) = miner_sum([CountedCycle(60.0 * area, mean, 1.0, at) for at in (20.0, 200.0)], joint)
    # sigma_ASG = (2 - F_Sm/F_0.2min) sigma_ASV, F_0.2min at the temperature of the thread
    assert cold.limit == pytest.approx(1.5 * 49.84, rel=1e-3)
    assert hot.limit == pytest.approx((2.0 - 0.5 * table.at(20.0) / table.at(200.0)) * 49.84, rel=1e-3)
    assert hot.limit < cold.limit
    by_load_case = strength.fatigue(joint, 0.5 * table.at(20.0) * area, 0.5 * table.at(20.0) * area, 200.0)
    assert by_load_case.limit == hot.limit


def test_a_thread_insert_embeds_by_its_outer_thread_too():
    # VDI 2230-1 table 5, Rz 10 to 40 um, axial: 3 um in each thread, 3 um under the nut, 2 um under the washer
    assert steel().tightening.embedding == pytest.approx(11e-3)
    insert = ("[gas]", '[block.insert]\nouter_thread = "M14x1.5"\n\n[gas]')
    assert steel(insert).tightening.embedding == pytest.approx(14e-3)


def test_a_nut_that_says_no_inner_diameter_bears_from_the_edge_of_the_hole():
    # nut 17 mm over a washer of 11.5 mm: pi/4 (17^2 - 11.5^2) = 123.1 mm2; the washer over a hole of 12 mm
    nut, washer = strength.bearing_faces(steel(), 20.0)
    assert nut.area == pytest.approx(123.1, abs=0.1)
    assert washer.inner_diameter == 12.0


@pytest.mark.parametrize("stated", [True, False])
def test_a_stated_bearing_set_goes_by_the_limit_that_the_hot_head_has(stated):
    ageing = '[ageing]\nbearing_set = "1 um"\n\n[tightening]' if stated else "[tightening]"
    model = service_of(chain_of(steel(("[tightening]", ageing))))
    joint, none = model.joint, np.zeros(1)
    force, per_decade = np.array([50e3]), 1e-3 if stated else joint.head.material.bearing_set.at(150.0)
    face = strength.bearing_faces(joint, 150.0 if stated else 20.0)[-1]
    # s = a ln(1 + t/60 s), a = rate per decade/ln 10 x pressure over limit
    wanted = per_decade / math.log(10.0) * 50e3 / face.area / face.limit * math.log1p(3600.0 / 60.0)
    assert bearing_set(model, force, none, 150.0, 3600.0)[0] == pytest.approx(wanted, rel=1e-9)


# --- edges of gasket zones


def test_a_zone_is_pressed_hardest_at_its_edge_and_that_is_what_crush_is_judged_by():
    history = solved("boosted-four-steel").nominal
    reduced, state = history.reduced, history.state("hot")
    zone = history.joint.gasket.zones[2]
    at = reduced.group(zone.name).points
    # the stopper's outer edge, where the head bends over it
    outer = at[(reduced.weight[at] == 0.0) & (reduced.radius[at] == zone.outer_diameter / 2.0)]
    assert len(outer) == 1
    (edge,) = outer
    # the law at the closure of the two nodes there, by hand
    closure, temperature = float(state.equilibrium.closure[edge]), state.case.temperatures["gasket"]
    expected = zone.law.pressure(closure, float(state.set_before[edge]), temperature)
    assert state.equilibrium.pressure[edge] == pytest.approx(expected, rel=1e-9)
    findings = next(one for one in state_findings(history, margins=False) if one.name == "hot")
    found = next(one for one in findings.zones if one.name == zone.name)
    assert found.greatest == pytest.approx(expected, rel=1e-9)
    inside = state.equilibrium.pressure[at[reduced.weight[at] > 0.0]]
    assert found.greatest > inside.max()
    # it bears no force: the zone's is that of its area
    assert found.force == pytest.approx(float(reduced.weight[at] @ state.equilibrium.pressure[at]))
    assert reduced.weight[at].sum() == pytest.approx(zone.area)
