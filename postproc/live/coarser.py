"""What the process for the coarser mesh does: keeps shapes, solves designs, gives up what nobody waits for."""

from __future__ import annotations

import os
import threading
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from multiprocessing.connection import Connection
from typing import Any

from headjoint.cases.elements.processes import begin_process
from headjoint.cases.elements.threads import LIMITS
from headjoint.model.base.errors import JointError
from headjoint.model.cell import Cell
from headjoint.model.joint import Joint
from headjoint.postproc.designs.cell_designs import on_one_mesh, renewed_near
from headjoint.postproc.designs.evaluation import on_one_mesh_of_joint
from headjoint.postproc.designs.outcome import OnMesh
from headjoint.postproc.live.turns import SupersededError

READY = 0  # the number of no question
ENDED = None
# gives a design on the mesh of a base, from a like one that was solved before, and calls the last between stages
Solve = Callable[[Any, "Joint | Cell", OnMesh | None, Callable[[], None]], OnMesh]


@dataclass(frozen=True)
class Keep:
    """A shape to be kept: what it is condensed to."""

    key: str
    base: Any = field(repr=False)


@dataclass(frozen=True)
class Forget:
    """A shape, and all that was solved of it, that is wanted no more."""

    key: str


@dataclass(frozen=True)
class Wanted:
    """A design to be solved. number : of the question. key : of its shape."""

    number: int
    key: str
    design: Joint | Cell


@dataclass(frozen=True)
class GiveUp:
    """The number of a question that nobody waits for any more."""

    number: int


@dataclass
class _Shape:
    """What a shape is condensed to, and the design of it that was solved last."""

    base: Any
    last: OnMesh | None = None


class _Told:
    """What the process is told, in order; it is heard while it works, too."""

    def __init__(self, pipe: Connection) -> None:
        self._pipe, self._items, self._changed = pipe, deque[Any](), threading.Condition()
        self._given_up: set[int] = set()
        threading.Thread(target=self._hear, daemon=True).start()

    def _hear(self) -> None:
        try:
            while True:
                item = self._pipe.recv()
                with self._changed:
                    if isinstance(item, GiveUp):
                        self._given_up.add(item.number)
                    else:
                        self._items.append(item)
                        self._changed.notify()
        finally:
            os._exit(0)  # whoever asks has ended, or speaks what cannot be read

    def next(self) -> Any:
        with self._changed:
            self._changed.wait_for(lambda: bool(self._items))
            item = self._items.popleft()
            if isinstance(item, Wanted):  # numbers rise: what was answered before may be forgotten
                self._given_up = {number for number in self._given_up if number >= item.number}
            return item

    def look(self, number: int) -> None:
        """Raise SupersededError where nobody waits for the answer to a question."""
        if number in self._given_up:
            raise SupersededError

    def rest(self) -> None:
        """Raise SupersededError where somebody waits."""
        if self._items:
            raise SupersededError


def serve(pipe: Connection, solve: Solve) -> None:
    """Solve what is asked through a pipe until whoever asks is gone."""
    begin_process()
    LIMITS.take()
    told, shapes = _Told(pipe), dict[str, _Shape]()
    pipe.send((READY, None))
    while True:
        item = told.next()
        if isinstance(item, Keep):
            shapes[item.key] = _Shape(item.base)
        elif isinstance(item, Forget):
            shapes.pop(item.key, None)
        else:
            _answer(pipe, told, shapes, item, solve)


def _answer(pipe: Connection, told: _Told, shapes: dict[str, _Shape], wanted: Wanted, solve: Solve) -> None:
    try:
        told.look(wanted.number)
        shape = shapes[wanted.key]
        found = solve(shape.base, wanted.design, shape.last, partial(told.look, wanted.number))
    except SupersededError as error:
        pipe.send((wanted.number, error))
        return
    except Exception as error:  # whatever a library raises: who asks solves it where it can be told
        pipe.send((wanted.number, RuntimeError(f"{type(error).__name__}: {error}")))
        return
    pipe.send((wanted.number, OnMesh(found.problem, found.levels)))
    if found.histories:
        shape.last = found
        if isinstance(wanted.design, Cell):
            with suppress(SupersededError, JointError):
                shape.base = renewed_near(shape.base, found, told.rest)


def solved(base: Any, design: Joint | Cell, last: OnMesh | None, between: Callable[[], None]) -> OnMesh:
    """Return a design on the mesh of a base. last : a like one on it, to start from."""
    if isinstance(design, Cell):
        return on_one_mesh(base, design, last, between)
    return on_one_mesh_of_joint(base, design, last, between)
