"""Help on a screen of 80 columns: nothing is cut, every option says what it does, exit codes are named."""

from __future__ import annotations

import click
import pytest
from click.testing import CliRunner

from headjoint.cases.cli import app
from headjoint.cases.command.helped import IN_A_LINE


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
    for code in ("0 done", "1 not every", "2 unusable", "3 no trustworthy", "130 interrupted", "141 nobody"):
        assert code in " ".join(text.split())


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
    assert "2 unusable input" in text
