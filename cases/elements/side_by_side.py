"""Products with several large matrices at once: each on one thread, for of few columns more threads only wait."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from typing import TypeVar

from headjoint.cases.elements.threads import allowed_threads, limiting_libraries

T = TypeVar("T")
R = TypeVar("R")


def side_by_side(work: Callable[[T], R], items: Iterable[T]) -> list[R]:
    """Return what `work` returns of every item, in their order: the same on any number of cores."""
    threads = allowed_threads(_limiting())
    return [work(item) for item in items] if threads == 1 else list(_pool(threads).map(work, items))


@cache
def _pool(threads: int) -> ThreadPoolExecutor:
    return ThreadPoolExecutor(threads, "row")


_limiting = cache(limiting_libraries)
