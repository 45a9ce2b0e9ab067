"""One place that decides how wide and colourful the terminal output is."""

from __future__ import annotations

import os
import shutil
import sys

from rich.console import Console

WIDTH_IN_A_PIPE = 120


class _Console(Console):
    """A console that leaves a closed pipe to the command line: the library would end the run with 1."""

    def on_broken_pipe(self) -> None:
        raise


def console() -> Console:
    """Return a console for standard output: the terminal's width, or a readable one in a pipe or file."""
    if sys.stdout.isatty() or "COLUMNS" in os.environ:
        return _Console(highlight=False, width=max(80, shutil.get_terminal_size().columns))
    return _Console(highlight=False, width=WIDTH_IN_A_PIPE, no_color=True)
