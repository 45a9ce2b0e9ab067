"""A report on the terminal: the verdict first, then its sections, the files that were made, and the caution."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from headjoint.postproc.present.console import console
from headjoint.postproc.present.document import CAUTION
from headjoint.postproc.present.report import Items, Paragraphs, Report, Section, Sheet

ITEM_WIDTH = 26
PADDING = (0, 2, 0, 0)
COLOURS = {"holds": "green", "does not hold": "red", "not judged": "yellow"}
KEPT_WHOLE = ("limited by", "design", "time")  # headings of columns that are never wrapped


def print_report(report: Report, written: Sequence[Path] = ()) -> None:
    """Print a report; `written` are the files that were made."""
    screen = console()
    screen.print(f"\n[bold]{escape(report.title)}[/bold]" + (f"  ({escape(report.note)})" if report.note else ""))
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
    """Print a table with its title and note."""
    title = f"[bold]{escape(sheet.title)}[/bold]" if sheet.title else None
    table = Table(title=title, title_justify="left", title_style="", box=None, pad_edge=False, padding=PADDING)
    for number, heading in enumerate(sheet.headings):
        left = number == 0 or number in sheet.left
        table.add_column(escape(heading), justify="left" if left else "right", no_wrap=heading in KEPT_WHOLE)
    for number, line in enumerate(sheet.lines):
        cells = [escape(text) for text in line]
        if number in sheet.bad:
            cells = [f"[bold red]{text}[/bold red]" if text == "FAILS" else text for text in cells]
        table.add_row(*cells, style="dim" if number in sheet.quiet else "")
    screen.print(table)
    if sheet.note:
        screen.print(f"[dim]{escape(sheet.note)}[/dim]")


def print_written(screen: Console, written: Sequence[Path]) -> None:
    """Print the files that were made, series of VTU files as a number, and the caution."""
    if written:
        folder = min((path.parent for path in written), key=lambda path: len(path.parts))
        names = [path.name for path in written if path.suffix != ".vtu"]
        states = len(written) - len(names)
        more = f" and {states} states as .vtu" if states else ""
        screen.print(f"Files in {escape(str(folder))}/: {', '.join(map(escape, names))}{more}")
    screen.print(f"[bold]Caution[/bold]: {CAUTION}")
