"""What `headjoint head` may be told to try beside what the file states: a stud that carries nothing, a hot bore."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])


def _numbers(_: click.Context, option: click.Parameter, told: str | None) -> list[int]:
    texts = [] if told is None else [one.strip() for one in told.split(",")]
    if not all(one.isdigit() for one in texts):
        raise click.BadParameter("give numbers of studs, such as 5,6", param=option)
    return [int(one) for one in texts]


def _rises(_: click.Context, option: click.Parameter, told: tuple[str, ...]) -> dict[int, str]:
    found = {}
    for one in told:
        bore, given, rise = one.partition("=")
        if not (given and bore.strip().isdigit()):
            raise click.BadParameter('give a bore and how much hotter it is, such as "2=30 K"', param=option)
        found[int(bore)] = rise.strip()
    return found


def odd_options(command: F) -> F:
    """Add --slack and --hotter to a command."""
    hotter = click.option(
        "--hotter",
        metavar="BORE=RISE",
        multiple=True,
        callback=_rises,
        help='A bore whose head, block and gasket are hotter in every warm load case, "2=30 K".',
    )
    slack = click.option("--slack", metavar="NUMBERS", callback=_numbers, help="Studs that carry nothing: 5,6.")
    return hotter(slack(command))
