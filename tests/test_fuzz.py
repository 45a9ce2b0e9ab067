"""Files spoilt at random: a few of them at every run, and what counts as wrong."""

from __future__ import annotations

import math
import os
import time
from pathlib import Path
from types import SimpleNamespace

import pytest

from headjoint.cases.command.stated_files import shipped_files
from headjoint.model.base.errors import InputError
from validation.apart import each_apart
from validation.fuzz import Judge, counted, kinds, spoilt, wrong_with


def test_a_few_spoilt_files_are_refused_or_answered(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    judge = Judge(1)
    counts, wrong = counted(((number, judge(number)) for number in range(30)), 1)
    assert wrong == {}
    assert counts["refused"] + counts["answered"] == 30
    assert min(counts["refused"], counts["answered"]) > 0


def test_a_file_is_spoilt_the_same_way_again_and_never_left_alone_for_long():
    assert spoilt(1, 5)[2] == spoilt(1, 5)[2]
    assert len({spoilt(1, number)[2] for number in range(20)}) > 15


@pytest.mark.parametrize("name", shipped_files("beads"))
def test_gaskets_are_spoilt_from_what_is_read(name, tmp_path):
    (kind,) = (one for one in kinds() if f"{name}.toml" in dict(one.sound))
    (tmp_path / "sound.toml").write_text(dict(kind.sound)[f"{name}.toml"], "utf-8")
    assert wrong_with(kind.asked, tmp_path / "sound.toml") == ""


def answer(words: str, document: str = "{}") -> SimpleNamespace:
    return SimpleNamespace(json=lambda indent: document, show=lambda: print(words))


def test_tracebacks_and_figures_that_are_none_are_wrong(tmp_path):
    def broken(path: Path) -> None:
        return {}["no such key"]

    def refused(path: Path) -> None:
        raise InputError("must not be")

    stated = tmp_path / "a.toml"
    stated.write_text('name = "M11"')
    assert "KeyError" in wrong_with(broken, stated)
    assert wrong_with(lambda path: answer("factor nan"), stated) == "says factor nan"
    assert wrong_with(lambda path: answer("-inf kN"), stated) == "says -inf kN"
    assert wrong_with(lambda path: answer("nano-finish of the face"), stated) == ""
    # what stands in the file may be told again, and nothing else
    stated.write_text('name = "nan"\nnote = "head of nan grade"')
    assert wrong_with(lambda path: answer("nan: HOLDS\nnote: head of nan grade"), stated) == ""
    assert wrong_with(lambda path: answer("nan: HOLDS\nclamp kept nan kN"), stated) == "says clamp kept nan kN"
    assert wrong_with(refused, stated) == "refused"
    assert wrong_with(lambda path: answer("HOLDS", '{"factor": null, "force": 1.5e300}'), stated) == ""


@pytest.mark.parametrize("none", ["NaN", "Infinity", "-Infinity"])
def test_a_figure_that_is_none_anywhere_in_the_document_is_wrong(none, tmp_path):
    (tmp_path / "a.toml").write_text("")
    document = f'{{"states": [{{"force": [1.0, {none}]}}]}}'
    assert wrong_with(lambda path: answer("HOLDS", document), tmp_path / "a.toml") == f"{none} in the JSON document"


def test_slow_refusals_and_slow_answers_are_wrong(tmp_path):
    def slow(path: Path) -> None:
        until = time.process_time() + 0.03
        while time.process_time() < until:
            pass

    def slowly_refused(path: Path) -> None:
        slow(path)
        raise InputError("must not be")

    assert wrong_with(slow, tmp_path) == ""
    assert wrong_with(slowly_refused, tmp_path, 0.01).startswith("refused after")
    assert wrong_with(slow, tmp_path, longest_answer=0.01).startswith("took")
    assert wrong_with(slowly_refused, tmp_path, longest_answer=0.01).startswith("took")


def test_a_file_that_hangs_or_ends_its_process_costs_that_file_alone():
    slept = list(each_apart(time.sleep, iter([0, 60, 0]), 1, 1.0, patience=1.0))
    assert [number for number, _ in slept] == [0, 60, 0]
    assert slept[1][1] == "no answer after 0 s of the processor"
    assert slept[0][1] == slept[2][1] == "None"
    (worked,) = each_apart(math.factorial, iter([10_000_000]), 1, 1.0)
    assert worked[1] == "no answer after 1 s of the processor"
    assert list(each_apart(os._exit, iter([7]), 2, 60.0)) == [(7, "the process died (exit code 7)")]
