"""Numbers that answers print, worked out by hand: factors of requirements, figures in either system of units, shares."""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace

import numpy as np
import pytest
from hand_made import JOINT, LINEAR, case, joint, one_stud, rows, zone

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.cases.load_cases.load_history import run
from headjoint.cases.models.condensed import BoreCell
from headjoint.cases.rig.comparison import Compared
from headjoint.cases.rig.evaluation import Finding
from headjoint.model.base.figure import plain_text, small_length, temperature, unit_in, warming
from headjoint.model.formulas.estimate import estimate
from headjoint.model.formulas.sealing import Seal
from headjoint.model.formulas.tightened import by_formula
from headjoint.model.gasket.bead_limits import BeadLimits
from headjoint.model.joint import Joint
from headjoint.model.library.plasticity import Creep
from headjoint.model.reading.reading import parse_cell
from headjoint.model.service import Repeat
from headjoint.postproc.cell.assessment import judged_level
from headjoint.postproc.cell.findings import CellStateFindings, found_state
from headjoint.postproc.law.report import creep_text
from headjoint.postproc.present.report import factor_text
from headjoint.postproc.present.units import figure_text, force_text
from headjoint.postproc.rig.words import difference_text, figures, rounded, shown_unit, verdict
from headjoint.postproc.service.findings import ServiceFindings, _blocks
from headjoint.postproc.service.variants import Range
from headjoint.postproc.verdict import clamp, fastener, parts, sealing
from headjoint.postproc.verdict.model_seen import ModelSeen
from headjoint.postproc.verdict.requirement import Criterion, Judged, PartHeat, ServiceFigures, StateFigures, Tightened
from headjoint.postproc.verdict.state_figures import state_figures
from headjoint.postproc.warm_up.words import _gasket, _lag, _pace

# --- figures and units


@pytest.mark.parametrize(
    ("unit", "workshop", "factor"),
    [
        ("kN", "lbf", 224.80894),  # 1 lbf = 4.4482216 N
        ("MPa", "ksi", 0.14503774),  # 1 ksi = 6.8947573 MPa
        ("bar", "psi", 14.503774),
        ("um", "thou", 1 / 25.4),
        ("mm", "in", 1 / 25.4),
        ("N.m", "lbf.ft", 0.73756215),  # 1 lbf.ft = 1.3558179 N.m
        ("N/mm", "lbf/in", 25.4 / 4.4482216),
        ("um/kN", "thou/klbf", 4.4482216 / 25.4),
        ("MPa/mm", "ksi/thou", 0.14503774 * 0.0254),
        ("N/K", "lbf/degF", 0.22480894 / 1.8),  # a kelvin is 1.8 degF, so a degF moves less
        ("K", "degF", 1.8),
    ],
)
def test_a_workshop_s_units_are_those_by_definition(unit, workshop, factor):
    assert unit_in(unit, "workshop") == (workshop, pytest.approx(factor, rel=1e-7))
    assert unit_in(unit, "si") == (unit, 1.0)


def test_a_temperature_is_offset_and_a_warming_is_not():
    # 1.8 x 100 + 32; 1.8 x 100
    assert (temperature(100.0).written("workshop"), warming(100.0).written("workshop")) == ("212 degF", "180 degF")
    assert temperature(-40.0).written("workshop") == "-40 degF"
    assert (temperature(100.0).written(), warming(100.0).written()) == ("100 degC", "100 K")


def test_another_unit_is_told_with_as_many_significant_digits():
    # 0.0508 mm = 50.8 um = 2 thou
    assert (small_length(0.0508).written(), small_length(0.0508).written("workshop")) == ("51 um", "2.0 thou")
    assert small_length(0.008, ".1f").written("workshop") == "0.31 thou"  # 8/25.4 = 0.315


def test_tables_show_the_digits_that_matter():
    assert [figure_text(one) for one in (0.04567, 0.4567, 45.67, 456.7, 4567.0)] == [
        "0.0457", "0.46", "45.67", "456.7", "4567",
    ]  # fmt: skip
    assert (force_text(30e3, "si"), force_text(30e3, "workshop")) == ("30.00 kN", "6744 lbf")  # 30000/4.44822


# --- requirements


def a_state(made: Joint = JOINT, **changed) -> StateFigures:
    plain = {"name": "firing", "kind": "firing", "fastener_temperature": 70.0, "head_temperature": 20.0,
             "block_temperature": 70.0, "gas_pressure": 4.0, "force": 32e3, "assembled": 30e3,
             "seal": Seal(12.0, 24.0), "stroke": None}  # fmt: skip
    return state_figures(made, **(plain | changed))


def judged(made: Joint, *states: StateFigures, preload: float = 30e3, **more) -> Judged:
    levels = {name: Tightened(name, preload, states) for name in ("least", "nominal", "greatest")}
    return Judged(made, ModelSeen("", ""), levels, **more)


def test_the_fatigue_factor_is_that_of_half_the_swing_below_the_firing_force():
    # 32 kN with gas, 26 without: 6 kN/(2 x 57.99 mm2) = 51.73 MPa; rolled before heat treatment 0.85 (15 + 45) = 51.0
    found = fastener.FATIGUE.judge(judged(JOINT, a_state(force_amplitude=3e3)))
    assert found.value == pytest.approx(51.0 / 51.73, rel=1e-3)
    assert found.detail.written() == "amplitude 51.7 MPa against an endurance limit of 51.0 MPa"
    assert found.detail.written("workshop") == "amplitude 7.50 ksi against an endurance limit of 7.40 ksi"
    # rolled after it, at the mean of 29 kN over 850 MPa x 57.99 mm2 = 49.29 kN at yield at 70 degC:
    # (2 - 0.5883) x 51.0 = 71.99
    after = joint(fastener__rolled="after heat treatment")
    assert fastener.FATIGUE.judge(judged(after, a_state(force_amplitude=3e3))).value == pytest.approx(
        71.99 / 51.73, rel=1e-3
    )
    # 148.5 N are 2.561 MPa, of which 51.0 are 19.92; beyond 20 nothing is told
    assert fastener.FATIGUE.judge(judged(JOINT, a_state(force_amplitude=148.5))).value == pytest.approx(19.92, rel=1e-3)
    beyond = fastener.FATIGUE.judge(judged(JOINT, a_state(force_amplitude=10.0)))
    assert beyond.value is None
    assert factor_text(beyond) == "> 20"
    assert beyond.in_hand == 20.0


def test_service_yields_by_tension_and_the_half_of_torsion_that_is_left():
    # tightened: 596.8 MPa and 194.8 of torsion make 685.6, 900/685.6 = 1.313. In service 36 kN on the 8 mm shank are
    # 716.2 MPa; 15 kN x 0.8704 mm over pi 8^3/16 = 129.9; sqrt(716.2^2 + 3 x 129.9^2) = 750.7 against 850 at 70 degC
    tight, hot = a_state(name="assembly"), a_state(name="hot", force=36e3)
    found = fastener.YIELD.judge(judged(JOINT, tight, hot))
    assert found.value == pytest.approx(850.0 / 750.7, rel=2e-4)
    assert found.detail.written() == "751 MPa tension and the torsion left, against 850 MPa at 70 degC"
    assert found.detail.written("workshop") == "109 ksi tension and the torsion left, against 123 ksi at 158 degF"
    assert found.where.written() == "hot, greatest preload 30.0 kN"
    cold = fastener.YIELD.judge(judged(JOINT, tight))
    assert cold.value == pytest.approx(900.0 / 685.6, rel=2e-4)


def test_faces_threads_and_zones_are_judged_by_what_they_bear_over_what_they_meet():
    # 32 kN on the ring of 12 and 18 mm, 141.4 mm2: 226.4 MPa of 250
    assert parts.BEARING.judge(judged(JOINT, a_state())).value == pytest.approx(250.0 / 226.35, rel=1e-4)
    # 15 mm of tapped M10: 412.3 mm2 at basic size, 90 % of it, at 0.9 x 225 MPa: 75.15 kN
    found = parts.STRIPPING.judge(judged(JOINT, a_state()))
    assert found.value == pytest.approx(75.15e3 / 32e3, rel=1e-3)
    assert found.detail.written() == "tapped thread strips at 75 kN"
    brittle = dataclasses.replace(LINEAR, crush_pressure=150.0)
    crushed = joint(gasket__zones=(zone("all", 12.0, 50.0, brittle, sealing=True),))
    assert parts.CRUSH.judge(judged(crushed, a_state(crushed, zones=[("all", 120.0)]))).value == pytest.approx(1.25)
    heat = (PartHeat("head", "aluminium", "full load", 440.0, 550.0),)
    assert parts.MELTING.judge(judged(JOINT, a_state(), heat=heat)).value == pytest.approx(1.25)


def test_clamp_kept_counts_by_the_loss_that_is_allowed_over_the_one_there_is():
    # 27 of 30 kN: a tenth is lost where a fifth may be
    found = clamp.CLAMP_KEPT.judge(judged(JOINT, a_state(kind="cold", force=27e3)))
    assert (found.value, found.needed, found.in_hand) == pytest.approx((0.9, 0.8, 2.0))


BEADED = joint(
    gasket__zones=(
        zone("body", 12.0, 40.0),
        zone("seal", 40.0, 50.0, dataclasses.replace(LINEAR, limits=BeadLimits(10.0, 4.0, 0.02, "")), sealing=True),
    )
)


def test_the_sealing_line_is_judged_by_pressure_line_load_and_stroke():
    state = a_state(BEADED, stroke=0.008)
    # 12 MPa where 2 x 4 MPa are needed; 24 N/mm where 10 + nothing or 4 x 4 MPa = 16 N/mm are; 8 um of 20
    assert sealing.SEALING.judge(judged(BEADED, state)).value == pytest.approx(1.5)
    assert sealing.LINE_LOAD.judge(judged(BEADED, state)).value == pytest.approx(1.5)
    found = sealing.STROKE.judge(judged(BEADED, state))
    assert found.value == pytest.approx(2.5)
    assert found.detail.written("workshop") == "opens by 0.31 thou between gas and none, limit 0.787 thou"
    # without gas the least pressure of 5 MPa is what is needed
    assert sealing.SEALING.judge(judged(BEADED, a_state(BEADED, gas_pressure=0.0))).value == pytest.approx(2.4)


def test_the_clamp_that_is_said_to_be_missing_is_enough():
    # 0.9 of combustion is borne where 1.2 shall be: clamp grows as 1.2/0.9, by a third of 27 kN; or three quarters of
    # this pressure
    state = a_state(force=27e3, separation_factor=0.9, separation_judged=True)
    least = judged(JOINT, state, preload=24e3)
    nominal = judged(JOINT, state).levels["nominal"]
    both = dataclasses.replace(least, levels=least.levels | {"nominal": nominal})
    said = sealing.SEPARATION.judge(both).remedy.written()
    assert said.startswith("roughly 9 kN more clamp per fastener")
    assert "least preload is 80 % of nominal" in said
    assert "at most 0.75 of this combustion pressure" in said
    # the closed-form chain, tightened by so much more, holds; by a quarter less it would not
    made = dataclasses.replace(JOINT, load_cases=(case(), case("firing", "firing", pressure=8.0, force=12e3)))
    before = estimate(made, 24e3).states[-1]
    missing = (1.2 / before.separation_factor - 1.0) * before.fastener_force
    assert before.separation_factor < 1.2
    assert estimate(made, 24e3 + missing).states[-1].separation_factor >= 1.2
    assert estimate(made, 24e3 + missing * before.separation_factor / 1.2).states[-1].separation_factor < 1.2


def test_strain_and_miner_s_sum_are_told_as_factors():
    figures_of = ServiceFigures(0.004, 0.05, (("use again", 0.0016),), 0.002, 0.25, 2)
    made = judged(JOINT, service=figures_of)
    assert fastener.NECKING.judge(made).value == pytest.approx(12.5)
    assert fastener.REUSE.judge(made).value == pytest.approx(1.25)
    assert fastener.FATIGUE_IN_SERVICE.judge(made).value == pytest.approx(4.0)
    # 0.002 is 19.96 times the one strain and 20.04 times the other
    for strain, told in ((0.0001002, pytest.approx(19.96, rel=1e-3)), (0.0000998, None)):
        used = dataclasses.replace(figures_of, reused=(("use again", strain),))
        assert fastener.REUSE.judge(judged(JOINT, service=used)).value == told


# --- a bore cell


def test_a_stud_s_bending_adds_to_the_tension_of_the_same_stud_and_to_the_amplitude():
    state = SimpleNamespace(
        name="firing", kind="firing", forces=np.array([30e3, 32e3]), force_amplitudes=np.array([3e3, 1e3]), gas_pressure=4.0, stroke=0.0, sealing_without_gas=None,
        temperatures=dict.fromkeys(("fastener", "head", "block"), 20.0), separation_factor=None, zones=(),
        worst=SimpleNamespace(seal=Seal(12.0, 24.0), need=None),
    )  # fmt: skip
    cell = SimpleNamespace(joint=JOINT)
    bending = [np.array([50.0, 0.0])]
    history = SimpleNamespace(
        model=SimpleNamespace(cell=cell),
        tightened=by_formula(cell.joint, 30e3),
        states=[SimpleNamespace(strain=None)],
    )
    (found,) = judged_level("greatest", history, [state], bending, [np.array([4.0, 10.0])], separated=False).states
    # 30 kN/50.27 mm2 + 50 = 646.8 MPa, more than the 636.6 of the harder pulled one
    assert found.tension == pytest.approx(646.83, abs=0.01)
    assert found.force == 32e3
    # 51.73 + 4 MPa on the stress area, more than the 17.24 + 10 of the other stud
    found = fastener.FATIGUE.judge(judged(JOINT, found))
    assert found.value == pytest.approx(51.0 / 55.73, rel=1e-3)
    (unknown,) = judged_level("greatest", history, [state], bending, [None], separated=False).states
    assert unknown.force_amplitude is None


def cell_states(*cases) -> list[CellStateFindings]:
    """A head on one stud of 100 kN/mm and 100 mm2 of gasket, 1000 MPa/mm and 4000 on its way back, at 10 kN."""
    reduced = one_stud()
    points = SimpleNamespace(zone=np.array([0]), weight=np.array([100.0]), places=np.array([[7.0], [3.0]]),
                             under_fasteners=[], lines=())  # fmt: skip
    own = dataclasses.replace(joint(tightening__embedding=0.0), load_cases=(case(), *cases))
    cell = dataclasses.replace(
        parse_cell(shipped_cells()["boosted-four"].read_text("utf-8")), joint=own, fired=(0,), order=()
    )
    history = run(BoreCell(cell, reduced, points, {"gas 1": 1e3}), by_formula(own, 10e3, len(reduced.overlaps)))
    return [found_state(history, state) for state in history.states]


def test_the_head_lifts_by_what_its_faces_open_and_not_by_what_the_gasket_grows():
    # 4 kN of gas take 4/5 off the gasket: 3.2 kN over 400 kN/mm. A gasket 50 K warmer grows by 30e-6 x 50 x 1 mm =
    # 1.5 um against stud and gasket, pressed on at 10 um/kN each: half of it lifts. Colder by as much, the head sinks
    tight, fired = cell_states(case("fired", "firing", pressure=4.0, force=4e3))
    assert (tight.head_lift, fired.head_lift) == pytest.approx((0.0, 8e-3))
    assert fired.head_lift_at == (7.0, 3.0)
    assert cell_states(case("hot", "hot", gasket=70.0))[1].head_lift == pytest.approx(0.75e-3)
    assert cell_states(case("cold", "hot", gasket=-30.0))[1].head_lift == 0.0


# --- a service


def test_ranges_of_inputs_add_in_squares_and_scale_with_the_answer():
    # the chain ends at 16 kN: 3 and 4 kN less make 5; 3 kN more and none at all make 3; finite elements end at 20 kN
    of = SimpleNamespace(
        rows=(SimpleNamespace(cold=20e3),),
        chain_clamp=16e3,
        ranges=(Range("a", "", 13e3, 19e3), Range("b", "", 12e3, 15e3)),
    )
    assert ServiceFindings.kept_range.fget(of) == pytest.approx((20e3, 20e3 - 1.25 * 5e3, 20e3 + 1.25 * 3e3))


def test_as_many_cycles_again_cost_what_the_latest_doubling_did():
    def record(step: int, cycle: int, force: float) -> SimpleNamespace:
        return SimpleNamespace(step=step, cycle=cycle, cold_force=np.array([force]))

    # from cycle 10 to 40, two doublings, 1 kN: 0.5 kN of 25 in the next
    served = SimpleNamespace(
        steps=(None, Repeat("cycles", 40, ())),
        records=(record(0, 0, 28e3), record(1, 1, 27e3), record(1, 10, 26e3), record(1, 40, 25e3)),
        model=SimpleNamespace(mean=lambda force: float(force.mean())),
        shaken=(),
    )
    (found,) = _blocks(served)
    assert found.next_loss == pytest.approx(0.02)
    assert (found.kept, found.times, found.run_in_full) == (pytest.approx(25 / 28), 40, 3)


def test_a_law_s_creep_is_told_per_tenfold_time():
    # 0.02 per e-fold x ln 10 = 4.6 %
    law = dataclasses.replace(LINEAR, creep=Creep("logarithmic", rows((20, 0.02)), 10.0))
    assert "4.6 % at 20 degC of the pressure is lost per tenfold time" in creep_text(law, "si")
    assert "4.6 % at 68 degF" in creep_text(law, "workshop")


# --- a rig


def test_a_figure_has_the_second_digit_of_its_interval():
    # 2 x 0.004 = 0.008: to 1e-4; 2 x 30 = 60: to units; no interval: to hundredths
    assert (rounded(0.1234567, 0.004), rounded(12345.6, 30.0), rounded(1.23456, 0.0)) == ("0.1235", "12346", "1.23")


def test_a_finding_is_told_with_an_interval_of_two_point_three_deviations():
    found = Finding("nut_factor", "", 1, 0.16, "1", 0.002, {}, "")
    assert figures(found, "si") == ("0.1600", "0.1554 to 0.1646", "")  # 0.0046 either way
    # 11 um/kN: 11 x 4.44822/25.4 = 1.926 thou/klbf, deviation 0.0175: 0.0403 either way
    soft = Finding("stretch_compliance", "", 1, 11e-6, "mm/N", 0.1e-6, {}, "")
    assert figures(soft, "workshop") == ("1.926", "1.886 to 1.967", "thou/klbf")
    assert shown_unit("settled", "1", "si") == ("%", 100.0)


def test_a_hammer_s_blow_is_told_as_the_turn_that_does_the_same():
    values = {
        "struck": Finding("struck", "", 1, -0.02, "1", 0.001, {}, ""),
        "setup_compliance": Finding("setup_compliance", "", 1, 4e-6, "mm/N", 0.0, {}, ""),
        "stretch_compliance": Finding("stretch_compliance", "", 1, 11e-6, "mm/N", 0.0, {}, ""),
    }
    log = SimpleNamespace(
        get=lambda key: values.get(key), load=24e3, greatest=30e3, rig=SimpleNamespace(thread=JOINT.fastener.thread)
    )
    # 0.02 x 30 kN x 15 um/kN = 9 um of 1.5 mm a turn: 2.16 deg
    (said,) = verdict(log, "si")
    assert said == "A hammer changed clamp by -2.00 % (-2.23 to -1.77), as 2.2 deg of turn would"


def test_a_difference_is_told_with_its_sign_in_per_cent_or_in_its_unit():
    more = Compared("q", "nut_factor", "K", "1", 0.16, 0.2, 0.25, 0.23, 0.27, True, (1, 1))
    assert difference_text(more, "si") == ("+25.0 %", "23.0 to 27.0")
    # -25.4 +- 2.54 um is -1 +- 0.1 thou; half of the interval's half counts for the digits
    less = Compared("q", "stretch_zero", "", "mm", 0.1, 0.0746, -0.0254, -0.02794, -0.02286, False, (1, 1))
    assert difference_text(less, "workshop") == ("-0.00100 in", "-0.00110 to -0.00090")


# --- a warm-up


def warmed(*instants: SimpleNamespace) -> SimpleNamespace:
    return SimpleNamespace(instants=instants, extreme=lambda of: max(instants, key=of))


def instant(time: float, head: float, bolt: float, force: float = 30e3, **more) -> SimpleNamespace:
    return SimpleNamespace(time=time, force=force, temperatures={"head mean": head, "fastener mean": bolt}, **more)


def test_a_fastener_s_lag_is_a_difference_of_temperatures():
    run_of = warmed(instant(0.0, 20.0, 20.0), instant(60.0, 90.0, 40.0), instant(600.0, 60.0, 70.0))
    said = _lag(run_of, "si"), _lag(run_of, "workshop")
    assert said[0].startswith("at most 50 K colder than the head, at ")
    assert "at most 10 K hotter" in said[0]
    assert said[1].startswith("at most 90 degF colder")  # 1.8 x 50
    assert "at most 18 degF hotter" in said[1]


def test_a_gasket_s_further_set_is_told_in_um_or_thou():
    first = instant(0.0, 20.0, 20.0, gasket_set=0.010, zone_greatest={"seal": 80.0, "body": 60.0})
    last = instant(90.0, 90.0, 40.0, gasket_set=0.0608, zone_greatest={"seal": 100.0, "body": 50.0})
    # 50.8 um, 2 thou; 100 MPa = 14.50 ksi
    assert _gasket(warmed(first, last), "si").startswith("sets 51 um more on the way")
    said = _gasket(warmed(first, last), "workshop")
    assert said.startswith("sets 2 thou more on the way")
    assert "pressed most on 'seal', 14.50 ksi" in said


def test_half_the_pace_is_told_as_a_share_of_the_greatest_clamp():
    fast = warmed(
        instant(0.0, 20.0, 20.0, 30e3, fired_sealing=None), instant(60.0, 90.0, 40.0, 40e3, fired_sealing=20.0)
    )
    slow = warmed(
        instant(0.0, 20.0, 20.0, 30e3, fired_sealing=25.0), instant(60.0, 80.0, 50.0, 38e3, fired_sealing=22.0)
    )
    said = _pace(fast, slow, "si")
    assert said.startswith("greatest clamp 38.00 kN, -5.0 %; least sealing while firing 22.00 MPa instead of 20.00 MPa")


def test_a_factor_that_just_falls_short_is_not_rounded_up_to_its_need():
    def written(value: float) -> str:
        nothing = plain_text("")
        one = Criterion("yield", "fastener yield", nothing, value, 1.05, nothing, nothing, value / 1.05)
        return f"{one.value:{one.digits}}"

    assert written(1.0496) == "1.0496"
    assert written(1.0504) == "1.05"
    assert written(0.93) == "0.93"
