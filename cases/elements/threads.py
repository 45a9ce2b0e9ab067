"""How many threads sparse factorisation may use.

Limits of libraries that are not loaded yet cannot be set, so whoever wants one thread says it here, too.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from contextvars import ContextVar
from typing import Any

_ALONE: ContextVar[bool] = ContextVar("alone", default=False)
_AMONG: ContextVar[int] = ContextVar("among", default=1)


class ProcessLimits:
    """Limits of the whole process, held as long as anybody wants them: what overlaps in time must not undo them."""

    def __init__(self) -> None:
        self._lock, self._holders = threading.Lock(), 0
        self._limited: Any = None

    def take(self) -> None:
        """Begin to hold all algebra of the process to one thread; any thread may `leave` it again."""
        from threadpoolctl import threadpool_limits

        with self._lock:
            self._holders += 1
            if self._holders == 1:
                self._limited = threadpool_limits(limits=1)

    def leave(self) -> None:
        """End that, where nobody else holds it."""
        with self._lock:
            self._holders -= 1
            if self._holders == 0:
                self._limited.restore_original_limits()


LIMITS = ProcessLimits()


@contextmanager
def one_thread() -> Iterator[None]:
    """Keep all algebra on one thread: a single fastener's matrices are so small that threads only wait.

    Costs next to nothing while somebody else in the process holds it.
    """
    before = _ALONE.set(True)
    LIMITS.take()
    try:
        yield
    finally:
        LIMITS.leave()
        _ALONE.reset(before)


@contextmanager
def share_of_threads(among: int) -> Iterator[None]:
    """Give factorisation in this thread its share of all, of so many that factorise at once."""
    before = _AMONG.set(among)
    try:
        yield
    finally:
        _AMONG.reset(before)


def dense_on_one_thread() -> AbstractContextManager:
    """Keep numpy's algebra on one thread: on a thousand unknowns two take half as long again, by waiting.

    Sparse factorisation keeps all threads.
    """
    import numpy as np  # noqa: F401  loads the library that is limited
    import scipy.linalg  # noqa: F401
    from threadpoolctl import ThreadpoolController

    return ThreadpoolController().select(internal_api="openblas").limit(limits=1)


def dense_on_all_threads() -> AbstractContextManager:
    """Let numpy's algebra have as many threads as factorisation: on several thousand unknowns they work, not wait."""
    import numpy as np  # noqa: F401  loads the library that is limited
    import scipy.linalg  # noqa: F401
    from threadpoolctl import ThreadpoolController

    return ThreadpoolController().select(internal_api="openblas").limit(limits=allowed_threads())


def allowed_threads(limiting: Any = None) -> int:
    """Return the number of cores, or fewer where whoever calls has limited threads.

    limiting : what `limiting_libraries` gave, where it is asked often: to look for them takes milliseconds.
    """
    if _ALONE.get():
        return 1
    limits = [one["num_threads"] for one in (limiting_libraries() if limiting is None else limiting).info()]
    return max(1, min([os.cpu_count() or 1, *limits]) // _AMONG.get())


def limiting_libraries() -> Any:
    """Return the libraries loaded so far whose limits on threads are taken for those of factorisation."""
    from threadpoolctl import ThreadpoolController

    return ThreadpoolController().select(user_api="openmp")
