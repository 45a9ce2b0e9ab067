"""Pressings that do not hang on each other, side by side in processes of their own, or one after the other here."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
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
        yield lambda work, *of: _result_of(pool.submit(_on_one_thread, work, *of))
    finally:
        end_pool(pool)


def _result_of(asked: Future[Any]) -> Callable[[], Any]:
    def result() -> Any:
        try:
            return asked.result()
        except BrokenProcessPool:
            raise SolveError("a process that pressed a bead died, perhaps for want of memory") from None

    return result


def _on_one_thread(work: Callable[..., Any], *of: Any) -> Any:
    with one_thread():
        return work(*of)
