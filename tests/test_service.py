"""A joint that remembers: tightening, yield, time, cycles, reuse - and what is said of it."""

from __future__ import annotations

import dataclasses
import math
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import scipy.sparse as sp
from conftest import COARSE, shipped_text
from hypothesis import given
from hypothesis import strategies as st

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.cases.condensed.cell_condensation import cell_model, condense_cell
from headjoint.cases.condensed.condensation import condense, full_model
from headjoint.cases.condensed.gasket_creep import creep_growth
from headjoint.cases.condensed.interface_laws import PointGroup
from headjoint.cases.load_cases.load_history import run
from headjoint.cases.models.condensed import Chain, OneFastener, chain_of, condensed_cell
from headjoint.cases.service import run as service_run
from headjoint.cases.service.fastener_law import Strains, at_rest, turned
from headjoint.cases.service.model import ServiceModel, service_of
from headjoint.cases.service.run import Position, advance, run_service
from headjoint.cases.service.steps import settle
from headjoint.cases.service.store import ServiceStore, identity
from headjoint.cases.service.tightening import retorque
from headjoint.meshes.one_fastener.single_stud import build
from headjoint.meshes.solid.bore_cell import build_cell
from headjoint.model.base.errors import InputError
from headjoint.model.base.property_table import PropertyTable
from headjoint.model.formulas.turning import torsion_left, turning_arms
from headjoint.model.gasket.shipped_laws import gasket_law
from headjoint.model.joint import Joint
from headjoint.model.library.plasticity import Creep, SteelRelaxation
from headjoint.model.load_case import LoadCase
from headjoint.model.reading.reading import parse_cell, parse_joint
from headjoint.model.service import Change, Hold, Repeat, Retorque, Tighten
from headjoint.postproc.service.fatigue import counted_cycles, service_fatigue
from headjoint.postproc.service.loss_split import split_loss
from headjoint.postproc.service.variants import dry_tightening, reuse

STEEL = shipped_text("boosted-four-steel")
BOLT = (Path(__file__).parent / "quenched_bolt.toml").read_text(encoding="utf-8")
DAY = 86400.0


def finite_elements(joint: Joint) -> ServiceModel:
    return service_of(OneFastener(joint, condense(joint, full_model(joint, build(joint)))))


@cache
def steel() -> ServiceModel:
    return finite_elements(parse_joint(STEEL))


@cache
def bolt() -> ServiceModel:
    return finite_elements(parse_joint(BOLT))


def tighten(**ways) -> Tighten:
    plain = {"torques": (), "angles": (), "gradient": None, "stretch": None, "pull": None, "preload": None}
    frictions = {"thread_friction": 0.12, "bearing_friction": 0.12}
    return Tighten(**({"name": "tighten"} | plain | frictions | ways))


def wait(duration: float, model: ServiceModel) -> Hold:
    return Hold("wait", "wait", model.joint.load_cases[0], duration)


def ageless(joint: Joint) -> Joint:
    """The joint without anything that time does to it, all embedding at once."""
    ageing = dataclasses.replace(joint.ageing, embedding_first=1.0, bearing_set=0.0)
    fastener = dataclasses.replace(joint.fastener, relaxation=SteelRelaxation(loss_1000h=0.0))
    zones = tuple(
        dataclasses.replace(zone, law=dataclasses.replace(zone.law, creep=None)) for zone in joint.gasket.zones
    )
    gasket = dataclasses.replace(joint.gasket, zones=zones)
    return dataclasses.replace(joint, ageing=ageing, fastener=fastener, gasket=gasket)


# --- the same joint as before


@pytest.mark.parametrize("closed_form", [False, True])
def test_without_time_a_service_is_the_load_history_of_the_joint(closed_form):
    joint = ageless(parse_joint(STEEL))
    model = service_of(chain_of(joint)) if closed_form else finite_elements(joint)
    cases = joint.load_cases
    steps = [tighten(preload=joint.tightening.preload), *(Hold(c.name, "heat", c, 0.0) for c in cases[1:])]
    records = run_service(model, steps).records
    if closed_form:
        from headjoint.model.formulas.estimate import estimate

        states = {state.name: state.fastener_force for state in estimate(joint).states}
    else:
        states = {state.name: float(state.force[0]) for state in run(model.base).states}
    assert records[0].force[0] == pytest.approx(states["settled"], rel=1e-5)
    # the flow curve has no elastic limit: at 70 % of the hot proof stress, torsion in it, some 1e-4 of the stretch is
    # plastic already
    assert records[1].force[0] == pytest.approx(states["hot"], rel=1e-4)
    assert records[2].fired_force[0] == pytest.approx(states["firing"], rel=1e-4)
    assert records[3].force[0] == pytest.approx(states["cold again"], rel=1e-4)


def test_the_chain_and_the_finite_elements_tell_the_same_story():
    joint = bolt().joint
    fe, chain = (run_service(model, joint.history).records for model in (bolt(), service_of(chain_of(joint))))
    assert len(fe) == len(chain)
    for one, other in zip(fe, chain, strict=True):
        if one.force[0] > 0.0:
            assert one.force[0] == pytest.approx(float(other.force[0]), rel=0.03)


# --- the fastener


def test_a_stud_twists_less_than_a_bolt_for_the_torque_of_its_finer_nut_thread_alone_runs_down_it():
    stud = parse_joint(STEEL.replace('thread = "M11x1.25"', 'thread = "M11x1.5"\nnut_thread = "M11x1.25"'))
    as_bolt = parse_joint(BOLT)
    assert stud.fastener.thread == as_bolt.fastener.thread
    assert turning_arms(stud, 0.12, 0.12).shank < 0.98 * turning_arms(as_bolt, 0.12, 0.12).shank
    # and a stud that winds further into a slippery block carries only what the block holds
    slippery = dataclasses.replace(stud, ageing=dataclasses.replace(stud.ageing, block_friction=0.04))
    arms = turning_arms(slippery, 0.12, 0.12)
    assert arms.shank < 0.6 * arms.thread


def test_half_the_torsion_stays_but_no_more_than_the_bearing_face_holds():
    joint = parse_joint(STEEL)
    arms = turning_arms(joint, 0.12, 0.12)
    assert torsion_left(joint, arms, 50e3) == pytest.approx(0.5 * arms.shank * 50e3)
    greasy = turning_arms(joint, 0.12, 0.02)
    assert torsion_left(joint, greasy, 50e3) == pytest.approx(greasy.bearing * 50e3)


def test_once_torsion_has_sprung_back_the_fastener_carries_more_than_while_it_was_turned():
    law = bolt().law
    none = Strains(*(np.zeros((1, len(law.lengths.length))) for _ in range(3)))
    force = np.array([58e3])
    arm = turning_arms(bolt().joint, 0.12, 0.12).shank
    strained = law.yielded(force, none, turned(arm, 1), 20.0)
    again = law.yielded(1.05 * force, strained, at_rest(0.5 * arm * force), 20.0)
    assert np.array_equal(again.equivalent, strained.equivalent)  # 5 % more without any yield


@given(
    force=st.floats(1e3, 70e3), used=st.floats(0.0, 70e3), arm=st.floats(0.0, 1.2), temperature=st.floats(20.0, 250.0)
)
def test_the_spring_of_a_strained_fastener_inverts_its_elongation_and_its_slope_is_the_derivative(
    force, used, arm, temperature
):
    law = bolt().law
    none = Strains(*(np.zeros((1, len(law.lengths.length))) for _ in range(3)))
    strains = law.yielded(np.array([used]), none, turned(arm, 1), 20.0)
    for twist in (turned(arm, 1), at_rest(np.array([0.4 * arm * used]))):
        length, slope = law.elongation(np.array([force]), strains, twist, temperature)
        found, stiffness = law.series(strains, twist, temperature)(length)
        assert found[0] == pytest.approx(force, rel=1e-8)
        assert stiffness[0] == pytest.approx(1.0 / slope[0], rel=1e-5)
        step = 1e-4 * force
        ahead, _ = law.elongation(np.array([force + step]), strains, twist, temperature)
        behind, _ = law.elongation(np.array([force - step]), strains, twist, temperature)
        if abs(ahead[0] - 2 * length[0] + behind[0]) < 1e-3 * (ahead[0] - length[0]):  # no kink between
            assert (ahead[0] - behind[0]) / (2 * step) == pytest.approx(slope[0], rel=1e-2)


def test_a_fastener_without_known_elongation_has_no_history_and_says_why():
    joint = parse_joint(
        STEEL.replace('material = "AISI 8740"', "material = { E = 205000, nu = 0.3, expansion = 12e-6 }")
    )
    with pytest.raises(InputError, match=r"how the fastener yields"):
        service_of(chain_of(joint))


# --- tightening


def test_a_torque_gives_its_force_and_an_angle_the_pitch_over_the_compliance():
    model = steel()
    arms = turning_arms(model.joint, 0.12, 0.12)
    record = run_service(model, [tighten(torques=(40e3,), angles=(math.radians(20.0),))]).records[0]
    forces = record.turning.force
    assert forces[-3] == pytest.approx(40e3 / arms.wrench)
    compliance = run(model.base).cut_compliance
    gained = model.joint.fastener.thread.pitch / 18.0 / compliance
    assert forces[-1] - forces[-3] == pytest.approx(gained, rel=0.02)
    assert record.turning.torque[-1] == pytest.approx(forces[-1] * arms.wrench)


def test_yield_control_ends_near_the_same_stress_whatever_the_friction():
    model = bolt()
    peaks = []
    for friction in (0.10, 0.14):
        step = tighten(torques=(20e3,), gradient=0.5, thread_friction=friction, bearing_friction=friction)
        peaks.append(run_service(model, [step]).records[0].turning.force[-1])
    by_torque = [60e3 / turning_arms(model.joint, friction, friction).wrench for friction in (0.10, 0.14)]
    assert peaks[1] / peaks[0] > 0.94
    assert by_torque[1] / by_torque[0] < 0.78
    area = model.joint.fastener.smallest_area
    assert 0.75 * 940 < peaks[0] / area < 940


def test_a_tensioner_leaves_less_than_it_pulled_and_no_torsion():
    record = run_service(steel(), [tighten(pull=50e3)]).records[0]
    assert record.force[0] < record.turning.force[-1] < record.turning.force[-2]
    assert record.turning.force[-2] == pytest.approx(50e3)
    assert record.memory.torsion[0] == 0.0


def test_tightening_to_a_stretch_makes_the_fastener_that_much_longer():
    record = run_service(steel(), [tighten(stretch=0.30)]).records[0]
    assert record.turning.stretch == pytest.approx(0.30, rel=1e-6)


def test_a_retorque_below_breakaway_moves_nothing_and_one_above_restores_the_clamp():
    model = steel()
    first = tighten(torques=(60e3,))
    for torque, moves in ((61e3, False), (70e3, True)):
        on = Retorque("retorque", torque, None, 0.12, 0.12)
        records = run_service(model, [first, wait(DAY, model), on]).records
        assert records[2].turning.moved is moves
        if moves:
            assert records[2].force[0] == pytest.approx(torque / turning_arms(model.joint, 0.12, 0.12).wrench, rel=0.01)
        else:
            assert records[2].force[0] == pytest.approx(float(records[1].force[0]), rel=1e-9)


def test_too_much_angle_breaks_the_fastener_and_ends_the_service():
    model = bolt()
    steps = [tighten(torques=(40e3,), angles=(math.radians(1500.0),)), wait(DAY, model)]
    service = run_service(model, steps)
    assert service.broken == 0
    assert len(service.records) == 1
    # tension and torsion together have reached the ultimate strength
    _, reduced = model.law.stress(service.records[0].force, at_rest(service.records[0].memory.torsion))
    assert reduced.max() == pytest.approx(1040.0, rel=0.01)


# --- time


def test_an_elastic_stud_loses_little_in_a_day_and_a_yielded_bolt_several_times_that():
    elastic = run_service(steel(), [tighten(torques=(92e3,)), wait(DAY, steel())]).records
    yielded = run_service(bolt(), [*bolt().joint.history[:1], wait(DAY, bolt())]).records
    for records, low, high in ((elastic, 0.0, 0.005), (yielded, 0.02, 0.10)):
        tightened = records[0].memory
        relaxed = records[1].memory.creep - tightened.creep
        model = steel() if records is elastic else bolt()
        share = model.law.modulus * relaxed.max() / 800.0
        assert low <= share <= high


def test_waiting_in_pieces_is_waiting_at_once():
    model = bolt()
    first = model.joint.history[0]
    whole = run_service(model, [first, wait(DAY, model)]).records[-1].force[0]
    pieces = run_service(model, [first, *(wait(DAY / 4, model) for _ in range(4))]).records[-1].force[0]
    assert pieces == pytest.approx(float(whole), rel=2e-4)


@pytest.mark.parametrize("kind", ["logarithmic", "power"])
def test_creep_goes_on_where_it_stood_and_stops_where_pressure_has_gone(kind):
    creep = Creep(kind, PropertyTable((20.0, 120.0), (0.01, 0.02)), 60.0, 0.2 if kind == "power" else 0.0, 30e3)
    law = dataclasses.replace(gasket_law("fibre composite body"), creep=creep)
    group = PointGroup("body", "gasket", np.arange(3), law)
    p = np.array([0.0, 10.0, 20.0])
    none = np.zeros(3)
    half = creep_growth(group, p, none, 20.0, 1800.0)[0]
    whole = creep_growth(group, p, none, 20.0, 3600.0)[0]
    assert half + creep_growth(group, p, half, 20.0, 1800.0)[0] == pytest.approx(whole, rel=1e-12)
    assert whole[0] == 0.0
    assert whole[2] == pytest.approx(2.0 * whole[1])
    assert creep_growth(group, p, none, 120.0, 3600.0)[0][2] > 2.0 * whole[2]
    assert creep_growth(group, 0.3 * p, whole, 20.0, 3600.0)[0][2] < 0.1 * whole[2]


def test_heat_that_yields_the_bolt_costs_clamp_in_the_cold_and_most_of_it_at_once():
    records = run_service(bolt(), bolt().joint.history[:4]).records
    cold = [float(record.cold_force[0]) for record in records if record.cold_force is not None]
    assert cold[3] < 0.88 * cold[2]  # the first heat cycle
    assert cold[-1] > 0.95 * cold[3]  # the other ninety-nine
    plastic = [record.memory.plastic.max() for record in records]
    assert plastic == sorted(plastic)


# --- cycles


def test_many_cycles_run_as_one_end_where_all_of_them_end(monkeypatch):
    model = steel()
    first, day, repeat = model.joint.history
    repeat = dataclasses.replace(repeat, times=60)
    quick = run_service(model, [first, day, repeat])
    monkeypatch.setattr(service_run, "LONGEST_JUMP", 0.0)
    every = run_service(model, [first, day, repeat])
    assert len(every.records) == 2 + 2 * 60
    assert len(quick.records) < 20
    lost = float(every.records[0].force[0] - every.records[-1].force[0])
    difference = float(quick.records[-1].force[0] - every.records[-1].force[0])
    assert abs(difference) < 0.005 * lost


def test_without_time_cycles_shake_down():
    model = service_of(chain_of(ageless(parse_joint(STEEL))))
    service = run_service(model, model.joint.history)
    assert service.shaken == (2,)
    last = [record for record in service.records if record.step == 2 and record.cold_force is not None]
    assert last[-1].cold_force[0] == pytest.approx(float(last[-2].cold_force[0]), rel=1e-9)


@pytest.mark.parametrize("stop", [1, 3, 5])
def test_an_interrupted_service_goes_on_bit_for_bit(tmp_path, stop):
    model = bolt()
    steps = [*model.joint.history[:2], dataclasses.replace(model.joint.history[3], times=9)]
    whole = run_service(model, steps)
    store = ServiceStore(tmp_path, identity(model, steps))
    store.begin()
    for number, unit in enumerate(advance(model, steps, Position(0, 0, service_run.fresh(model)))):
        if number == stop:
            break
        store.keep(unit)
    later = ServiceStore(tmp_path, identity(model, steps))
    finished = later.resume()
    assert len(finished) == stop
    resumed = run_service(model, steps, finished, later.keep)
    assert len(resumed.records) == len(whole.records)
    for one, other in zip(resumed.records, whole.records, strict=True):
        assert np.array_equal(one.force, other.force)
        assert np.array_equal(one.memory.permanent_set, other.memory.permanent_set)
        assert one.name == other.name
        assert one.case == other.case
    assert len(later.resume()) == len(list(tmp_path.glob("*.step")))


def test_the_steps_of_another_service_are_not_gone_on_with(tmp_path):
    store = ServiceStore(tmp_path, "one")
    store.begin()
    with pytest.raises(InputError, match="another joint"):
        ServiceStore(tmp_path, "other").resume()
    with pytest.raises(InputError, match="holds no service"):
        ServiceStore(tmp_path / "nowhere", "one").resume()


def test_a_damaged_step_is_run_again(tmp_path):
    model = service_of(chain_of(parse_joint(STEEL)))
    steps = model.joint.history[:2]
    store = ServiceStore(tmp_path, identity(model, steps))
    store.begin()
    run_service(model, steps, keep=store.keep)
    (tmp_path / "00001.step").write_bytes(b"not a step")
    assert len(ServiceStore(tmp_path, identity(model, steps)).resume()) == 1


def test_a_whole_step_of_another_service_or_of_another_place_is_run_again(tmp_path):
    model = service_of(chain_of(parse_joint(STEEL)))
    steps = model.joint.history[:2]
    mine, other = ServiceStore(tmp_path / "mine", identity(model, steps)), ServiceStore(tmp_path / "other", "other")
    for store in (mine, other):
        store.begin()
        run_service(model, steps, keep=store.keep)
    assert len(mine.resume()) == 2
    second = tmp_path / "mine" / "00001.step"
    own = second.read_bytes()
    for stray in ("other/00001.step", "mine/00000.step"):
        second.write_bytes((tmp_path / stray).read_bytes())
        assert len(mine.resume()) == 1
    second.write_bytes(own)
    assert len(mine.resume()) == 2


def test_a_nut_that_is_turned_on_in_every_cycle_is_turned_as_often():
    model = service_of(chain_of(parse_joint(STEEL)))
    on = Retorque("on", None, math.radians(2.0), 0.12, 0.12)
    repeat = Repeat("turn on", 10, (wait(60.0, model), on))
    service = run_service(model, [tighten(torques=(40e3,)), repeat])
    turns = [record for record in service.records if record.turning is not None and record.kind == "retorque"]
    assert len(turns) == 10
    travelled = float(service.records[-1].memory.travel[0] - service.records[0].memory.travel[0])
    assert travelled == pytest.approx(20.0 / 360.0 * model.joint.fastener.nut_thread.pitch, rel=1e-3)


def test_heat_at_a_firing_case_has_its_temperatures_and_no_gas():
    text = '[[history]]\ndo = "tighten"\n[[history]]\ndo = "heat"\ncase = "firing"\n'
    step = parse_joint(f"{STEEL}\n{text}").history[1]
    assert step.case.gas_force == 0.0
    assert step.case.temperatures["head"] == 118.0


def test_a_long_run_is_judged_by_its_end_and_counted_by_its_later_peaks():
    model = service_of(chain_of(parse_joint(BOLT)))
    firing = model.joint.load_cases[1]
    record = run_service(model, [model.joint.history[0], Hold("run", "run", firing, 500 * 3600.0, 1e6)]).records[1]
    assert record.fired_force[0] < record.first_fired_force[0] - 1000.0
    again = run_service(
        model, [model.joint.history[0], *(Hold("run", "run", firing, 250 * 3600.0, 1e6) for _ in range(2))]
    ).records[2]
    assert record.fired_force[0] == pytest.approx(float(again.fired_force[0]), rel=2e-3)
    assert record.fired_sealing == pytest.approx(again.fired_sealing, rel=2e-3)
    assert record.fired_force[0] - record.force[0] < 0.5 * (record.first_fired_force[0] - record.force[0])


@pytest.mark.parametrize("ultimate", [1006.0, 1020.0, 1300.0])
def test_a_fastener_that_hardly_hardens_yields_all_the_same(ultimate):
    strength = f"yield_strength = 1000, ultimate_strength = {ultimate}"
    material = (
        f"material = {{ E = 205000, nu = 0.3, expansion = 12e-6, {strength} }}\nflow = {{ uniform_elongation = 0.05 }}"
    )
    model = service_of(chain_of(parse_joint(BOLT.replace('property_class = "10.9"', material))))
    service = run_service(model, [tighten(torques=(40e3,), angles=(math.pi,))])
    assert service.broken is None
    assert 0.003 < service.records[0].memory.plastic.max() < 0.012


def test_a_bolt_breaks_at_its_strength_however_hard_the_wrench_is_pulled():
    model = service_of(chain_of(parse_joint(BOLT)))
    forces = []
    for torque in (400e3, 600e3):
        service = run_service(model, [tighten(torques=(torque,))])
        assert service.broken == 0
        forces.append(float(service.records[0].force[0]))
    assert forces[0] == pytest.approx(forces[1], rel=1e-6)
    assert forces[0] < 1040.0 * model.joint.fastener.smallest_area


def test_embedding_that_has_not_come_yet_comes_after_tightening_again():
    model = service_of(chain_of(parse_joint(STEEL)))
    first = tighten(preload=45e3)
    records = run_service(model, [first, tighten(preload=45e3, again=True), wait(DAY, model)]).records
    assert records[-1].memory.embedded[0] == pytest.approx(model.joint.tightening.embedding, rel=1e-6)


def test_a_bolt_that_is_yielded_anew_relaxes_anew_and_one_that_is_not_does_not():
    model = service_of(chain_of(parse_joint(BOLT)))
    first = model.joint.history[0]
    for angle, anew in ((60.0, True), (2.0, False)):
        on = Retorque("on", None, math.radians(angle), 0.12, 0.12)
        records = run_service(model, [first, wait(100 * DAY, model), on, wait(DAY, model)]).records
        creep = (records[-1].memory.creep - records[-2].memory.creep).max()
        first_day = run_service(model, [first, wait(DAY, model)]).records
        as_new = (first_day[1].memory.creep - first_day[0].memory.creep).max()
        assert bool(creep > 0.5 * as_new) is anew


class TwoLifted(Chain):
    """A chain of two fasteners, with twice the gas."""

    def lift(self, case: LoadCase) -> float:
        return 2.0 * super().lift(case)


def two_fasteners() -> ServiceModel:
    """Two fasteners of the steel joint side by side, the second a little looser, on one rigid head's worth of gasket."""
    one = service_of(chain_of(parse_joint(STEEL)))
    reduced = one.reduced
    k = reduced.K[1, 1]
    K = np.array([[2 * k, -k, -k], [-k, k, 0.0], [-k, 0.0, k]])
    loads = {name: np.array([2 * load[0], load[1], load[1]]) for name, load in reduced.loads.items()}
    B = sp.csr_matrix(np.column_stack([np.ones(reduced.points), np.zeros((reduced.points, 2))]))
    both = dataclasses.replace(
        reduced, K=K, loads=loads, B=B, weight=2 * reduced.weight, overlaps=np.array([1, 2]),
        series_compliance=np.repeat(reduced.series_compliance, 2), share=np.ones(2),
    )  # fmt: skip
    law = dataclasses.replace(one.law, compliance=both.series_compliance)
    return ServiceModel(TwoLifted(one.joint, both), law)


def test_a_nut_that_sticks_stays_where_it_is_while_its_neighbour_is_turned():
    model = two_fasteners()
    start = run_service(model, [tighten(torques=(60e3,))]).records[0]
    memory = start.memory
    # let the first one down a little, so that only it breaks away
    memory = dataclasses.replace(memory, travel=memory.travel - np.array([0.06, 0.0]))
    reached = settle(model, memory, model.joint.load_cases[0])
    assert reached.force[0] < 0.85 * reached.force[1]
    after, turning = retorque(model, reached, Retorque("retorque", 60e3, None, 0.12, 0.12))
    assert turning.moved
    assert after.memory.travel[1] == reached.memory.travel[1]
    assert after.memory.torsion[1] == reached.memory.torsion[1]
    assert after.force[1] < reached.force[1]
    assert after.force[0] > reached.force[0]


# --- where it went


def test_losses_by_cause_add_up_and_each_is_what_its_own_law_says():
    model = bolt()
    service = run_service(model, model.joint.history[:4])
    split = split_loss(model, service.records[0], service.records[-1])
    peak = float(service.records[0].turning.force[-1])
    assert split.peak == pytest.approx(peak, rel=1e-6)
    assert sum(split.parts.values()) == pytest.approx(peak - float(service.records[-1].force[0]), rel=1e-3)
    compliance = run(model.base).relief_compliance
    assert split.parts["embedding"] == pytest.approx(model.joint.tightening.embedding / compliance, rel=0.02)
    assert split.parts["fastener yield"] > split.parts["fastener relaxation"] > split.parts["gasket creep"] > 0.0


def test_a_new_gasket_is_like_the_first():
    model = service_of(chain_of(parse_joint(STEEL)))
    first = tighten(preload=50e3)
    again = [Change("loosen", "loosen"), Change("gasket", "replace gasket"), Change("bolt", "new fastener"), first]
    records = run_service(model, [first, *again]).records
    assert records[-1].turning.angle[-1] == pytest.approx(records[0].turning.angle[-1], rel=1e-6)
    kept = run_service(model, [first, Change("loosen", "loosen"), first]).records
    assert kept[-1].turning.angle[-1] < 0.9 * kept[0].turning.angle[-1]


def test_a_yielded_bolt_used_again_reaches_its_clamp_but_has_less_left_to_give():
    service = run_service(bolt(), bolt().joint.history)
    first, second = (record for record in service.records if record.turning is not None)
    assert second.turning.force[-1] == pytest.approx(first.turning.force[-1], rel=0.05)
    assert second.memory.plastic.max() > 1.5 * first.memory.plastic.max()
    found = reuse(service)
    assert found.strain > found.limit
    assert found.times == 0
    young = run_service(bolt(), bolt().joint.history[:3])
    strict, lax = (
        dataclasses.replace(
            bolt(), base=dataclasses.replace(bolt().base, joint=dataclasses.replace(bolt().joint, ageing=ageing))
        )
        for ageing in (dataclasses.replace(bolt().joint.ageing, permanent_limit=limit) for limit in (0.008, 0.018))
    )
    assert reuse(dataclasses.replace(young, model=strict)).times == 0
    assert 1 <= reuse(dataclasses.replace(young, model=lax)).times <= 3
    elastic = reuse(run_service(steel(), steel().joint.history[:2]))
    assert elastic.times is None
    assert elastic.stretch_again == pytest.approx(elastic.stretch_new, rel=1e-3)


def test_dry_threads_give_less_clamp_at_the_same_torque():
    service = run_service(steel(), steel().joint.history[:1])
    found = dry_tightening(service)
    arms = [turning_arms(steel().joint, mu, 0.12).wrench for mu in (0.12, 0.16)]
    assert found.dry_threads / found.oiled == pytest.approx(arms[0] / arms[1], rel=0.005)
    assert found.dry < found.dry_threads < found.oiled


def test_pressure_cycles_and_heat_cycles_are_both_counted():
    model = service_of(chain_of(parse_joint(STEEL)))
    service = run_service(model, model.joint.history)
    cycles = counted_cycles(service, 0)
    repeat = model.joint.history[2]
    assert isinstance(repeat, Repeat)
    run_cycles = repeat.times * (repeat.steps[0].cycles - 1.0)
    assert sum(one.count for one in cycles if one.count > 1e4) == pytest.approx(run_cycles)
    large = [one for one in cycles if one.count <= 1e4 and one.amplitude > 4e3]
    assert sum(one.count for one in large) == pytest.approx(repeat.times, abs=1.0)
    assert service_fatigue(service).miner < 0.01


# --- three dimensions


@cache
def ring() -> ServiceModel:
    text = shipped_cells()["six-stud-ring"].read_text("utf-8")
    text += COARSE
    cell = parse_cell(text)
    model = cell_model(cell, build_cell(cell))
    return service_of(condensed_cell(model, condense_cell(model)))


@pytest.mark.slow
def test_a_cell_remembers_like_the_joint_of_one_of_its_studs():
    model = ring()
    joint = model.joint
    cell, chain = (run_service(one, joint.history) for one in (model, service_of(chain_of(joint))))
    assert len(cell.records) == len(chain.records)
    for one, other in zip(cell.records, chain.records, strict=True):
        assert one.force[0] == pytest.approx(float(other.force[0]), rel=0.05)
    split = split_loss(model, cell.records[0], cell.records[-1])
    assert sum(split.parts.values()) == pytest.approx(split.peak - float(cell.records[-1].force[0]), rel=1e-3)


@pytest.mark.slow
def test_a_cell_goes_on_bit_for_bit():
    model = ring()
    steps = model.joint.history[:2]
    units = list(advance(model, steps, Position(0, 0, service_run.fresh(model))))
    resumed = run_service(model, steps, units[:1])
    assert np.array_equal(resumed.records[-1].force, units[-1][1][-1].force)


# --- the file


@pytest.mark.parametrize(
    ("history", "field", "problem"),
    [
        ('do = "tighen"', "history[0].do", "nearest: tighten"),
        ('do = "wait"\nduration = "1 h"', "history[0].do", "loose here"),
        ('do = "tighten"\n[[history]]\ndo = "tighten"', "history[1].do", "tight already"),
        ('do = "tighten"\n[[history]]\ndo = "run"\ncase = "firin"', "history[1].case", "nearest: firing"),
        ('do = "tighten"\n[[history]]\ndo = "run"\ncase = "hot"', "history[1].gas_pressure", "needs gas"),
        ('do = "tighten"\n[[history]]\ndo = "replace gasket"', "history[1].do", "loosen"),
        ('do = "tighten"\ntorque = ["60 N.m", "30 N.m"]', "history[0].torque", "must rise"),
        ('do = "tighten"\nangle = "90 deg"\npreload = "40 kN"', "history[0].preload", "give one of"),
        ('do = "tighten"\nstretch = "0.3 mm"\npull = "40 kN"', "history[0].stretch", "give one of"),
        ('do = "tighten"\n[[history]]\ndo = "repeat"\ntimes = 0\nsteps = []', "history[1].times", "at least 1"),
        ('do = "reuse"', "history[0].do", "nothing has been tightened"),
        ('do = "tighten"\n[[history]]\ndo = "wait"\nduration = "-1 h"', "history[1].duration", "greater than"),
        ('do = "tighten"\n[[history]]\ndo = "wait"\nduration = "1 kg"', "history[1].duration", "no unit of time"),
    ],
)
def test_a_history_that_cannot_be_is_refused_by_name(history, field, problem):
    with pytest.raises(InputError) as caught:
        parse_joint(f"{STEEL}\n[[history]]\n{history}\n")
    assert caught.value.field == field
    assert problem in str(caught.value)


def test_workshop_units_say_the_same_history():
    si = '[[history]]\ndo = "tighten"\ntorque = ["40.674545 N.m"]\nangle = "1.5707963 rad"\n'
    workshop = '[[history]]\ndo = "tighten"\ntorque = "30 lbf.ft"\nangle = "90 deg"\n'
    one, other = (parse_joint(f"{BOLT.split('[[history]]')[0]}{text}").history[0] for text in (si, workshop))
    assert one.torques == pytest.approx(other.torques)
    assert one.angles == pytest.approx(other.angles)
