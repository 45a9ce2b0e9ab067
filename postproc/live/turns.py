"""Who works next: what a hand waits for goes before what follows it, and what nobody waits for any more is given up."""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

PAGES = 64  # whose last move is remembered
LATER = 1.0  # seconds: a hand that comes so much later than a verdict still goes before it; no verdict starves


class SupersededError(Exception):
    """The page has moved on: nobody waits for this answer."""


@dataclass(eq=False)
class _Turn:
    """What waits or works. due : when it is its turn; who is due first goes first. page, move : who waits for it."""

    due: float
    page: str = ""
    move: int = 0
    thread: int = field(default_factory=threading.get_ident)


class Turns:
    """One works at a time, in the order of asking; any thread may ask."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._holder: _Turn | None = None
        self._waiting: list[_Turn] = []
        self._moves: OrderedDict[str, int] = OrderedDict()

    def moved(self, page: str, move: int) -> None:
        """Take note of a page's move; what it asked for before is superseded, and waits no longer."""
        with self._changed:
            self._moves[page] = max(move, self._moves.pop(page, 0))
            while len(self._moves) > PAGES:
                self._moves.popitem(last=False)
            self._changed.notify_all()

    @property
    def free(self) -> bool:
        """Whether nobody works or waits."""
        return self._holder is None and not self._waiting

    @contextmanager
    def taken(self, *, first: bool, page: str = "", move: int = 0) -> Iterator[None]:
        """Wait for a turn and hold it; `first` goes before all that are not, unless these have waited for long.

        page, move : who waits for it. Raises SupersededError where that page moves on before the turn begins.
        """
        turn = _Turn(time.monotonic() + (0.0 if first else LATER), page, move)
        with self._changed:
            self._take(turn)
        try:
            yield
        finally:
            self._leave()

    @contextmanager
    def aside(self) -> Iterator[None]:
        """Leave a turn while something else works for its holder, then hold it again; others work meanwhile."""
        turn = self._holder
        assert turn is not None
        self._leave()
        try:
            yield
        finally:
            with self._changed:
                self._take_again(turn)

    def between(self, page: str, move: int) -> None:
        """Let those go before who are due before, in the midst of a turn: hands that wait, and nobody else.

        Helpers of who holds the turn may call it, too. Raises SupersededError where the page moved on.
        """
        turn = self._holder
        if turn is not None and turn.thread == threading.get_ident() and self._before(turn):
            with self._changed:
                self._holder = None
                self._changed.notify_all()
                self._take_again(turn)
        if self._superseded(page, move):
            raise SupersededError

    def _before(self, turn: _Turn) -> bool:
        return any(one.due < turn.due for one in self._waiting)

    def _superseded(self, page: str, move: int) -> bool:
        return bool(page) and self._moves.get(page, 0) > move

    def _take(self, turn: _Turn) -> None:
        self._waiting.append(turn)
        try:
            self._changed.wait_for(lambda: self._superseded(turn.page, turn.move) or self._next(turn))
        finally:
            self._waiting.remove(turn)
            self._changed.notify_all()
        if self._superseded(turn.page, turn.move):
            raise SupersededError
        self._holder = turn

    def _take_again(self, turn: _Turn) -> None:
        """Go on with a turn that was begun, whether its page has moved on or not: its holder ends it."""
        self._waiting.append(turn)
        self._changed.wait_for(lambda: self._next(turn))
        self._waiting.remove(turn)
        self._holder = turn

    def _next(self, turn: _Turn) -> bool:
        return self._holder is None and not self._before(turn)

    def _leave(self) -> None:
        with self._changed:
            self._holder = None
            self._changed.notify_all()
