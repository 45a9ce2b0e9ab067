"""The Python interface: what it gives, what it loads, and that the README's and the guide's lines run as they stand."""

from __future__ import annotations

import dataclasses
import json
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from conftest import joint_file, shipped_text

import headjoint
from headjoint.cases.command.stated_files import shipped_files
from headjoint.model.base.errors import InputError

ROOT = Path(__file__).parent.parent


def python_blocks(text: str) -> list[str]:
    return re.findall(r"^```python\n(.*?)^```$", text, re.DOTALL | re.MULTILINE)


@pytest.mark.parametrize("page", ["README", "guide"])
def test_lines_of_python_run_as_they_stand(page, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    path = ROOT / "README.md" if page == "README" else shipped_files("guide")["python"]
    (block,) = python_blocks(path.read_text("utf-8"))
    names: dict = {}
    exec(compile(block, str(path), "exec"), names)
    assert capsys.readouterr().out
    if page == "README":
        # every requirement that one stud can show is met; between the studs it cannot judge, and does not call it sound
        assert names["answer"].verdict.met
        assert names["answer"].holds is None
        assert len(names["forces"]) == 5
        assert (tmp_path / "stud" / "report.html").exists()
        assert len(names["boosts"].sweep.outcomes) == 2


@pytest.mark.parametrize("number", range(3), ids=["stud", "how tight", "from a rig"])
def test_notebooks_of_the_guide_run_as_they_stand(number, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    path = shipped_files("guide")["notebooks"]
    block = python_blocks(path.read_text("utf-8"))[number]
    names: dict = {}
    exec(compile(block, str(path), "exec"), names)
    assert capsys.readouterr().out
    if number == 0:
        _a_field_holds_what_the_table_says(names["answer"], names["contact"])
    if number == 1:
        # tighter: less in hand of yield, which limits there
        in_hand = [outcome.criterion("yield").in_hand for outcome in names["swept"].sweep.outcomes]
        assert in_hand == sorted(in_hand, reverse=True)
    if number == 2:
        # truth of that log: friction 0.123 and 0.108 against 0.12 and 0.12 in the file, so a little more clamp
        assert 1.0 < names["clamp"] / names["stud"].tightening.preload < 1.1


def _a_field_holds_what_the_table_says(answer, contact) -> None:
    """Pressure over the ring of every point adds up to the gasket's force; names and units are there."""
    table = answer.frame()
    force = table[(table.quantity == "gasket force") & (table.state == "firing")]["finite elements"].item()
    assert contact.gasket_force.sel(state="firing").item() == pytest.approx(1e3 * force)
    assert {contact[name].attrs["units"] for name in ("pressure", "radius", "gasket_force")} == {"MPa", "mm", "N"}
    radius, pressure = contact.radius.values, contact.pressure.sel(state="firing").values
    added = sum(
        np.trapezoid(2.0 * np.pi * radius[at] * pressure[at], radius[at])
        for at in (contact.zone.values == name for name in set(contact.zone.values))
    )
    # trapezoids over the points of integration, which leave out the rims of each zone
    assert added == pytest.approx(1e3 * force, rel=0.03)


def test_a_notebook_shows_joints_answers_and_verdicts():
    joint = headjoint.read(joint_file("boosted-four-steel"))
    shown = joint._repr_html_()
    assert "data:image/png;base64," in shown
    assert "What was assumed" in shown
    answer = headjoint.estimate(joint)
    for html in (answer._repr_html_(), answer.verdict._repr_html_()):
        assert "Requirements, each at its worst" in html
        assert "<script" not in html
    named = dataclasses.replace(joint, note="<script>alert(1)</script>")
    assert "<script>" not in named._repr_html_()


def test_importing_loads_nothing_heavy():
    heavy = ("numpy", "scipy", "pandas", "msgspec", "matplotlib", "pyvista", "rich", "click")
    code = f"import headjoint, sys; print([name for name in {heavy!r} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_an_answer_by_closed_formulas_loads_no_finite_elements():
    code = "import headjoint.postproc.joint.estimate_answer, sys; print([n for n in ('scipy', 'skfem') if n in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_every_public_name_is_there_and_says_what_it_is():
    for name in headjoint.__all__:
        assert getattr(headjoint, name).__doc__
    with pytest.raises(AttributeError, match="no attribute 'sovle'"):
        headjoint.sovle  # noqa: B018


def test_the_interface_gives_what_the_command_line_gives(tmp_path):
    command = [sys.executable, "-m", "headjoint.cases.cli", "estimate", joint_file("iron-diesel-steel"), "--json", "-"]
    told = json.loads(subprocess.run(command, capture_output=True, text=True, check=True, cwd=tmp_path).stdout)
    assert json.loads(headjoint.estimate(joint_file("iron-diesel-steel")).json()) == told


def test_a_frame_has_every_quantity_of_every_state():
    answer = headjoint.estimate(joint_file("boosted-four-steel"))
    frame = answer.frame()
    assert set(frame.columns) == {"quantity", "unit", "state", "estimate"}
    assembly = frame[(frame.quantity == "fastener force F_S") & (frame.state == "assembly")]
    assert assembly.estimate.item() == pytest.approx(answer.estimates["nominal"].preload / 1e3)


def test_a_joint_that_was_read_is_taken_as_it_is(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(shipped_text("boosted-four-steel"))
    joint = headjoint.read(path)
    assert headjoint.read(joint) is joint
    with pytest.raises(InputError, match="no such joint file"):
        headjoint.read(tmp_path / "yours.toml")
    with pytest.raises(InputError, match="source: a study changes what a file states"):
        headjoint.sweep(joint, ["boost=1.0, 1.4 bar"], workers=1)
