"""Finished evaluations in the output folder: an interrupted study goes on where it stood, and to the same result."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Sequence
from pathlib import Path

from headjoint.postproc.designs.outcome import Outcome, outcome_of

NAME = "evaluations.jsonl"


class StudyStore:
    """A file of lines, one for every finished chunk: its outcomes by key, and a checksum.

    A line counts whole or not at all, so that being killed while writing costs one chunk. Keys name all that an outcome
    follows from, so that whatever is found may be used.
    """

    def __init__(self, folder: Path) -> None:
        self.path = folder / NAME
        self._outcomes: dict[str, Outcome] = {}
        self._torn = False
        try:
            text = self.path.read_bytes()
        except OSError:
            return
        self._torn = bool(text) and not text.endswith(b"\n")
        for line in text.split(b"\n"):
            self._outcomes |= _read(line)

    def get(self, key: str) -> Outcome | None:
        """Return a finished outcome, None where there is none."""
        return self._outcomes.get(key)

    def keep(self, keys: Sequence[str], outcomes: Sequence[Outcome]) -> None:
        """Append the outcomes of a chunk; they are on disk when this returns. Passing problems are left out."""
        lasting = {key: one for key, one in zip(keys, outcomes, strict=True) if not one.passing}
        if not lasting:
            return
        body = json.dumps({key: one.plain() for key, one in lasting.items()})
        self.path.parent.mkdir(parents=True, exist_ok=True)
        with self.path.open("ab") as file:
            if self._torn:  # what was being written when a run was killed
                file.write(b"\n")
                self._torn = False
            file.write(f"{_sum(body)} {body}\n".encode())
            file.flush()
            self._outcomes |= lasting
            os.fsync(file.fileno())


def _sum(body: str) -> str:
    return hashlib.blake2b(body.encode(), digest_size=8).hexdigest()


def _read(line: bytes) -> dict[str, Outcome]:
    """Return the outcomes of a line, none of a damaged one."""
    try:
        check, _, body = line.decode().partition(" ")
        if check != _sum(body):
            return {}
        return {key: outcome_of(plain) for key, plain in json.loads(body).items()}
    except (ValueError, KeyError, TypeError):
        return {}
