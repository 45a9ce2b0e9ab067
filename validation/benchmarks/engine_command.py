"""The whole command on an engine: from nothing, and where its joint was condensed before and only torque differs.

Run as `python -m validation.benchmarks.engine_command`: some three minutes on two idle cores. All runs use one store in
an empty folder; processor seconds say what is left when others use the machine, too.
"""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

from rich.console import Console
from rich.table import Table

from headjoint.cases.command.stated_files import shipped_cells
from validation.benchmarks.commands import timed_run

ENGINE = "boosted-four"
TORQUE = ('torque = "72 lbf.ft"', 'torque = "71 lbf.ft"')
RUNS = (
    ("from nothing, without pictures", ENGINE, "--no-pictures"),
    ("joint kept, without pictures", ENGINE, "--no-pictures"),
    ("joint kept, another torque, without pictures", "other.toml", "--no-pictures"),
    ("joint kept, with pictures, page and PDF", ENGINE, "--pictures"),
)


def main() -> None:
    """Print the table."""
    table = Table(title=f"headjoint solve {ENGINE}", title_justify="left")
    for heading in ("run", "wall s", "processor s", "wall / first", "peak MB"):
        table.add_column(heading, justify="left" if heading == "run" else "right")
    command = str(Path(sys.executable).with_name("headjoint"))
    first = 0.0
    with tempfile.TemporaryDirectory() as folder:
        text = shipped_cells()[ENGINE].read_text("utf-8")
        assert TORQUE[0] in text
        (Path(folder) / "other.toml").write_text(text.replace(*TORQUE), "utf-8")
        own = os.environ | {"XDG_CACHE_HOME": str(Path(folder) / "cache")}
        for name, engine, pictures in RUNS:
            wall, usage = timed_run([command, "solve", engine, pictures], Path(folder), own)
            first = first or wall
            busy = usage.ru_utime + usage.ru_stime
            table.add_row(name, f"{wall:.1f}", f"{busy:.1f}", f"{wall / first:.2f}", f"{usage.ru_maxrss / 1024:.0f}")
    Console(width=120).print(table)


if __name__ == "__main__":
    main()
