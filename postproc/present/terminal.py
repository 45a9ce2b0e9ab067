"""A report on the terminal: the verdict first, then its sections, the files that were made, and the caution."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.cells import cell_len
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from headjoint.postproc.present.console import console
from headjoint.postproc.present.document import CAUTION
from headjoint.postproc.present.report import Items, Paragraphs, Report, Section, Sheet

ITEM_WIDTH = 26
PADDING = (0, 2, 0, 0)
FIRST_WIDTH = 24  # of the first column, so that names take few lines
COLOURS = {"holds": "green", "does not hold": "red", "not judged": "yellow"}
KEPT_WHOLE = ("limited by", "design", "time")  # headings of columns that are never wrapped


def print_report(report: Report, written: Sequence[Path] = ()) -> None:
    """Print a report; `written` are the files that were made."""
    screen = console()
    screen.print(f"\n[bold]{escape(report.title)}[/bold]" + (f"  ({escape(report.note)})" if report.note else ""))
    if report.seen:
        screen.print(f"Model: {escape(report.seen)}.")
    for alarm in report.alarms:
        screen.print(f"[bold red]DO NOT TRUST YET[/bold red]: {escape(alarm)}")
    _print_sentences(screen, report)
    for section in report.sections:
        if section.on != "page":
            _print_section(screen, section)
    print_written(screen, written)


def _print_sentences(screen: Console, report: Report) -> None:
    sentences = list(report.sentences)
    if report.judgement is not None and sentences:
        colour = COLOURS[report.judgement]
        screen.print(f"[bold {colour}]{report.judgement.upper()}[/bold {colour}]: {escape(sentences.pop(0))}")
    for sentence in sentences:
        screen.print(f"{escape(sentence)}.")
    screen.print()


def _print_section(screen: Console, section: Section) -> None:
    if isinstance(section, Sheet):
        print_sheet(screen, section)
    elif isinstance(section, Items):
        _title(screen, section.title)
        grid = Table(box=None, show_header=False, pad_edge=False, padding=PADDING)
        grid.add_column(width=ITEM_WIDTH, overflow="fold")
        grid.add_column(overflow="fold")
        for heading, text in section.items:
            grid.add_row(f"[bold]{escape(heading)}[/bold]", escape(text))
        screen.print(grid)
    elif isinstance(section, Paragraphs):
        _title(screen, section.title)
        for text in section.texts:
            screen.print(("  " if section.listed else "") + escape(text))
    screen.print()


def _title(screen: Console, title: str) -> None:
    if title:
        screen.print(f"[bold]{escape(title)}[/bold]")


def print_sheet(screen: Console, sheet: Sheet) -> None:
    """Print a table with its title and note, in several parts where the screen is too narrow for all columns."""
    for number, part in enumerate(_parts(sheet, screen.width)):
        title = f"[bold]{escape(sheet.title)}[/bold]" if sheet.title and number == 0 else None
        table = Table(title=title, title_justify="left", title_style="", box=None, pad_edge=False, padding=PADDING)
        for column, width in part.items():
            left = column == 0 or column in sheet.left
            table.add_column(escape(sheet.headings[column]), justify="left" if left else "right", width=width)
        for row, line in enumerate(sheet.lines):
            cells = [escape(line[column]) for column in part]
            if row in sheet.bad:
                cells = [f"[bold red]{text}[/bold red]" if text == "FAILS" else text for text in cells]
            table.add_row(*cells, style="dim" if row in sheet.quiet else "")
        if number:
            screen.print()
        screen.print(table)
    if sheet.note:
        screen.print(f"[dim]{escape(sheet.note)}[/dim]")


def _parts(sheet: Sheet, width: int) -> list[dict[int, int]]:
    """Return columns and their widths part by part, no word broken; the first column begins every part.

    A table that fits is one part; so is one that fits with cells in several lines, kept whole where `KEPT_WHOLE` says
    so as long as there is room.
    """
    columns = [(heading, *cells) for heading, *cells in zip(sheet.headings, *sheet.lines, strict=True)]
    whole = [max(map(cell_len, column)) for column in columns]
    word = [max((cell_len(one) for text in column for one in text.split()), default=0) for column in columns]
    word[0] = max(word[0], min(whole[0], FIRST_WIDTH))
    kept = [full if sheet.headings[n] in KEPT_WHOLE else word[n] for n, full in enumerate(whole)]
    least = kept if _with_gaps(kept) <= width else word
    parts = [[0]]
    for column in range(1, len(columns)):
        if len(parts[-1]) > 1 and _with_gaps([least[one] for one in (*parts[-1], column)]) > width:
            parts.append([0])
        parts[-1].append(column)
    return [_widths({one: whole[one] for one in part}, least, width) for part in parts]


def _widths(widths: dict[int, int], least: Sequence[int], width: int) -> dict[int, int]:
    """Return widths taken off the widest columns until all fit, none below its least."""
    found = dict(widths)
    while _with_gaps(list(found.values())) > width:
        wide = [column for column in found if found[column] > least[column]]
        if not wide:
            break
        found[max(wide, key=lambda column: found[column])] -= 1
    return found


def _with_gaps(widths: Sequence[int]) -> int:
    return sum(widths) + PADDING[1] * (len(widths) - 1)


def print_written(screen: Console, written: Sequence[Path]) -> None:
    """Print the files that were made, series of VTU files as a number, and the caution."""
    if written:
        folder = min((path.parent for path in written), key=lambda path: len(path.parts))
        names = [path.name for path in written if path.suffix != ".vtu"]
        states = len(written) - len(names)
        more = f" and {states} states as .vtu" if states else ""
        screen.print(f"Files in {escape(str(folder))}/: {', '.join(map(escape, names))}{more}")
    screen.print(f"[bold]Caution[/bold]: {CAUTION}")
