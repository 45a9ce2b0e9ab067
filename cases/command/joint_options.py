"""What every command that reads a joint may be told of it: that the incredible is meant, and where files may lie."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

from headjoint.model.base.named_files import allow_folders

F = TypeVar("F", bound=Callable[..., Any])


def _allow(_: click.Context, __: click.Parameter, told: tuple[str, ...]) -> None:
    if told:
        allow_folders(list(told))


folder_option = click.option(
    "--allow-folder",
    metavar="FOLDER",
    multiple=True,
    type=click.Path(exists=True, file_okay=False),
    expose_value=False,
    callback=_allow,
    help="Let the file name files in this folder, too, not only beside itself.",
)


def joint_options(argument: Callable[[F], F]) -> Callable[[F], F]:
    """Return a decorator that adds the argument and these options; commands do not see them."""

    def accept(context: click.Context, _: click.Parameter, told: bool) -> None:
        context.meta["headjoint.accept"] = told

    accepted = click.option(
        "--accept",
        is_flag=True,
        expose_value=False,
        callback=accept,
        help="Take values that are hard to believe as they stand; they are named.",
    )

    def decorated(command: F) -> F:
        return argument(accepted(folder_option(command)))

    return decorated


def is_accepted() -> bool:
    """Say whether the command under way was told to accept what is hard to believe."""
    context = click.get_current_context(silent=True)
    return bool(context and context.meta.get("headjoint.accept"))
