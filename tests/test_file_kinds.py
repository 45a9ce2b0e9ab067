"""A file given to a command that takes another kind is told what it is and who takes it, in one line, by every command."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from headjoint.cases.cli import app
from headjoint.cases.command.stated_files import shipped_files
from headjoint.model.base.errors import InputError
from headjoint.model.files.kinds import kind_of, kind_of_table
from headjoint.model.reading.reading import parse_toml

MEASURED = '[measured]\nlog = "a.csv"\nrig = "b"\n[tightening]\nthread_friction = 0.12\n'
CLOSURES = "closure [mm]; pressure [MPa]\n0; 0\n0,1; 60\n"
PROFILE = "x [mm], y [mm]\n0, 0\n1, 0.2\n"
# kind -> name of a shipped file, or text of one with its ending; and how a refusal names it and its command
KINDS = {
    "engine": ("boosted-four", "is an engine file, which `headjoint solve` and others take"),
    "joint": ("yield-tightened-bolt", "is a joint file of one fastener, which `headjoint solve` and others take"),
    "rig": ("hollow-ram-m11-stud", "is a rig file, which `headjoint rig LOG --rig` takes"),
    "bead": ("bore-bead", "is a bead file, which `headjoint bead` takes"),
    "ring": ("copper-ring", "is a file of a solid ring, which `headjoint bead` takes"),
    "sheet": ("measured-sheet", "is a file of a sheet's compression data, which `headjoint bead` takes"),
    "log": ("stud-dry", "is a rig log, which `headjoint rig` takes"),
    "computed": ("law.toml", "is a fragment with computed laws, which `headjoint law` takes, and"),
    "measured": (
        "measured.toml",
        "is a fragment with measured values, which a joint or engine file takes by `include`",
    ),
    "closures": ("closures.csv", "is a table of a gasket law, which a joint or engine file takes by `file`"),
    "profile": ("profile.csv", "is a table of a bead's profile, which a bead file takes by `points`"),
}
JOINTS = {"joint", "engine"}
BEADS = {"bead", "ring", "sheet"}
# command line, FILE for the file -> kinds that it takes
TAKES = {
    "solve FILE": JOINTS,
    "head FILE": JOINTS,  # a joint is refused by name: the whole head is that of an engine
    "history FILE": JOINTS,
    "warmup FILE": JOINTS,
    "estimate FILE": JOINTS,
    "live FILE": JOINTS,
    "worksheet FILE": JOINTS,
    "law FILE": JOINTS | {"computed"},
    "mesh FILE": JOINTS,
    "cutaway FILE": JOINTS,
    "sweep FILE --over torque=60,70": JOINTS,
    "compare FILE": JOINTS,
    "scatter FILE": JOINTS,
    "size FILE": JOINTS,
    "bead FILE": BEADS,
    "bead bore-bead --against FILE": BEADS,
    "rig FILE --rig hollow-ram-m11-stud": {"log"},
    "rig stud-dry --rig FILE": {"rig", "joint"},  # a joint file may have a [rig]
    "rig stud-dry --rig hollow-ram-m11-stud --against FILE": {"log"},
    "rig stud-dry --rig hollow-ram-m11-stud --against stud-oiled --against-rig FILE": {"rig", "joint"},
}
NO_FILE = {"new", "schema", "list", "guide"}


@pytest.fixture
def folder(tmp_path, monkeypatch):
    law = shipped_files("cells")["boosted-four"].parent / "laws" / "bore-bead.toml"
    texts = {
        "law.toml": law.read_text("utf-8"),
        "measured.toml": MEASURED,
        "closures.csv": CLOSURES,
        "profile.csv": PROFILE,
    }
    for name, text in texts.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_every_command_that_takes_a_file_is_in_the_table():
    assert {line.split()[0] for line in TAKES} | NO_FILE == set(app.commands)


@pytest.mark.parametrize("line", TAKES)
def test_a_file_of_another_kind_is_told_what_it_is_and_who_takes_it(line, folder):
    before = sorted(folder.iterdir())
    for kind, (name, told) in KINDS.items():
        if kind in TAKES[line]:
            continue
        done = CliRunner().invoke(app, [name if word == "FILE" else word for word in line.split()])
        assert isinstance(done.exception, InputError), f"{kind}: {done.output} {done.exception!r}"
        said = str(done.exception)
        assert told in said, kind
        assert said.count("\n") == 0
        assert "unknown key" not in said
    assert sorted(folder.iterdir()) == before  # and nothing was begun


def test_an_engine_is_named_where_one_stud_or_one_joint_is_wanted():
    whole = CliRunner().invoke(app, ["cutaway", "boosted-four"])
    assert "is an engine, whose views `headjoint solve` draws; give --model stud" in str(whole.exception)
    one = CliRunner().invoke(app, ["head", "yield-tightened-bolt"])
    assert "is a joint of one fastener; the whole head is that of an engine file" in str(one.exception)
    no_rig = CliRunner().invoke(app, ["rig", "stud-dry", "--rig", "yield-tightened-bolt"])
    assert "yield-tightened-bolt.toml: rig: has no [rig] table, which states ram" in str(no_rig.exception)


@pytest.mark.parametrize("folder_of", ["joints", "cells", "rigs", "beads"])
def test_what_ships_is_of_the_kind_of_its_folder(folder_of):
    wanted = {"joints": "a joint file", "cells": "an engine file", "rigs": "a rig file", "beads": "a "}[folder_of]
    for path in shipped_files(folder_of).values():
        found = kind_of(parse_toml(path.read_text("utf-8")))
        assert found is not None
        assert found.name.startswith(wanted), path
        assert folder_of != "beads" or "`headjoint bead`" in found.taken_by


def test_a_file_that_tells_no_kind_keeps_the_message_of_its_reader():
    assert kind_of({"bead": {}, "head": {}}) is None
    assert kind_of({}) is None
    assert kind_of_table("") is None
    assert kind_of_table("closure [mm], force [kN]\n1, 2\n") is None  # a gauge of that name
    assert kind_of_table("length, width\n1, 2\n") is None
