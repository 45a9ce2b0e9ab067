"""Help on a screen of 80 columns: nothing is cut, every option says what it does, exit codes are named."""

from __future__ import annotations

import re

import click
import pytest
from click.testing import CliRunner

from headjoint.cases.cli import app
from headjoint.cases.command.helped import IN_A_LINE
from headjoint.cases.command.stated_files import shipped_files

# but that of a requirement, which only some commands can miss
CODES = (
    "0 done",
    "2 unusable input",
    "3 no trustworthy solution, or not enough memory for one",
    "130 interrupted",
    "141 nobody reads the output any more",
)


def shown(*words: str) -> str:
    done = CliRunner().invoke(app, [*words, "--help"], terminal_width=80)
    assert done.exit_code == 0
    assert max(len(line) for line in done.output.splitlines()) <= 80
    return done.output


def test_every_command_has_a_line_of_its_own_that_is_not_cut():
    text = shown()
    assert set(IN_A_LINE) == set(app.commands)
    for name, line in IN_A_LINE.items():
        assert f"  {name} " in text
        assert line in text
    assert "..." not in text.replace("[ARGS]...", "")
    for code in ("1 not every", *CODES):
        assert code in " ".join(text.split())


def test_help_names_every_exit_code_of_the_guide_in_its_words():
    rows = re.findall(r"^\| (\d+) \| (.*?) \|$", shipped_files("guide")["commands"].read_text("utf-8"), re.MULTILINE)
    # what is said of `--strict`, of messages and of pipes is for the guide alone
    guide = [f"{code} {re.split(r'[;(]| or no place', words)[0].strip(' ,')}" for code, words in rows if code != "1"]
    assert len(guide) == len(CODES) == 5
    assert all(own.startswith(said) for own, said in zip(guide, CODES, strict=True)), guide


@pytest.mark.parametrize("name", sorted(IN_A_LINE))
def test_help_of_a_command_tells_every_option_and_the_exit_codes(name):
    command, text = app.commands[name], " ".join(shown(name).split())
    assert "..." not in text.replace("OPTIONS] JOINTS...", "").replace("OPTIONS] LOGS...", "").replace("5,6,...;", "")
    for one in command.params:
        if isinstance(one, click.Option):
            assert one.help, one.name
            assert one.help.endswith((".", '"')), one.help
            assert one.help[0].isupper() or one.help.startswith("PATH=") or one.help[0] == "'"
            assert "".join(one.help.split()) in text.replace(" ", "")  # lines break at hyphens, too
    assert ("1 a requirement" in text) == any(one.name == "strict" for one in command.params)
    for code in CODES:
        assert code in text
