"""Condensed joints kept on disk: a changed torque, gasket law, temperature or pressure needs no new condensation."""

from __future__ import annotations

import hashlib
import os
import tempfile
import time
from contextlib import suppress
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.system import user_cache

LARGEST_STORE = 2_000_000_000  # bytes; the files used longest ago go first
MAGIC = b"headjoint condensed 2\n"
DIGEST = 32  # bytes
DRAFT, LONG_AGO = ".part", 3600.0  # what is being written; s after which nobody does any more
SHAPE = 16  # bytes: two whole numbers


def user_store() -> CondensedStore:
    """Return the store in the user's cache folder."""
    return CondensedStore(user_cache() / "condensed")


def fingerprint(*arrays: NDArray[Any]) -> str:
    """Return a name for all that shapes a condensed joint: these arrays, byte by byte, and headjoint's version."""
    digest = hashlib.blake2b(version("headjoint").encode(), digest_size=DIGEST)
    for array in arrays:
        digest.update(f"{array.dtype}{array.shape}".encode())
        digest.update(np.ascontiguousarray(array).data)
    return digest.hexdigest()


@dataclass(frozen=True)
class CondensedStore:
    """A folder of matrices by fingerprint. A missing or damaged file is as good as none; nothing is raised."""

    folder: Path

    def load(self, name: str) -> FloatArray | None:
        """Return the matrix, or None where there is none or it is damaged."""
        path = self.folder / name
        try:
            raw = path.read_bytes()
            start = len(MAGIC) + DIGEST
            body = memoryview(raw)[start:]
            good = (
                raw.startswith(MAGIC)
                and hashlib.blake2b(body, digest_size=DIGEST).digest() == raw[start - DIGEST : start]
            )
            shape = np.frombuffer(body[:SHAPE], dtype=np.int64) if good else np.zeros(2)
            if not good or 8 * shape.prod() + SHAPE != len(body):
                path.unlink()
                return None
            path.touch()
            return np.frombuffer(body[SHAPE:], dtype=np.float64).reshape(shape).copy()
        except OSError:
            return None

    def save(self, name: str, matrix: FloatArray) -> None:
        """Keep the matrix, whole or not at all; a full or read-only disk only costs time at the next run."""
        shape = np.array(matrix.shape, dtype=np.int64)
        body = shape.tobytes() + np.ascontiguousarray(matrix, dtype=np.float64).tobytes()
        if len(body) > LARGEST_STORE:
            return
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            self._make_room(len(body))
            handle, draft = tempfile.mkstemp(dir=self.folder, suffix=DRAFT)
            try:
                with os.fdopen(handle, "wb") as file:
                    file.write(MAGIC + hashlib.blake2b(body, digest_size=DIGEST).digest())
                    file.write(body)
                os.replace(draft, self.folder / name)
            finally:
                Path(draft).unlink(missing_ok=True)
        except OSError:
            return

    def _make_room(self, wanted: int) -> None:
        files = []
        for path in self.folder.iterdir():
            with suppress(FileNotFoundError):  # another run made room meanwhile
                stat = path.stat()
                if path.suffix == DRAFT and stat.st_mtime < time.time() - LONG_AGO:  # of a run that was killed
                    path.unlink()
                    continue
                files.append((stat.st_mtime, stat.st_size, path))
        total = sum(size for _, size, _ in files)
        for _, size, oldest in sorted(files):
            if total + wanted <= LARGEST_STORE:
                return
            total -= size
            oldest.unlink(missing_ok=True)
