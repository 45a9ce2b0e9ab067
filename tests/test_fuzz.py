"""Files spoilt at random: a few of them at every run, and what counts as wrong."""

from __future__ import annotations

import time
from pathlib import Path

from headjoint.model.base.errors import InputError
from validation.fuzz import kinds, run, spoilt, wrong_with


def test_a_few_spoilt_files_are_refused_or_answered(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    counts, wrong = run(1, iter(range(760, 790)), time.monotonic() + 600.0)  # number 776 counted to a use of 400 digits
    assert wrong == {}
    assert counts["refused"] + counts["answered"] == 30
    assert min(counts["refused"], counts["answered"]) > 0


def test_a_file_is_spoilt_the_same_way_again_and_never_left_alone_for_long():
    every = kinds()
    assert spoilt(1, 5, every)[2] == spoilt(1, 5, every)[2]
    assert len({spoilt(1, number, every)[2] for number in range(20)}) > 15


def test_tracebacks_and_figures_that_are_none_are_wrong(tmp_path):
    def broken(path: Path) -> str:
        return {}["no such key"]

    def refused(path: Path) -> str:
        raise InputError("must not be")

    assert "KeyError" in wrong_with(broken, tmp_path)
    assert wrong_with(lambda path: "factor nan", tmp_path) == "says factor nan"
    assert wrong_with(refused, tmp_path) == "refused"
    assert wrong_with(lambda path: "HOLDS", tmp_path) == ""
