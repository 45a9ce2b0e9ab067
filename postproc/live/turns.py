"""Who works next: what a hand waits for goes before what follows it, and what nobody waits for any more is given up."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterator
from contextlib import contextmanager

PAGES = 64  # whose last move is remembered


class SupersededError(Exception):
    """The page has moved on: nobody waits for this answer."""


class Turns:
    """One works at a time; any thread may ask."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._holder: int | None = None
        self._first = self._paused = 0
        self._moves: OrderedDict[str, int] = OrderedDict()

    def moved(self, page: str, move: int) -> None:
        """Take note of a page's move; what it asked for before is superseded."""
        with self._changed:
            self._moves[page] = max(move, self._moves.pop(page, 0))
            while len(self._moves) > PAGES:
                self._moves.popitem(last=False)

    @property
    def free(self) -> bool:
        """Whether nobody works or waits."""
        return self._holder is None and not (self._first or self._paused)

    @contextmanager
    def taken(self, *, first: bool) -> Iterator[None]:
        """Wait for a turn and hold it; `first` goes before all that are not."""
        self._take(first)
        try:
            yield
        finally:
            self._leave()

    def between(self, page: str, move: int) -> None:
        """Let those go before whose hand waits, in the midst of a turn; nobody else does.

        Helpers of who holds the turn may call it, too. Raises SupersededError where the page moved on.
        """
        if self._first and self._holder == threading.get_ident():
            self._pause()
        if page and self._moves.get(page, 0) > move:
            raise SupersededError

    def _take(self, first: bool) -> None:
        with self._changed:
            self._first += first
            self._changed.wait_for(lambda: self._holder is None and (first or not (self._first or self._paused)))
            self._first -= first
            self._holder = threading.get_ident()

    @contextmanager
    def aside(self) -> Iterator[None]:
        """Leave a turn while something else works for its holder, and hold it again before what has not begun yet."""
        self._leave()
        try:
            yield
        finally:
            with self._changed:
                self._take_again()

    def _pause(self) -> None:
        """Leave and take again: helpers work on meanwhile, with what another verdict would take up, too."""
        with self._changed:
            self._holder = None
            self._changed.notify_all()
            self._take_again()

    def _take_again(self) -> None:
        self._paused += 1
        self._changed.wait_for(lambda: self._holder is None and not self._first)
        self._paused -= 1
        self._holder = threading.get_ident()

    def _leave(self) -> None:
        with self._changed:
            self._holder = None
            self._changed.notify_all()
