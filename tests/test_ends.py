"""Exit codes say what happened to a run, one by one."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time

import pytest
from conftest import joint_file, shipped_text
from test_cli import processor_seconds

from headjoint.cases.command.ends import EPILOG

COMMAND = ["-m", "headjoint.cases.cli"]
ESTIMATE = [*COMMAND, "estimate", joint_file("yield-tightened-bolt")]


def ended(*arguments: str, **streams) -> tuple[int, str]:
    run = subprocess.run([sys.executable, *arguments], stderr=subprocess.PIPE, text=True, check=False, **streams)
    return run.returncode, run.stderr


def done(folder) -> int:
    return ended(*COMMAND, "guide", stdout=subprocess.DEVNULL)[0]


def not_judged(folder) -> int:
    """One fastener does not see between the fasteners."""
    return ended(*ESTIMATE, "--strict", stdout=subprocess.DEVNULL)[0]


def unusable(folder) -> int:
    return ended(*COMMAND, "estimate", "no-such-joint")[0]


def unsolved(folder) -> int:
    """A body that never touches and a bead that bears nothing: the head has nothing to stand on."""
    nothing = "\n[gasket.laws.nothing]\nclosure = [0, 0.5]\npressure = [0, 0]\n"
    text = re.sub(r'law = "multi-layer steel \w+"', 'law = "nothing"', shipped_text("boosted-four-steel"))
    (folder / "joint.toml").write_text(text + nothing)
    code, said = ended(*COMMAND, "solve", "joint.toml", stdout=subprocess.DEVNULL, cwd=folder)
    assert "load case 'assembly'" in said
    assert "Traceback" not in said
    assert [path.name for path in folder.iterdir()] == ["joint.toml"]
    return code


def interrupted(folder) -> int:
    run = subprocess.Popen(
        [sys.executable, *COMMAND, "rig", "stud-dry", "--rig", "hollow-ram-m11-stud", "--json", "-"],
        stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )  # fmt: skip
    while processor_seconds(run.pid) < 0.5:  # of some ten
        time.sleep(0.02)
    run.send_signal(signal.SIGINT)
    assert run.communicate(timeout=60)[1] == "headjoint: interrupted\n"
    return run.returncode


def unread(folder) -> int:
    reads, writes = os.pipe()
    os.close(reads)
    try:
        code, said = ended(*COMMAND, "guide", stdout=writes)
    finally:
        os.close(writes)
    assert said == ""
    return code


REACHED = {0: done, 1: not_judged, 2: unusable, 3: unsolved, 130: interrupted, 141: unread}


def test_every_documented_exit_code_is_tried():
    assert {int(code) for code in re.findall(r"(\d+) \w", EPILOG.partition("Exit codes:")[2])} == set(REACHED)


@pytest.mark.parametrize("code", REACHED)
def test_an_exit_code_is_reached_by_the_command_itself(code, tmp_path):
    assert REACHED[code](tmp_path) == code


def test_output_on_a_full_disk_says_so():
    with open("/dev/full", "w") as full:
        assert ended(*ESTIMATE, stdout=full) == (2, "headjoint: standard output: No space left on device\n")


def test_a_folder_that_is_gone_meanwhile_says_so(tmp_path):
    gone = {"cwd": tmp_path, "preexec_fn": tmp_path.rmdir}
    said = "headjoint: the folder that this was started in: No such file or directory\n"
    assert ended(*ESTIMATE, "--json", "-", stdout=subprocess.DEVNULL, **gone) == (2, said)


def test_output_closed_from_the_start_ends_well():
    closed = {"preexec_fn": lambda: os.close(1)}
    assert ended(*ESTIMATE, **closed) == (0, "")


def test_an_unknown_command_or_option_is_unusable_input():
    assert ended("-m", "headjoint.cases.cli", "solv")[0] == 2
    assert ended(*ESTIMATE, "--nonsense")[0] == 2


def test_a_figure_beyond_all_bounds_is_no_traceback():
    beyond = (
        "import click; from headjoint.cases.command.ends import run_to_end\n"
        "import sys; sys.argv = ['headjoint']\n"
        "@click.command()\ndef app(): 1e200 ** 2\n"
        "run_to_end(app)"
    )
    code, said = ended("-c", beyond)
    assert code == 2
    assert said.startswith("headjoint: a figure grew beyond what can be reckoned with")


def test_an_interrupt_while_the_first_libraries_are_imported_is_one_line():
    interrupted = (
        "import os, signal, sys\n"
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"  # tests in the background ignore it
        "class AtClick:\n"
        "    def find_spec(self, name, *_):\n"
        "        if name == 'click': os.kill(os.getpid(), signal.SIGINT)\n"
        "sys.meta_path.insert(0, AtClick())\n"
        "from headjoint.cases.start import main\n"
        "main()"
    )
    assert ended("-c", interrupted) == (130, "headjoint: interrupted\n")


def test_an_interrupt_later_on_is_one_line_too():
    later = (
        "import click, os, signal, sys; from headjoint.cases.command.ends import run_to_end\n"
        "sys.argv = ['headjoint']\n"
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"  # tests in the background ignore it
        "@click.command()\ndef app(): os.kill(os.getpid(), signal.SIGINT)\n"
        "run_to_end(app)"
    )
    assert ended("-c", later) == (130, "headjoint: interrupted\n")


def test_more_elements_than_are_worked_with_is_unusable_input(tmp_path):
    fine = tmp_path / "fine.toml"
    fine.write_text(f"{shipped_text('boosted-four-steel')}\n[mesh]\nelement_size = 0.001\n")
    code, said = ended("-m", "headjoint.cases.cli", "mesh", str(fine))
    assert code == 2
    assert "mesh.element_size: would make a grid of" in said
    assert "give a larger one (got 0.001)" in said


def test_an_interrupt_inside_a_text_that_is_executed_is_no_other_end(tmp_path):
    # as when a library makes a dataclass: `python -m` would end by the signal, whatever became of the interrupt
    (tmp_path / "inside.py").write_text(
        "import click, os, signal, sys; from headjoint.cases.command.ends import run_to_end\n"
        "sys.argv = ['headjoint']\n"
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"  # tests in the background ignore it
        "@click.command()\ndef app(): exec('os.kill(os.getpid(), signal.SIGINT)\\nfor _ in range(999): pass')\n"
        "run_to_end(app)"
    )
    search = os.pathsep.join([str(tmp_path), *filter(None, [os.environ.get("PYTHONPATH")])])
    assert ended("-m", "inside", env=os.environ | {"PYTHONPATH": search}) == (130, "headjoint: interrupted\n")
