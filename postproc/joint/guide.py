"""The guide: a page of Markdown a topic, listed, and shown on the terminal."""

from __future__ import annotations

import re
import sys
from pathlib import Path

from rich.markdown import Markdown
from rich.markup import escape
from rich.table import Table
from rich.theme import Theme

from headjoint.model.base.errors import InputError, nearest
from headjoint.postproc.present.console import console

# in the order in which they are read
TOPICS = (
    "start",
    "new-engine",
    "commands",
    "whole-head",
    "live",
    "joint-file",
    "bore-cell",
    "service",
    "warm-up",
    "rig",
    "studies",
    "gasket-laws",
    "bead",
    "model",
    "json",
    "python",
    "notebooks",
    "trust",
    "words",
)
COMMENT = re.compile(r"<!--.*?-->\n?", re.DOTALL)
# code in the terminal's own background
LOOK = Theme({"markdown.code": "cyan", "markdown.code_block": "cyan"})


def print_guide(topic: str | None, pages: dict[str, Path]) -> None:
    """Print the page of a topic, or the topics where none is named; pages : topic -> file.

    Raises InputError for an unknown topic, with the nearest one.
    """
    if topic is None:
        _print_topics(pages)
        return
    if topic not in pages:
        near = nearest(topic, pages)
        hint = f"nearest: {near[0]}" if near else "`headjoint guide` lists them"
        raise InputError(f"no such topic of the guide; {hint}", value=topic)
    _print_page(page_text(pages[topic]))


def _print_topics(pages: dict[str, Path]) -> None:
    """Print the topics with a line each."""
    table = Table(title="headjoint guide TOPIC shows a page", title_justify="left", box=None, pad_edge=False)
    table.add_column("topic")
    table.add_column("what it is about", overflow="fold")
    for topic in TOPICS:
        table.add_row(topic, escape(heading(pages[topic])))
    console().print(table)


def _print_page(text: str) -> None:
    """Show a page: laid out on a terminal, its Markdown as it is in a pipe or file."""
    if not sys.stdout.isatty():
        print(text, end="")
        return
    screen = console()
    screen.push_theme(LOOK)
    screen.print(Markdown(text, code_theme="ansi_dark", hyperlinks=False))


def page_text(path: Path) -> str:
    """Return a page's Markdown without its comments, which are for those who check it."""
    return COMMENT.sub("", path.read_text("utf-8"))


def heading(path: Path) -> str:
    """Return what a page is about: its first line."""
    return path.read_text("utf-8").splitlines()[0].removeprefix("# ")
