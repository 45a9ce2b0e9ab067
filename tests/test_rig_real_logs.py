"""What testers' logs are like: few rows, odd units, gauges that slip, stick and lag, work done in any order.

The logs come from `validation.stepped_rig`, which marches the rig's mechanics in time steps and shares no formula with
the fits. `python -m validation.rig_coverage` has the long table.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from headjoint.cases.command.stated_files import shipped_files
from headjoint.cases.rig import faults
from headjoint.cases.rig.evaluation import QUANTITIES, evaluate
from headjoint.model.base.errors import InputError
from headjoint.model.rig.log import read_log
from headjoint.model.rig.reading import read_rig
from headjoint.model.rig.rig import setup_compliance
from validation import rig_coverage, stepped_logs, stepped_rig

RIG_FILE = shipped_files("rigs")["hollow-ram-m11-stud"]
HEADING = "Time (min),Pressure (psig),Torque (ft-lb),Angle (deg),Stretch (thou),Step\n"
ZERO = "0,0,,0,0,zero\n"
TURNED = (
    "1,1250,17.5,36,3.5,tighten\n1,2490,35,72,7,tighten\n1.5,3740,52,108,10.5,tighten\n2,4980,69.5,144,14,tighten\n"
)
STOOD = "7,4890,,142,13.5,hold\n62,4860,,142,13.5,hold\n1442,4840,,142,13.5,hold\n"
LOOSENED = "1500,4350,44,122,12,loosen\n1500,3000,31,84,8,loosen\n1500,1500,16,41,4,loosen\n"


@pytest.fixture(scope="module")
def rig():
    return read_rig(RIG_FILE)


@pytest.fixture(scope="module")
def day(rig):
    """One bench, and what its machine did: tightened, left for a day, loosened."""
    random = np.random.default_rng(5)
    bench = dataclasses.replace(stepped_rig.drawn(rig, random), play=0.0)
    return bench, stepped_rig.service(rig, bench, ("tighten", "hold", "loosen"))


def said_of(text, rig, tmp_path):
    (tmp_path / "log.csv").write_text(text, encoding="utf-8")
    return evaluate(read_log(tmp_path / "log.csv"), rig)


def spoilt(name, rig, day, tmp_path, written=stepped_logs.logged):
    random = np.random.default_rng(8)
    read, headings = stepped_logs.FAULTS[name][0](written(rig, *day, random), random)
    return said_of(stepped_logs.written(read, random, headings=headings), rig, tmp_path)


class TestTruth:
    @pytest.mark.slow
    def test_truth_lies_within_its_interval_and_sound_logs_are_left_in_peace(self, rig):
        bolt = read_rig(shipped_files("rigs")["hollow-ram-m11-bolt"])
        tally = rig_coverage.count(rig, bolt, 4, 200, spoilt=False)
        assert not tally.crashes
        assert not tally.false
        held = [inside for each in tally.held.values() for inside in each]
        assert len(held) > 150
        assert np.mean(held) >= 0.92, tally.missed


class TestFaults:
    @pytest.mark.parametrize(
        "name",
        ["indicator slips", "indicator stands still", "pressure stands still", "pressure jumps", "angle set to zero"],
    )
    def test_what_is_planted_in_a_logger_s_log_is_said(self, rig, day, tmp_path, name):
        one = spoilt(name, rig, day, tmp_path)
        assert any(word in said for word in stepped_logs.FAULTS[name][1] for said in (*one.faults, *one.clean.notes))

    def test_where_stretch_and_angle_agree_it_is_the_pressure_gauge(self, rig, day, tmp_path):
        faults = spoilt("pressure jumps", rig, day, tmp_path).faults
        assert any(fault.startswith("the pressure gauge jumps") for fault in faults)
        assert not any(fault.startswith(("the indicator", "torque per force", "a friction of")) for fault in faults)

    def test_a_gauge_set_to_zero_midway_is_joined_through_the_wait_and_the_loosening(self, rig, day, tmp_path):
        bench, _ = day
        one = spoilt("angle set to zero", rig, day, tmp_path)
        found = one.get("thread_friction")
        assert found.low < bench.thread_friction < found.high
        assert one.faults == ()

    def test_a_slip_of_two_thousandths_shows_in_a_notebook_and_leaves_friction_alone(self, rig, tmp_path):
        slipped = "1,1250,17.5,36,3.5,tighten\n1,2490,35,72,7,tighten\n1.5,3110,43.5,90,8.5,tighten\n"
        slipped += "1.5,3740,52,108,13.5,tighten\n2,4360,61,126,15,tighten\n2,4980,69.5,144,17,tighten\n"
        one = said_of(HEADING + ZERO + slipped, rig, tmp_path)
        assert len(one.faults) == 1
        assert "the indicator jumps at line 6" in one.faults[0]
        assert "nut_factor" not in one.faults[0].spoils
        assert "stretch_compliance" in one.faults[0].spoils

    def test_a_pressure_below_nothing_is_a_fault(self, rig, tmp_path):
        faults = said_of(HEADING + ZERO.replace("0,0,,", "0,-400,,") + TURNED, rig, tmp_path).faults
        assert any("far below nothing" in fault for fault in faults)

    def test_play_before_the_first_load_is_a_note_and_no_air(self, rig, tmp_path):
        random = np.random.default_rng(9)
        bench = dataclasses.replace(stepped_rig.drawn(rig, random), play=0.33, seating=0.002)
        machine = stepped_rig.service(rig, bench, ("tighten",))
        read = stepped_logs.logged(rig, bench, machine, random)
        one = said_of(stepped_logs.written(read, random), rig, tmp_path)
        assert one.faults == ()
        assert any("play of the angle gauge" in note for note in one.clean.notes)
        aired = dataclasses.replace(bench, play=0.0, air=500.0)
        machine = stepped_rig.service(rig, aired, ("tighten",))
        read = stepped_logs.logged(rig, aired, machine, random)
        assert any(
            "air in the ram" in fault for fault in said_of(stepped_logs.written(read, random), rig, tmp_path).faults
        )


class TestNotebooks:
    def test_eight_rows_tell_friction_stretch_and_a_day(self, rig, tmp_path):
        one = said_of(HEADING + ZERO + TURNED + STOOD, rig, tmp_path)
        # 1250 psi on 1767 mm2 are 15.23 kN, 17.5 lbf.ft 23.73 N.m: K = T/(F d) = 0.1416 by every row of TURNED
        assert one.get("nut_factor").low < 0.1416 < one.get("nut_factor").high
        # from 4980 to 4840 psi in a day
        lost = one.get("lost_in_a_day")
        assert lost.value == pytest.approx(140 / 4980, abs=2e-3)
        assert 0.005 < lost.high - lost.value < 0.025
        assert one.faults == ()
        # 4980 psi are 34.336 MPa, so 60.67 kN: the greatest reading is the greatest
        assert one.greatest == pytest.approx(60.67e3, rel=1e-3)

    def test_what_is_open_is_said_by_its_true_reason(self, rig, tmp_path):
        missing = {each.name: each for each in said_of(HEADING + ZERO + TURNED + STOOD, rig, tmp_path).missing}
        assert "no clamp was left standing (step 'hold')" not in [each.why for each in missing.values()]
        short = {each.name: each for each in said_of(HEADING + ZERO + TURNED, rig, tmp_path).missing}
        assert short["settling and relaxation"].why == "no clamp was left standing (step 'hold')"
        assert "60.7 kN" in short["yield"].why
        bare = HEADING.replace(",Angle (deg)", "") + "\n".join(
            ",".join(part for at, part in enumerate(row.split(",")) if at != 3) for row in (ZERO + TURNED).splitlines()
        )
        give = next(each for each in said_of(bare, rig, tmp_path).missing if each.name == "compliance of the set-up")
        assert give.why.endswith("the log has no angle")

    def test_rows_out_of_order_are_put_in_order(self, rig, tmp_path):
        rows = (ZERO + TURNED + STOOD + LOOSENED).splitlines()
        mixed = [*rows[:5], rows[6], rows[5], *rows[7:]]
        plain, put = (said_of(HEADING + "\n".join(each) + "\n", rig, tmp_path) for each in (rows, mixed))
        assert any("not in the order of time" in note for note in put.clean.notes)
        assert put.get("lost_in_a_day").value == pytest.approx(plain.get("lost_in_a_day").value)

    def test_tightening_on_after_a_wait_breaks_nothing(self, rig, tmp_path):
        on = "1443,4850,50,142,13.5,tighten\n1443,5200,72.5,150,14.5,tighten\n1443,5600,78,161,15.5,tighten\n"
        one = said_of(HEADING + ZERO + TURNED + STOOD + on, rig, tmp_path)
        # the first of them is below what was reached before: its nut had not broken loose
        assert one.get("nut_factor").low < 0.1416 < one.get("nut_factor").high
        assert one.get("lost_in_a_day") is not None

    def test_a_second_tightening_without_its_column_is_a_second_use(self, rig, tmp_path):
        again = TURNED.replace("\n2,", "\n1602,").replace("\n1.5,", "\n1601.5,").replace("\n1,", "\n1601,")
        again = "1601" + again[1:]
        one = said_of(HEADING + ZERO + TURNED + STOOD + LOOSENED + again, rig, tmp_path)
        assert one.get("nut_factor", 2) is not None
        assert any("counted as use 2" in note for note in one.clean.notes)


class TestUnits:
    @pytest.mark.parametrize("torque", ["ft-lb", "lb-ft", "lbf-ft", "ft.lbf", "lbf.ft"])
    def test_foot_pounds_are_foot_pounds_however_they_are_written(self, tmp_path, torque):
        path = tmp_path / "log.csv"
        path.write_text(
            f"Pressure (psig),Torque ({torque}),Stretch (mil),Temperature (deg F)\n" + "1000,10,4,212\n" * 4
        )
        log = read_log(path)
        # 1 lbf.ft is 1355.818 N.mm, 1 psi 0.00689476 MPa, 1 mil 0.0254 mm; 212 degF is 100 degC
        assert log.channels["torque"][0] == pytest.approx(13558.18)
        assert log.channels["pressure"][0] == pytest.approx(6.89476)
        assert log.channels["stretch"][0] == pytest.approx(0.1016)
        assert log.channels["temperature"][0] == pytest.approx(100.0)

    def test_inches_may_be_fractions_and_the_step_of_a_scale_is_seen(self, tmp_path):
        path = tmp_path / "log.csv"
        path.write_text("force [kN],stretch [in],angle [deg]\n1,1/8,0\n2,1 1/4,45\n3,0.5,90\n4,2,135\n5,3,180\n")
        log = read_log(path)
        assert log.channels["stretch"][:2] == pytest.approx([25.4 / 8, 1.25 * 25.4])
        assert log.resolution["angle"] == pytest.approx(np.radians(5.0))  # 45, 90, 135, 180 are whole fives


class TestGasketInTheRig:
    TABLE = '\n[rig.gasket]\narea = "2000 mm2"\n'

    def stated(self, tmp_path, table):
        (tmp_path / "rig.toml").write_text(RIG_FILE.read_text("utf-8") + table, encoding="utf-8")
        return read_rig(tmp_path / "rig.toml")

    def test_it_gives_by_its_slope_below_the_load(self, rig, tmp_path):
        # 60 kN on 2000 mm2 are 30 MPa, 0.35 of it 10.5 MPa, both on the second piece of 100 MPa/mm:
        # 1/(100 MPa/mm 2000 mm2) = 5e-6 mm/N
        table = self.TABLE + "closure = [0.0, 0.05, 0.35]\npressure = [0.0, 10.0, 40.0]\n"
        more = setup_compliance(self.stated(tmp_path, table)) - setup_compliance(rig)
        assert more == pytest.approx(5e-6, rel=1e-6)

    @pytest.mark.parametrize(
        ("table", "said"),
        [
            ("", "needs 'law', or 'closure' and 'pressure'"),
            ('law = "multi-layer steel bodies"\n', "nearest: multi-layer steel body"),
            ("closure = [0.0, 0.1]\npressure = [0.0, 20.0]\n", "the law ends at 20 MPa"),
            ("closure = [0.0, 0.1]\npressure = [5.0, 5.0]\n", "both rising"),
        ],
    )
    def test_a_mistake_is_named(self, tmp_path, table, said):
        with pytest.raises(InputError, match=said):
            self.stated(tmp_path, self.TABLE + table)


def test_a_fault_of_all_forces_spoils_every_finding_and_one_of_friction_all_that_is_reckoned_with_it():
    assert set(faults.ALL) == set(QUANTITIES)
    assert {"proof_stress", "setup_compliance", "torsion_kept", "hot_strength"} <= set(faults.FRICTION)
