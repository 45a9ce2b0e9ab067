"""What help says of every command alike: its line in the list of commands, never cut, and its exit codes."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])
SETTINGS = {"help_option_names": ["-h", "--help"], "max_content_width": 110}

IN_A_LINE = {
    "bead": "Press a bead flat: its line load, set, life and law.",
    "compare": "Put joints, or variants of one, beside each other.",
    "cutaway": "Render the joint in the round, a quarter cut away.",
    "estimate": "Answer by closed formulas alone, at once.",
    "guide": "Show a page of the guide, or list its topics.",
    "head": "Solve the whole head: every stud, every bore fired alone.",
    "history": "Run the service step by step: what clamp is kept.",
    "law": "Print and draw a gasket law.",
    "list": "List what ships, and what files may name.",
    "live": "Serve a page on this machine that follows the hand.",
    "mesh": "Write the mesh, to look at before solving.",
    "new": "Write an engine file from a few facts.",
    "rig": "Read logs of a test rig: friction, stretch, yield.",
    "scatter": "Say how likely the joint is to fail in a batch.",
    "schema": "Print the JSON schema of the files, for editors.",
    "size": "Find what just meets every requirement.",
    "solve": "Solve all load cases by finite elements, and judge them.",
    "sweep": "Vary one or two quantities over a range.",
    "warmup": "Follow heat in time, and the clamp that it makes.",
    "worksheet": "Print one page for the bench.",
}


class Helped(click.Group):
    """A group whose commands have a line of their own in its list, and name their exit codes."""

    def __init__(self, *words: Any, **stated: Any) -> None:
        super().__init__(*words, context_settings=SETTINGS, **stated)

    def add_command(self, cmd: click.Command, name: str | None = None) -> None:
        """Take a command with what its help says besides."""
        cmd.short_help = IN_A_LINE[name or cmd.name or ""]
        strict = any("--strict" in one.opts for one in cmd.params)
        unmet = "1 a requirement is not met or not judged (with --strict); " if strict else ""
        cmd.epilog = (
            f"Exit codes: 0 done; {unmet}2 unusable input or no place to write; 3 no trustworthy solution, or not "
            "enough memory for one; 130 interrupted; 141 nobody reads the output any more."
        )
        super().add_command(cmd, name)


def file_option(help: str, default: str | None = None) -> Callable[[F], F]:
    """Return the option of a command that writes one file."""
    return click.option(
        "--output", "-o", type=click.Path(path_type=Path), default=default, show_default=default is not None, help=help
    )
