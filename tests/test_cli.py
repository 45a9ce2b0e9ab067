"""The command as a user meets it: output, files, exit codes, one clear message on a mistake."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
from functools import partial
from io import StringIO
from pathlib import Path

import click
import numpy as np
import pytest
from conftest import joint_file, shipped_text
from rich.console import Console
from test_cell import COARSE, RING

import headjoint as headjoint_package
from headjoint.cases.cli import app as commands
from headjoint.cases.command.quick_answers import quick_answers, said_meanwhile
from headjoint.cases.command.stated_files import threads_for
from headjoint.cases.condensed.store import user_store
from headjoint.cases.load_cases import solved
from headjoint.model.base.errors import SolveError
from headjoint.model.reading.reading import parse_cell
from headjoint.postproc.present.report import Sheet
from headjoint.postproc.present.terminal import print_sheet

STEEL = shipped_text("boosted-four-steel")
OF_ONE_STUD = (headjoint_package.estimate, partial(headjoint_package.solve, model="stud"))


def headjoint(*arguments: str, folder) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "headjoint.cases.cli", *arguments]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=120, check=False)


def started(command: list[str], **more) -> subprocess.Popen[str]:
    """Start a command that Ctrl-C reaches, also where the tests themselves run in the background and ignore it."""
    return subprocess.Popen(command, preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL), **more)


def processor_seconds(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def files_in(folder) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_help_names_the_commands_and_exit_codes(tmp_path):
    done = headjoint("--help", folder=tmp_path)
    assert done.returncode == 0
    for word in ("solve", "estimate", "new", "schema", "list", "mesh", "Exit codes", "qualified engineer"):
        assert word in " ".join(done.stdout.split())


def test_every_option_says_in_its_help_what_it_does():
    does = "Compare Draw Exit Find Go Let Listen Make Open Overwrite Print Run Say Set Show Solve Take Tighten Vary"
    does += " Work Write"
    told = {
        (name, option.opts[0]): option.help.split()[0]
        for name, command in commands.commands.items()
        for option in command.params
        if isinstance(option, click.Option) and name != "new"  # its options are the questions that it asks
    }
    assert len(told) > 100
    assert {key: first for key, first in told.items() if first not in does.split()} == {}


def test_solve_prints_the_verdict_and_writes_its_files(tmp_path):
    done = headjoint("solve", joint_file("boosted-four-steel"), folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert "NOT JUDGED: this model cannot judge sealing between the studs" in " ".join(done.stdout.split())
    assert "Fasteners fail violently" in " ".join(done.stdout.split())
    folder = tmp_path / "headjoint-boosted-four-steel"
    names = files_in(folder)
    shown = {"report.html", "report.pdf", "drawing.png", "section.png"}
    assert shown | {"result.json", "4-firing.vtu", "5-cold-again.vtu"} <= set(names)
    assert all((folder / name).stat().st_size > 10_000 for name in names)
    document = json.loads((folder / "result.json").read_text("utf-8"))
    assert document["verdict"]["holds"] is None
    page = (folder / "report.html").read_text("utf-8")
    assert page.count("data:image/png;base64,") == 5  # the drawing is one of them
    assert "http" not in page
    assert files_in(tmp_path) == ["headjoint-boosted-four-steel"]


def test_json_to_a_pipe_is_only_json_and_writes_nothing(tmp_path):
    done = headjoint("solve", joint_file("boosted-four-copper"), "--json", "-", folder=tmp_path)
    assert done.returncode == 0
    assert json.loads(done.stdout)["verdict"]["holds"] is False
    assert files_in(tmp_path) == []


def test_without_pictures_there_are_none(tmp_path):
    done = headjoint(
        "solve",
        joint_file("iron-diesel-steel"),
        "--no-pictures",
        "--output",
        "out",
        "--units",
        "workshop",
        folder=tmp_path,
    )
    assert done.returncode == 0
    assert "lbf" in done.stdout
    assert not [name for name in files_in(tmp_path / "out") if name.endswith((".png", ".html", ".pdf"))]


def unfired(text: str) -> str:
    """Return a joint without gas: a specimen on a bench."""
    without = re.sub(r"\[\[load_cases\]\]\nname = \"firing\".*?(?=\n\[)", "", text, flags=re.DOTALL)
    return re.sub(r"\n\[gas\]\n.*?(?=\n\[)", "\n", without, flags=re.DOTALL)


def test_strict_turns_a_failing_requirement_into_exit_code_1(tmp_path):
    (tmp_path / "hard.toml").write_text(STEEL.replace("clamp_kept = 0.8", "clamp_kept = 0.999"))
    assert headjoint("estimate", "hard.toml", "--strict", folder=tmp_path).returncode == 1
    assert headjoint("estimate", "hard.toml", folder=tmp_path).returncode == 0
    # with gas one fastener leaves open what happens between the studs; without gas it judges all there is
    assert headjoint("estimate", joint_file("boosted-four-steel"), "--strict", folder=tmp_path).returncode == 1
    (tmp_path / "unfired.toml").write_text(unfired(STEEL))
    assert headjoint("estimate", "unfired.toml", "--strict", folder=tmp_path).returncode == 0


def test_an_answer_is_told_in_the_units_of_the_file_unless_others_are_asked_for(tmp_path):
    inches = re.sub(r'"([\d.]+) mm"', lambda found: f'"{float(found[1]) / 25.4:.9g} in"', STEEL)
    (tmp_path / "inches.toml").write_text(inches)
    for arguments, unit, other in (
        (["inches.toml"], "lbf", "kN"),
        (["inches.toml", "--units", "si"], "kN", "lbf nominal"),
        ([joint_file("boosted-four-steel")], "kN", "lbf nominal"),
    ):
        said = headjoint("estimate", *arguments, folder=tmp_path).stdout
        assert f" {unit} nominal" in said
        assert other not in said


def test_a_cutaway_is_in_the_units_of_the_file(tmp_path, monkeypatch):
    from click.testing import CliRunner

    from headjoint.cases.cli import app
    from headjoint.postproc.joint import cutaway

    told = []
    monkeypatch.setattr(cutaway, "cutaway", lambda solved, state, path, units: told.append(units) or path.touch())
    inches = tmp_path / "inches.toml"
    inches.write_text(re.sub(r'"([\d.]+) mm"', lambda found: f'"{float(found[1]) / 25.4:.9g} in"', STEEL))
    for more in ([], ["--units", "si"]):
        done = CliRunner().invoke(app, ["cutaway", str(inches), "-o", str(tmp_path / "cutaway.png"), *more])
        assert done.exit_code == 0, done.output
    assert told == ["workshop", "si"]


@pytest.mark.slow
def test_what_is_known_first_of_an_engine_is_said_in_its_units():
    engine = headjoint_package.read("boosted-four")
    stud = headjoint_package.solve(engine, model="stud").verdict
    formulas, between, ends, coarse = quick_answers(
        lambda: headjoint_package.estimate(engine).verdict, lambda: stud, "workshop"
    )
    assert formulas.startswith("headjoint: first by closed formulas, of one stud: not judged: ")
    assert formulas.endswith(". On a coarse mesh ...")
    assert between.startswith("headjoint: sealing between the studs is not judged: too close for a coarse mesh: ")
    assert " less its allowance, " in between
    assert ends.startswith("headjoint: yield of the studs at the ends of the row is not judged: beam theory ")
    assert coarse.startswith("headjoint: by one stud and a coarse mesh: ")
    assert " lbf" in formulas + between + ends + coarse
    assert " kN" not in formulas + between + ends + coarse


def test_quick_answers_are_said_while_an_engine_is_solved_and_not_after(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))  # nothing was condensed before
    # two bores: a stud of them alone, which takes a second
    engine = headjoint_package.read("boosted-bank-one-fired")
    begun = time.monotonic()
    with said_meanwhile(engine, "si", *OF_ONE_STUD):
        while "On a coarse mesh ..." not in (said := capsys.readouterr().err):
            assert time.monotonic() - begun < 60.0
            time.sleep(0.05)
        asked = time.monotonic()
    assert time.monotonic() - asked < 2.0  # whoever finds them is stopped
    assert said.startswith("headjoint: first by closed formulas, of one stud: ")
    time.sleep(0.5)
    assert capsys.readouterr().err == ""


def test_an_engine_is_solved_also_where_no_process_can_be_started(monkeypatch):
    monkeypatch.setattr(
        "multiprocessing.context.SpawnProcess.start", lambda process: (_ for _ in ()).throw(OSError("no more"))
    )
    with said_meanwhile(headjoint_package.read("boosted-four"), "si", *OF_ONE_STUD) as coarse:
        assert coarse() is None  # it is found by the command itself


@pytest.mark.slow
def test_the_coarser_mesh_that_was_solved_beside_an_engine_is_that_of_the_command(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    engine = parse_cell(RING + COARSE)
    user_store().save(solved._whole_name(engine), np.ones((1, 1)))  # so that no quick answers are said
    with threads_for(engine):
        own, _ = solved.comparison(engine, user_store())
    with said_meanwhile(engine, "si", *OF_ONE_STUD) as coarse:
        found, why = coarse()
    assert why == ""
    for name, history in own.histories.items():
        for state, other in zip(history.states, found.histories[name].states, strict=True):
            assert (state.equilibrium.q == other.equilibrium.q).all()
    assert capsys.readouterr().err == ""


def test_no_estimate_is_one_line_and_ends_the_quick_answers():
    def fails():
        raise SolveError("no balance")

    assert list(quick_answers(fails, fails, "si")) == ["headjoint: no answer by one stud: no balance"]


def children(pid: int) -> list[int]:
    return [int(one) for one in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


@pytest.mark.parametrize("ended_by", [signal.SIGINT, signal.SIGKILL])
def test_whoever_finds_quick_answers_ends_with_the_command_and_takes_nothing_from_the_users_folder(tmp_path, ended_by):
    script = tmp_path / "bin" / "command.py"  # as an installed command: its own folder is the one that is searched
    script.parent.mkdir()
    script.write_text("from headjoint.cases.start import main\nif __name__ == '__main__':\n    main()\n")
    for name in ("pickle", "random"):
        (tmp_path / f"{name}.py").write_text("raise SystemExit('a module of the user')\n")
    surroundings = os.environ | {"XDG_CACHE_HOME": str(tmp_path / "cache")}
    command = [sys.executable, str(script), "solve", "boosted-bank-one-fired", "--json", "-"]
    process = started(
        command, cwd=tmp_path, env=surroundings, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        start_new_session=True,
    )  # fmt: skip
    said = process.stderr.readline()
    begun = children(process.pid)
    os.killpg(process.pid, ended_by) if ended_by is signal.SIGINT else process.send_signal(ended_by)
    answer, errors = process.communicate(timeout=60)
    assert said.startswith("headjoint: first by closed formulas, of one stud: ")
    assert begun
    assert answer == ""
    assert "Traceback" not in errors
    ended = time.monotonic() + 10.0
    while any(Path(f"/proc/{pid}").exists() for pid in begun):
        assert time.monotonic() < ended
        time.sleep(0.05)


def test_a_shipped_engine_is_found_by_its_former_name(tmp_path):
    done = headjoint("law", "boosted-four-cell", "--law", "computed boosted bead", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stderr == "headjoint: boosted-four-cell is now called boosted-four\n"


def test_a_bare_torque_is_asked_for_its_unit_in_a_file_and_in_an_option(tmp_path):
    (tmp_path / "bare.toml").write_text(STEEL.replace('torque = "68 lbf.ft"', "torque = 90"))
    done = headjoint("estimate", "bare.toml", folder=tmp_path)
    assert done.returncode == 2
    assert "tightening.torque: a bare number says no torque: 90 N.m or 90 lbf.ft? (got 90)" in done.stderr
    by_preload = STEEL.replace('method = "torque"', 'method = "preload"')
    (tmp_path / "preload.toml").write_text(by_preload.replace('torque = "68 lbf.ft"', 'preload = "50 kN"'))
    done = headjoint("sweep", "preload.toml", "--over", "tightening.torque=60..90 in 2", folder=tmp_path)
    assert done.returncode == 2
    assert "60 N.m or 60 lbf.ft?" in done.stderr
    # where the file states a unit, that is the one meant
    asked = ("preload.toml", "--over", "preload=40..60 in 2", "--workers", "1", "--json", "-")
    (axis,) = json.loads(headjoint("sweep", *asked, folder=tmp_path).stdout)["axes"]
    assert (axis["unit"], axis["values"]) == ("kN", [40.0, 60.0])


def test_names_that_look_like_markup_are_shown_as_they_are(tmp_path):
    text = STEEL.replace('name = "boosted four, multi-layer steel gasket"', 'name = "no. [1] [/bold] <b>& $_$"')
    (tmp_path / "odd.toml").write_text(text.replace('name = "cold again"', 'name = "cold [/red]/x"'))
    for command in ("estimate", "solve"):
        done = headjoint(command, "odd.toml", folder=tmp_path)
        assert done.returncode == 0, done.stderr
        assert "no. [1] [/bold] <b>&" in done.stdout
    page = (tmp_path / "headjoint-odd" / "report.html").read_text("utf-8")
    assert "&lt;b&gt;&amp;" in page
    assert (tmp_path / "headjoint-odd" / "5-cold-red-x.vtu").exists()


def test_the_estimate_is_a_full_answer_by_itself(tmp_path):
    done = headjoint("estimate", joint_file("boosted-four-steel"), folder=tmp_path)
    assert done.returncode == 0
    for word in (
        "NOT JUDGED",
        "delta_S",
        "delta_P",
        "Phi",
        "embedding",
        "separation",
        "stripping",
        "bearing pressure",
        "Caution",
    ):
        assert word.lower() in done.stdout.lower()
    document = json.loads(
        headjoint("estimate", joint_file("boosted-four-steel"), "--json", "-", folder=tmp_path).stdout
    )
    assert document["estimate"]["nominal"]["states"][0]["fastener_force"] > 0


def test_a_new_file_solves_and_is_not_overwritten(tmp_path):
    assert headjoint("new", "--joint", folder=tmp_path).returncode == 0
    assert headjoint("estimate", "joint.toml", folder=tmp_path).returncode == 0
    again = headjoint("new", "--joint", folder=tmp_path)
    assert again.returncode == 2
    assert "exists already" in again.stderr


def test_the_schema_knows_every_table_and_unit(tmp_path):
    schema = json.loads(headjoint("schema", folder=tmp_path).stdout)
    assert {"fastener", "gasket", "load_cases", "tightening"} <= set(schema["properties"])
    assert "mm" in json.dumps(schema["$defs"]["HeadTable"]["properties"]["height"])


@pytest.mark.parametrize("library", ["joints", "materials", "threads", "classes", "laws", "tightening"])
def test_every_library_can_be_listed(tmp_path, library):
    done = headjoint("list", library, folder=tmp_path)
    assert done.returncode == 0
    assert len(done.stdout.splitlines()) >= (3 if library == "joints" else 5)  # two of heading


@pytest.mark.parametrize("name", ["look.vtu", "look.msh"])
def test_the_mesh_can_be_looked_at_before_solving(tmp_path, name):
    import meshio

    done = headjoint("mesh", joint_file("boosted-four-steel"), "--output", name, folder=tmp_path)
    assert done.returncode == 0
    assert "pretension cut" in done.stdout
    read = meshio.read(tmp_path / name)
    assert [block.type for block in read.cells] == ["quad", "line"]
    groups = {number for values in next(iter(read.cell_data.values())) for number in values}
    assert groups == set(range(1, 20))


def test_a_cutaway_is_rendered_without_a_screen(tmp_path):
    from PIL import Image

    done = headjoint("cutaway", joint_file("boosted-four-steel"), "--state", "hot", folder=tmp_path)
    if "cannot render" in done.stderr:
        pytest.skip("no graphics library on this machine")
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    with Image.open(tmp_path / "cutaway.png") as picture:
        assert picture.width == 1260
        assert len(picture.convert("RGB").getcolors(maxcolors=2**24)) > 100


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (["solve", "no-such-file.toml"], "no such joint file"),
        (["solve", "boosted-fuor"], "nearest shipped joint: boosted-four"),
        (["solve", "."], "is a folder"),
        (["solve", "bad.toml"], "bad.toml: head.height: unit 'kg' is no unit of length"),
        (["estimate", "empty.toml"], "is empty"),
        (["solve", "good.toml", "--output", "good.toml"], "is a file"),
        (["solve", "good.toml", "--json", "nowhere/x.json"], "no such folder"),
        (["solve", "good.toml", "--output", "good.toml/results"], "good.toml is a file, no folder can be made in it"),
        (["history", "good.toml", "--output", "good.toml"], "is a file"),
        (["solve", "good.toml", "--json", "."], "is a folder; name a file"),
        (["mesh", "good.toml", "--output", "mesh.stl"], "the file ends in .vtu or .msh"),
        (["mesh", "good.toml", "--output", "nowhere/mesh.vtu"], "no such folder"),
        (["new", "nowhere/joint.toml"], "no such folder"),
        (["estimate", "good.toml", "--json", "nowhere/x.json"], "no such folder"),
        (["cutaway", "good.toml", "--state", "hott"], "nearest: hot"),
        (["cutaway", "good.toml", "--output", "x.jpg"], "ends in .png"),
        (["solve"], "Missing argument"),
        (["solve", "good.toml", "--unit", "si"], "No such option"),
        (["slove"], "No such command"),
    ],
)
def test_a_mistake_is_one_message_with_exit_code_2_and_leaves_nothing(tmp_path, arguments, expected):
    (tmp_path / "bad.toml").write_text(STEEL.replace('height = "88 mm"', 'height = "12 kg"'))
    (tmp_path / "good.toml").write_text(STEEL)
    (tmp_path / "empty.toml").write_text("")
    before = files_in(tmp_path)
    done = headjoint(*arguments, folder=tmp_path)
    assert done.returncode == 2
    assert expected in done.stderr
    assert "Traceback" not in done.stderr + done.stdout
    assert files_in(tmp_path) == before


@pytest.mark.parametrize("ended_by", [signal.SIGINT, signal.SIGTERM])
def test_an_interrupted_run_says_so_and_leaves_nothing_half_written(tmp_path, ended_by):
    command = [sys.executable, "-m", "headjoint.cases.cli", "solve", "boosted-four"]
    process = started(command, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    # well into its work, however busy the machine is: start-up takes some half a second, the engine most of a minute
    while process.poll() is None and processor_seconds(process.pid) < 3.0:
        time.sleep(0.01)
    process.send_signal(ended_by)
    _, errors = process.communicate(timeout=60)
    assert process.returncode == 130
    assert errors.strip().splitlines()[-1] == "headjoint: interrupted"
    assert "Traceback" not in errors
    assert files_in(tmp_path) == []


def test_history_answers_the_workshop_and_writes_its_files(tmp_path):
    done = headjoint("history", joint_file("boosted-four-steel"), "--units", "workshop", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    text = " ".join(done.stdout.split())
    for words in (
        "NOT JUDGED: this model cannot judge",
        "lbf",
        "Where clamp went",
        "Using the fastener",
        "Fasteners fail violently",
        "Dry, at",
    ):
        assert words in text
    folder = tmp_path / "headjoint-boosted-four-steel"
    pictures = {"drawing.png", "clamp_in_service.png", "clamp_lost.png", "torque_angle.png"}
    assert pictures | {"history.html", "history.pdf", "history.json", "steps"} == set(files_in(folder))
    document = json.loads((folder / "history.json").read_text("utf-8"))
    assert document["format"] == "headjoint-service-result"
    assert document["rows"][-1]["cycle"] == 100
    assert (folder / "history.html").read_text("utf-8").count("data:image/png;base64,") == 4


@pytest.mark.long
@pytest.mark.slow
def test_an_interrupted_history_keeps_its_steps_and_goes_on(tmp_path):
    text = shipped_text("yield-tightened-bolt").replace("times = 100", "times = 2000")
    (tmp_path / "joint.toml").write_text(text)
    options = ("history", "joint.toml", "--no-pictures", "--output", "out")
    whole = headjoint(*options[:3], "--json", "-", folder=tmp_path)
    assert whole.returncode == 0, whole.stderr
    command = [sys.executable, "-m", "headjoint.cases.cli", *options]
    process = started(command, cwd=tmp_path, stderr=subprocess.PIPE, text=True)
    steps = tmp_path / "out" / "steps"
    while process.poll() is None and not (steps / "00003.step").exists():
        time.sleep(0.02)
    process.send_signal(signal.SIGINT)
    _, errors = process.communicate(timeout=60)
    assert process.returncode == 130
    assert errors.strip() == "headjoint: interrupted"
    assert files_in(tmp_path / "out") == ["steps"]
    kept = {path.name: path.stat().st_mtime_ns for path in steps.glob("*.step")}
    resumed = headjoint(*options, "--resume", "--json", "result.json", folder=tmp_path)
    assert resumed.returncode == 0, resumed.stderr
    assert all((steps / name).stat().st_mtime_ns == when for name, when in kept.items())
    one, other = json.loads(whole.stdout), json.loads((tmp_path / "result.json").read_text("utf-8"))
    assert one["records"] == other["records"]


def test_there_is_nothing_to_resume_where_nothing_ran(tmp_path):
    done = headjoint("history", joint_file("boosted-four-steel"), "--resume", folder=tmp_path)
    assert done.returncode == 2
    assert "holds no service to go on with" in done.stderr
    assert files_in(tmp_path) == []


def test_a_history_that_breaks_the_bolt_says_so(tmp_path):
    head, *steps = shipped_text("yield-tightened-bolt").split("[[history]]")
    steps[0] = steps[0].replace('angle = ["90 deg", "90 deg"]', 'angle = "1700 deg"')
    text = "[[history]]".join([head, *steps])
    (tmp_path / "joint.toml").write_text(text)
    done = headjoint("history", "joint.toml", "--strict", folder=tmp_path)
    assert done.returncode == 1, done.stderr
    assert "BREAKS in 'tighten'" in done.stdout
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("width", [80, 100, 120])
def test_a_table_too_wide_for_the_terminal_keeps_every_figure_whole(width):
    headings = ("design", "limited by", *(f"quantity {number} [kN]" for number in range(9)))
    lines = (
        (
            "an engine with a long name and a longer gasket",
            "clamp kept after cooling",
            *(f"{n}1234.5" for n in range(9)),
        ),
        ("another", "separation", *(f"{n}6789.0" for n in range(9))),
    )
    screen = Console(file=StringIO(), width=width)
    print_sheet(screen, Sheet("Beside each other", headings, lines))
    shown = screen.file.getvalue()
    assert max(map(len, shown.splitlines())) <= width
    assert {word for row in (headings, *lines) for text in row for word in text.split()} <= set(shown.split())
