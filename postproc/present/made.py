"""From what an answer was made, so that whoever reads a report can make it again."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

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
    """Return what an answer was made from: files, and those that joint and engine files name beside themselves."""
    found = dict.fromkeys(one for path in paths for one in (path, *_named_in(path)))
    return Made(command, tuple((path.name, hashlib.sha256(path.read_bytes()).hexdigest()) for path in found))


def _named_in(path: Path) -> Iterator[Path]:
    """Go through the files that a TOML file names: tables of gasket laws, meshes, measured values."""
    if path.suffix != ".toml":
        return
    for text in _texts(tomllib.loads(path.read_text("utf-8-sig"))):
        if "." in text and "\n" not in text and len(text) < 200 and (path.parent / text).is_file():
            yield path.parent / text


def _texts(content: Any) -> Iterator[str]:
    entries: Sequence[Any] = ()
    if isinstance(content, str):
        yield content
    elif isinstance(content, dict):
        entries = list(content.values())
    elif isinstance(content, list):
        entries = content
    for entry in entries:
        yield from _texts(entry)
