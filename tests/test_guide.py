"""The guide and the README: every command is run word for word, every file is read, every option is there."""

from __future__ import annotations

import importlib
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from headjoint.cases.cli import app
from headjoint.cases.command.starter import STARTER
from headjoint.cases.command.stated_files import shipped_cells, shipped_files
from headjoint.model.base.errors import InputError
from headjoint.model.bead.reading import read_gasket
from headjoint.model.reading.reading import read_input
from headjoint.postproc.joint.guide import TOPICS, page_text, print_guide
from validation.guide_examples import FENCE, Example, examples, laid_over

ROOT = Path(__file__).parent.parent
PAGES = shipped_files("guide")
MODULES = [path for layer in ("model", "meshes", "cases", "postproc") for path in (ROOT / layer).rglob("*.py")]
README = (ROOT / "README.md").read_text("utf-8")
TEXTS = {"README": README} | {topic: path.read_text("utf-8") for topic, path in PAGES.items()}
CELL_STARTER = shipped_cells()["boosted-four"].read_text("utf-8")
MINUTES = ("bore-cell", "warm-up", "studies", "service", "bead")  # pages whose slow examples take that long
# the pages whose quick, and whose slow, examples write the files that a table of the page names
FILES_IN_QUICK, FILES_IN_SLOW = ("start", "rig"), ("bore-cell", "service", "warm-up")


def words(text: str) -> str:
    return " ".join(text.split())


class Reader:
    """Somebody who goes through a page in a folder of their own and does what it says."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        programs = folder / ".programs"
        programs.mkdir()
        (programs / "headjoint").write_text(f'#!/bin/sh\nexec "{sys.executable}" -m headjoint.cases.cli "$@"\n')
        (programs / "headjoint").chmod(0o755)
        # the terminal that the pages are written for
        self.surroundings = os.environ | {"PATH": f"{programs}:{os.environ['PATH']}", "COLUMNS": "80"}
        self.said = ""

    def follows(self, example: Example) -> None:
        if example.kind == "console":
            command = ["bash", "-euo", "pipefail", "-c", example.text]
            done = subprocess.run(
                command, cwd=self.folder, env=self.surroundings, capture_output=True, text=True, check=False
            )
            assert done.returncode == 0, f"{example.text}{done.stderr}"
            self.said += done.stdout
        elif example.kind == "text":
            for piece in example.text.split("...\n"):
                assert words(piece) in words(self.said)
        elif example.kind == "csv":
            (self.folder / example.about).write_text(example.text, "utf-8")
        elif example.kind == "toml":
            if example.about == "bead":
                (self.folder / "bead.toml").write_text(example.text, "utf-8")
                read_gasket(self.folder / "bead.toml")
                return
            starter, name = (CELL_STARTER, "cell.toml") if example.about == "cell" else (STARTER, "engine.toml")
            (self.folder / name).write_text(laid_over(starter, example.text), "utf-8")
            read_input(self.folder / name)
        elif example.kind == "python":
            compile(example.text, "guide", "exec")  # tests/test_interface.py runs it
        else:
            pytest.fail(f"nobody knows what to do with a block of {example.kind}")

    def files(self) -> set[str]:
        return {path.name for path in self.folder.rglob("*")}


def files_in_tables(text: str) -> set[str]:
    rows = [line.split("|")[1] for line in text.splitlines() if line.startswith("| `")]
    return {name for row in rows for name in re.findall(r"`([\w.-]+\.\w+)`", row)}


SLOW = [topic for topic, text in TEXTS.items() if any(one.mark == "slow" for one in examples(text))]


LONG = [pytest.mark.slow, pytest.mark.long]


# the page of studies takes half a minute even without its slow examples; start solves an engine, as the first command does
@pytest.mark.parametrize(
    "topic", [pytest.param(one, marks=LONG if one in ("start", "studies") else []) for one in TOPICS]
)
def test_a_page_is_true_word_for_word(topic, tmp_path):
    reader = Reader(tmp_path)
    for example in examples(TEXTS[topic]):
        if not example.mark:
            reader.follows(example)
    if topic in FILES_IN_QUICK:
        assert files_in_tables(TEXTS[topic]) - reader.files() == set()


@pytest.mark.slow
@pytest.mark.parametrize("topic", [pytest.param(one, marks=pytest.mark.long if one in MINUTES else ()) for one in SLOW])
def test_what_takes_long_on_a_page_is_true_word_for_word(topic, tmp_path):
    reader = Reader(tmp_path)
    (tmp_path / "engine.toml").write_text(STARTER, "utf-8")
    for example in examples(TEXTS[topic]):
        if example.mark == "slow":
            reader.follows(example)
    if topic in FILES_IN_SLOW:
        assert files_in_tables(TEXTS[topic]) - reader.files() == set()


def commands_in(text: str) -> Iterator[list[str]]:
    for example in examples(text):
        if example.kind in ("console", "sh"):
            for line in example.text.replace("\\\n", " ").splitlines():
                for command in re.findall(r"(?:^|/|&& )headjoint (.*)", line):
                    yield shlex.split(command.split(" > ")[0])


@pytest.mark.parametrize("topic", TEXTS)
def test_every_command_shown_is_one_that_the_program_takes(topic):
    for name, *arguments in commands_in(TEXTS[topic]):
        app.commands[name].make_context(name, arguments)


def options_of(name: str) -> set[str]:
    return {
        word
        for one in app.commands[name].params
        if isinstance(one, click.Option)
        for word in (*one.opts, *one.secondary_opts)
    }


@pytest.mark.parametrize("topic", TEXTS)
def test_every_option_named_is_one_of_the_command_beside_it(topic):
    every = {word for name in app.commands for word in options_of(name)} | {"--help"}
    prose = FENCE.sub("", TEXTS[topic])
    for piece in re.split(r"\n\n|\n(?=- |\|)|(?<=[.;])\s", prose):
        # code of other programs has options of its own
        code = [words(one) for one in re.findall(r"`([^`]+)`", piece)]
        ours = [one for one in code if one.startswith(("headjoint", "--"))]
        named = {one.split()[1] for one in ours if re.match(r"headjoint [a-z]", one)} - {"guide"}
        assert named <= set(app.commands), piece
        known = set().union(*(options_of(name) for name in named)) | {"--help"} if named else every
        assert {word for one in ours for word in re.findall(r"(?<!\S)--[a-z-]+", one)} <= known, piece


def test_a_page_for_every_topic_and_a_topic_for_every_page():
    assert set(TOPICS) == set(PAGES)
    named = {name for text in TEXTS.values() for name in re.findall(r"headjoint guide ([a-z-]+)", words(text))}
    assert named <= set(TOPICS)


def test_the_list_has_a_line_for_every_topic(tmp_path):
    reader = Reader(tmp_path)
    reader.follows(Example("console", "", "headjoint guide", ""))
    for topic, path in PAGES.items():
        about = path.read_text("utf-8").splitlines()[0].removeprefix("# ")
        assert words(f"{topic} {about}") in words(reader.said)


def test_a_page_goes_into_a_pipe_as_it_was_written_without_notes_for_those_who_check_it(tmp_path):
    reader = Reader(tmp_path)
    reader.follows(Example("console", "", "headjoint guide bore-cell", ""))
    assert reader.said == page_text(PAGES["bore-cell"])
    assert "<!--" in TEXTS["bore-cell"]
    assert "<!--" not in reader.said


@pytest.mark.parametrize("columns", [80, 120])
@pytest.mark.parametrize("topic", TOPICS)
def test_a_page_is_laid_out_on_a_terminal(topic, columns, capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", str(columns))
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    print_guide(topic, PAGES)
    shown = re.sub(r"\x1b\[[0-9;]*m", "", capsys.readouterr().out)
    assert max(len(line) for line in shown.splitlines()) <= columns
    assert not shown.lstrip().startswith("#")
    assert [mark for mark in ("```", "|---", "<!--", "**") if mark in shown] == []
    # no example is broken at the edge, not even at 80 columns
    for example in examples(TEXTS[topic]):
        for line in example.text.splitlines():
            assert line.rstrip() in shown


def test_an_unknown_topic_is_told_the_nearest_in_one_line(tmp_path):
    with pytest.raises(InputError, match="nearest: gasket-laws"):
        print_guide("gasket-law", PAGES)
    command = [sys.executable, "-m", "headjoint.cases.cli", "guide", "warmup"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr == "headjoint: no such topic of the guide; nearest: warm-up (got 'warmup')\n"


def test_the_readme_begins_with_the_two_commands_that_ci_runs():
    assert [one.kind for one in examples(README)].count("sh") == 2
    first, second = (one.text for one in examples(README) if one.kind == "sh")
    assert first.rstrip().endswith("headjoint solve boosted-four")  # an engine, in three dimensions
    assert "boosted-four" in shipped_cells()
    assert "pytest" in second
    assert len(re.findall(r"^sudo apt-get install -y (.*)$", README, re.MULTILINE)) == 1


def test_the_system_packages_of_the_guide_are_those_of_the_readme():
    (stated,) = re.findall(r"^sudo apt-get install -y (.*)$", README, re.MULTILINE)
    assert f"`{stated}`" in words(TEXTS["commands"])


def test_the_contributors_guide_names_every_room_and_no_module_that_is_not_there():
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    rooms = {str(path.parent.relative_to(ROOT)) for path in MODULES if len(path.relative_to(ROOT).parts) > 2}
    assert {room for room in rooms if f"`{room}`" not in text} == set()
    names = {
        f"/{path.relative_to(ROOT)}"
        for path in [*MODULES, *(ROOT / "validation").rglob("*.py"), *ROOT.glob("tests/*.py")]
    }
    named = re.findall(r"`([\w/]+\.py)`", text)
    assert [one for one in named if not any(name.endswith(f"/{one}") for name in names)] == []
    for place in re.findall(r"`((?:model|meshes|cases|postproc)(?:\.\w+){2,})`", text):
        module, name = place.rsplit(".", 1)
        assert hasattr(importlib.import_module(f"headjoint.{module}"), name), place


def test_pictures_of_the_readme_are_there():
    linked = re.findall(r"\]\((\.pictures/[^)]+)\)", README)
    assert linked
    assert [name for name in linked if not (ROOT / name).is_file()] == []


def test_words_are_explained_once_each_in_the_order_of_the_alphabet():
    terms = re.findall(r"^- \*\*(.+?)\*\*", TEXTS["words"], re.MULTILINE)
    assert terms == sorted(terms, key=str.lower)
    assert len(set(terms)) == len(terms)
    # words at which readers stopped
    asked = {
        "cell",
        "law",
        "zone",
        "step",
        "closure",
        "overlap",
        "cut compliance",
        "condensed",
        "chain",
        "scrub",
        "body",
    }
    asked |= {
        "settled",
        "bearing set",
        "need",
        "in hand",
        "workshop",
        "fragment",
        "Miner sum",
        "embedding",
        "load factor",
    }
    asked |= {"separation", "lift-off", "resilience", "alpha_A", "snug", "breakaway"}
    asked |= {"line load", "stroke", "not judged", "model line"}
    assert asked <= set(terms)
