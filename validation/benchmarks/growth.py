"""How time by stage and memory grow with the mesh of one fastener and of a cell.

Run as `python -m validation.benchmarks.growth`; each size in a process of its own. Ratios to the smallest size of the
same model are put beside those that were stored: they hardly hang on the machine, so that one which has grown says that
a stage was made worse. `--all` adds the sizes that take minutes, up to the most elements that are worked with.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from rich.console import Console
from rich.markup import escape
from rich.table import Table

JOINT, CELL = "boosted-four-steel", "six-stud-ring"
SIZES = {JOINT: (1.0, 2.0, 3.2), CELL: (0.5, 0.7, 1.0)}
MORE_SIZES = {JOINT: (3.8,), CELL: (1.4, 2.0, 2.8, 3.4)}
STAGES = ("mesh", "assemble", "condense", "states")  # processor seconds
# first word of a stage as the solve tells it -> where it is counted; a stage that is not here is an error, no rest
COUNTED = {name: name for name in ("mesh", "assemble", "condense")}
COUNTED |= dict.fromkeys(("tighten", "nominal", "least", "greatest"), "states")
GROWN = 1.6  # times the stored ratio, beyond which a stage is named; times of seconds repeat to some 30 %
SHORT = 0.1  # s, below which a ratio tells nothing
# own measurement: figures over those of the smallest size of the model
STORED: dict[tuple[str, float], dict[str, float]] = {
    (JOINT, 2.0): {"assemble": 3.5, "condense": 5.0, "states": 1.7, "memory": 2.3},
    (JOINT, 3.2): {"assemble": 7.9, "condense": 11.8, "states": 3.6, "memory": 5.0},
    (CELL, 0.7): {"mesh": 1.3, "assemble": 2.1, "condense": 3.1, "states": 1.3, "memory": 1.8},
    (CELL, 1.0): {"mesh": 2.3, "assemble": 3.5, "condense": 5.4, "states": 1.0, "memory": 2.3},
}


@dataclass(frozen=True)
class Figures:
    """What one size took: elements, unknowns, processor seconds by stage, greatest memory (MB)."""

    elements: int
    unknowns: int
    seconds: dict[str, float]
    memory: float

    def over(self, smallest: Figures) -> dict[str, float]:
        """Return the ratios to the smallest size, of what took long enough to tell."""
        told = {name: self.seconds[name] / smallest.seconds[name] for name in STAGES if smallest.seconds[name] > SHORT}
        return told | {"memory": self.memory / smallest.memory}


def one_size(name: str, refinement: float) -> dict[str, object]:
    """Return the figures of one size."""
    from headjoint.cases.command.stated_files import shipped_cells, threads_for
    from headjoint.cases.condensed.cell_condensation import CellModel
    from headjoint.cases.load_cases.solved import cell_on_mesh, joint_on_mesh
    from headjoint.cases.models.stages import Stages
    from headjoint.model.cell import Cell
    from headjoint.model.reading.reading import read_input
    from validation.joints import joint_files

    begun: list[tuple[str, float]] = []
    stages = Stages(lambda stage: begun.append((stage, time.process_time())))
    stated = read_input(shipped_cells()[CELL] if name == CELL else joint_files()[name])
    with threads_for(stated):  # as the command does: waiting threads are processor time, too
        solve = (
            cell_on_mesh(stated, refinement, None, stages)
            if isinstance(stated, Cell)
            else joint_on_mesh(stated, refinement, stages)
        )
        seconds = by_stage(begun, time.process_time())
    model = solve.assembled
    elements = model.mesh.cells.shape[1] if isinstance(model, CellModel) else model.joint_mesh.mesh.nelements
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    return {"elements": int(elements), "unknowns": model.unknowns, "seconds": seconds, "memory": memory}


def by_stage(begun: list[tuple[str, float]], end: float) -> dict[str, float]:
    """Return the seconds of each of `STAGES` from when told stages began; ValueError for one that is not known."""
    unknown = [stage for stage, _ in begun if stage.split()[0] not in COUNTED]
    if unknown:
        raise ValueError(f"stages that are counted nowhere: {', '.join(unknown)}")
    ends = [*(start for _, start in begun[1:]), end]
    seconds = dict.fromkeys(STAGES, 0.0)
    for (stage, start), its_end in zip(begun, ends, strict=True):
        seconds[COUNTED[stage.split()[0]]] += its_end - start
    return seconds


def measured(name: str, refinement: float) -> Figures | str:
    """Return the figures of one size from a process of its own, or why there are none."""
    code = "import json; from validation.benchmarks.growth import one_size; "
    code += f"print(json.dumps(one_size({name!r}, {refinement})))"
    ran = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=Path(__file__).parents[2], check=False
    )
    if ran.returncode:
        return ran.stderr.strip().splitlines()[-1].split(": ", 1)[-1]
    return Figures(**json.loads(ran.stdout.strip().splitlines()[-1]))


def grown(name: str, refinement: float, ratios: dict[str, float]) -> list[str]:
    """Return the stages that have grown beyond their stored ratio."""
    stored = STORED.get((name, refinement), {})
    return [stage for stage, ratio in ratios.items() if ratio > GROWN * stored.get(stage, ratio)]


def main() -> int:
    headings = ["model", "as fine", "elements", "unknowns", *(f"{stage} s" for stage in STAGES), "memory MB"]
    table = Table(title="Processor time by stage, and memory", title_justify="left")
    for heading in [*headings, "over the smallest", ""]:
        table.add_column(heading)
    worse = 0
    for name, sizes in SIZES.items():
        smallest = None
        for refinement in (*sizes, *(MORE_SIZES[name] if "--all" in sys.argv else ())):
            found = measured(name, refinement)
            if isinstance(found, str):
                table.add_row(name, f"{refinement:g}", escape(found))
                worse += refinement in sizes  # only what `--all` adds may be too large
                continue
            smallest = smallest or found
            ratios = found.over(smallest)
            named = grown(name, refinement, ratios)
            worse += len(named)
            row = [name, f"{refinement:g}", str(found.elements), str(found.unknowns)]
            row += [*(f"{found.seconds[stage]:.2f}" for stage in STAGES), f"{found.memory:.0f}"]
            told = ", ".join(f"{stage} {ratio:.2f}" for stage, ratio in ratios.items())
            table.add_row(*row, told, f"GROWN: {', '.join(named)}" if named else "")
    Console(width=160).print(table)
    return 1 if worse else 0


if __name__ == "__main__":
    sys.exit(main())
