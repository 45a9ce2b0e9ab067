"""Exit codes say what happened to a run, one by one."""

from __future__ import annotations

import os
import subprocess
import sys

from conftest import joint_file, shipped_text

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
