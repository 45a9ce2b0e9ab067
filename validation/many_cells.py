"""Random believable cells: how many are read, meshed and solved; whether a refusal is quick and names what clashes.

`python -m validation.many_cells [COUNT | FIRST-LAST] [--all | --mesh]` reads the cells of
`validation.believable_cells`, 300 of them or those of the seeds FIRST to LAST, and meshes each on the coarse mesh that
an answer compares with, the harder of its two. Every tenth is also meshed at its own size, condensed on the coarse mesh
and put through its load cases; with `--all` every one, with `--mesh` none (a second each). It exits with 1 where fewer
than 99 of 100 mesh and solve, or a refusal takes over two seconds or names fewer than two features.

Why some that are solved stand for the rest: after meshing, a factorisation can fail by elements turned inside out and
by pieces that nothing holds. Both are looked for in every cell here, at the places of integration and by connection.
"""

from __future__ import annotations

import math
import re
import sys
import time
from collections.abc import Callable

from rich.console import Console
from rich.table import Table

from headjoint.cases.condensed.cell_condensation import cell_model, condense_cell
from headjoint.cases.condensed.held import check_held
from headjoint.cases.load_cases.coarse_cell import COARSE
from headjoint.cases.load_cases.load_history import run
from headjoint.cases.models.condensed import condensed_cell
from headjoint.cases.service.tightened import tightened
from headjoint.meshes.solid.bore_cell import build_cell
from headjoint.model.base.errors import JointError
from headjoint.model.cell import Cell
from headjoint.model.reading.reading import parse_cell
from validation.believable_cells import cell_text

COUNT = 300
EVERY = 10
LEAST_SHARE = 0.99
LONGEST_REFUSAL = 2.0  # s
FEATURES = (
    "bore", "wall", "jacket", "ring", "liner", "column", "boss", "washer", "nut", "bolt head", "hole", "segments",
    "fire deck", "upper deck", "pitch", "side", "outer diameter", "edge", "thread", "engagement", "block",
)  # fmt: skip


def named(message: str) -> list[str]:
    """Return which features a refusal names, each once."""
    words = message.lower().replace("_", " ")
    return [feature for feature in FEATURES if re.search(rf"\b{feature}s?\b", words)]


def meshed(cell: Cell) -> None:
    """Mesh a cell coarsely; raises MeshError where elements are no good or a piece is held by nothing."""
    check_held(build_cell(cell, COARSE))


def solved(cell: Cell) -> None:
    """Mesh a cell at its own size, and put its coarse mesh through the load cases at the nominal tightening."""
    check_held(build_cell(cell))
    assembled = cell_model(cell, build_cell(cell, COARSE))
    model = condensed_cell(assembled, condense_cell(assembled))
    run(model, tightened(model).over(cell.joint.tightening)["nominal"])


def outcome(seed: int, asked: Callable[[Cell], None]) -> tuple[str, str, float]:
    """Return what became of the cell of a seed - "refused", "failed", "ok" -, what was said, and after how long (s)."""
    started = time.perf_counter()
    try:
        cell = parse_cell(cell_text(seed))
    except JointError as error:
        return "refused", str(error), time.perf_counter() - started
    started = time.perf_counter()
    try:
        asked(cell)
    except JointError as error:
        return "failed", str(error), time.perf_counter() - started
    return "ok", "", time.perf_counter() - started


def main() -> int:
    """Print the table; return 1 where too few cells mesh and solve, or a refusal is slow or says too little."""
    wanted = next((one for one in sys.argv[1:] if one[0].isdigit()), str(COUNT))
    first, last = wanted.split("-") if "-" in wanted else ("1", wanted)
    every = 1 if "--all" in sys.argv else math.inf if "--mesh" in sys.argv else EVERY
    console = Console(width=None if sys.stdout.isatty() else 170)
    table = Table("seed", "asked", "outcome", "s", "what was said", title="Cells that were not meshed and solved")
    counts = {"meshed": 0, "solved": 0, "refused": 0, "failed": 0}
    poor = 0
    for seed in range(int(first), int(last) + 1):
        solve = seed % every == 0
        found, said, seconds = outcome(seed, solved if solve else meshed)
        if found == "ok":
            counts["solved" if solve else "meshed"] += 1
        else:
            counts[found] += 1
            poor += found == "refused" and (seconds > LONGEST_REFUSAL or len(named(said)) < 2)
            table.add_row(str(seed), "solve" if solve else "mesh", found, f"{seconds:.1f}", said)
        print(f"{seed}: {found} {seconds:.1f} s {said[:80]}", file=sys.stderr, flush=True)
    asked = sum(counts.values())
    console.print(table)
    good = counts["meshed"] + counts["solved"]
    console.print(f"{good} of {asked} cells: " + ", ".join(f"{count} {name}" for name, count in counts.items()))
    console.print(f"{poor} refusals were slow or named fewer than two features")
    return 1 if good < LEAST_SHARE * asked or poor else 0


if __name__ == "__main__":
    sys.exit(main())
