"""From what an answer was made, so that whoever reads a report can make it again."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

from headjoint.model.base.errors import InputError
from headjoint.model.base.named_files import named_beside

NAMING = ("file", "include", "points", "data", "specimens")  # keys whose text is the name of a file
UNRECORDED = "made from Python, which does not say from which file"


@dataclass(frozen=True)
class Made:
    """The command that gives an answer again, and the files that it was read from, each with its SHA-256."""

    command: str = ""
    files: tuple[tuple[str, str], ...] = ()

    def items(self) -> tuple[tuple[str, str], ...]:
        """Return what a report says of it: headings, and what stands beside them."""
        program = (("Program", f"headjoint {version('headjoint')}"),)
        if not self.files:
            return (*program, ("Files", UNRECORDED))
        command = (("To repeat", self.command),) if self.command else ()
        return (*program, *((f"SHA-256 of {name}", digest) for name, digest in self.files), *command)


FROM_PYTHON = Made()


def made_from(paths: Iterable[Path], command: str = "") -> Made:
    """Return what an answer is made from: files, and those that TOML files name beside themselves.

    To be called before they are read: whoever reads them says what is wrong with one, so that those which cannot be
    read are left out here; and what can be read but once, as a pipe, is left to them.
    """
    found = dict.fromkeys(one for path in paths for one in (path, *_named_in(path)))
    return Made(
        command, tuple((path.name, hashlib.sha256(text).hexdigest()) for path in found for text in _bytes(path))
    )


def _bytes(path: Path) -> Iterator[bytes]:
    """Give a regular file's content once, or nothing."""
    with suppress(OSError):
        if path.is_file():
            yield path.read_bytes()


def _named_in(path: Path) -> Iterator[Path]:
    """Go through the files that a TOML file names and that were read with it: laws, meshes, points, measured values."""
    if path.suffix != ".toml":
        return
    try:
        content = tomllib.loads("".join(text.decode("utf-8-sig") for text in _bytes(path)))
    except (ValueError, RecursionError):
        return
    for name in stated_names(content):
        try:
            named = named_beside(path.parent, name, NAMING[0])
        except InputError:
            continue  # not read: it would have been refused
        yield named


def stated_names(content: Any, key: str = "") -> Iterator[str]:
    """Yield the names of files in the content of a TOML file, under a `key` or in a whole file."""
    if isinstance(content, str) and key in NAMING:
        yield content
    elif isinstance(content, dict):
        for name, entry in content.items():
            yield from stated_names(entry, name)
    elif isinstance(content, list):
        for entry in content:
            yield from stated_names(entry, key)
