"""Products with several large matrices at once: each on one thread, for of few columns more threads only wait."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from typing import TypeVar

from headjoint.cases.elements.threads import allowed_threads

T = TypeVar("T")
R = TypeVar("R")


def side_by_side(work: Callable[[T], R], items: Iterable[T]) -> list[R]:
    """Return what `work` returns of every item, in their order: the same on any number of cores."""
    pool = _pool()
    return [work(item) for item in items] if pool is None else list(pool.map(work, items))


@cache
def _pool() -> ThreadPoolExecutor | None:
    threads = allowed_threads()
    return None if threads == 1 else ThreadPoolExecutor(threads, "row")
