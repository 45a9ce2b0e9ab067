"""Files written whole or not at all: made beside their place under a name that no other run has, then moved there."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from glob import escape
from pathlib import Path

from headjoint.model.base.system import replaced

STEPS = "steps"  # folder in one of results that holds drafts, too
UNFINISHED = ".unfinished-"  # in the names of what is being written, between that of the file and that of the run
WHOLE = "whole"  # folder of files of which none is missing: what has begun to move in


def _prefix(path: Path) -> str:
    return f".{path.name}{UNFINISHED}"


@contextmanager
def _named_where_not(path: Path) -> Iterator[None]:
    """Name a place in an error of the system that names none, as one of a full disk."""
    try:
        yield
    except OSError as error:
        if error.filename is None and error.errno is not None:
            error.filename = str(path)
        raise


@contextmanager
def draft_of(path: Path) -> Iterator[Path]:
    """Give a place to write a file at; it moves to `path` when the block ends without an error.

    The draft keeps the file's name, and its ending with it: some writers go by that.
    """
    with _named_where_not(path), tempfile.TemporaryDirectory(dir=path.parent, prefix=_prefix(path)) as folder:
        draft = Path(folder, path.name)
        yield draft
        replaced(draft, path)


def write_whole(path: Path, content: bytes) -> None:
    """Write a whole file or none of it."""
    with draft_of(path) as draft:
        draft.write_bytes(content)


@contextmanager
def moved_in_whole(folder: Path) -> Iterator[tuple[Path, list[Path]]]:
    """Give a scratch folder beside `folder`, and a list that is told what came of it.

    When all is made, the files move in, pages and documents first; an interruption leaves none of them, and where one
    of them cannot be moved, for somebody has the earlier one open, the earlier ones stay all. What a run that is killed
    on the way has not moved in, `remove_unfinished` does.
    """
    folder.parent.mkdir(parents=True, exist_ok=True)
    with _named_where_not(folder), tempfile.TemporaryDirectory(dir=folder.parent, prefix=_prefix(folder)) as name:
        scratch, earlier = Path(name, "new"), Path(name, "earlier")
        scratch.mkdir()
        earlier.mkdir()
        written: list[Path] = []
        yield scratch, written
        folder.mkdir(exist_ok=True)
        whole = scratch.rename(Path(name, WHOLE))
        made = sorted(whole.iterdir(), key=lambda path: (path.suffix != ".html", path.suffix != ".json", path.name))
        written.extend(_all_moved(made, folder, earlier))


def _all_moved(made: list[Path], folder: Path, earlier: Path) -> list[Path]:
    """Move files into a folder, those that stood there into `earlier`; where one does not move, put all back."""
    moves = [(folder / one.name, earlier / one.name) for one in made if (folder / one.name).exists()]
    moves += [(one, folder / one.name) for one in made]
    done: list[tuple[Path, Path]] = []
    try:
        for source, target in moves:
            replaced(source, target)
            done.append((source, target))
    except BaseException:
        for source, target in reversed(done):
            replaced(target, source)
        raise
    return [target for _, target in moves[-len(made) :]]


def remove_unfinished(folder: Path) -> None:
    """Remove what killed runs left in and beside a folder of results; only where no other run uses it.

    Of one that was killed while its files moved in, the rest moves in: part of the earlier ones has gone. What another
    run is writing stays, also where its folder lies in this one.
    """
    for path in folder.parent.glob(f"{escape(_prefix(folder))}*"):
        for one in (path / WHOLE).glob("*") if folder.is_dir() else ():
            replaced(one, folder / one.name)
        shutil.rmtree(path, ignore_errors=True)
    for path in [one for inside in (folder, folder / STEPS) for one in inside.glob(f".*{UNFINISHED}*")]:
        if not any(one.is_dir() for one in path.glob("*")):  # else of a folder of results in this one
            shutil.rmtree(path, ignore_errors=True)
