"""What is known of an engine while it is solved in three dimensions: said on standard error, as soon as it is known."""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from typing import Any, Protocol

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


def said_meanwhile(cell: Cell, units: str) -> AbstractContextManager[None]:
    """Say quick answers of a cell while the caller solves it; none where that takes seconds, or with heat.

    What is not known when the caller is done is not said any more.
    """
    from headjoint.cases.condensed.store import user_store
    from headjoint.cases.load_cases.solved import condensed_before

    if cell.joint.by_heat or condensed_before(cell, user_store()):
        return nullcontext()
    return _found_beside(cell, units)


@contextmanager
def _found_beside(cell: Cell, units: str) -> Iterator[None]:
    """Find and say quick answers by another process, on a core of its own."""
    try:
        finder = subprocess.Popen(
            [sys.executable, "-m", "headjoint.known_first"],
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            env=os.environ | {"PYTHONUTF8": "1"},
            start_new_session=True,  # Ctrl-C is for this process, which ends the other
        )
    except OSError:  # no more processes: the whole answer comes all the same
        yield
        return
    teller = threading.Thread(target=_tell, args=(finder, pickle.dumps((cell, units))), daemon=True)
    teller.start()
    try:
        yield
    finally:
        finder.kill()
        finder.wait()
        teller.join()


def _tell(finder: subprocess.Popen[bytes], asked: bytes) -> None:
    """Ask, and pass on what is said, line by line: two processes that write to one terminal would mix lines."""
    assert finder.stdin is not None
    assert finder.stderr is not None
    try:
        with finder.stdin as question:
            question.write(asked)
        for line in finder.stderr:
            print(line.decode(errors="replace"), end="", file=sys.stderr, flush=True)
    except OSError:  # one of both ends is gone
        pass


def say_quick_answers(by_formulas: Judged, on_a_coarse_mesh: Callable[[], Judged], units: str) -> None:
    """Say what closed formulas judge, then what one stud and a coarse mesh do, and how it seals between the studs."""
    _say("first by closed formulas, of one stud", by_formulas, "On a coarse mesh", units)
    try:
        quick = on_a_coarse_mesh()
    except JointError as error:
        print(f"headjoint: no answer by one stud: {error}", file=sys.stderr)
        return
    for one in quick.criteria:
        if one.key == "between_studs":
            print(f"headjoint: {one.name}: {one.detail.written(units)}", file=sys.stderr)
    for unknown in quick.undecided:
        print(f"headjoint: {unknown.name} is not judged: {unknown.why}", file=sys.stderr)
    _say("by one stud and a coarse mesh", quick, "Solving the engine in three dimensions", units)


def _say(by: str, verdict: Judged, then: str, units: str) -> None:
    words = f"{verdict.judgement}: {verdict.sentence.written(units)}"
    print(f"headjoint: {by}: {words}. {then} ...", file=sys.stderr, flush=True)
