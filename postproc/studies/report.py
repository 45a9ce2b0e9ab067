"""What the reports of all studies share on the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from headjoint.postproc.designs.run import Ran
from headjoint.postproc.present.document import CAUTION
from headjoint.postproc.studies.table import FIGURES

SHORT = {"clamp after cooling": "cold clamp", "sealed gas pressure": "sealed gas"}


def short_heading(name: str) -> str:
    """Return the heading of a figure with its unit."""
    return f"{SHORT.get(name, name)} [{FIGURES[name][0]}]"


def run_line(ran: Ran, whole: int) -> str:
    """Say what was run, where, and how long it took."""
    kept = f", {ran.found} of them found finished" if ran.found else ""
    where = f" on {ran.workers}" if ran.workers else ""
    stiffness = "one condensed joint" if ran.stiffnesses == 1 else f"{ran.stiffnesses} condensed joints"
    return f"{whole} evaluations by finite elements{kept}{where}, {stiffness}, {ran.seconds:.1f} s."


def print_table(
    screen: Console, headings: Sequence[str], lines: Sequence[Sequence[str]], *, left: Sequence[str] = ()
) -> None:
    """Print a table, its first column and those called `left` to the left."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for number, heading in enumerate(headings):
        aligned = "left" if heading in left or number == 0 else "right"
        table.add_column(escape(heading), justify=aligned, no_wrap=heading in ("limited by", "design"))
    for line in lines:
        table.add_row(*map(escape, line))
    screen.print(table)


def print_written(screen: Console, written: Sequence[Path]) -> None:
    """Print the files that were made, and the caution."""
    if written:
        screen.print(f"Files in {escape(str(written[0].parent))}/: " + ", ".join(escape(path.name) for path in written))
    screen.print(f"[bold]Caution[/bold]: {CAUTION}")
