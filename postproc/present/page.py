"""Self-contained HTML pages, and the same pages as PDF."""

from __future__ import annotations

import base64
import dataclasses
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING

from headjoint.cases.command.made import Made
from headjoint.postproc.present.apart import pieces
from headjoint.postproc.present.document import CAUTION
from headjoint.postproc.present.report import Report, Sheet

if TYPE_CHECKING:
    from jinja2 import Template
    from markupsafe import Markup

LINE_LETTERS = 116  # of a table that fits a printed page
WORDS = 20  # letters to which a column of sentences may shrink


def page_text(report: Report, pictures: Sequence[Path], files: Sequence[str], made: Made) -> str:
    """Return a report as a page with the pictures inside; `files` beside it hold the figures."""
    return _template("page.html.j2").render(
        version=version("headjoint"),
        caution=CAUTION,
        report=report,
        pictures=[
            {
                "name": one.stem.replace("_", " "),
                "drawing": one.stem.startswith("drawing"),
                "pieces": [base64.b64encode(piece).decode("ascii") for piece in pieces(one.read_bytes())],
            }
            for one in pictures
        ],
        files=files,
        made=made.items(),
    )


def piece_text(report: Report) -> str:
    """Return a report as a piece of HTML for a notebook, without pictures."""
    return _template("piece.html.j2").render(report=report)


def _template(name: str) -> Template:
    from jinja2 import Environment, PackageLoader

    environment = Environment(
        loader=PackageLoader("headjoint.postproc", "templates"), autoescape=True, trim_blocks=True, lstrip_blocks=True
    )
    environment.globals["cut"] = cut
    environment.filters["commands"] = commands
    return environment.get_template(name)


def commands(text: str) -> Markup:
    """Return text for a page, what stands between backticks as commands."""
    from markupsafe import Markup, escape

    parts = str(escape(text)).split("`")
    if len(parts) % 2 == 0:  # one that is not closed is a letter like others
        return Markup("`".join(parts))
    return Markup("".join(f"<code>{part}</code>" if number % 2 else part for number, part in enumerate(parts)))


def cut(sheet: Sheet) -> list[Sheet]:
    """Return a table as tables that are narrow enough for paper, one below the other; names stand in each."""
    widths = [
        2 + max(min(WORDS, len(text)) for text in (max(heading.split(), key=len, default=""), *column))
        for heading, column in zip(sheet.headings, zip(*sheet.lines, strict=True), strict=True)
    ] if sheet.lines else []  # fmt: skip
    if sum(widths) <= LINE_LETTERS:
        return [sheet]
    fixed = sum(widths[: sheet.named])
    columns: list[list[int]] = [[]]
    room = LINE_LETTERS - fixed
    for number in range(sheet.named, len(widths)):
        if widths[number] > room and columns[-1]:
            columns.append([])
            room = LINE_LETTERS - fixed
        columns[-1].append(number)
        room -= widths[number]
    return [_part(sheet, [*range(sheet.named), *some], last=some is columns[-1]) for some in columns]


def _part(sheet: Sheet, columns: Sequence[int], last: bool) -> Sheet:
    return dataclasses.replace(
        sheet,
        headings=tuple(sheet.headings[number] for number in columns),
        lines=tuple(tuple(line[number] for number in columns) for line in sheet.lines),
        left=tuple(place for place, number in enumerate(columns) if number in sheet.left),
        note=sheet.note if last else "",
    )
