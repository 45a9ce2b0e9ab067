"""What is known of an engine while it is solved in three dimensions: said on standard error, as soon as it is known."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Any, Protocol

from headjoint.cases.command.progress import Telling, progress
from headjoint.model.base.errors import JointError


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


def say_quick_answers(by_formulas: Judged, on_a_coarse_mesh: Callable[[Telling], Judged], units: str) -> None:
    """Say what closed formulas judge, then what one stud and a coarse mesh do, and how it seals between the studs.

    on_a_coarse_mesh : finds the latter; it is told whom to tell of progress.
    """
    _say("first by closed formulas, of one stud", by_formulas, "On a coarse mesh", units)
    try:
        with progress() as told:
            quick = on_a_coarse_mesh(told)
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
    print(f"headjoint: {by}: {words}. {then} ...", file=sys.stderr)
