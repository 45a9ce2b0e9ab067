"""The coarser mesh of what is moved, solved in a process of its own: both meshes at once, on two cores."""

from __future__ import annotations

import multiprocessing
import os
import threading
from collections import OrderedDict, deque
from collections.abc import Callable
from concurrent.futures import Future, TimeoutError
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from multiprocessing.connection import Connection
from typing import Any

from headjoint.cases.elements.threads import LIMITS
from headjoint.model.base.errors import JointError
from headjoint.model.cell import Cell
from headjoint.model.joint import Joint
from headjoint.postproc.designs.cell_designs import CellBase, on_one_mesh, renewed_near
from headjoint.postproc.designs.evaluation import JointBase, on_one_mesh_of_joint
from headjoint.postproc.designs.outcome import OnMesh
from headjoint.postproc.live.turns import PAGES, SupersededError

KEPT, ANSWERS = 4, 24  # shapes, and answers
LOOK = 0.005  # seconds between looks at who else waits


@dataclass(frozen=True)
class Wanted:
    """A design to be solved. number : of the question. key : of its shape. page, move : who asks, after which move."""

    number: int
    key: str
    design: Joint | Cell
    page: str
    move: int


class Beside:
    """A process that solves designs on the coarser mesh, and what was asked of it. Any thread may ask."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._asked: OrderedDict[str, Future[OnMesh]] = OrderedDict()
        self._waiting: dict[int, Future[OnMesh]] = {}
        self._sent: OrderedDict[str, None] = OrderedDict()
        self._number = 0
        ours, theirs = multiprocessing.Pipe()
        context = multiprocessing.get_context("spawn")
        self._process = context.Process(target=_serve, args=(theirs,), daemon=True, name="coarser mesh")
        self._process.start()
        theirs.close()
        self._pipe: Connection | None = ours
        threading.Thread(target=self._hear, args=(ours,), daemon=True, name="coarser mesh").start()

    def close(self) -> None:
        """End the process."""
        self._process.kill()
        self._process.join()

    def ask(self, name: str, key: str, base: CellBase | JointBase, design: Joint | Cell, page: str, move: int) -> None:
        """Begin to solve a design, called `name`, on the coarser mesh of its shape, unless that was asked already."""
        with self._lock:
            known = self._asked.get(name)
            lost = known is not None and known.done() and known.exception() is not None
            if self._pipe is None or base.coarse is None or (known is not None and not lost):
                return
            self._number += 1
            future: Future[OnMesh] = Future()
            self._asked[name] = self._waiting[self._number] = future
            while len(self._asked) > ANSWERS:
                self._asked.popitem(last=False)
            with suppress(OSError):  # it has ended: `_hear` says so to all who wait
                if key not in self._sent:
                    self._pipe.send((key, base.coarse))
                    self._sent[key] = None
                    if len(self._sent) > KEPT:
                        self._sent.popitem(last=False)
                self._pipe.send(Wanted(self._number, key, design, page, move))

    def found(self, name: str, between: Callable[[], None]) -> OnMesh | None:
        """Wait for what was asked and return it; None where the process cannot tell.

        between : called while it waits, and may raise to end it. Raises SupersededError where the asking page moved on.
        """
        with self._lock:
            future = self._asked.get(name)
        while future is not None:
            try:
                return future.result(LOOK)
            except TimeoutError:
                between()
            except RuntimeError:
                return None
        return None

    def _hear(self, pipe: Connection) -> None:
        with suppress(EOFError, OSError):
            while True:
                number, told = pipe.recv()
                with self._lock:
                    future = self._waiting.pop(number)
                if isinstance(told, OnMesh):
                    future.set_result(told)
                else:
                    future.set_exception(told)
        with self._lock:
            self._pipe, left = None, list(self._waiting.values())
            self._waiting.clear()
        for future in left:
            future.set_exception(RuntimeError("the process has ended"))


class _Queue:
    """What is asked of the process, in order, and after how many moves every page was heard of last."""

    def __init__(self, pipe: Connection) -> None:
        self._pipe, self._items, self._changed = pipe, deque[Any](), threading.Condition()
        self._moves: OrderedDict[str, int] = OrderedDict()
        threading.Thread(target=self._hear, daemon=True).start()

    def _hear(self) -> None:
        with suppress(EOFError, OSError):
            while True:
                item = self._pipe.recv()
                with self._changed:
                    self._items.append(item)
                    if isinstance(item, Wanted):
                        self._moves[item.page] = max(item.move, self._moves.pop(item.page, 0))
                        if len(self._moves) > PAGES:
                            self._moves.popitem(last=False)
                    self._changed.notify()
        os._exit(0)  # whoever asks has ended

    def next(self) -> Any:
        with self._changed:
            self._changed.wait_for(lambda: bool(self._items))
            return self._items.popleft()

    def look(self, wanted: Wanted) -> None:
        """Raise SupersededError where the page that asked has moved on."""
        if wanted.page and self._moves.get(wanted.page, 0) > wanted.move:
            raise SupersededError

    def rest(self) -> None:
        """Raise SupersededError where somebody waits."""
        if self._items:
            raise SupersededError


def core_free() -> bool:
    """Say whether the machine has had a core to spare, so that what may be given up again takes it from nobody."""
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else 0.0
    return load < (os.cpu_count() or 1)


def _serve(pipe: Connection) -> None:
    LIMITS.take()
    queue, bases, last = _Queue(pipe), OrderedDict[str, Any](), dict[str, OnMesh]()
    while True:
        item = queue.next()
        if not isinstance(item, Wanted):
            key, bases[item[0]] = item
            last.pop(key, None)
            if len(bases) > KEPT:
                bases.popitem(last=False)
            continue
        told: OnMesh | BaseException
        try:
            queue.look(item)
            found = _solved(bases[item.key], item.design, last.get(item.key), partial(queue.look, item))
            told = OnMesh(found.problem, found.levels)
        except SupersededError as error:
            found, told = None, error
        except Exception as error:  # whatever a library raises: who asks solves it where it can be told
            found, told = None, RuntimeError(str(error))
        pipe.send((item.number, told))
        if found is not None and found.histories:
            last[item.key] = found
            with suppress(SupersededError, JointError):
                if isinstance(item.design, Cell):
                    bases[item.key] = renewed_near(bases[item.key], found, queue.rest)


def _solved(base: Any, design: Joint | Cell, last: OnMesh | None, between: Callable[[], None]) -> OnMesh:
    if isinstance(design, Cell):
        return on_one_mesh(base, design, last, between)
    return on_one_mesh_of_joint(base, design, last, between)
