"""What reading a file computes: lengths that are left, compliances of teeth, a stud's share of a cell, ramps, flow."""

from __future__ import annotations

import dataclasses
import math

import pytest
from conftest import shipped_text
from hand_made import JOINT, joint, rows

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.model.base.errors import InputError
from headjoint.model.files.heat_file import DutyStepTable
from headjoint.model.files.service_file import CreepTable, FlowTable, StepTemperatures
from headjoint.model.reading.cell_reading import _circle_between, studs_modelled
from headjoint.model.reading.creep_reading import resolve_creep
from headjoint.model.reading.duty_steps import dated_steps, surroundings_over_steps
from headjoint.model.reading.load_cases import part_temperatures
from headjoint.model.reading.operating_points import GasSide
from headjoint.model.reading.reading import parse_cell, parse_joint
from headjoint.model.reading.service_reading import duration_text, resolve_flow

# --- a joint

TEXT = """
name = "by hand"
[fastener]
kind = "bolt"
thread = "M10"
material = { E = "200 GPa", nu = 0.3, expansion = 12e-6, yield_strength = 900, ultimate_strength = 1000 }
engagement = 15
[[fastener.segments]]
diameter = 8
[[fastener.segments]]
thread = true
length = 40
[head]
height = 80
outer_diameter = 60
hole_diameter = 12
material = { E = "70 GPa", nu = 0.33, expansion = 22e-6 }
[gasket]
thickness = 1
[[gasket.zones]]
name = "all"
inner_diameter = 12
outer_diameter = 50
law = "all"
[gasket.laws.all]
closure = [0, 0.1]
pressure = [0, 100]
unloading_stiffness = 4000
[block]
height = 100
outer_diameter = 60
counterbore_depth = 19
material = { E = "100 GPa", nu = 0.26, expansion = 11e-6 }
[gas]
inner_diameter = 50
outer_diameter = 60
force_area = 1500
[tightening]
method = "torque"
torque = "40 N.m"
thread_friction = 0.12
bearing_friction = 0.10
scatter = 1.6
[[load_cases]]
name = "assembly"
kind = "assembly"
[[load_cases]]
name = "firing"
kind = "firing"
gas_pressure = "60 bar"
temperatures = { head = 110, block = 90, fastener = 80 }
[[load_cases]]
name = "ring"
kind = "firing"
ring_force = "6 kN"
"""
STUD = TEXT.replace('kind = "bolt"', 'kind = "stud"', 1).replace(
    'thread = "M10"', 'thread = "M10"\nnut_thread = "M10x1.25"'
)
WASHERED = (
    STUD
    + """
[washer]
inner_diameter = 11
outer_diameter = 24
thickness = 3
material = { E = "200 GPa", nu = 0.3, expansion = 12e-6 }
"""
)


def test_the_open_segment_takes_what_is_left_of_the_grip():
    # head 80 + gasket 1 + counterbore 19 - 40 = 60; with a washer 3 more
    assert [one.length for one in parse_joint(TEXT).fastener.segments] == [60.0, 40.0]
    assert parse_joint(WASHERED).fastener.segments[0].length == 63.0
    assert parse_joint(TEXT).fastener.segments[1].diameter == pytest.approx(8.1597, abs=1e-4)


def test_teeth_give_as_the_standard_s_lengths_of_nominal_section():
    area = math.pi / 4 * 100.0
    # 0.33 d of the block's modulus in a tapped hole, 0.4 d of the nut's (VDI 2230-1 sec. 5.1.1)
    bolt, stud = parse_joint(TEXT).fastener, parse_joint(STUD).fastener
    assert (bolt.thread_compliance, bolt.nut_compliance) == pytest.approx((3.3 / (100e3 * area), 0.0))
    assert (stud.thread_compliance, stud.nut_compliance) == pytest.approx((3.3 / (100e3 * area), 4.0 / (200e3 * area)))
    own = TEXT.replace("engagement = 15", 'engagement = 15\nthread_compliance = "0.5 um/kN"')
    assert parse_joint(own).fastener.thread_compliance == pytest.approx(0.5e-6)
    bonded = TEXT.replace("engagement = 15", 'engagement = 15\nthread_compliance = "bonded"')
    assert parse_joint(bonded).fastener.thread_compliance == 0.0


def test_a_bolt_head_and_a_nut_are_cylinders_of_the_area_of_their_hexagon():
    bolt, stud = parse_joint(TEXT), parse_joint(STUD)
    # 16 mm across flats: sqrt(2 sqrt(3)/pi) = 1.0501 times as wide; 0.65 d high; bearing 0.95 s
    assert bolt.seat.outer_diameter == pytest.approx(16.0 * 1.05007, rel=1e-5)
    assert math.pi / 4 * bolt.seat.outer_diameter**2 == pytest.approx(16.0**2 * math.sqrt(3) / 2)
    assert (bolt.seat.height, bolt.seat.bearing_outer_diameter, bolt.seat.bearing_inner_diameter) == pytest.approx(
        (6.5, 15.2, 10.0)
    )
    assert stud.seat.height == pytest.approx(8.4, abs=0.5)  # ISO 4032
    # two pitches of the nut's thread stand out of it
    assert (stud.fastener.protrusion, bolt.fastener.protrusion) == (2.5, 0.0)
    stated = STUD.replace("engagement = 15", f"engagement = 15\nlength = {100 + 15 + stud.seat.height + 6.0}")
    assert parse_joint(stated).fastener.protrusion == pytest.approx(6.0)
    narrow = TEXT + "[bolt_head]\nouter_diameter = 14\n"
    assert parse_joint(narrow).seat.bearing_outer_diameter == 14.0


def test_defaults_follow_from_thread_and_hole():
    made = parse_joint(TEXT)
    assert made.block.hole_below == 5.0  # 0.5 d
    assert made.block.counterbore_diameter == 12.0
    assert (made.mesh_size.element_size, made.mesh_size.largest) == pytest.approx((0.25, 6.0))  # d/40, 0.6 d
    assert made.fastener.bonded_diameter == pytest.approx(9.0257, abs=1e-4)
    assert made.gasket.zones[0].sealing_diameter == 31.0
    plain = parse_joint(TEXT.replace("force_area = 1500", ""))
    assert plain.gas.force_area == pytest.approx(math.pi * (900 - 625))


def test_the_torque_becomes_a_preload_over_both_frictions():
    tangent = math.tan(math.atan(1.5 / (math.pi * 9.0257215)) + math.atan(0.12 / math.cos(math.pi / 6)))
    arm = 9.0257215 / 2 * tangent + (15.2 + 10.0) / 4 * 0.10
    assert parse_joint(TEXT).tightening.preload == pytest.approx(40e3 / arm)


def test_embedding_counts_one_thread_of_a_bolt_and_two_of_a_stud():
    # Rz 10 to 40 um: 3 for each thread, 3 under the head or nut, 2 below a washer
    found = [parse_joint(text.replace("scatter", 'roughness = "Rz 10 to 40 um"\nscatter')).tightening.embedding
             for text in (TEXT, STUD, WASHERED)]  # fmt: skip
    assert found == pytest.approx([6e-3, 9e-3, 11e-3])


def test_a_tightening_that_yields_is_refused_with_what_is_allowed():
    sigma = 1.0 / (16 * math.pi)
    arm = 9.0257215 / 2 * math.tan(math.atan(1.5 / (math.pi * 9.0257215)) + math.atan(0.12 / math.cos(math.pi / 6)))
    combined = math.sqrt(sigma**2 + 3 * (arm * 12 / (math.pi * 512)) ** 2)
    most = 900.0 / combined * (arm + 25.2 / 4 * 0.10) / 1e3
    assert parse_joint(TEXT.replace("40 N.m", f"{0.999 * most} N.m")).tightening.torque == pytest.approx(999 * most)
    with pytest.raises(InputError, match=f"at most {most:.4g} N.m"):
        parse_joint(TEXT.replace("40 N.m", f"{1.001 * most} N.m"))
    # a stated preload counts as turned, 900/0.022853 per mm2, unless nothing twists: 900 x 50.265
    turned = TEXT.replace('method = "torque"\ntorque = "40 N.m"', 'method = "preload"\npreload = "46 kN"')
    with pytest.raises(InputError, match=f"at most {900.0 / combined / 1e3:.4g} kN"):
        parse_joint(turned)
    pulled = turned.replace('preload = "46 kN"', 'preload = "46 kN"\ntwisted = false')
    with pytest.raises(InputError, match=r"at most 45\.24 kN"):
        parse_joint(pulled)


def test_gas_is_a_pressure_on_its_area_or_a_ring_force():
    _, firing, ring = parse_joint(TEXT).load_cases
    assert (firing.gas_pressure, firing.gas_force) == pytest.approx((6.0, 9e3))
    assert (ring.gas_pressure, ring.gas_force) == pytest.approx((4.0, 6e3))
    assert firing.temperatures == {"head": 110, "block": 90, "fastener": 80, "nut": 80, "washer": 110, "gasket": 100}
    assert ring.temperatures["head"] == 20.0
    stated = part_temperatures(
        StepTemperatures(head=100.0, block=80.0, fastener=60.0, gasket=150.0, nut=70.0, washer=90.0)
    )
    assert (stated["gasket"], stated["nut"], stated["washer"]) == (150.0, 70.0, 90.0)


# --- a stud's share of a cell

CELL = shipped_cells()["boosted-four"].read_text("utf-8")
RING_CELL = shipped_cells()["six-stud-ring"].read_text("utf-8")


def test_a_bank_tile_has_a_quarter_of_a_bore_and_half_a_stud():
    share = parse_cell(CELL).joint
    # to one stud: half a bore, and 2 x 49 x 70 mm2 of the plan
    areas = {zone.name: zone.area for zone in share.gasket.zones}
    assert areas["bead"] == pytest.approx(0.5 * math.pi / 4 * (96.0**2 - 91.0**2))
    assert areas["stopper"] == pytest.approx(0.5 * math.pi / 4 * (91.0**2 - 87.5**2))
    inner = 0.5 * math.pi / 4 * 87.5**2
    hole = math.pi / 4 * 12.0**2
    assert areas["body"] == pytest.approx(2 * 49 * 70 - inner - areas["bead"] - areas["stopper"] - hole)
    # the sealing line is the middle of the bead, 93.5 mm
    assert share.gas.force_area == pytest.approx(0.5 * math.pi / 4 * 93.5**2)
    assert share.head.outer_diameter == pytest.approx(math.sqrt(4 / math.pi * 2 * 49 * 70))
    assert share.load_cases[2].gas_force == pytest.approx(8.0 * 0.5 * math.pi / 4 * 93.5**2)
    # zones follow each other from the stud outwards, the body first
    assert [zone.name for zone in share.gasket.zones] == ["body", "bead", "stopper"]
    assert share.gasket.zones[0].inner_diameter == 12.0
    assert share.gas.inner_diameter == share.gasket.zones[2].outer_diameter


def test_holes_and_an_open_jacket_take_their_area_off_the_body():
    before = parse_cell(CELL).joint.gasket.zones[0].area
    hole = CELL.replace("[gasket.body]", "[[gasket.holes]]\nx = 24\ny = 60\ndiameter = 8\n[gasket.body]")
    # one hole in a tile, two to a stud
    assert parse_cell(hole).joint.gasket.zones[0].area == pytest.approx(before - 2 * math.pi * 16)
    open_deck = CELL.replace('deck_thickness = "16 mm"', "deck_thickness = 0").replace('wall = "8 mm"', 'wall = "6 mm"')
    # jacket from 49 to 53 mm radius, cut at mid-bridge 49 mm from the bore's centre
    outside = 2 * (49 * math.sqrt(53**2 - 49**2) + 53**2 * math.asin(49 / 53))
    assert parse_cell(open_deck).joint.gasket.zones[0].area == pytest.approx(before - 0.5 * (outside - math.pi * 49**2))


def test_a_circle_cut_by_mid_bridge():
    assert _circle_between(40.0, 49.0) == pytest.approx(math.pi * 1600)
    # two strips' worth: half-width 3 of radius 5: 2 (3 x 4 + 25 asin 0.6)
    assert _circle_between(5.0, 3.0) == pytest.approx(2 * (12 + 25 * 0.6435011))


def test_a_ring_sector_has_half_a_stud_and_its_share_of_the_bore():
    cell = parse_cell(RING_CELL)
    share, layout = cell.joint, cell.layout
    plan = math.pi / 4 * layout.outer_diameter**2 / layout.number
    assert share.head.outer_diameter == pytest.approx(math.sqrt(4 / math.pi * plan))
    line = cell.sealing_zone.sealing_diameter
    assert share.gas.force_area == pytest.approx(math.pi / 4 * line**2 / layout.number)


def test_studs_are_counted_over_all_tiles():
    bank = parse_cell(CELL).layout
    assert studs_modelled(bank) == 1  # at mid-bridge, the last bore's end
    three = dataclasses.replace(bank, bores=3)
    # two at the bridges between and one at the end
    assert studs_modelled(three) == 3
    assert studs_modelled(dataclasses.replace(three, extent="half")) == 6
    inside = dataclasses.replace(three, studs=((20.0, 50.0), (0.0, 60.0)))
    # mirrored at every bore and bridge: five tiles; and one over every bore
    assert studs_modelled(inside) == 8
    ring = parse_cell(RING_CELL).layout
    assert studs_modelled(dataclasses.replace(ring, extent="full")) == ring.number


def test_a_cell_s_mesh_sizes_follow_from_the_bore():
    mesh = parse_cell(CELL).mesh
    assert (mesh.ring_size, mesh.stud_size, mesh.growth, mesh.largest) == pytest.approx((86 / 20, 86 / 20, 0.4, 86 / 6))


def test_a_cell_s_cylinder_is_as_soft_as_its_thinner_lengths():
    cell = parse_cell(CELL)
    fastener = cell.joint.fastener
    E, shank = fastener.material.E.at(20.0), math.pi / 4 * 10.2**2
    core = math.pi / 4 * (11.0 - 1.226869 * 1.25) ** 2
    assert cell.shank_diameter == 10.2
    assert cell.series_compliance == pytest.approx(fastener.meshed_compliance + 18.0 / E * (1 / core - 1 / shank))


# --- heat


def test_what_is_stated_of_faces_and_gaps_is_turned_into_millimetres():
    heat = parse_joint(
        TEXT
        + """
[heat]
shank_gap = "0.6 W/mK"
ambient_film = "25 W/m2K"
[heat.gasket_faces]
gap_conductivity = "0.04 W/mK"
body_conductivity = "3 W/mK"
roughness = "4 um"
[heat.bearing_faces]
gap_conductivity = "0.2 W/mK"
"""
    ).heat
    assert heat.shank_gap == pytest.approx(0.6e-3)
    assert heat.ambient_film(0.0) == pytest.approx(25e-6)
    assert (heat.gasket_contact.gap_conductivity, heat.gasket_contact.body_conductivity) == pytest.approx(
        (0.04e-3, 3e-3)
    )
    assert heat.gasket_contact.roughness == pytest.approx(4e-3)
    assert heat.bearing_contact.gap_conductivity == pytest.approx(0.2e-3)


def test_typical_operating_points_take_their_share_of_the_firing_pressure():
    heat = parse_joint(TEXT).heat
    part, full, idle = (
        next(one for one in heat.steps if one.kind == kind) for kind in ("part load", "full load", "idle")
    )
    assert [heat.gas_pressure(one.end) for one in (part, full, idle)] == pytest.approx([3.0, 6.0, 0.9])
    assert [heat.gas_film(one.end) * 1e6 for one in (part, full, idle)] == pytest.approx([220.0, 400.0, 80.0])
    assert [heat.gas_temperature(one.end) for one in (part, full, idle)] == pytest.approx([650.0, 800.0, 500.0])


def test_a_list_of_films_scales_and_its_gas_presses_where_it_heats():
    heat = parse_joint(TEXT + "[heat]\ntime = [\"0 s\", \"10 s\", \"60 s\"]\ngas_temperature = [800]\ngas_film = [0, 300, 500]\n"
                       "coolant_temperature = [20, 60, 90]\ncoolant_film = [1000]\n").heat  # fmt: skip
    assert heat.gas_film(35.0) == pytest.approx(400e-6)
    assert heat.coolant_film(35.0) == pytest.approx(1000e-6)
    assert heat.coolant_temperature(35.0) == 75.0
    assert heat.gas_pressure.values == pytest.approx((0.0, 6.0, 6.0))


def test_steps_lead_each_quantity_by_its_ramp():
    stated = [DutyStepTable(step="full load", duration=100.0, ramp=10.0), DutyStepTable(step="shutdown", duration=4.0)]
    found = surroundings_over_steps(stated, dated_steps(stated), {"full load": GasSide(700.0, 3e-4, 5.0)}, 20.0, 15.0)
    assert (found.gas_temperature(0.0), found.gas_temperature(5.0), found.gas_temperature(10.0)) == (20.0, 360.0, 700.0)
    assert found.gas_film(2.5) == pytest.approx(0.75e-4)
    assert found.gas_pressure(7.5) == pytest.approx(3.75)
    # a ramp of the step is that of the coolant, too; shut down, the gas falls to the air within the whole 4 s
    assert found.coolant_temperature(5.0) == pytest.approx(55.0)
    assert found.gas_temperature(102.0) == pytest.approx((700.0 + 15.0) / 2)
    assert found.gas_film(104.0) == 0.0
    assert found.coolant_film(0.0) == pytest.approx(1500e-6)
    assert found.coolant_film(104.0) == pytest.approx(300e-6)
    assert found.coolant_temperature(104.0) == 90.0
    assert [(one.start, one.end) for one in dated_steps(stated)] == [(0.0, 100.0), (100.0, 104.0)]


# --- flow, creep, service


def fastener_with(**flow) -> object:
    return type("Stated", (), {"flow": FlowTable(**flow)})()


def test_half_of_the_elongation_after_fracture_is_uniform():
    table = rows((20, 900.0))
    assert resolve_flow(fastener_with(), table, 1000.0, 0.10).uniform_elongation == pytest.approx(0.05)
    assert resolve_flow(fastener_with(elongation=0.08), table, 1000.0, 0.10).uniform_elongation == pytest.approx(0.04)
    assert resolve_flow(fastener_with(uniform_elongation=0.03), table, 1000.0, 0.10).uniform_elongation == 0.03
    assert resolve_flow(fastener_with(), table, None, 0.10) is None
    assert resolve_flow(fastener_with(), table, 904.6, 0.10).ultimate == 904.6
    with pytest.raises(InputError, match=r"1\.005 times"):
        resolve_flow(fastener_with(), table, 904.4, 0.10)


def test_a_measured_curve_gives_its_own_proof_stress_and_keeps_the_fall_with_heat():
    measured = fastener_with(plastic_strain=[0.0, 0.001, 0.003, 0.05], stress=[800.0, 850.0, 950.0, 1000.0])
    found = resolve_flow(measured, rows((20, 1000.0), (100, 900.0)), None, None)
    # at 0.2 % half-way between 850 and 950
    assert found.proof.values == pytest.approx((900.0, 810.0))
    assert (found.ultimate, found.uniform_elongation) == (1000.0, 0.05)


def test_a_loss_per_decade_is_one_per_e_fold_over_ln_ten():
    stated = CreepTable(kind="logarithmic", loss=[0.03, 0.06], temperature=[20.0, 100.0], onset=30.0)
    found = resolve_creep(stated, 4000.0, "law")
    assert found.rate.values == pytest.approx((0.03 / 2.302585, 0.06 / 2.302585))
    power = CreepTable(kind="power", loss=[0.03], exponent=0.2, onset=30.0)
    assert resolve_creep(power, 4000.0, "law").rate.values == (0.03,)


def test_the_typical_service_waits_a_day_and_runs_a_hundred_heat_cycles():
    tighten, wait, cycles = parse_joint(TEXT).history
    assert (tighten.torques, wait.duration, cycles.times) == ((40e3,), 86400.0, 100)
    run, cool = cycles.steps
    # an hour at 3000/min fires 90 000 times
    assert (run.duration, run.cycles, cool.duration) == (3600.0, 90_000.0, 3600.0)
    assert run.case.gas_force == pytest.approx(9e3)
    assert (run.kind, cool.kind) == ("run", "cool")


def test_a_service_s_own_state_has_its_gas_on_the_gas_s_area():
    made = parse_joint(
        TEXT
        + """
[[history]]
do = "tighten"
[[history]]
do = "run"
temperature = 100
gas_pressure = "50 bar"
duration = "2 h"
[[history]]
do = "run"
case = "firing"
gas_pressure = "30 bar"
duration = "10 s"
"""
    )
    assert (made.history[1].case.gas_force, made.history[1].duration) == pytest.approx((5.0 * 1500, 7200.0))
    assert made.history[1].case.temperatures["block"] == 100.0
    assert made.history[2].case.gas_force == pytest.approx(3.0 * 1500)
    assert made.history[2].case.temperatures["gasket"] == 100.0


def test_a_service_without_gas_has_no_gas_force():
    plain = TEXT[: TEXT.index("[gas]")] + TEXT[TEXT.index("[tightening]") : TEXT.index("[[load_cases]]")]
    plain += '[[load_cases]]\nname = "assembly"\nkind = "assembly"\n'
    made = parse_joint(plain + '[[history]]\ndo = "tighten"\n[[history]]\ndo = "wait"\nduration = "1 h"\n')
    assert (made.gas, made.history[1].case.gas_force, made.history[1].duration) == (None, 0.0, 3600.0)


def test_durations_are_written_as_people_say_them():
    written = [duration_text(seconds) for seconds in (30.0, 90.0, 3600.0, 86400.0, 172800.0)]
    assert written == ["30 s", "1.5 min", "1 h", "24 h", "2 days"]


def test_the_stack_of_a_shipped_joint_fits_its_fastener():
    made = parse_joint(shipped_text("boosted-four-steel"))
    grip = made.head.height + made.gasket.thickness + made.block.counterbore_depth + made.washer.thickness
    assert made.fastener.clamped_length == pytest.approx(grip)
    assert joint(fastener__engagement=20.0).fastener.clamped_length == JOINT.fastener.clamped_length
