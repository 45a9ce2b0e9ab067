"""What `headjoint head` may be told beside what the file states: order of nuts, a stud without force, a hot bore."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])


def _number(text: str) -> int | None:
    """Return the number, of at most six digits, that a text is; None where it is none."""
    return int(text) if re.fullmatch(r"\s*[0-9]{1,6}\s*", text) else None


def _studs(_: click.Context, option: click.Parameter, told: str | None) -> list[int]:
    """Return numbers of studs as an option has them, none where it is not given."""
    found = []
    for text in [] if told is None else told.split(","):
        number = _number(text)
        if number is None:
            raise click.BadParameter("give numbers of studs, such as 5,6", param=option)
        found.append(number)
    return found


def _rises(_: click.Context, option: click.Parameter, told: tuple[str, ...]) -> dict[int, str]:
    found: dict[int, str] = {}
    for one in told:
        text, given, rise = one.partition("=")
        bore = _number(text)
        if not given or bore is None:
            raise click.BadParameter('give a bore and how much hotter it is, such as "2=30 K"', param=option)
        if bore in found:
            raise click.BadParameter(f"bore {bore} is told twice", param=option)
        found[bore] = rise.strip()
    return found


def order_option(command: F) -> F:
    """Add --order to a command: numbers of studs, none where it is not given."""
    words = "Tighten the studs in this order, such as 5,6,1,2; without it from the middle outwards."
    return click.option("--order", metavar="NUMBERS", callback=_studs, help=words)(command)


def odd_options(command: F) -> F:
    """Add --slack and --hotter to a command."""
    hotter = click.option(
        "--hotter",
        metavar="BORE=RISE",
        multiple=True,
        callback=_rises,
        help='Make head, block and gasket of a bore hotter in every warm load case, such as "2=30 K"; may be repeated.',
    )
    slack = click.option(
        "--slack", metavar="NUMBERS", callback=_studs, help="Let these studs carry nothing, such as 5,6."
    )
    return hotter(slack(command))
