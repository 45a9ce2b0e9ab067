"""Progress on a terminal's standard error: the stage at work, and of studies how many evaluations are finished."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Telling:
    """Who is told of a long run: the name of every stage, and finished evaluations of how many."""

    stage: Callable[[str], None] = lambda name: None
    done: Callable[[int, int], None] = lambda finished, whole: None


@contextmanager
def progress() -> Iterator[Telling]:
    """Show the stage at work; say nothing in a pipe."""
    if not sys.stderr.isatty():
        yield Telling()
        return
    from rich.console import Console

    with Console(stderr=True).status("reading") as status:
        yield Telling(stage=status.update)


@contextmanager
def study_progress(folder: Path) -> Iterator[Telling]:
    """Show finished evaluations and the time left; say what is kept in `folder` when interrupted."""
    counts = [0, 0]

    def count(finished: int, whole: int) -> None:
        counts[:] = finished, whole

    try:
        if not sys.stderr.isatty():
            yield Telling(done=count)
            return
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

        columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
        with Progress(*columns, console=Console(stderr=True), transient=True, speed_estimate_period=300.0) as bar:
            job = bar.add_task("reading", total=None)

            def shown(finished: int, whole: int) -> None:
                count(finished, whole)
                bar.update(job, completed=finished, total=whole)

            yield Telling(lambda name: bar.update(job, description=name), shown)
    except KeyboardInterrupt:
        if counts[0]:
            print(
                f"headjoint: {counts[0]} of {counts[1]} evaluations are kept in {folder}; the same command goes on",
                file=sys.stderr,
            )
        raise
