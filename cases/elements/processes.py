"""Worker processes that leave interrupts to whoever began them, and end when it does or when they are called off."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import resource_tracker
from typing import Any

LONGEST_FAREWELL = 10.0  # s


@contextmanager
def interrupts_kept_back() -> Iterator[None]:
    """Start a process inside, and no interrupt reaches it from its first line on, before it comes to `begin_process`.

    One that comes to this process meanwhile is heard at the end.
    """
    if not hasattr(signal, "pthread_sigmask"):  # Windows: interrupts go to each process of a console by itself
        yield
        return
    resource_tracker.ensure_running()  # multiprocessing starts it with the first process, and lets interrupts in again
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def begin_process() -> None:
    """Begin a worker process: leave interrupts to the parent, and end when it is gone, however it ended."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    assert parent is not None

    def watch() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def end_pool(pool: ProcessPoolExecutor) -> None:
    """End the processes of a pool with the work that is under way."""
    # there is no public way to end work under way
    processes = list((pool._processes or {}).values())
    manager: Any = pool._executor_manager_thread  # a thread, whatever its stub says
    pool.shutdown(wait=False, cancel_futures=True)
    for process in processes:
        process.terminate()
    if manager is not None:
        manager.join(LONGEST_FAREWELL)  # otherwise Python, leaving at the same time, uses a pipe it closes
