"""Print every published check as a table; exit code 1 when one fails. `--fast` leaves out what takes long."""

from __future__ import annotations

import sys
import time

from rich.console import Console
from rich.table import Table

from headjoint.model.base.errors import JointError
from validation import FAST_GROUPS, GROUPS
from validation.check import Check
from validation.first_hand import from_memory, how


def main() -> int:
    console = Console(width=None if sys.stdout.isatty() else 170)
    checks: list[Check] = []
    unrun = 0
    for title, group in (FAST_GROUPS if "--fast" in sys.argv else GROUPS).items():
        started = time.perf_counter()
        try:
            found = group()
        except JointError as error:
            print(f"{title}: cannot be run: {error}")
            unrun += 1
            continue
        checks += found
        table = Table(title=f"{title} ({time.perf_counter() - started:.1f} s)", title_justify="left", expand=True)
        for heading, justify in (
            ("quantity", "left"),
            ("source", "left"),
            ("published", "right"),
            ("computed", "right"),
            ("difference", "right"),
            ("tolerance", "right"),
            ("", "left"),
        ):
            table.add_column(heading, justify=justify, overflow="fold")
        for check in found:
            table.add_row(
                f"{check.quantity}{f', {check.unit}' if check.unit else ''}",
                check.source,
                f"{check.published:.5g}",
                f"{check.computed:.5g}",
                f"{100 * check.difference:+.2f} %",
                f"{100 * check.tolerance:.2g} %",
                "ok" if check.passed else "FAILED",
            )
        console.print(table)
    failed = [check for check in checks if not check.passed]
    print(f"{len(checks) - len(failed)} passed, {len(failed)} failed")
    unseen = [check for check in checks if from_memory(check)]
    print(f"{len(unseen)} of {len(checks)} from memory; how they could be verified:")
    for source, words in {check.source: how(check) for check in unseen}.items():
        print(f"- {source}: {words}")
    return 1 if failed or unrun else 0


if __name__ == "__main__":
    sys.exit(main())
