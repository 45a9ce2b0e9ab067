"""Folders of results: one run at a time, nothing of killed runs stays, files of another run are named."""

from __future__ import annotations

import errno
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import filelock
import pytest
from conftest import joint_file
from test_cli import headjoint

from headjoint.cases.command.folder_lock import only_run_in
from headjoint.model.base.errors import InputError
from headjoint.model.base.whole_files import draft_of, moved_in_whole, remove_unfinished


def test_a_folder_in_use_is_refused_with_who_is_there(tmp_path):
    refused = pytest.raises(InputError, match=f"in use by another run.*{os.getpid()}")
    with only_run_in(tmp_path / "out"), refused, only_run_in(tmp_path / "." / "out"):
        pass
    with only_run_in(tmp_path / "out"), only_run_in(tmp_path / "other"):
        assert not (tmp_path / "out").exists()


def test_the_lock_is_gone_with_a_killed_run(tmp_path):
    holds = (
        "import sys, time; from pathlib import Path; from headjoint.cases.command.folder_lock import only_run_in\n"
        "with only_run_in(Path(sys.argv[1])):\n    print('in', flush=True); time.sleep(60)"
    )
    other = subprocess.Popen([sys.executable, "-c", holds, str(tmp_path)], stdout=subprocess.PIPE)
    assert other.stdout.readline() == b"in\n"
    with pytest.raises(InputError, match=f"process {other.pid} "), only_run_in(tmp_path):
        pass
    other.kill()
    other.wait()
    with only_run_in(tmp_path):
        pass


def test_what_killed_runs_were_writing_is_removed_and_nothing_else(tmp_path):
    folder, beside = tmp_path / "out", tmp_path / "out.more"
    for one in (folder, beside):
        one.mkdir()
        (one / "kept.json").write_text("{}")
    drafts = (draft_of(folder / "a.json"), moved_in_whole(folder), moved_in_whole(beside))
    names = []
    for one in drafts:  # entered and never left, as a killed run leaves them
        one.__enter__()
        names.append(set(tmp_path.rglob(".*")))
    ours, another = names[1], names[2] - names[1]
    assert len(ours) == 2
    assert len(another) == 1
    remove_unfinished(folder)
    assert set(tmp_path.rglob(".*")) == another
    assert (folder / "kept.json").exists()
    assert (beside / "kept.json").exists()


def test_a_run_leaves_alone_what_another_writes_into_a_folder_within_its_own(tmp_path):
    outer, inner = tmp_path / "out[1]", tmp_path / "out[1]" / "more"
    inner.mkdir(parents=True)
    with moved_in_whole(inner) as (scratch, _):
        (scratch / "a.json").write_text("{}")
        remove_unfinished(outer)
    assert [path.name for path in inner.iterdir()] == ["a.json"]
    dead = draft_of(outer / "b.json"), moved_in_whole(outer)
    for one in dead:
        one.__enter__()
    remove_unfinished(outer)
    assert [path.name for path in tmp_path.iterdir()] == ["out[1]"]
    assert [path.name for path in outer.iterdir()] == ["more"]


def test_what_was_left_of_a_folder_that_is_gone_is_not_made_anew(tmp_path):
    killed = subprocess.run([sys.executable, "-c", KILLED, str(tmp_path / "out"), "1"], check=False)
    assert killed.returncode == 9
    shutil.rmtree(tmp_path / "out")
    remove_unfinished(tmp_path / "out")
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_names_what_could_not_be_written(tmp_path):
    full = OSError(errno.ENOSPC, "No space left on device")  # as the system raises it from write and close: no name
    for place in (draft_of(tmp_path / "a.json"), moved_in_whole(tmp_path / "out")):
        with pytest.raises(OSError, match="No space left on device: '.*(a.json|out)'") as raised, place:
            raise full
        full = OSError(raised.value.errno, raised.value.strerror)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("trouble", [OSError(errno.ENOSPC, "full"), NotImplementedError("no locks here")])
def test_a_cache_that_takes_no_locks_keeps_nobody_from_working(tmp_path, monkeypatch, trouble):
    def fails(*_, **__):
        raise trouble

    where, name = (Path, "write_text") if isinstance(trouble, OSError) else (filelock.FileLock, "acquire")
    monkeypatch.setattr(where, name, fails)
    with only_run_in(tmp_path / "out"):
        worked = True
    assert worked


KILLED = """
import os, sys
from pathlib import Path
from headjoint.model.base import whole_files

left, move = int(sys.argv[2]), whole_files.replaced

def killed_after(source, target):
    global left
    if not left:
        os._exit(9)
    left -= 1
    return move(source, target)

whole_files.replaced = killed_after
with whole_files.moved_in_whole(Path(sys.argv[1])) as (scratch, _):
    for name in ("report.html", "result.json", "stud.png"):
        (scratch / name).write_text("new")
"""


@pytest.mark.parametrize("moves", [0, 2, 3, 5])  # of six: three away, three in
def test_an_answer_whose_run_is_killed_while_it_moves_in_is_made_whole(tmp_path, moves):
    folder = tmp_path / "out"
    folder.mkdir()
    for name in ("report.html", "result.json", "stud.png"):
        (folder / name).write_text("earlier")
    killed = subprocess.run([sys.executable, "-c", KILLED, str(folder), str(moves)], check=False)
    assert killed.returncode == 9
    remove_unfinished(folder)
    found = {path.name: path.read_text() for path in folder.iterdir()}
    assert found == dict.fromkeys(("report.html", "result.json", "stud.png"), "new")
    assert list(tmp_path.iterdir()) == [folder]


def test_files_of_an_earlier_run_in_the_same_folder_are_named(tmp_path):
    first = headjoint("estimate", joint_file("yield-tightened-bolt"), "-o", "out", "--no-pictures", folder=tmp_path)
    assert first.stderr == ""
    (tmp_path / "out" / "sweep.csv").write_text("of another run")
    again = headjoint("estimate", joint_file("yield-tightened-bolt"), "-o", "out", "--no-pictures", folder=tmp_path)
    assert again.returncode == 0
    assert again.stderr == "headjoint: out also holds files that this run did not write: sweep.csv\n"


@pytest.mark.slow
def test_workers_end_when_the_run_that_began_them_is_killed(tmp_path):
    sweep = ("sweep", joint_file("boosted-four-steel"), "--over", "torque=60..110 N.m in 400", "--workers", "2")
    command = [sys.executable, "-m", "headjoint.cases.cli", *sweep, "-o", "out"]
    run = subprocess.Popen(command, cwd=tmp_path, stdout=subprocess.DEVNULL, start_new_session=True)

    def alive() -> list[int]:
        found = []
        for entry in os.scandir("/proc"):
            try:
                if entry.name.isdigit() and os.getsid(int(entry.name)) == run.pid and int(entry.name) != run.pid:
                    found.append(int(entry.name))
            except ProcessLookupError:
                continue
        return found

    until = time.monotonic() + 60.0
    while len(alive()) < 2 and run.poll() is None and time.monotonic() < until:
        time.sleep(0.1)
    assert run.poll() is None
    time.sleep(1.0)
    run.send_signal(signal.SIGKILL)
    run.wait()
    until = time.monotonic() + 20.0
    while alive() and time.monotonic() < until:
        time.sleep(0.1)
    assert alive() == []
