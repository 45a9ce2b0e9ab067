"""The soak: what it notices of a command, of memory and of factors solved again."""

from __future__ import annotations

import dataclasses
import tempfile

import pytest

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.model.reading.reading import read_input
from validation import soak
from validation.soak import Command, Soak, finer, one_round


@pytest.fixture
def scratch(tmp_path, monkeypatch):
    folder = tmp_path / "temporary"
    folder.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(folder))
    return folder


def with_one(monkeypatch, command: Command) -> None:
    monkeypatch.setattr(soak, "COMMANDS", {command.options[0]: command})


def test_a_round_of_estimates_leaves_nothing_and_nothing_wrong(scratch, monkeypatch):
    with_one(monkeypatch, Command(("estimate", "FILE"), 1.0))
    seen = Soak()
    for seed in (12, 13):
        one_round(seen, seed, scratch)
    assert seen.wrong == []
    assert seen.counts["estimate"] + seen.counts["refused"] == 2
    assert seen.memory[0] > 10.0
    assert list(scratch.parent.iterdir()) == [scratch]


def test_tracebacks_and_files_left_behind_are_noticed(scratch, monkeypatch):
    with_one(monkeypatch, Command(("estimate", "FILE"), 1.0))

    def leaves_and_breaks(arguments):
        (scratch / "forgotten").write_text("")
        return -1, "Traceback: KeyError"

    monkeypatch.setattr(soak, "run_command", leaves_and_breaks)
    seen = Soak()
    one_round(seen, 12, scratch)
    assert len(seen.wrong) == 2
    assert "exit code -1" in seen.wrong[0]
    assert "KeyError" in seen.wrong[0]
    assert "left forgotten" in seen.wrong[1]


def test_factors_beyond_their_mesh_error_are_counted_and_the_kinder_ones_told():
    seen = Soak()
    coarse = {"yield": (1.50, 0.02), "sealing": (1.30, 0.05), "crush": (2.00, 0.01), "only here": (1.0, 0.0)}
    seen.compare("engine 1", coarse, {"yield": (1.49, 0.0), "sealing": (1.20, 0.0), "crush": (2.05, 0.0)})
    assert (seen.factors, seen.within) == (3, 1)
    assert [words.split(":")[0] for words in seen.kinder] == ["engine 1, sealing"]


def test_memory_that_grows_is_told_by_its_halves():
    assert Soak(memory=[100.0, 180.0, 150.0, 170.0]).grown == pytest.approx(-10.0)
    assert Soak(memory=[100.0, 180.0, 250.0, 400.0]).grown == pytest.approx(220.0)


def test_a_finer_engine_and_a_finer_joint_have_smaller_elements_and_are_else_the_same():
    cell = read_input(shipped_cells()["boosted-four"])
    assert finer(cell).mesh.ring_size == pytest.approx(0.8 * cell.mesh.ring_size)
    assert finer(cell.joint).mesh_size.element_size == pytest.approx(0.8 * cell.joint.mesh_size.element_size)
    assert dataclasses.replace(finer(cell), mesh=cell.mesh) == cell
