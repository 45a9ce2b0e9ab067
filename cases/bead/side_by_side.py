"""Pressings that do not hang on each other, side by side in processes of their own, or one after the other here."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from typing import Any

from headjoint.cases.elements.processes import begin_process, end_pool
from headjoint.cases.elements.threads import one_thread
from headjoint.model.base.errors import SolveError

# takes a function and what it is called with, gives what to call for its result
Ask = Callable[..., Callable[[], Any]]


def here(work: Callable[..., Any], *of: Any) -> Callable[[], Any]:
    """Do work in this process, when its result is called for."""
    return lambda: work(*of)


@contextmanager
def side_by_side(processes: int) -> Iterator[Ask]:
    """Yield what has work done in as many processes, begun in the order it is asked; one: `here`."""
    if processes <= 1:
        yield here
        return
    pool = ProcessPoolExecutor(processes, multiprocessing.get_context("spawn"), initializer=begin_process)
    try:
        yield lambda work, *of: _asked_of(pool, work, *of)
    finally:
        end_pool(pool)


def _asked_of(pool: ProcessPoolExecutor, work: Callable[..., Any], *of: Any) -> Callable[[], Any]:
    """Have work done in a pool; SolveError where a process of it died, before this or on the way to the result."""
    with _all_alive():
        asked = pool.submit(_on_one_thread, work, *of)

    def result() -> Any:
        with _all_alive():
            return asked.result()

    return result


@contextmanager
def _all_alive() -> Iterator[None]:
    """Say of a pool with a dead process in it what became of it."""
    try:
        yield
    except BrokenProcessPool:
        raise SolveError("a process that pressed a bead died, perhaps for want of memory") from None


def _on_one_thread(work: Callable[..., Any], *of: Any) -> Any:
    with one_thread():
        return work(*of)
