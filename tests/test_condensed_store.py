"""Condensed joints on disk: found again, told apart, and rebuilt when damaged."""

from __future__ import annotations

import os
import time
from pathlib import Path

import numpy as np
import pytest
from test_cell import COARSE, RING, condensed

from headjoint.cases.command.folder_lock import only_run_in
from headjoint.cases.condensed import store as condensed_store
from headjoint.cases.condensed.cell_condensation import condense_cell
from headjoint.cases.condensed.store import LONG_AGO, CondensedStore, fingerprint, user_store
from headjoint.cases.elements.linear_solver import schur_of_half
from headjoint.meshes.solid import first_tile
from headjoint.meshes.solid.bore_cell import build_cell
from headjoint.model.reading.reading import parse_cell

MATRIX = np.arange(9.0).reshape(3, 3)


def test_a_kept_matrix_comes_back_bit_for_bit(tmp_path):
    store = CondensedStore(tmp_path / "new folder")
    assert store.load("a") is None
    store.save("a", MATRIX)
    assert (store.load("a") == MATRIX).all()
    assert [path.name for path in store.folder.iterdir()] == ["a"]


@pytest.mark.parametrize(
    "damage", [lambda raw: raw[:-8], lambda raw: b"x" + raw[1:], lambda raw: raw[:60] + b"?" + raw[61:]]
)
def test_a_damaged_file_is_as_good_as_none(tmp_path, damage):
    store = CondensedStore(tmp_path)
    store.save("a", MATRIX)
    (tmp_path / "a").write_bytes(damage((tmp_path / "a").read_bytes()))
    assert store.load("a") is None
    store.save("a", MATRIX)
    assert store.load("a") is not None


def test_a_folder_that_cannot_be_written_costs_nothing(tmp_path):
    (tmp_path / "file").write_text("in the way")
    store = CondensedStore(tmp_path / "file" / "store")
    store.save("a", MATRIX)
    assert store.load("a") is None


@pytest.mark.parametrize("trouble", ["raises", "leaves it"])
def test_a_user_without_a_home_keeps_nothing_and_works(tmp_path, monkeypatch, trouble):
    def no_home(*_) -> str:
        if trouble == "raises":
            raise RuntimeError("could not determine the home directory")
        return "~/.cache/headjoint"

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("platformdirs.user_cache_dir", no_home)
    user_store().save("a", MATRIX)
    assert user_store().load("a") is None
    with only_run_in(tmp_path / "out"):
        assert list(tmp_path.iterdir()) == []


def test_what_a_killed_run_was_writing_goes_and_what_another_writes_stays(tmp_path):
    store = CondensedStore(tmp_path)
    for name, age in (("dead.part", 2 * LONG_AGO), ("written.part", 0.0)):
        (tmp_path / name).write_bytes(b"half")
        os.utime(tmp_path / name, (time.time() - age,) * 2)
    store.save("a", MATRIX)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a", "written.part"]


def test_the_files_used_longest_ago_make_room(tmp_path, monkeypatch):
    monkeypatch.setattr(condensed_store, "LARGEST_STORE", 300)
    store = CondensedStore(tmp_path)
    for age, name in enumerate(("old", "older")):
        store.save(name, MATRIX)
        os.utime(tmp_path / name, (1e9 - age, 1e9 - age))
    store.save("new", MATRIX)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["new", "old"]


def test_a_fingerprint_tells_values_shapes_and_order_apart():
    a, b = np.arange(4.0), np.arange(4.0).reshape(2, 2)
    names = {fingerprint(a), fingerprint(b), fingerprint(a + 1e-12), fingerprint(a, b), fingerprint(b, a)}
    assert len(names) == 5
    assert fingerprint(a) == fingerprint(a.copy())


def test_a_file_that_another_run_takes_away_meanwhile_is_no_obstacle(tmp_path, monkeypatch):
    store = CondensedStore(tmp_path)
    gone = tmp_path / "gone"
    listed = Path.iterdir
    monkeypatch.setattr(Path, "iterdir", lambda folder: [*listed(folder), gone])
    store.save("new", MATRIX)
    assert np.array_equal(store.load("new"), MATRIX)


def test_a_plan_meshed_before_is_taken_from_the_store_and_no_other(tmp_path, monkeypatch):
    made, make = [], first_tile.tile_plan
    monkeypatch.setattr(first_tile, "tile_plan", lambda *stated: made.append(1) or make(*stated))
    store, cell = CondensedStore(tmp_path), parse_cell(RING + COARSE)
    alone, first, again = (build_cell(cell, 0.5, at) for at in (None, store, store))
    assert len(made) == 2
    for field in ("points", "cells", "part", "filled"):
        assert np.array_equal(getattr(alone, field), getattr(first, field))
        assert np.array_equal(getattr(alone, field), getattr(again, field))
    for old, new in (
        ('hole_diameter = "12 mm"', 'hole_diameter = "12.1 mm"'),
        ('ring_size = "9 mm"', 'ring_size = "8.9 mm"'),
        ('inner_diameter = "87.5 mm"', 'inner_diameter = "87.6 mm"'),
    ):
        assert old in RING + COARSE
        build_cell(parse_cell((RING + COARSE).replace(old, new)), 0.5, store)
    assert len(made) == 5
    build_cell(parse_cell((RING + COARSE).replace('torque = "76', 'torque = "70')), 0.5, store)
    assert len(made) == 5


@pytest.mark.slow
def test_a_cell_condensed_before_is_taken_from_the_store(tmp_path, monkeypatch):
    model, reduced = condensed(RING + COARSE)
    store = CondensedStore(tmp_path)
    calls = []
    monkeypatch.setattr(
        "headjoint.cases.condensed.cell_condensation.schur_of_half",
        lambda *a, **k: calls.append(1) or schur_of_half(*a, **k),
    )
    first, second = condense_cell(model, store), condense_cell(model, store)
    assert len(calls) == 1
    assert (first.K == second.K).all()
    assert pytest.approx(reduced.K, rel=1e-9, abs=1e-3) == first.K
    assert all((first.loads[name] == second.loads[name]).all() for name in first.loads)
