"""Print every benchmark."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from validation.benchmarks import commands, single_stud


def main() -> None:
    console = Console(width=120)
    for title, headings, rows in (*commands.tables(), *single_stud.tables()):
        table = Table(title=title, title_justify="left")
        for number, heading in enumerate(headings):
            table.add_column(heading, justify="left" if number == 0 else "right")
        for row in rows:
            table.add_row(*row)
        console.print(table)


if __name__ == "__main__":
    main()
