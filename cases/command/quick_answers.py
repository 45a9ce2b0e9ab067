"""What another process finds of an engine while it is solved in three dimensions: quick answers, said on standard error
as soon as they are known, and the engine on the coarser mesh that tells its mesh errors.
"""

from __future__ import annotations

import multiprocessing
import os
import sys
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import AbstractContextManager, contextmanager, nullcontext, suppress
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import TYPE_CHECKING, Any, Protocol

from headjoint.cases.elements.memory import Claims, take_claims
from headjoint.cases.elements.processes import begin_process, interrupts_kept_back
from headjoint.model.base.errors import JointError, MemoryShortError
from headjoint.model.base.system import available_memory
from headjoint.model.cell import Cell

if TYPE_CHECKING:
    from headjoint.cases.load_cases.solved import Compared


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
Comparison = Callable[[], "Compared | None"]


def said_meanwhile(cell: Cell, units: str, estimate: Answer, by_one_stud: Answer) -> AbstractContextManager[Comparison]:
    """Say quick answers of a cell while the caller solves it; none where that takes seconds, or with heat.

    What is not known when the caller is done is not said any more. Gives what waits for the cell on a coarser mesh,
    which is solved beside it where that takes seconds, or None.
    """
    return nullcontext(_none) if cell.joint.by_heat else _found_beside(cell, units, estimate, by_one_stud)


def _none() -> None:
    """Give no comparison."""


@contextmanager
def _found_beside(cell: Cell, units: str, estimate: Answer, by_one_stud: Answer) -> Iterator[Comparison]:
    """Find and say quick answers by another process, on a core of its own, as far as memory is left for them."""
    spawn = multiprocessing.get_context("spawn")
    heard, told = spawn.Pipe(duplex=False)
    there, claimed = available_memory(), spawn.RawArray("d", 2)
    claims = None if there is None else Claims(there, claimed, second=True)
    finder = spawn.Process(target=_find, args=(told, claims, cell, units, estimate, by_one_stud), daemon=True)
    try:
        with interrupts_kept_back():  # Ctrl-C is for this process, which ends the other
            finder.start()
    except OSError:  # no more processes: the whole answer comes all the same
        yield _none
        return
    told.close()
    compared: Future[Compared | None] = Future()
    teller = threading.Thread(target=_tell, args=(heard, compared), daemon=True)
    teller.start()
    if there is not None:
        take_claims(Claims(there, claimed, end_other=lambda: _end_for_memory(finder)))
    try:
        yield compared.result
    finally:
        take_claims(None)
        finder.kill()
        finder.join()
        teller.join()


def _end_for_memory(finder: BaseProcess) -> None:
    """End the other process: what it would need, the engine's own mesh needs."""
    if finder.is_alive():
        print("headjoint: no quick answers: there is too little memory for them beside the engine", file=sys.stderr)
        finder.kill()
        finder.join()  # until what it took is free


def _find(
    told: Connection, claims: Claims | None, cell: Cell, units: str, estimate: Answer, by_one_stud: Answer
) -> None:
    begin_process()
    take_claims(claims)
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # standard output is for the answer
    from headjoint.cases.command.stated_files import threads_for
    from headjoint.cases.condensed.store import user_store
    from headjoint.cases.load_cases.coarse_cell import why_no_coarse_cell
    from headjoint.cases.load_cases.solved import comparison, condensed_before

    if not condensed_before(cell, user_store()):
        for line in quick_answers(lambda: estimate(cell).verdict, lambda: by_one_stud(cell).verdict, units):
            told.send(line)
    if not why_no_coarse_cell(cell):
        # as the caller's threads: the same digits; where memory is short beside it, it does that itself afterwards
        with threads_for(cell), suppress(MemoryShortError):
            told.send(comparison(cell, user_store(), but=MemoryShortError))


def _tell(heard: Connection, compared: Future[Compared | None]) -> None:
    """Pass on what is said, line by line: two processes that write to one terminal would mix lines."""
    try:
        while True:
            found = heard.recv()
            if isinstance(found, str):
                print(found, file=sys.stderr, flush=True)
            else:
                compared.set_result(found)
    except (EOFError, OSError):  # one of both ends is gone
        pass
    finally:  # whatever happened, nobody waits for what does not come
        if not compared.done():
            compared.set_result(None)


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
