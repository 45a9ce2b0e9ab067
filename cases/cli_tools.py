"""What the commands share: progress, threads, files written whole."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

from headjoint.cases.output_paths import check_file, write_whole
from headjoint.model.joint import Joint

if TYPE_CHECKING:
    from headjoint.model.cell import Cell


def check_json(json_file: str | None) -> None:
    """Refuse a place for JSON that cannot be written; '-' is standard output."""
    if json_file not in (None, "-"):
        check_file(Path(json_file), "--json")


def write_text(path: Path, text: str) -> None:
    """Write a whole file or none of it."""
    write_whole(path, text.encode())


def threads_for(stated: Joint | Cell) -> AbstractContextManager:
    """Keep a single fastener's algebra on one thread, give a cell's all."""
    return one_thread() if isinstance(stated, Joint) else nullcontext()


def one_thread() -> AbstractContextManager:
    """Keep dense algebra on one thread: a single fastener's matrices are so small that threads only wait."""
    from threadpoolctl import threadpool_limits

    return threadpool_limits(limits=1)


@contextmanager
def progress() -> Iterator[Callable[[str], None]]:
    """Show the stage at work on a terminal's standard error; say nothing in a pipe."""
    if not sys.stderr.isatty():
        yield lambda name: None
        return
    from rich.console import Console

    with Console(stderr=True).status("reading") as status:
        yield lambda name: status.update(name)
