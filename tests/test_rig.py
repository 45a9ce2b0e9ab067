"""A rig's readings: read with all tolerance, fitted, and doubted where the model is wrong."""

from __future__ import annotations

import dataclasses
import json
import math

import numpy as np
import pytest
from click.testing import CliRunner
from conftest import shipped_text

import headjoint
from headjoint.cases.cli import app
from headjoint.cases.command.stated_files import shipped_files
from headjoint.cases.rig.cleaning import cleaned
from headjoint.cases.rig.comparison import against, repeated, within
from headjoint.cases.rig.evaluation import evaluate
from headjoint.cases.rig.least_squares import COVERAGE
from headjoint.cases.rig.pool import pooled
from headjoint.cases.rig.prediction import predict
from headjoint.model.base.errors import InputError
from headjoint.model.rig.log import read_log
from headjoint.model.rig.reading import read_rig
from headjoint.model.rig.rig import (
    friction_of_arm,
    friction_of_reversal,
    mean_friction,
    setup_compliance,
    stretch_compliance,
    thread_arm,
)
from headjoint.postproc.rig.fragment import fragment_text
from headjoint.postproc.rig.pictures import pictures_of
from validation import invented_logs as invented

RIG_FILE = shipped_files("rigs")["hollow-ram-m11-stud"]


@pytest.fixture(scope="module")
def rig():
    return read_rig(RIG_FILE)


def made(rig, seed=3, **changed):
    random = np.random.default_rng(seed)
    truth = dataclasses.replace(invented.drawn(rig, random), **changed)
    return truth, invented.service_log(rig, truth, random)


def with_frictions(rig, frictions, seed):
    random = np.random.default_rng(seed)
    truths = [dataclasses.replace(invented.Truth(), thread_friction=mu, bearing_friction=mu) for mu in frictions]
    return [evaluate(invented.service_log(rig, truth, random), rig) for truth in truths]


def written(tmp_path, text):
    path = tmp_path / "log.csv"
    path.write_text(text, encoding="utf-8")
    return read_log(path)


ROWS = "\n".join(f"{i};{2 * i},5;{3 * i},0;0,{i:02d}" for i in range(12))


class TestReading:
    def test_units_stand_in_the_heading_and_commas_may_be_decimal(self, tmp_path):
        log = written(tmp_path, "# a remark\ntime [s];pressure [bar];torque [lbf.ft];stretch [in]\n" + ROWS)
        assert log.channels["pressure"][4] == pytest.approx(0.85)
        assert log.channels["torque"][4] == pytest.approx(12 * 1355.8179483)
        assert log.channels["stretch"][4] == pytest.approx(0.04 * 25.4)
        assert set(log.step) == {"tighten"}

    def test_gaps_comments_and_short_lines_are_no_reason_to_stop(self, tmp_path):
        text = "force [kN],torque [N.m],stretch [mm],step,use\n# begins\n1,2,,zero,1\n\n,,,,\n2,-,0.1,tighten,\n3,4\n"
        text += "".join(f"{i},{2 * i},0.{i},,\n" for i in range(4, 10))
        log = written(tmp_path, text)
        assert np.isnan(log.channels["torque"][1])
        assert np.isnan(log.channels["stretch"][[0, 2]]).all()
        assert list(log.step[:4]) == ["zero", "tighten", "tighten", "tighten"]
        assert any("shorter than the heading" in note for note in log.notes)

    def test_an_unknown_column_is_named_and_left_out(self, tmp_path):
        log = written(tmp_path, "force [kN],torqe [N.m],time [s]\n" + "1,2,3\n" * 9)
        assert "torque" not in log.channels
        assert any("'torqe [N.m]' is not known" in note and "torque" in note for note in log.notes)

    @pytest.mark.parametrize(
        ("text", "said"),
        [
            ("force,torque [N.m]\n1,2\n", "needs its unit in brackets"),
            ("force [mm],torque [N.m]\n1,2\n", "no unit of force"),
            ("torque [N.m],time [s]\n1,2\n", "'pressure \\[MPa\\]' or 'force \\[kN\\]'"),
            ("force [kN],pressure [MPa]\n1,2\n", "one column of"),
            ("force [kN],torque [N.m],step\n1,2,tightn\n", "unknown step; nearest: tighten"),
            ("force [kN],torque [N.m],use\n1,2,0\n", "whole number from 1"),
            ("force [kN],torque [N.m]\n1,2,5\n3,4\n", "decimal commas"),
            ("force [kN],torque [N.m]\n1,abc\n", "must be a number"),
            ("force [kN],torque [N.m]\n1,2\n", "too few"),
            ("", "is empty"),
        ],
    )
    def test_what_cannot_be_read_is_said_with_its_line(self, tmp_path, text, said):
        with pytest.raises(InputError, match=said):
            written(tmp_path, text)

    def test_a_log_may_say_its_lubricant_but_only_one(self, tmp_path):
        text = "force [kN],torque [N.m],lubricant\n1,2,Wax\n" + "2,3,\n" * 9
        assert written(tmp_path, text).lubricant == "Wax"
        with pytest.raises(InputError, match="one lubricant, and above it is 'Wax'"):
            written(tmp_path, text + "2,3,oil\n")

    def test_an_invented_log_survives_being_written(self, rig, tmp_path):
        _, log = made(rig)
        invented.write_log(log, tmp_path / "a.csv", decimal_comma=True)
        again = read_log(tmp_path / "a.csv")
        assert again.channels["pressure"] == pytest.approx(log.channels["pressure"], abs=0.006)
        assert list(again.step) == list(log.step)
        assert "INVENTED" in (tmp_path / "a.csv").read_text("utf-8").splitlines()[0]

    def test_every_shipped_log_says_that_it_is_invented(self):
        for path in shipped_files("logs").values():
            assert "INVENTED" in path.read_text("utf-8").splitlines()[0]


class TestRigFile:
    def test_a_rig_may_stand_in_a_joint_file(self, rig, tmp_path):
        content = RIG_FILE.read_text("utf-8")
        tables = content[content.index("[rig]") :]
        joint = shipped_text("boosted-four-steel")
        path = tmp_path / "joint.toml"
        path.write_text(joint + "\n" + tables, encoding="utf-8")
        found = read_rig(path)
        assert found.thread.designation == "M11x1.25"
        # the rig's columns, and the washer of the file that it stands in: 1 mm thicker than that of the shipped rig
        assert found.joint.fastener.clamped_length == rig.joint.fastener.clamped_length + 1.0
        assert CliRunner().invoke(app, ["estimate", str(path)]).exit_code == 0

    @pytest.mark.parametrize(
        ("old", "new", "said"),
        [
            ('area = "1767 mm2"', 'area = "1767 mm"', "rig.ram.area"),
            ("area_accuracy", "area_acuracy", "did you mean 'area_accuracy'"),
            (
                'outer_diameter = "70 mm"\nhole_diameter = "18 mm"',
                'outer_diameter = "10 mm"\nhole_diameter = "18 mm"',
                "larger",
            ),
            ("pressure = {", "presure = {", "presure"),
            ('hole_diameter = "18 mm"', 'hole_diameter = "8 mm"', "rig.ram.hole_diameter"),
            ('engagement = "20 mm"', 'engagement = "200 mm"', "block is 60 mm high"),
        ],
    )
    def test_a_mistake_is_named_by_field(self, tmp_path, old, new, said):
        text = RIG_FILE.read_text("utf-8")
        assert old in text
        (tmp_path / "rig.toml").write_text(text.replace(old, new), encoding="utf-8")
        with pytest.raises(InputError, match=said):
            read_rig(tmp_path / "rig.toml")

    def test_a_gauge_that_the_log_reads_must_be_stated(self, rig):
        _, log = made(rig)
        bare = dataclasses.replace(
            log, channels={"force": log.channels["pressure"] * 1767.0, "time": log.channels["time"]}
        )
        with pytest.raises(InputError, match=r"rig\.gauges\.force"):
            cleaned(bare, rig)


class TestMechanics:
    @pytest.mark.parametrize("friction", [0.05, 0.12, 0.25])
    def test_friction_comes_back_from_the_torque_it_makes(self, rig, friction):
        thread = rig.thread
        up, down = thread_arm(thread, friction), thread_arm(thread, friction, loosening=True)
        assert friction_of_arm(thread, up) == pytest.approx(friction, abs=1e-12)
        assert mean_friction(thread, 14.0, up + 7.0 * friction) == pytest.approx(friction, abs=1e-9)
        assert friction_of_reversal(thread, 60e3 * up + 58e3 * down, 60e3, 58e3) == pytest.approx(friction, abs=1e-9)

    def test_a_nut_below_the_angle_of_friction_holds_itself(self, rig):
        assert thread_arm(rig.thread, 0.12, loosening=True) > 0.0
        assert thread_arm(rig.thread, 0.01, loosening=True) < 0.0

    def test_finite_elements_of_the_rig_agree_with_its_closed_form(self, rig):
        found = predict(rig)
        assert found.stretch == pytest.approx(stretch_compliance(rig), rel=0.06)
        assert found.travel == pytest.approx(stretch_compliance(rig) + setup_compliance(rig), rel=0.06)

    def test_a_softer_ram_gives_by_just_that_much_more(self, rig, tmp_path):
        text = RIG_FILE.read_text("utf-8").replace('"600 kN/mm"', '"200 kN/mm"')
        (tmp_path / "rig.toml").write_text(text, encoding="utf-8")
        stiff, soft = predict(rig), predict(read_rig(tmp_path / "rig.toml"))
        assert soft.travel - stiff.travel == pytest.approx(1 / 200e3 - 1 / 600e3, rel=0.03)
        assert soft.stretch == pytest.approx(stiff.stretch, rel=2e-3)

    def test_an_indicator_on_the_base_reads_more_than_one_over_both_ends(self, rig, tmp_path):
        text = RIG_FILE.read_text("utf-8").replace('position = "both ends"', 'position = "end to base"')
        (tmp_path / "rig.toml").write_text(text, encoding="utf-8")
        other = read_rig(tmp_path / "rig.toml")
        assert stretch_compliance(other) > stretch_compliance(rig)
        assert predict(other).stretch > predict(rig).stretch
        assert predict(other).travel == pytest.approx(predict(rig).travel, rel=1e-9)


class TestDoubt:
    def test_a_clean_log_raises_none(self, rig):
        assert evaluate(made(rig)[1], rig).faults == ()

    @pytest.mark.parametrize(
        ("spoilt", "said"),
        [
            (invented.slipped, "jumps at line"),
            (invented.creeping_slip, "not proportional to force"),
            (lambda log: invented.stalled(log, catches_up=False), "jumps at line"),
            (lambda log: invented.scaled(log, "torque", 1 / 1.3558), "lbf.ft headed as N.m"),
            (lambda log: invented.scaled(log, "torque", 1.3558), "N.m headed as lbf.ft"),
            (lambda log: invented.scaled(log, "torque", 1 / 1.3558, share=0.1), "mixed units"),
            (lambda log: invented.scaled(log, "pressure", 10.0), "bar headed as MPa"),
            (lambda log: invented.scaled(log, "pressure", 14.504), "psi headed as bar"),
            (lambda log: invented.scaled(log, "stretch", 1 / 25.4), "in headed as mm"),
            (lambda log: invented.scaled(log, "angle", 180 / np.pi), "degrees headed as rad"),
        ],
    )
    @pytest.mark.parametrize("seed", range(8))
    def test_a_wrong_model_is_seen_and_said(self, rig, spoilt, said, seed):
        faults = evaluate(spoilt(made(rig, seed)[1]), rig).faults
        assert any(said in fault for fault in faults), faults

    @pytest.mark.parametrize("seed", range(8))
    def test_air_in_the_ram_is_seen_by_the_travel_that_makes_no_force(self, rig, seed):
        faults = evaluate(made(rig, seed, air=300.0)[1], rig).faults
        assert any("air in the ram (about 0.3" in fault for fault in faults), faults

    def test_a_stud_that_turns_in_its_base_gives_impossible_friction(self, rig):
        _, log = made(rig)
        angle = np.where(log.at("loosen"), log.channels["angle"] - np.radians(25.0), log.channels["angle"])
        faults = evaluate(dataclasses.replace(log, channels=log.channels | {"angle": angle}), rig).faults
        assert any("turned in the base" in fault for fault in faults), faults

    def test_a_gauge_set_to_zero_midway_changes_nothing_but_a_note(self, rig):
        _, log = made(rig)
        plain, joined = evaluate(log, rig), evaluate(invented.reset(log), rig)
        assert any("was set to zero" in note for note in joined.clean.notes)
        give = [one.get("setup_compliance") for one in (plain, joined)]
        assert give[1].value == pytest.approx(give[0].value, abs=give[0].deviation)

    def test_readings_lost_to_a_stuck_indicator_do_not_bend_the_slope(self, rig):
        truth, log = made(rig)
        one = evaluate(invented.stalled(log), rig)
        found = one.get("stretch_compliance")
        assert found.low < truth.stretch_compliance < found.high
        assert any("stood still from line" in note for note in one.clean.notes)
        assert np.isfinite(one.clean.taken_out["stretch"]).sum() > 20
        assert one.faults == ()


class TestWhatCannotBeTold:
    def test_torque_and_force_alone_leave_the_two_frictions_open_and_say_what_would_tell(self, rig):
        _, log = made(rig)
        channels = {name: log.channels[name] for name in ("time", "pressure", "torque")}
        one = evaluate(dataclasses.replace(log, channels=channels), rig)
        assert one.get("thread_friction") is None
        open_ = next(missing for missing in one.missing if "apart" in missing.name)
        assert "only the sum" in open_.why
        assert all(word in open_.would for word in ("loosen", "shank torque", "thrust bearing"))

    def test_angle_of_tightening_alone_does_not_tell_friction(self, rig):
        _, log = made(rig)
        up = ~log.at("loosen")
        cut = dataclasses.replace(
            log,
            channels={name: values[up] for name, values in log.channels.items()},
            step=log.step[up],
            use=log.use[up],
            line=log.line[up],
        )
        one = evaluate(cut, rig)
        assert one.get("thread_friction") is None
        assert any("fastener's twist" in missing.why for missing in one.missing)
        assert one.get("setup_compliance") is not None

    def test_torque_in_the_shank_tells_them_apart_sharper_than_the_angle(self, rig):
        truth, log = made(rig)
        arm = thread_arm(rig.thread, truth.thread_friction)
        shank = arm * log.channels["pressure"] * rig.stated.ram.area
        one = evaluate(dataclasses.replace(log, channels=log.channels | {"shank torque": shank}), rig)
        found = one.get("thread_friction")
        assert found.low < truth.thread_friction < found.high
        assert found.deviation < evaluate(log, rig).get("thread_friction").deviation

    def test_a_thrust_bearing_of_known_friction_tells_them_apart(self, rig):
        table = '\n[rig.bearing]\nfriction = 0.003\naccuracy = 0.001\nmean_diameter = "20 mm"\n'
        truth, _ = made(rig)
        truth = dataclasses.replace(truth, bearing_friction=0.003)
        import tempfile
        from pathlib import Path

        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "rig.toml"
            path.write_text(RIG_FILE.read_text("utf-8") + table, encoding="utf-8")
            other = read_rig(path)
        one = evaluate(invented.service_log(other, truth, np.random.default_rng(2)), other)
        found = one.get("thread_friction")
        assert found.low < truth.thread_friction < found.high

    def test_a_load_that_the_log_does_not_reach_is_said(self, rig):
        one = evaluate(made(rig, load=40e3)[1], rig)
        assert one.get("torque_at_load") is None
        assert any(
            "states a load of 60 kN, and the greatest force of the log is 4"
            in missing.why  # 40 kN by gauges with errors
            for missing in one.missing
        )

    def test_yield_that_was_not_reached_is_bounded_from_below(self, rig):
        truth, log = made(rig)
        yields = next(missing for missing in evaluate(log, rig).missing if missing.name == "yield")
        assert "it lies above" in yields.why


class TestComparison:
    def test_gauge_errors_that_two_logs_share_drop_out_of_their_ratio(self, rig):
        truth, log = made(rig)
        dry = dataclasses.replace(
            truth, thread_friction=truth.thread_friction * 1.3, bearing_friction=truth.bearing_friction * 1.3
        )
        pair = [evaluate(log, rig), evaluate(invented.service_log(rig, dry, np.random.default_rng(8)), rig)]
        ratio = next(one for one in against(pair[:1], pair[1:]) if one.key == "nut_factor")
        assert ratio.can_tell
        assert ratio.smallest < 0.4 * COVERAGE * pair[0].get("nut_factor").gauges / pair[0].get("nut_factor").value

    def test_the_same_treatment_twice_shows_no_difference(self, rig):
        told = 0
        for seed in range(20):
            truth, log = made(rig, seed)
            other = invented.service_log(rig, truth, np.random.default_rng(100 + seed))
            compared = against([evaluate(log, rig)], [evaluate(other, rig)])
            told += next(one for one in compared if one.key == "nut_factor").can_tell
        assert told <= 3

    def test_several_logs_a_side_are_told_apart_by_the_scatter_between_them(self, rig):
        def side(friction, seed):
            return with_frictions(rig, friction * np.random.default_rng(seed).uniform(0.8, 1.2, 4), seed)

        near = next(one for one in against(side(0.12, 1), side(0.125, 2)) if one.key == "nut_factor")
        far = next(one for one in against(side(0.12, 1), side(0.20, 3)) if one.key == "nut_factor")
        assert near.logs == (4, 4)
        assert not near.can_tell
        assert far.can_tell

    def test_one_log_answers_for_a_day_a_hammer_heat_and_the_second_use(self, rig):
        truth, log = made(rig, struck=0.01, second=1.2)
        found = {(one.question, one.key): one for one in within(evaluate(log, rig))}
        blow = found["struck with a hammer", "struck"]
        assert blow.can_tell
        assert blow.low < -truth.struck < blow.high
        assert found["used again (use 2 against 1)", "nut_factor"].can_tell
        assert not found["warmed and cooled", "lost_by_heat"].can_tell

    def test_a_bolt_differs_from_a_stud_in_stretch_and_torque_on_the_same_gauges(self, rig):
        bolt_rig = read_rig(shipped_files("rigs")["hollow-ram-m11-bolt"])
        logs = shipped_files("logs")
        bolt = evaluate(read_log(logs["bolt-oiled"]), bolt_rig)
        stud = evaluate(read_log(logs["stud-oiled"]), rig)
        assert bolt.faults == ()
        found = {one.key: one for one in against([stud], [bolt])}
        assert found["torque_at_load"].can_tell
        assert found["stretch_compliance"].low < 5.82e-6 / 6.02e-6 - 1.0 < found["stretch_compliance"].high
        # the wrench is the same and drops out; the stiffness in torsion is that of two fasteners and does not
        assert (
            found["nut_factor"].smallest < 0.3 * COVERAGE * bolt.get("nut_factor").gauges / bolt.get("nut_factor").value
        )

    def test_a_gasket_gives_keeps_part_of_it_and_creeps(self, rig):
        logs = shipped_files("logs")
        on_gasket, plain = (evaluate(read_log(logs[name]), rig) for name in ("stud-on-gasket", "stud-oiled"))
        found = {one.key: one for one in against([plain], [on_gasket])}
        gives = 3.67 / 2.68 - 1.0  # truths of the generator
        assert found["setup_compliance"].low < gives < found["setup_compliance"].high
        assert found["lost_in_a_day"].low > 0.0
        assert not found["nut_factor"].can_tell
        again = next(one for one in within(on_gasket) if one.key == "setup_compliance")
        assert again.low < 3.12 / 3.67 - 1.0 < again.high

    def test_several_logs_tell_the_scatter_between_fasteners(self, rig):
        logs = with_frictions(rig, np.random.default_rng(6).normal(0.13, 0.01, 12), 6)
        found = next(one for one in repeated(logs) if one.key == "bearing_friction")
        assert found.logs == 12
        assert found.low < 0.01 < found.high
        assert repeated(logs[:1]) == []

    def test_the_fragment_of_several_logs_carries_their_means(self, rig):
        logs = with_frictions(rig, np.random.default_rng(8).normal(0.13, 0.01, 8), 8)
        mean = next(one for one in pooled(logs) if one.key == "bearing_friction")
        assert mean.low < 0.13 < mean.high
        assert mean.value == pytest.approx(np.mean([one.get("bearing_friction").value for one in logs]))
        assert mean.scatter > 0.5 * 0.01 / math.sqrt(8)
        assert "mean of 8 logs" in fragment_text(logs)
        assert pooled(logs[:1])[0] is logs[0].get("nut_factor")

    def test_a_file_may_be_called_what_it_likes(self, rig):
        one, other = (evaluate(dataclasses.replace(made(rig)[1], file=name), rig) for name in ("a.csv", "used.csv"))
        assert all(each.between_logs for each in against([one], [other]))
        many = [
            evaluate(dataclasses.replace(made(rig)[1], file=f"a-very-long-name-of-a-log-{i}.csv"), rig)
            for i in range(4)
        ]
        assert len(against([one], many)[0].question) < 90

    def test_logs_that_agree_by_luck_are_not_sharper_than_their_readings(self, rig):
        first = [evaluate(made(rig, 3)[1], rig)] * 2  # the same log twice: no scatter between them at all
        other = [evaluate(made(rig, 4)[1], rig)] * 2
        pair = next(one for one in against(first, other) if one.key == "nut_factor")
        assert pair.smallest > COVERAGE * first[0].get("nut_factor").scatter / first[0].get("nut_factor").value / 2.0

    def test_torques_at_different_loads_are_not_compared(self, rig):
        one, other = (evaluate(made(rig, seed)[1], rig) for seed in (3, 4))
        other = dataclasses.replace(other, load=1.2 * other.load)
        keys = {each.key for each in against([one], [other])}
        assert "torque_at_load" not in keys
        assert "nut_factor" in keys


class TestCommand:
    def test_it_writes_page_document_pictures_and_fragment(self, tmp_path):
        run = CliRunner().invoke(
            app,
            ["rig", "stud-oiled", "--rig", "hollow-ram-m11-stud", "--against", "stud-dry", "-o", str(tmp_path / "out")],
        )
        assert run.exit_code == 0, run.output
        names = {path.name for path in (tmp_path / "out").iterdir()}
        assert {"rig.html", "rig.json", "measured.toml", "measured_and_predicted.png", "residuals.png"} <= names
        document = json.loads((tmp_path / "out" / "rig.json").read_text("utf-8"))
        assert document["format"] == "headjoint-rig-result"
        friction = next(one for one in document["logs"][0]["findings"] if one["key"] == "thread_friction")
        assert friction["low"] < 0.123 < friction["high"]  # the truth that the log's heading states
        assert "the data can" in run.output  # "tell" stands below where the terminal is narrow
        assert "Do not trust" not in (tmp_path / "out" / "rig.html").read_text("utf-8")

    def test_several_logs_are_told_together(self, tmp_path):
        arguments = ["rig", "stud-oiled", "stud-on-gasket", "--rig", "hollow-ram-m11-stud", "-o", str(tmp_path / "out")]
        run = CliRunner().invoke(app, arguments)
        assert run.exit_code == 0, run.output
        assert "From log to log" in run.output
        assert "one log holds one fastener" not in run.output
        assert "From log to log" in (tmp_path / "out" / "rig.html").read_text("utf-8")

    def test_logs_of_two_lubricants_are_no_one_treatment(self, tmp_path):
        run = CliRunner().invoke(app, ["rig", "stud-oiled", "stud-dry", "--rig", "hollow-ram-m11-stud"])
        assert isinstance(run.exception, InputError)
        assert "put those of one behind --against" in str(run.exception)

    def test_a_rig_of_logs_that_are_not_there_is_refused(self):
        run = CliRunner().invoke(
            app, ["rig", "stud-oiled", "--rig", "hollow-ram-m11-stud", "--against-rig", "hollow-ram-m11-bolt"]
        )
        assert isinstance(run.exception, InputError)
        assert "--against-rig: is the rig of the logs given by --against" in str(run.exception)

    def test_a_fault_withholds_from_the_fragment_what_it_spoils(self, tmp_path):
        arguments = ["rig", "stud-slipping-indicator", "--rig", "hollow-ram-m11-stud", "-o", str(tmp_path / "out")]
        run = CliRunner().invoke(app, [*arguments, "--no-pictures"])
        assert "DO NOT TRUST YET" in run.output
        written = (tmp_path / "out" / "measured.toml").read_text("utf-8")
        # a slipping indicator says nothing against torque and force
        assert "thread_friction = " in written
        assert "stretch_compliance = " not in written
        assert "# Withheld, for the log is at fault there: stretch per force" in written
        assert "withheld from it: stretch per force" in " ".join(run.output.split())

    def test_a_fragment_of_dry_threads_says_dry_whatever_the_rig_file_has(self, tmp_path):
        arguments = ["rig", "stud-dry", "--rig", "hollow-ram-m11-stud", "-o", str(tmp_path / "out"), "--no-pictures"]
        assert CliRunner().invoke(app, arguments).exit_code == 0
        assert 'lubricant = "dry"' in (tmp_path / "out" / "measured.toml").read_text("utf-8")

    def test_a_pull_tells_proof_and_ultimate(self, tmp_path):
        arguments = ["rig", "stud-pulled", "--rig", "hollow-ram-m11-stud", "-o", str(tmp_path / "out"), "--json", "-"]
        found = json.loads(CliRunner().invoke(app, arguments).output)["logs"][0]["findings"]
        proof = next(one for one in found if one["key"] == "proof_stress")
        assert proof["low"] < 1544.0 < proof["high"]


def test_no_word_of_a_rig_s_picture_is_cut_off_or_covers_another(words_of):
    found = headjoint.rig(["stud-oiled"], "hollow-ram-m11-stud", against=["stud-dry"])
    pulled = headjoint.rig(["stud-pulled"], "hollow-ram-m11-stud")
    for one in (found, pulled):
        for name, draw in pictures_of(one.first, one.prediction, one.compared):
            assert len(words_of(draw(), name)) > 8
