"""Exit codes say what happened to a run, one by one."""

from __future__ import annotations

import os
import subprocess
import sys

from conftest import joint_file

ESTIMATE = ["-m", "headjoint.cases.cli", "estimate", joint_file("yield-tightened-bolt")]


def ended(*arguments: str, **streams) -> tuple[int, str]:
    run = subprocess.run([sys.executable, *arguments], stderr=subprocess.PIPE, text=True, check=False, **streams)
    return run.returncode, run.stderr


def test_output_that_nobody_reads_any_more_is_no_failed_requirement():
    reads, writes = os.pipe()
    os.close(reads)
    assert ended(*ESTIMATE, stdout=writes) == (141, "")
    os.close(writes)


def test_output_on_a_full_disk_says_so():
    with open("/dev/full", "w") as full:
        assert ended(*ESTIMATE, stdout=full) == (2, "headjoint: standard output: No space left on device\n")


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
