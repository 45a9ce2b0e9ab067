"""What a solve takes of memory is known before it begins."""

from __future__ import annotations

import re
import time
from dataclasses import replace
from functools import partial
from types import SimpleNamespace

import pytest
from conftest import COARSE, shipped_text

import headjoint
from headjoint.cases.command import quick_answers
from headjoint.cases.command.quick_answers import said_meanwhile
from headjoint.cases.command.stated_files import shipped_cells
from headjoint.cases.condensed.cell_condensation import cell_model, condense_cell
from headjoint.cases.condensed.condensation import full_model
from headjoint.cases.elements import memory
from headjoint.cases.whole_head import solved
from headjoint.cases.whole_head.row import row_size
from headjoint.cases.whole_head.tile import condensed_tile
from headjoint.meshes.one_fastener import single_stud
from headjoint.meshes.solid.bore_cell import build_cell
from headjoint.model.base import system
from headjoint.model.base.errors import MemoryShortError, SolveError
from headjoint.model.reading.reading import parse_cell, parse_joint
from tests.test_row_ends import FINE, closed_condensed, closed_free, coarse_closed
from tests.test_whole_head import MODES, coarse_condensed, coarse_row, coarse_tile

OF_ONE_STUD = (headjoint.estimate, partial(headjoint.solve, model="stud"))
# own measurement: greatest resident memory (GB) of a process that meshed, condensed and ran all states
CELLS = {
    "six-stud-ring, 0.7 times as fine": (52_659, 745, 0.856),
    "boosted-four, 0.7 times as fine": (63_931, 870, 1.004),
    "six-stud-ring": (73_643, 767, 1.086),
    "boosted-four": (139_267, 1_072, 2.197),
    "iron-diesel": (169_078, 1_252, 2.701),
    "boosted-bank-one-fired, 0.7 times as fine": (260_998, 4_276, 4.213),
    "boosted-four, 1.4 times as fine": (217_876, 1_523, 3.877),
    "boosted-bank-one-fired": (428_129, 4_857, 7.351),
}
JOINTS = {"usual": (21_678, 203, 0.187), "twice as fine": (79_408, 379, 0.429), "3.2 times": (195_640, 603, 0.925)}


@pytest.mark.parametrize("name", [*CELLS, *JOINTS])
def test_what_is_told_is_no_less_than_what_was_taken_and_no_scare(name):
    unknowns, kept, gigabytes = (CELLS | JOINTS)[name]
    told = memory.needed_memory(unknowns, kept, solid=name in CELLS) / memory.GIGABYTE
    # of cells these were measured without factors that stay for pictures, 0.4 more
    stays = 1.4 if name in CELLS else 1.0
    assert 1.05 * gigabytes < told < max(1.35 * stays * gigabytes, gigabytes + 0.3)


def test_a_cell_too_large_for_the_memory_is_refused_before_it_is_assembled(monkeypatch):
    cell = parse_cell(shipped_cells()["boosted-four"].read_text("utf-8") + COARSE)
    mesh = build_cell(cell, 0.5)
    monkeypatch.setattr(memory, "available_memory", lambda: 0.3e9)
    with pytest.raises(SolveError, match=r"some 1.0 GB of memory for \d+ unknowns, and there are 0\.3 GB.*ring_size"):
        condense_cell(cell_model(cell, mesh))


@pytest.mark.parametrize(
    ("unknowns", "kept", "face", "gigabytes"), [(144_676, 1_072, 6_600, 4.2), (133_171, 1_414, 10_572, 5.2)]
)
def test_a_tile_too_large_for_the_memory_is_refused_before_it_is_condensed(
    monkeypatch, unknowns, kept, face, gigabytes
):
    """Own measurement of what condensing takes: boosted-four with sides alike, and unlike ones on elements of 9 mm."""
    tile = SimpleNamespace(
        model=SimpleNamespace(unknowns=unknowns, kept=range(kept)), face=SimpleNamespace(unknowns=range(face))
    )
    monkeypatch.setattr(memory, "available_memory", lambda: gigabytes * 1e9)
    with pytest.raises(SolveError, match=rf"needs some (\d\.\d) GB of memory for {unknowns} unknowns") as refused:
        condensed_tile(tile)
    told = float(re.search(r"some (\S+) GB", str(refused.value))[1])
    assert gigabytes < told < 1.1 * gigabytes


def test_a_warm_up_needs_more_than_a_solve(monkeypatch):
    # own measurement, the whole command: 3.25 GB, a solve of the same cell 1.09 GB
    monkeypatch.setattr(memory, "available_memory", lambda: 3.25e9)
    memory.check_memory(73_643, 767, solid=True)
    with pytest.raises(SolveError, match="needs some 3"):
        memory.check_memory(73_643, 767, solid=True, heated=True)


def test_a_whole_command_takes_less_than_is_told():
    # own measurement of `headjoint solve boosted-four`: 3.08 GB by Pardiso, whose factors stay for pictures, 2.81 GB by fronts
    told = memory.needed_memory(139_267, 1_072, solid=True) / memory.GIGABYTE
    assert 1.05 * 3.08 < told < 1.2 * 3.08


def test_a_joint_too_large_for_the_memory_is_refused_with_its_own_key(monkeypatch):
    joint = parse_joint(shipped_text("boosted-four-copper"))
    monkeypatch.setattr(memory, "available_memory", lambda: 0.2e9)
    with pytest.raises(SolveError, match="GB of memory.*element_size"):
        full_model(joint, single_stud.build(joint))


def test_two_parts_of_a_tile_are_condensed_at_once_where_there_is_room_for_both(monkeypatch):
    # own measurement: a tile of 48,831 unknowns, 716 of interfaces and 3,577 of its face, took 1.93 GB with two at once,
    # 1.23 GB with one after the other
    tile = 48_831, round(2**0.5 * (716 + 3_577))
    for gigabytes, fits in ((1.93, False), (1.93 * 1.35, True)):
        monkeypatch.setattr(memory, "available_memory", lambda there=gigabytes: there * 1e9)
        assert memory.room_for_both(*tile) is fits
        memory.check_memory(*tile, solid=True)
    monkeypatch.setattr(memory, "available_memory", lambda: None)
    assert memory.room_for_both(10**9, 10**5)


# own measurement: greatest resident memory (GB) of a process that had a condensed tile, put a row of two bores of
# boosted-four together and ran all its states
ROWS = {
    "doubled elements": (memory.RowSize(55_699, 10_275_236, 2, 8_874, 23_688, 36, 21), 0.496),
    "default mesh": (memory.RowSize(144_676, 15_697_910, 2, 11_444, 32_632, 36, 21), 0.812),
}


@pytest.mark.parametrize("name", ROWS)
def test_what_a_row_takes_is_told_within_three_tenths(name):
    size, gigabytes = ROWS[name]
    told = memory.needed_for_row(size) / memory.GIGABYTE
    assert gigabytes < told < 1.3 * gigabytes


def test_a_row_too_large_for_the_memory_is_refused_before_it_is_put_together(monkeypatch):
    """Its tile may have been condensed on another day: then nothing else looks at the memory."""
    cell = parse_cell(shipped_cells()["boosted-four"].read_text("utf-8"))
    size = ROWS["default mesh"][0]
    for name in ("build_cell", "free_tile", "kept_tile"):
        monkeypatch.setattr(solved, name, lambda *_, **__: None)
    monkeypatch.setattr(solved, "row_size", lambda *_: size)
    monkeypatch.setattr(solved, "row_of", lambda *_: "a row")
    told = memory.needed_for_row(size)
    monkeypatch.setattr(memory, "available_memory", lambda: 1.01 * told)
    assert solved.head_row(cell) == "a row"
    monkeypatch.setattr(memory, "available_memory", lambda: 0.4e9)
    expected = rf"some {told / 1e9:.1f} GB of memory for 11444 unknowns, and there are 0\.4 GB; .*ring_size"
    with pytest.raises(MemoryShortError, match=expected) as refused:
        solved.head_row(cell)
    assert "--model" not in str(refused.value)  # a head has no other


@pytest.mark.long
@pytest.mark.slow
def test_what_a_row_takes_memory_by_is_what_it_has():
    for row, (cell, tile), condensed in (
        (coarse_row(2), coarse_tile(), coarse_condensed(MODES)),
        (coarse_closed(2), closed_free(), closed_condensed(FINE)),
    ):
        size = row_size(replace(cell, layout=replace(cell.layout, in_row=2)), tile, condensed, 2)
        assert size.unknowns == len(row.model.reduced.K)
        assert size.points == row.model.reduced.points
        assert size.figures == len(row.watched.figures)
        assert size.entries > sum(block.matrix.size for block in row.model.reduced.K.blocks)


def test_a_process_is_held_to_its_share_of_the_memory(monkeypatch):
    # 0.25 GB of program and 4.8 kB for each of 20,000 unknowns: 0.346 GB
    monkeypatch.setattr(memory, "available_memory", lambda: 1.0e9)
    memory.check_memory(20_000, 0, solid=False)
    try:
        memory.take_share(memory.share_among(2))  # 0.5 GB each
        memory.check_memory(20_000, 0, solid=False)
        memory.take_share(memory.share_among(3))  # 0.33 GB each
        with pytest.raises(MemoryShortError, match=r"0\.3 GB for each of 3 workers; .*fewer \(--workers\)"):
            memory.check_memory(20_000, 0, solid=False)
        monkeypatch.setattr(memory, "available_memory", lambda: 0.2e9)  # others took what was free
        memory.take_share(memory.Share(10e9, "", ""))
        with pytest.raises(MemoryShortError, match=r"there are 0\.2 GB; give"):
            memory.check_memory(20_000, 0, solid=False)
    finally:
        memory.take_share(None)


def test_of_two_processes_the_first_goes_before_and_the_second_takes_what_is_left():
    claimed, ended = [0.0, 0.0], []
    first = memory.Claims(4.0e9, claimed, end_other=lambda: ended.append(True))
    second = memory.Claims(4.0e9, claimed, second=True)
    second.claim(1.0e9)
    first.claim(3.0e9)  # beside it, to the last byte
    assert claimed == [3.0e9, 1.0e9]
    assert not ended
    with pytest.raises(
        MemoryShortError, match=r"needs some 1\.1 GB .*there are 4\.0 GB, .*engine's own mesh needs 3\.0 GB"
    ):
        second.claim(1.1e9)
    assert claimed == [3.0e9, 1.0e9]  # what it went on with before
    first.claim(2.0e9)  # what it took before, it keeps
    first.claim(3.1e9)
    assert claimed[0] == 3.1e9
    assert ended == [True]


def test_whoever_has_another_process_beside_it_claims_what_it_needs_before_it_looks_at_what_is_free(monkeypatch):
    # 0.25 GB of program and 4.8 kB for each of 20,000 unknowns: 0.346 GB, free only once the other has ended
    free = [0.3e9]
    monkeypatch.setattr(memory, "available_memory", lambda: free[0])
    claimed = [0.0, 0.2e9]
    try:
        memory.take_claims(memory.Claims(0.5e9, claimed, end_other=lambda: free.append(free.pop() + 0.2e9)))
        memory.check_memory(20_000, 0, solid=False)
    finally:
        memory.take_claims(None)
    assert claimed[0] == pytest.approx(0.346e9)


def test_the_engine_ends_the_other_process_for_what_that_holds_and_never_claimed(monkeypatch):
    free = [0.3e9]
    monkeypatch.setattr(memory, "available_memory", lambda: free[0])
    try:
        memory.take_claims(memory.Claims(0.5e9, [0.0, 0.0], end_other=lambda: free.append(free.pop() + 0.1e9)))
        memory.check_memory(20_000, 0, solid=False)
        assert free == [0.4e9]
        free[0] = 0.2e9
        with pytest.raises(MemoryShortError, match=r"there are 0\.3 GB; give"):
            memory.check_memory(20_000, 0, solid=False)
        memory.take_claims(memory.Claims(0.5e9, [0.0, 0.0], second=True, end_other=lambda: free.append(1e9)))
        with pytest.raises(MemoryShortError):  # the second ends nobody
            memory.check_memory(20_000, 0, solid=False)
        assert len(free) == 1
    finally:
        memory.take_claims(None)


def test_quick_answers_say_what_they_need_where_the_engine_takes_nearly_all_memory(tmp_path, monkeypatch, capfd):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))  # nothing was condensed before
    monkeypatch.setattr(quick_answers, "available_memory", lambda: 1.0e9)
    with said_meanwhile(headjoint.read("boosted-bank-one-fired"), "si", *OF_ONE_STUD) as coarse:
        memory.check_memory(100_000, 0, solid=False)  # 0.73 GB: the engine begins first
        begun = time.monotonic()
        while "no answer by one stud" not in (said := capfd.readouterr().err):
            assert time.monotonic() - begun < 180.0
            time.sleep(0.05)
        assert coarse() is None  # found by the command itself, once it has the memory
    assert re.search(
        r"this needs some 0\.\d GB of memory, .*1\.0 GB, of which the engine's own mesh needs 0\.7 GB", said
    )


def test_quick_answers_end_where_the_engine_needs_their_memory(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.setattr(quick_answers, "available_memory", lambda: 1.0e9)
    with said_meanwhile(headjoint.read("boosted-bank-one-fired"), "si", *OF_ONE_STUD) as coarse:
        memory._claims.claimed[1] = 0.4e9
        memory.check_memory(130_000, 0, solid=False)  # 0.87 GB
        assert coarse() is None
    said = capsys.readouterr().err.splitlines()
    assert said[-1] == "headjoint: no quick answers: there is too little memory for them beside the engine"


def test_a_system_that_does_not_tell_stops_nobody(monkeypatch):
    monkeypatch.setattr(memory, "available_memory", lambda: None)
    memory.check_memory(10**9, 10**5, solid=True)


def test_a_container_has_what_its_limit_leaves(monkeypatch, tmp_path):
    # 4 GB less 3 GB in use, of which 1 GB are pages of files that the system gives up: 2 GB
    files = {
        "max": "4000000000",
        "current": "3000000000",
        "stat": "anon 5\nactive_file 400000000\ninactive_file 600000000",
    }
    for name, text in files.items():
        (tmp_path / f"memory.{name}").write_text(text)
    monkeypatch.setattr(system, "CONTROL_GROUP", tmp_path)
    assert system._of_control_group() == pytest.approx(2e9)
    (tmp_path / "memory.max").write_text("max\n")
    assert system._of_control_group() is None
    monkeypatch.setattr(system, "_of_linux", lambda: 1e9)
    assert system.available_memory() == pytest.approx(1e9)


def test_what_there_is_agrees_with_an_independent_count():
    psutil = pytest.importorskip("psutil")
    expected = psutil.virtual_memory().available + psutil.swap_memory().free
    told = system._of_linux() or system._of_windows()
    if told is None:
        pytest.skip("this system does not tell")
    assert told == pytest.approx(expected, rel=0.2)  # others work on the machine meanwhile
