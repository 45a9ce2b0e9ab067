"""Options and progress that the study commands share."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])
Hooks = tuple[Callable[[int, int], None], Callable[[str], None]]


def study_options(command: F) -> F:
    """Add the options of every study: folder, JSON, units, workers."""
    options = (
        click.option("--output", "-o", type=click.Path(path_type=Path), help="Folder; default headjoint-NAME here."),
        click.option("--json", "json_file", metavar="FILE", help="Write the result as JSON; '-' to standard output."),
        click.option("--workers", type=click.IntRange(1, 999), help="Processes; default one for every core."),
        click.option("--workers-at", default="", metavar="ADDRESS", help="Run on a dask scheduler, tcp://host:8786."),
    )
    for option in reversed(options):
        command = option(command)
    return command


@contextmanager
def study_progress(folder: Path) -> Iterator[Hooks]:
    """Show finished evaluations and the time left on a terminal; say what is kept when interrupted."""
    counts = [0, 0]

    def count(finished: int, whole: int) -> None:
        counts[:] = finished, whole

    try:
        if not sys.stderr.isatty():
            yield count, lambda name: None
            return
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

        columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
        with Progress(*columns, console=Console(stderr=True), transient=True, speed_estimate_period=300.0) as bar:
            job = bar.add_task("reading", total=None)

            def shown(finished: int, whole: int) -> None:
                count(finished, whole)
                bar.update(job, completed=finished, total=whole)

            yield shown, lambda name: bar.update(job, description=name)
    except KeyboardInterrupt:
        if counts[0]:
            print(
                f"headjoint: {counts[0]} of {counts[1]} evaluations are kept in {folder}; the same command goes on",
                file=sys.stderr,
            )
        raise
