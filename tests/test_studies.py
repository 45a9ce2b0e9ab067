"""Studies: changes by path, shared stiffness, kept evaluations, workers that die, probabilities and sizes."""

from __future__ import annotations

import dataclasses
import json
import multiprocessing
import os
import re
import signal
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from conftest import shipped_text, solved

from headjoint.cases.cli import app
from headjoint.cases.condensed.stiffness_key import stiffness_key
from headjoint.cases.elements import memory
from headjoint.model.base.errors import InputError
from headjoint.model.files.scatter_file import ScatterTable
from headjoint.model.formulas.sampled_joint import drawn_joint
from headjoint.model.reading.overrides import changed, places, scaled
from headjoint.model.reading.reading import joint_of, parse_content
from headjoint.postproc.designs.axes import axis_of
from headjoint.postproc.designs.evaluation import Evaluator
from headjoint.postproc.designs.outcome import Outcome, Source, Task
from headjoint.postproc.designs.run import Workers, run_study
from headjoint.postproc.designs.store import StudyStore
from headjoint.postproc.joint.assessment import assess
from headjoint.postproc.studies import FINDS
from headjoint.postproc.studies.compare import Asked, candidates_of, run_comparison
from headjoint.postproc.studies.compare_answer import table_lines
from headjoint.postproc.studies.compare_pictures import factors_figure, states_figure
from headjoint.postproc.studies.scatter import Scatter, run_scatter, samples_of, what_matters
from headjoint.postproc.studies.scatter_answer import ScatterAnswer
from headjoint.postproc.studies.scatter_inputs import Input, inputs_of, usual_inputs
from headjoint.postproc.studies.scatter_pictures import scatter_figure
from headjoint.postproc.studies.size import run_size
from headjoint.postproc.studies.size_answer import sentences
from headjoint.postproc.studies.size_pictures import size_figure
from headjoint.postproc.studies.sweep import Sweep, crossings, run_sweep, sentence
from headjoint.postproc.studies.sweep_answer import SweepAnswer
from headjoint.postproc.studies.sweep_pictures import draw_sweep, family_figure, line_figure, map_figure
from headjoint.postproc.studies.table import result_columns

STEEL = {key: value for key, value in parse_content(shipped_text("boosted-four-steel")).items() if key != "variants"}


def source(**more) -> Source:
    return Source(STEEL | more, "boosted-four-steel.toml", Path())


@cache
def evaluator() -> Evaluator:
    return Evaluator(source())


# --- changes by path


def test_a_change_reaches_the_joint_in_its_own_unit():
    joint = joint_of(changed(STEEL, {"tightening.torque": "60 lbf.ft", "load_cases.firing.gas_pressure": "900 psi"}))
    assert joint.tightening.torque == pytest.approx(60 * 1355.8179483)
    assert joint.load_cases[2].gas_pressure == pytest.approx(900 * 0.00689475729)


def test_a_last_name_that_stands_in_one_table_is_enough():
    assert places(STEEL, "torque") == [("tightening", "torque")]
    assert places(STEEL, "gasket.zones.bead.step") == [("gasket", "zones", 1, "step")]
    with pytest.raises(InputError, match="say which"):
        places(STEEL, "outer_diameter")


def test_a_mistyped_quantity_is_met_with_the_nearest():
    with pytest.raises(InputError, match=r"did you mean 'head\.height'"):
        places(STEEL, "head.heigth")


def test_boost_scales_gas_by_absolute_manifold_pressure():
    joint = joint_of(changed(STEEL, {"boost": "1.8 bar"}))
    assert joint.load_cases[2].gas_pressure == pytest.approx(11.0 * (1.01325 + 1.8) / (1.01325 + 1.2))
    without = {key: value for key, value in STEEL["gas"].items() if key != "boost"}
    with pytest.raises(InputError, match=r"gas\.boost"):
        changed(STEEL | {"gas": without}, {"boost": "1.8 bar"})


def test_a_larger_size_takes_nut_hole_and_torque_along_and_is_stressed_alike():
    small, large = joint_of(STEEL), joint_of(changed(STEEL, {"size": "M12x1.25"}))
    assert large.head.hole_diameter == pytest.approx(small.head.hole_diameter * 12 / 11)
    assert large.washer.thickness == small.washer.thickness
    stress = [one.tightening.preload / one.fastener.thread.stress_area for one in (small, large)]
    assert stress[1] == pytest.approx(stress[0], rel=0.03)


def test_a_scaled_quantity_keeps_its_unit():
    assert scaled("110 bar", 1.1) == "121.00000000000001 bar"


def test_a_range_and_a_list_are_read_and_nonsense_is_refused():
    axis = axis_of(STEEL, "torque=60..100 N.m in 5", 1, "--over")
    assert axis.numbers == (60.0, 70.0, 80.0, 90.0, 100.0)
    assert axis.own == pytest.approx(68 * 1.3558179483)
    assert axis_of(STEEL, "thread=M10x1.25, M12", 1, "--over").values == ("M10x1.25", "M12")
    for wrong in ("torque", "torque=60..60 N.m", "thread=1..2", "torque=5 bar, 6 bar", "nothing=1..2"):
        with pytest.raises(InputError):
            axis_of(STEEL, wrong, 1, "--over")


# --- shared stiffness

HARMLESS = {
    "tightening.torque": "70 N.m",
    "boost": "2 bar",
    "gasket.zones.bead.law": "fibre composite",
    "gasket.zones.body.step": "0.09 mm",
    "fastener.property_class": "12.9",
    "load_cases.hot.temperatures.head": "130 degC",
    "gasket.expansion": "10e-6 1/K",
    "fastener.thread_compliance": "bonded",
    "requirements.clamp_kept": 0.7,
}
SHAPING = {
    "head.height": "80 mm",
    "head.material": "EN-GJL-250",
    "gasket.thickness": "1 mm",
    "gasket.zones.bead.sealing_diameter": "38 mm",
    "size": "M10x1.25",
    "washer.thickness": "5 mm",
    "load_cases.assembly.temperature": "60 degC",
    "mesh.element_size": "1 mm",
}


def law_that_ships(change):
    from headjoint.model.gasket.shipped_laws import library

    return {
        path: next(name for name in library() if "composite" in name) if path.endswith("law") else value
        for path, value in change.items()
    }


@pytest.mark.parametrize("path", HARMLESS)
def test_what_leaves_mesh_and_stiffness_alone_shares_a_condensed_joint_and_gives_the_same_figures(path):
    task = Task(law_that_ships({path: HARMLESS[path]}))
    assert stiffness_key(source().design(task.changes)) == stiffness_key(source().design({}))
    shared, alone = evaluator().evaluate([Task({}), task])[1], Evaluator(source()).evaluate([task])[0]
    assert not alone.problem
    for one, other in zip(shared.criteria, alone.criteria, strict=True):
        assert one.value == pytest.approx(other.value, rel=1e-9)


@pytest.mark.parametrize("path", SHAPING)
def test_what_shapes_mesh_or_stiffness_is_condensed_anew(path):
    assert stiffness_key(source().design({path: SHAPING[path]})) != stiffness_key(source().design({}))


@pytest.mark.parametrize("name", ["boosted-four-steel", "iron-diesel-steel"])
def test_a_study_judges_a_joint_as_solve_does(name):
    findings = assess(solved(name))
    outcome = Evaluator(Source(parse_content(shipped_text(name)), name, Path())).evaluate([Task({})])[0]
    assert [one.name for one in outcome.criteria] == [one.name for one in findings.verdict.criteria]
    for one, other in zip(outcome.criteria, findings.verdict.criteria, strict=True):
        assert one.where == other.where
        assert one.value == pytest.approx(other.value, rel=1e-6)


def test_a_design_that_cannot_be_built_says_so_and_the_others_are_solved():
    good, bad = evaluator().evaluate([Task({}), Task({"head.hole_diameter": "9 mm"})])
    assert good.met
    assert good.holds is None  # one fastener is blind to what happens between the studs
    assert "hole_diameter" in bad.problem


def test_a_tightening_past_yield_fails_by_its_factor_and_stops_no_study():
    outcome = evaluator().evaluate([Task({"torque": "140 N.m"})])[0]
    assert outcome.limiting.name == "fastener yield"
    assert outcome.limiting.value < 1.0


# --- kept evaluations and workers

TASKS = [Task({"torque": f"{torque} N.m"}) for torque in range(60, 100, 2)]


@cache
def plain_run():
    return run_study(source(), TASKS, None, Workers(1)).outcomes


class KilledError(Exception):
    pass


def test_a_study_killed_half_way_goes_on_to_the_identical_result(tmp_path):
    def kill(finished, whole):
        if finished >= 8:
            raise KilledError

    with pytest.raises(KilledError):
        run_study(source(), TASKS, StudyStore(tmp_path), Workers(1), kill)
    ran = run_study(source(), TASKS, StudyStore(tmp_path), Workers(1))
    assert 0 < ran.found < len(TASKS)
    assert ran.outcomes == plain_run()


def test_what_was_kept_just_before_an_interrupt_is_told(tmp_path, monkeypatch):
    """Ctrl-C while a chunk's line reaches the disk: it is kept, and said to be."""
    told = []

    def interrupt(number):
        raise KeyboardInterrupt

    monkeypatch.setattr("headjoint.postproc.designs.store.os.fsync", interrupt)
    with pytest.raises(KeyboardInterrupt):
        run_study(source(), TASKS, StudyStore(tmp_path), Workers(1), lambda finished, whole: told.append(finished))
    assert told[0] == 0
    store = StudyStore(tmp_path)
    assert told[-1] == sum(store.get(task.key(source())) is not None for task in TASKS) == 8


def test_a_line_torn_while_being_written_costs_that_chunk_alone(tmp_path):
    run_study(source(), TASKS[:16], StudyStore(tmp_path), Workers(1))
    file = tmp_path / "evaluations.jsonl"
    lines = file.read_bytes().split(b"\n")
    file.write_bytes(lines[0] + b"\n" + lines[1][: len(lines[1]) // 2])
    ran = run_study(source(), TASKS[:16], StudyStore(tmp_path), Workers(1))
    assert ran.found == 8
    assert ran.outcomes == plain_run()[:16]
    assert run_study(source(), TASKS[:16], StudyStore(tmp_path), Workers(1)).found == 16


def test_a_changed_file_finds_nothing_kept(tmp_path):
    run_study(source(), TASKS[:8], StudyStore(tmp_path), Workers(1))
    other = source(requirements=STEEL["requirements"] | {"clamp_kept": 0.79})
    assert run_study(other, TASKS[:8], StudyStore(tmp_path), Workers(1)).found == 0


@pytest.mark.slow
def test_processes_give_what_one_gives_and_one_that_dies_loses_nothing():
    killed = []

    def kill(finished, whole):
        if finished and not killed:
            victim = multiprocessing.active_children()[0]
            killed.append(victim.pid)
            os.kill(victim.pid, signal.SIGKILL)

    ran = run_study(source(), TASKS, None, Workers(2), kill)
    assert killed
    assert ran.outcomes == plain_run()


@pytest.mark.slow
def test_workers_that_share_too_little_memory_say_so_and_nothing_of_it_is_kept(tmp_path, monkeypatch):
    # a joint needs 0.25 GB of program and some 0.1 GB more: 0.5 GB are enough for one process, not for two
    monkeypatch.setattr(memory, "available_memory", lambda: 0.5e9)
    tasks = [Task({"mesh.element_size": f"{1.0 + 0.01 * number} mm"}) for number in range(14)]
    store = StudyStore(tmp_path)
    outcomes = run_study(source(), tasks, store, Workers(2)).outcomes
    assert {one.problem.split("; ")[-1] for one in outcomes} == {
        "give a larger element_size in [mesh], or work with fewer (--workers)"
    }
    assert "0.2 GB for each of 2 workers" in outcomes[0].problem
    assert not store.path.exists()


@pytest.mark.long
@pytest.mark.slow
def test_dask_workers_give_what_one_process_gives_and_one_that_dies_loses_nothing():
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
        killed = []

        def kill(finished, whole):
            if finished and not killed:
                killed.append(cluster.workers[0].pid)
                os.kill(killed[0], signal.SIGKILL)

        ran = run_study(source(), TASKS, None, Workers(address=cluster.scheduler_address), kill)
    assert killed
    assert ran.outcomes == plain_run()


def test_a_scheduler_that_does_not_answer_is_bad_input(monkeypatch):
    pytest.importorskip("distributed")
    with pytest.raises(InputError, match="no dask scheduler answers"):
        run_study(source(), TASKS[:8], None, Workers(address="tcp://127.0.0.1:9"))


# --- sweep and comparison


def test_a_sweep_finds_where_the_joint_ceases_to_hold():
    sweep = run_sweep(source(), ["torque=90..104 N.m in 8"], None, Workers(1))
    (text,) = crossings(sweep)
    assert text.startswith("up to about 95.")
    assert "fastener yield" in text


def test_a_sweep_that_is_judged_nowhere_says_so_and_draws_nothing(tmp_path):
    axis = axis_of(STEEL, "torque=60..110 N.m in 2", 1, "--over")
    unjudged, unsolved = Outcome(figures={"preload": 5e4}), Outcome(problem="the nut yields")
    ran = run_study(source(), [], None, Workers(1))
    nowhere = Sweep("a stud", (axis,), (unsolved, unjudged), ran)
    assert sentence(nowhere) == "not judged: at none of 2 points does this model judge any requirement"
    assert draw_sweep(nowhere, tmp_path) == []
    assert sentence(Sweep("a stud", (axis,), (unsolved, unsolved), ran)).endswith("the first says: the nut yields")


def test_pictures_of_studies_are_whole_and_readable(words_of):
    line = run_sweep(source(), ["torque=60..110 N.m in 6"], None, Workers(1))
    words = words_of(line_figure(line), "sweep")
    assert "torque, N.m" in words
    assert any("all met" in word for word in words)
    two = run_sweep(source(), ["torque=60..110 N.m in 5", "boost=0.5..3 bar in 5"], None, Workers(1))
    words = words_of(map_figure(two), "map")
    assert "boost (gauge), bar" in words
    assert any("hatched" in word for word in words)
    names = run_sweep(source(), ["size=M10x1.25, M12x1.25", "boost=0.5..3 bar in 4"], None, Workers(1))
    assert "M12x1.25" in words_of(family_figure(names), "family")
    compared = run_comparison([source()], Asked(["size=M10x1.25, M11x1.25"]), None, Workers(1))
    for name, figure in (("factors", factors_figure(compared)), ("states", states_figure(compared))):
        assert "M10x1.25" in words_of(figure, name)
        # verdict and caution stand above it on the first sheet of A4, 267 mm between its margins
        assert figure.get_figheight() * 25.4 < 180.0


def test_a_comparison_marks_the_best_and_names_what_is_given_up():
    variants = [{"name": "larger", "change": {"size": "M12x1.25"}, "cost": 12}]
    compared = run_comparison([source(variants=variants, cost=10)], Asked(), None, Workers(1))
    headings, lines = table_lines(compared, "si")
    assert headings[1:] == ["as stated", "larger"]
    table = {line[0]: line[1:] for line in lines}
    assert table["separation under combustion"][1].endswith("*")
    assert table["gasket crush"][0].endswith("*")
    assert table["cost, as stated"] == ("10", "12")
    assert "+" in table["against the first"][1]
    assert "-" in table["against the first"][1]


def test_there_must_be_something_to_compare():
    with pytest.raises(InputError, match="nothing to compare"):
        candidates_of([source()], Asked())


# --- scatter


def test_a_draw_of_nothing_is_the_nominal_joint():
    joint = source().design({})
    assert drawn_joint(joint, {}) == joint


def test_a_torque_wrench_scatters_preload_as_its_class_says():
    joint = source().design({})
    inputs = [one for one in usual_inputs(joint) if "friction" in one.name or one.name == "torque"]
    values = samples_of(inputs, 4096, 3, "sobol")
    preloads = np.array(
        [
            drawn_joint(joint, {one.name: x for one, x in zip(inputs, row, strict=True)}).tightening.preload
            for row in values
        ]
    )
    assert preloads.std() / joint.tightening.preload == pytest.approx(joint.tightening.scatter / 2.0, rel=0.06)


@pytest.mark.parametrize("sampling", ["sobol", "latin hypercube"])
def test_the_same_seed_gives_the_same_joints_and_another_seed_others(sampling):
    inputs = usual_inputs(source().design({}))
    one, same, other = (samples_of(inputs, 100, seed, sampling) for seed in (1, 1, 2))
    assert (one == same).all()
    assert (one != other).any()


def test_distributions_have_the_mean_and_deviation_that_they_state():
    share = (np.arange(20_000) + 0.5) / 20_000
    for kind in ("normal", "lognormal"):
        found = Input("x", kind, "", "", 2.0, 0.3).at(share)
        assert found.mean() == pytest.approx(2.0, rel=1e-3)
        assert found.std() == pytest.approx(0.3, rel=1e-2)
    assert Input("x", "uniform", "", "", low=1.0, high=3.0).at(share).std() == pytest.approx(2 / np.sqrt(12), rel=1e-3)
    assert Input("x", "triangular", "", "", 1.5, low=1.0, high=3.0).at(share).mean() == pytest.approx(5.5 / 3, rel=1e-3)


@pytest.mark.parametrize(
    ("name", "table", "message"),
    [
        ("gas presure", {"distribution": "normal", "mean": 1, "deviation": 0.1}, "did you mean 'gas pressure'"),
        ("torque", {"distribution": "normal", "mean": 1}, "deviation: is required"),
        ("torque", {"distribution": "uniform", "low": 2, "high": 1}, "less than"),
        ("torque", {"distribution": "uniform", "low": 1, "high": 2, "mean": 1}, "means nothing"),
        ("torque", {"distribution": "normal", "mean": 1, "deviation": -1}, "greater than 0"),
        ("fastener.thread", {"distribution": "uniform", "low": 1, "high": 2}, "is a name"),
    ],
)
def test_a_distribution_that_cannot_be_used_is_refused(name, table, message):
    content = STEEL | {"scatter": {"inputs": {name: table}}}
    with pytest.raises(InputError, match=message):
        inputs_of(source().design({}), content)


def test_geometry_by_its_path_may_scatter_and_is_condensed_anew():
    inputs = {"head.height": {"distribution": "uniform", "low": "87 mm", "high": "89 mm"}}
    found = run_scatter(source(scatter={"inputs": inputs}), 16, 1, None, Workers(1))
    assert found.ran.stiffnesses == 16
    assert not found.unsolved


@cache
def scattered() -> Scatter:
    return run_scatter(source(), 128, 5, None, Workers(1))


@pytest.mark.long
@pytest.mark.slow
def test_a_sampler_killed_half_way_goes_on_to_the_identical_result(tmp_path):
    def kill(finished, whole):
        if finished >= 64:
            raise KilledError

    with pytest.raises(KilledError):
        run_scatter(source(), 128, 5, tmp_path, Workers(1), kill)
    found = run_scatter(source(), 128, 5, tmp_path, Workers(1))
    assert found.ran.found >= 64
    assert found.events == scattered().events
    for name, values in found.figures.items():
        assert np.array_equal(values, scattered().figures[name], equal_nan=True)


def test_probabilities_lie_within_their_bounds_and_pictures_are_readable(words_of):
    for event in scattered().events:
        assert event.low <= event.probability <= event.high
    words = words_of(scatter_figure(scattered()), "scatter")
    assert any("of joints" in word for word in words)


def test_more_friction_matters_most_for_yield_and_helps_against_it():
    event = next(one for one in scattered().events if one.figure == "fastener yield")
    name, share, rank = event.matters[0]
    assert "friction" in name
    assert share > 0.2
    assert rank > 0.3


def test_what_matters_of_a_sum_is_its_share_of_variance():
    inputs = [Input(name, "normal", "", "", 0.0, 1.0) for name in "abc"]
    values = samples_of(inputs, 2048, 1, "sobol")
    shares = {name: share for name, share, _ in what_matters(values, values @ np.array([2.0, 1.0, 0.0]), inputs)}
    assert shares["a"] == pytest.approx(0.8, abs=0.03)
    assert shares["b"] == pytest.approx(0.2, abs=0.03)
    assert shares["c"] == pytest.approx(0.0, abs=0.03)


def test_a_study_of_one_fastener_says_what_it_cannot_judge_and_calls_nothing_sound():
    scattered = run_scatter(source(), 8, 1, None, Workers(1))
    answer = ScatterAnswer(scattered)
    assert answer.left_open == ["sealing between the studs"]
    told = answer.report().sentences
    assert told[1] == "Not judged, though it decides: sealing between the studs"
    swept = run_sweep(source(), ["torque=40, 68 lbf.ft"], None, Workers(1))
    fails, met = (point["holds"] for point in SweepAnswer(swept).document()["points"])
    assert fails is False
    assert met is None
    assert result_columns(swept.outcomes)["holds"] == [False, None]


def test_axes_and_names_of_designs_are_told_in_the_reader_s_units():
    axis = axis_of(STEEL, "torque=60..100 lbf.ft in 5", 1, "--over")
    # 1 lbf.ft = 1.355818 N.m, 1 bar = 14.50377 psi
    assert axis.shown("si").label == "torque [N.m]"
    assert axis.shown("si").numbers[0] == pytest.approx(60.0 * 1.355818, rel=1e-5)
    assert axis.shown("si").own == pytest.approx(68.0 * 1.355818, rel=1e-5)
    assert axis.shown("workshop") is axis
    hot = axis_of(STEEL, "load_cases[1].temperatures.head=100, 120 degC", 1, "--over").shown("workshop")
    assert (hot.unit, hot.numbers) == ("degF", (212.0, 248.0))
    (one, _) = candidates_of([source()], Asked(["boost=1, 2 bar"]))[:2]
    assert one.shown("si").name == one.name == "1 bar"
    assert one.shown("workshop").name == "14.5 psi"


# --- sizing


def test_an_answer_holds_and_one_per_cent_beyond_fails():
    sized = run_size(source(), ["torque"], None, Workers(1))
    least, greatest = sized.answers[0].least, sized.answers[0].greatest
    assert least.active == "separation under combustion"
    assert greatest.active == "fastener yield"
    for at, holds in ((least.at, True), (0.99 * least.at, False), (greatest.at, True), (1.01 * greatest.at, False)):
        assert evaluator().evaluate([Task({"torque": f"{at!r} N.m"})])[0].met is holds


def test_the_slope_of_an_answer_tells_where_it_goes():
    stated = run_size(source(), ["torque"], None, Workers(1)).answers[0].least
    more = dict(stated.sensitivity)["gas pressure +1 %"]
    cases = [case | ({"gas_pressure": "111.1 bar"} if case["kind"] == "firing" else {}) for case in STEEL["load_cases"]]
    moved = run_size(source(load_cases=cases), ["torque"], None, Workers(1)).answers[0].least
    assert moved.at - stated.at == pytest.approx(more, rel=0.1)


def test_no_answer_names_the_requirements_that_exclude_each_other(words_of):
    cases = [case | ({"gas_pressure": "175 bar"} if case["kind"] == "firing" else {}) for case in STEEL["load_cases"]]
    sized = run_size(source(load_cases=cases), ["torque"], None, Workers(1))
    (text,) = sentences(sized)
    assert text.startswith("no tightening torque holds")
    assert "separation under combustion needs at least" in text
    assert "fastener yield allows at most" in text
    assert any("nothing holds" in word for word in words_of(size_figure(sized), "size"))


@pytest.mark.long
@pytest.mark.slow
def test_the_smallest_thread_holds_and_the_next_smaller_does_not():
    sized = run_size(source(), ["thread"], None, Workers(1))
    *smaller, found = sized.threads
    assert found.holds
    assert not any(one.holds for one in smaller)
    middle = (found.least + found.greatest) / 2.0
    change = {"size": found.name, "tightening.torque": f"{middle} N.m"}
    assert evaluator().evaluate([Task(change)])[0].met


def test_no_torque_stands_more_gas_than_the_best_one():
    sized = run_size(source(), ["gas"], None, Workers(1))
    own, best = sized.answers
    first, second = sentences(sized)
    assert own.greatest.at < best.greatest.at
    # gas goes with absolute manifold pressure, ISO 2533: 1.01325 bar + 1.2 bar of boost at the 110 bar of the file
    boost = 2.21325 * own.greatest.at / 110.0 - 1.01325
    assert f"boost {boost:.2f} bar in place of 1.20 bar" in first
    torque = float(re.search(r"at the best tightening torque, ([\d.]+) N.m", second)[1])

    def holds(torque_share: float, gas_share: float) -> bool:
        gas = gas_share * best.greatest.at / 110.0
        (outcome,) = evaluator().evaluate([Task({"torque": f"{torque_share * torque} N.m", "gas": gas})])
        return outcome.met

    assert holds(1.0, 0.999)
    assert not any(holds(share, 1.01) for share in (0.97, 0.99, 1.0, 1.01, 1.03))


def test_a_joint_that_is_never_fired_has_no_greatest_gas_pressure():
    cases = [case for case in STEEL["load_cases"] if case["kind"] != "firing"]
    with pytest.raises(InputError, match="no load case has gas"):
        run_size(source(load_cases=cases), ["gas"], None, Workers(1))


def test_an_outcome_is_read_back_as_it_was_written():
    from headjoint.postproc.designs.outcome import outcome_of

    outcome = evaluator().evaluate([Task({})])[0]
    assert outcome_of(json.loads(json.dumps(outcome.plain()))) == outcome
    assert dataclasses.asdict(outcome)["problem"] == ""


def test_the_command_line_says_what_a_study_takes_where_nothing_is_said():
    (samples,) = [one for one in app.commands["scatter"].params if one.name == "samples"]
    assert samples.help.endswith(f"else as in the file, or {ScatterTable().samples}.")
    (find,) = [one for one in app.commands["size"].params if one.name == "find"]
    assert tuple(find.type.choices) == FINDS
    assert find.help.endswith(f"of a whole engine {' and '.join(FINDS[:2])}.")
