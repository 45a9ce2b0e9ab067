"""The coarser mesh of what is moved, solved in a process of its own: both meshes at once, on two cores.

Nothing of it is needed for an answer. Whoever asks gets None where that process is not there, is busy, has ended or
does not answer in time, and solves the coarser mesh itself.
"""

from __future__ import annotations

import multiprocessing
import sys
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import Future, TimeoutError
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from queue import SimpleQueue
from typing import Any

from headjoint.cases.elements.processes import interrupts_kept_back
from headjoint.model.base.system import cores, recent_load
from headjoint.model.cell import Cell
from headjoint.model.joint import Joint
from headjoint.postproc.designs.outcome import OnMesh
from headjoint.postproc.live.coarser import ENDED, READY, Forget, GiveUp, Keep, Solve, Wanted, serve, solved
from headjoint.postproc.live.turns import SupersededError

SHAPES, ANSWERS = 4, 24  # that are kept
MOST_WAITING = 16  # questions on their way; what is asked beyond is solved by whoever asks
LOOK = 0.005  # seconds between looks at who else waits
PATIENCE = 60.0  # seconds without any answer after which a process is ended
MOST_ENDS = 3  # processes that end one after the other without an answer, then no more is started


@dataclass(eq=False)
class _Question:
    """What was asked, by which page after which move, and its answer."""

    page: str
    move: int
    answer: Future[OnMesh] = field(default_factory=Future)


@dataclass(eq=False)
class _Child:
    """A process, what it is told and was asked, and the shapes that it has.

    ready : once it can be asked. heard : when it answered last.
    """

    process: Any
    pipe: Connection
    told: SimpleQueue[Any] = field(default_factory=SimpleQueue)
    waiting: dict[int, _Question] = field(default_factory=dict)
    shapes: OrderedDict[str, None] = field(default_factory=OrderedDict)
    ready: bool = False
    heard: float = 0.0


def core_free() -> bool:
    """Say whether the machine has had a core to spare, so that what is asked in advance takes it from nobody."""
    return recent_load() < cores()


class Beside:
    """A process that solves designs on the coarser mesh, and what was asked of it. Any thread may ask.

    A process that has ended is followed by another one. solve : what it does with a base, for tests.
    """

    def __init__(self, solve: Solve = solved) -> None:
        self._solve, self._lock = solve, threading.Lock()
        self._asked: OrderedDict[str, _Question] = OrderedDict()
        self._number = self._ends = 0
        self._closed = False
        self._child: _Child | None = self._started()

    @property
    def ready(self) -> bool:
        """Whether there is a process that can be asked."""
        return self._child is not None and self._child.ready

    def close(self) -> None:
        """End the process."""
        with self._lock:
            self._closed, child = True, self._child
        if child is not None:
            child.process.kill()
            child.process.join()

    def moved(self, page: str, move: int) -> None:
        """Have given up what a page asked before its last move."""
        with self._lock:
            child = self._child
            for number, one in [] if child is None or not page else list(child.waiting.items()):
                if one.page == page and one.move < move and child is not None:
                    child.told.put(GiveUp(number))

    def knows(self, name: str) -> bool:
        """Say whether a design was asked for."""
        return name in self._asked

    def ask(self, name: str, key: str, coarse: Any, design: Joint | Cell, page: str = "", move: int = 0) -> None:
        """Begin to solve a design, called `name`, unless that was asked already.

        coarse : what its shape is condensed to on the coarser mesh, and key : which shape that is.
        """
        with self._lock:
            child, known = self._child, self._asked.get(name)
            if known is not None and not (known.answer.done() and known.answer.exception() is not None):
                self._asked.move_to_end(name)
                return
            if child is None or not child.ready or len(child.waiting) >= MOST_WAITING:
                return
            if key not in child.shapes:
                child.told.put(Keep(key, coarse))
                if len(child.shapes) >= SHAPES:
                    child.told.put(Forget(child.shapes.popitem(last=False)[0]))
            child.shapes[key] = None
            child.shapes.move_to_end(key)
            self._number += 1
            self._asked[name] = child.waiting[self._number] = _Question(page, move)
            while len(self._asked) > ANSWERS:
                self._asked.popitem(last=False)
            child.told.put(Wanted(self._number, key, design))

    def found(self, name: str, between: Callable[[], None] = lambda: None) -> OnMesh | None:
        """Wait for what was asked and return it; None where there is no answer, or none in time.

        between : called while it waits, and may raise to end it.
        """
        with self._lock:
            child, asked = self._child, self._asked.get(name)
        began = time.monotonic()
        while asked is not None and child is not None and time.monotonic() < max(began, child.heard) + PATIENCE:
            try:
                return asked.answer.result(LOOK)
            except TimeoutError:
                between()
            except SupersededError:
                between()
                return None  # another page asked for the same, and moved on
            except RuntimeError:
                return None
        if asked is not None and child is not None:
            child.process.kill()  # it hangs
        return None

    def _started(self) -> _Child | None:
        """Return another process, None where there can be none: the coarser mesh is solved by whoever asks then."""
        ours, theirs = multiprocessing.Pipe()
        context = multiprocessing.get_context("spawn")
        process = context.Process(target=serve, args=(theirs, self._solve), daemon=True, name="coarser mesh")
        try:
            with interrupts_kept_back():
                process.start()
        except OSError:
            return None
        theirs.close()
        child = _Child(process, ours)
        for work in (self._tell, self._hear):
            threading.Thread(target=work, args=(child,), daemon=True, name="coarser mesh").start()
        return child

    def _tell(self, child: _Child) -> None:
        """Pass on what is to be told, so that nobody who asks waits for a pipe that is full."""
        try:
            while (item := child.told.get()) is not ENDED:
                child.pipe.send(item)
        except Exception:  # it has ended, or what it was told cannot be sent: it is of no use either way
            child.process.kill()

    def _hear(self, child: _Child) -> None:
        """Take answers until the process ends, however it does; then nobody waits for it any more."""
        try:
            while True:
                number, told = child.pipe.recv()
                with self._lock:
                    child.ready, child.heard = True, time.monotonic()
                    asked = None if number == READY else child.waiting.pop(number)
                    self._ends = 0 if asked is not None else self._ends
                if isinstance(told, OnMesh) and asked is not None:
                    asked.answer.set_result(told)
                elif asked is not None:
                    asked.answer.set_exception(told)
        except Exception:  # it has ended, or speaks what cannot be read
            child.process.kill()
        finally:
            self._ended(child)

    def _ended(self, child: _Child) -> None:
        with self._lock:
            left, self._child = list(child.waiting.values()), None
            child.waiting.clear()
        for one in left:
            one.answer.set_exception(RuntimeError("the process has ended"))
        child.told.put(ENDED)
        child.process.join()
        child.pipe.close()
        with self._lock:
            self._ends += 1
            if not self._closed and self._ends < MOST_ENDS:
                self._child = self._started()
        if not self._closed:
            here = "the server solves that mesh"
            then = f"another one is started, and {here} meanwhile" if self._child is not None else f"{here} from now on"
            ended = f"the process that solves the coarser mesh ended, exit code {child.process.exitcode}"
            print(f"headjoint: {ended}; {then}", file=sys.stderr, flush=True)
