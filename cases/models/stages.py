"""Stages of a long solve: told to the user as they begin, timed as they end."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TypeVar

T = TypeVar("T")


class Stages:
    """Runs work stage by stage; `seconds` is the time of each by name, `tell` hears each name as it begins."""

    def __init__(self, tell: Callable[[str], None]) -> None:
        self.tell = tell
        self.seconds: dict[str, float] = {}

    def run(self, name: str, work: Callable[[], T]) -> T:
        """Return what `work` returns."""
        self.tell(name)
        started = time.perf_counter()
        result = work()
        self.seconds[name] = time.perf_counter() - started
        return result
