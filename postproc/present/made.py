"""From what an answer was made, so that whoever reads a report can make it again."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

from headjoint.model.base.errors import InputError
from headjoint.model.base.named_files import named_beside

NAMING = ("file", "include", "points")  # keys whose text is the name of a file
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


def made_from(paths: Iterable[Path], command: str = "") -> Made:
    """Return what an answer was made from: files, and those that TOML files name beside themselves."""
    found = dict.fromkeys(one for path in paths for one in (path, *_named_in(path)))
    return Made(command, tuple((path.name, hashlib.sha256(path.read_bytes()).hexdigest()) for path in found))


def _named_in(path: Path) -> Iterator[Path]:
    """Go through the files that a TOML file names and that were read with it: laws, meshes, points, measured values."""
    if path.suffix != ".toml":
        return
    for name in _names(tomllib.loads(path.read_text("utf-8-sig")), ""):
        try:
            named = named_beside(path.parent, name, NAMING[0])
        except InputError:
            continue  # not read: it would have been refused
        if named.is_file():
            yield named


def _names(content: Any, key: str) -> Iterator[str]:
    if isinstance(content, str) and key in NAMING:
        yield content
    elif isinstance(content, dict):
        for name, entry in content.items():
            yield from _names(entry, name)
    elif isinstance(content, list):
        for entry in content:
            yield from _names(entry, key)
