"""`headjoint new`: the options of its facts, the questions on a terminal, and the file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from headjoint.cases.command.stated_files import shipped_files

if TYPE_CHECKING:
    from headjoint.cases.command.facts import Fact
    from headjoint.cases.command.written import Written

F = TypeVar("F", bound=Callable[..., Any])
STARTER_RIG = "hollow-ram-m11-stud"


def new_engine_options(command: F) -> F:
    """Add an option for every fact; those given come as one `facts`, by key."""
    from headjoint.cases.command.facts import FACTS

    def gathered(*words: Any, **stated: Any) -> None:
        given = {one.key: stated.pop(one.key) for one in FACTS}
        command(*words, facts={key: text for key, text in given.items() if text is not None}, **stated)

    gathered.__name__, gathered.__doc__ = command.__name__, command.__doc__
    gathered.__click_params__ = list(getattr(command, "__click_params__", []))  # type: ignore[attr-defined]
    units = click.option(
        "--units", type=click.Choice(["si", "workshop"]), help="Units of the file; the default is those of the facts."
    )
    facts = [click.option(one.option, metavar=one.kind.upper(), help=f"{one.question}.") for one in FACTS]
    for option in reversed([*facts, units]):
        gathered = option(gathered)
    return gathered  # type: ignore[return-value]


def new_engine(
    stated: dict[str, str], units: str | None, folder: Path, *, asking: bool = False
) -> tuple[str, list[str]]:
    """Return the text of an engine file, and what there is to say about it.

    stated : facts by key, as options give them. units : None for those of the facts, or as answered. folder : where the
    file will lie. asking : whether somebody at a terminal is asked for the rest.

    Raises InputError for facts that cannot be used or do not fit, or are missing where nobody can be asked.
    """
    from headjoint.cases.command.facts import gathered
    from headjoint.cases.command.new_engine import engine_text, estimated_peak, peak_words, read_back
    from headjoint.cases.command.written import TYPICAL
    from headjoint.model.files.stated_units import units_of_quantities

    if units is None and asking and not stated:
        units = click.prompt("Units", type=click.Choice(["si", "workshop"]), default="si")
    units = units or units_of_quantities(stated.values())
    known = gathered(stated, units, _ask if asking else None)
    name = f"{known['bores'].text} x {known['bore'].text}, {known['gasket'].text} gasket"
    text = engine_text(known, units, name)
    read_back(text, folder)
    found = estimated_peak(known)
    words = [] if found is None else [peak_words(found).written(units)]
    return text, [*words, f"{text.count(TYPICAL)} lines are marked '{TYPICAL}'."]


def _ask(fact: Fact, typical: Written | None, units: str, read: Callable[[str], Written]) -> Written | None:
    """Ask for a fact on the terminal; a bare number is in the unit that the question names. None for no answer."""
    from headjoint.cases.command.written import is_bare
    from headjoint.model.base.errors import InputError

    unit = fact.shown_unit(units)
    offered = "" if typical is None else typical.text.removesuffix(f" {unit}") if unit else typical.text

    def answered(text: str) -> Written | None:
        if text == offered:
            return typical
        try:
            return read(f"{text} {unit}" if unit and is_bare(text) else text)
        except InputError as error:
            raise click.UsageError(f"{error.problem} (got {text!r})") from None

    question = f"{fact.question}, {unit}" if unit else fact.question
    answer: Written | None = click.prompt(
        question, default=offered, show_default=bool(offered), value_proc=answered
    )  # fmt: skip
    return answer


def starter(kind: str) -> str:
    """Return a commented starter: of one fastener's "joint", or of a "rig"."""
    from headjoint.cases.command.starter import STARTER

    return STARTER if kind == "joint" else shipped_files("rigs")[STARTER_RIG].read_text("utf-8")
