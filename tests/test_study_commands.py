"""The study commands as a user meets them."""

from __future__ import annotations

import csv
import json
import signal
import subprocess
import sys
import time

import pyarrow.parquet
import pytest
from conftest import joint_file
from test_cli import files_in, headjoint, started

from headjoint.postproc.studies.table import write_tables

FILES = {".json", ".csv", ".parquet", ".png", ".html", ".pdf"}


@pytest.mark.parametrize(
    ("command", "more"),
    [
        ("sweep", ["--over", "torque=80..100 N.m in 3"]),
        ("compare", []),
        pytest.param("scatter", ["--samples", "64"], marks=pytest.mark.long),
        ("size", ["--find", "torque"]),
    ],
)
def test_a_study_prints_its_verdict_and_writes_tables_picture_and_page(tmp_path, command, more):
    done = headjoint(command, joint_file("boosted-four-steel"), *more, "--workers", "1", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert "fastener yield" in " ".join(done.stdout.split())
    assert "Fasteners fail violently" in " ".join(done.stdout.split())
    folder = tmp_path / "headjoint-boosted-four-steel"
    others = {"evaluations.jsonl", "drawing.png"}
    pictures = {"compare_states.png"} if command == "compare" else set()
    assert {f"{command}{ending}" for ending in FILES} | others | pictures == set(files_in(folder))
    assert json.loads((folder / f"{command}.json").read_text("utf-8"))["format"].startswith("headjoint-")
    page = (folder / f"{command}.html").read_text("utf-8")
    assert page.count("data:image/png;base64,") == 2 + len(pictures)  # the drawing is one of them
    assert "http" not in page
    assert f"<dd>{command}.csv, {command}.json, {command}.parquet</dd>" in page
    table = pyarrow.parquet.read_table(folder / f"{command}.parquet")
    with (folder / f"{command}.csv").open(encoding="utf-8", newline="") as file:
        headings, *rows = csv.reader(file)
    assert headings == table.column_names
    assert len(rows) == table.num_rows
    again = headjoint(command, joint_file("boosted-four-steel"), *more, "--workers", "1", folder=tmp_path)
    assert command == "size" or "found finished" in again.stdout


def test_without_pyarrow_a_study_writes_csv_alone(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow", None)  # as where it is not installed
    columns = {"design": ["M10, short", "M11"], "holds": [True, False], "clamp [kN]": [40.25, None]}
    write_tables(columns, tmp_path, "compare")
    assert files_in(tmp_path) == ["compare.csv"]
    expected = 'design,holds,clamp [kN]\n"M10, short",true,40.25\nM11,false,\n'
    assert (tmp_path / "compare.csv").read_bytes().decode() == expected


def test_json_to_a_pipe_writes_nothing_else(tmp_path):
    done = headjoint(
        "sweep", joint_file("boosted-four-steel"), "--over", "torque=80, 90 N.m", "--json", "-", folder=tmp_path
    )
    assert len(json.loads(done.stdout)["points"]) == 2
    assert files_in(tmp_path) == []


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["sweep", joint_file("boosted-four-steel"), "--over", "torqe=1..2"], "did you mean"),
        (["sweep", joint_file("boosted-four-steel"), "--over", "torque=80..100 bar"], "is no unit of torque"),
        (["sweep", joint_file("boosted-four-steel"), "--over", "torque"], "PATH=LOW..HIGH"),
        (["compare", joint_file("boosted-four-copper")], "nothing to compare"),
        (["size", joint_file("boosted-four-steel"), "--find", "colour"], "colour"),
        (["scatter", "no-such-joint"], "no such joint"),
    ],
)
def test_a_mistake_is_one_clear_message(tmp_path, arguments, message):
    done = headjoint(*arguments, folder=tmp_path)
    assert done.returncode == 2
    assert message in done.stderr
    assert "Traceback" not in done.stderr
    assert files_in(tmp_path) == []


def test_ctrl_c_keeps_what_is_finished_and_says_so(tmp_path):
    command = [
        sys.executable,
        "-m",
        "headjoint.cases.cli",
        "scatter",
        joint_file("boosted-four-steel"),
        "--samples",
        "4000",
    ]
    running = started(command, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    kept = tmp_path / "headjoint-boosted-four-steel" / "evaluations.jsonl"
    until = time.monotonic() + 60
    while time.monotonic() < until and not (kept.exists() and kept.stat().st_size > 5000):
        time.sleep(0.1)
    running.send_signal(signal.SIGINT)
    _, errors = running.communicate(timeout=60)
    assert running.returncode == 130
    assert "are kept in" in errors
    assert "Traceback" not in errors
