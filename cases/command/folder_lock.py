"""One run at a time in a folder of results: two that write into one would mix their answers."""

from __future__ import annotations

import hashlib
import os
import socket
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path

from headjoint.model.base.errors import InputError
from headjoint.model.base.system import user_cache


@contextmanager
def only_run_in(folder: Path) -> Iterator[None]:
    """Keep other runs of this user on this machine out of `folder`; the lock is gone with the process, however it ends.

    Locks stand in the user's cache, so that a run that fails leaves no folder behind. Raises InputError, saying who is
    there, where another run is.
    """
    from filelock import FileLock, Timeout

    locks = user_cache() / "locks"
    name = hashlib.blake2b(str(folder.resolve()).encode(), digest_size=16).hexdigest()
    lock, who = FileLock(locks / f"{name}.lock", timeout=0), locks / f"{name}.txt"
    try:
        locks.mkdir(parents=True, exist_ok=True)
        lock.acquire()
    except Timeout:
        raise InputError(
            f"is in use by another run{_told(who)}; wait for it, or name another folder with --output",
            field="--output",
            value=str(folder),
        ) from None
    except (OSError, NotImplementedError):
        # a cache that may not be written, or knows no locks, keeps nobody from working
        yield
        return
    try:
        with suppress(OSError):  # nor does a full one
            who.write_text(_this_run(), "utf-8")
        yield
    finally:
        with suppress(OSError):
            who.unlink(missing_ok=True)
        lock.release()


def _this_run() -> str:
    command = " ".join(["headjoint", *sys.argv[1:]])
    return f"{command[:80]} (process {os.getpid()} on {socket.gethostname()}, since {datetime.now():%Y-%m-%d %H:%M})"


def _told(who: Path) -> str:
    try:
        return f": {who.read_text('utf-8')}"
    except (OSError, UnicodeDecodeError):
        return ""
