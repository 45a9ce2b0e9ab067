"""What is known of an engine while it is solved in three dimensions: said on standard error, as soon as it is known."""

from __future__ import annotations

import multiprocessing
import os
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from multiprocessing.connection import Connection
from typing import Any, Protocol

from headjoint.cases.elements.processes import begin_process, interrupts_kept_back
from headjoint.model.base.errors import JointError
from headjoint.model.cell import Cell


class Judged(Protocol):
    """A verdict, as `headjoint.postproc.verdict.verdict` has it."""

    @property
    def judgement(self) -> str: ...  # noqa: D102
    @property
    def sentence(self) -> Any: ...  # noqa: D102
    @property
    def criteria(self) -> Any: ...  # noqa: D102
    @property
    def undecided(self) -> Any: ...  # noqa: D102


Answer = Callable[[Cell], Any]  # one with a verdict; a function at the top of a module, for another process calls it


def said_meanwhile(cell: Cell, units: str, estimate: Answer, by_one_stud: Answer) -> AbstractContextManager[None]:
    """Say quick answers of a cell while the caller solves it; none where that takes seconds, or with heat.

    What is not known when the caller is done is not said any more.
    """
    from headjoint.cases.condensed.store import user_store
    from headjoint.cases.load_cases.solved import condensed_before

    if cell.joint.by_heat or condensed_before(cell, user_store()):
        return nullcontext()
    return _found_beside(cell, units, estimate, by_one_stud)


@contextmanager
def _found_beside(cell: Cell, units: str, estimate: Answer, by_one_stud: Answer) -> Iterator[None]:
    """Find and say quick answers by another process, on a core of its own."""
    spawn = multiprocessing.get_context("spawn")
    heard, told = spawn.Pipe(duplex=False)
    finder = spawn.Process(target=_find, args=(told, cell, units, estimate, by_one_stud), daemon=True)
    try:
        with interrupts_kept_back():  # Ctrl-C is for this process, which ends the other
            finder.start()
    except OSError:  # no more processes: the whole answer comes all the same
        yield
        return
    told.close()
    teller = threading.Thread(target=_tell, args=(heard,), daemon=True)
    teller.start()
    try:
        yield
    finally:
        finder.kill()
        finder.join()
        teller.join()


def _find(told: Connection, cell: Cell, units: str, estimate: Answer, by_one_stud: Answer) -> None:
    begin_process()
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # standard output is for the answer
    for line in quick_answers(lambda: estimate(cell).verdict, lambda: by_one_stud(cell).verdict, units):
        told.send(line)


def _tell(heard: Connection) -> None:
    """Pass on what is said, line by line: two processes that write to one terminal would mix lines."""
    try:
        while True:
            print(heard.recv(), file=sys.stderr, flush=True)
    except (EOFError, OSError):  # one of both ends is gone
        pass


def quick_answers(
    by_formulas: Callable[[], Judged], on_a_coarse_mesh: Callable[[], Judged], units: str
) -> Iterator[str]:
    """Yield lines: what closed formulas judge, then what one stud and a coarse mesh do, and how it seals between the
    studs.
    """
    try:
        yield _line("first by closed formulas, of one stud", by_formulas(), "On a coarse mesh", units)
        quick = on_a_coarse_mesh()
    except JointError as error:
        yield f"headjoint: no answer by one stud: {error}"
        return
    for one in quick.criteria:
        if one.key == "between_studs":
            yield f"headjoint: {one.name}: {one.detail.written(units)}"
    for unknown in quick.undecided:
        yield f"headjoint: {unknown.name} is not judged: {unknown.why}"
    yield _line("by one stud and a coarse mesh", quick, "Solving the engine in three dimensions", units)


def _line(by: str, verdict: Judged, then: str, units: str) -> str:
    return f"headjoint: {by}: {verdict.judgement}: {verdict.sentence.written(units)}. {then} ..."
