"""Estimated mesh errors against true ones: how often the estimate covers the truth, and by how much.

`python -m validation.mesh_error [NAME ...]` prints, figure by figure, the mesh error that an answer states over its
true error, and exits with 1 where fewer than nine of ten lie between 0.7 and 3. Without names, one fastener's joints at
their default, truth from a mesh two and a half times as fine. Names are those of `cells` (minutes each, some 6 GB): at
1.6 times the default size, truth from the default one. Truth is extrapolated by `OBSERVED`, since the finer mesh has an
error, too.
Left out are figures whose true error is below `NEGLIGIBLE` of their value: there rounding and the tolerance of roots
are compared.
"""

from __future__ import annotations

import dataclasses
import sys
from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

import numpy as np
from rich.console import Console
from rich.table import Table

from headjoint.cases.command.stated_files import shipped_cells
from headjoint.cases.load_cases.solved import Solved, cell_on_mesh, joint_on_mesh
from headjoint.model.cell import Cell
from headjoint.model.joint import Joint
from headjoint.model.reading.reading import parse_cell, parse_joint
from headjoint.postproc.cell.assessment import CellFindings, assess_cell
from headjoint.postproc.joint.assessment import Findings, assess
from validation.joints import joint_files

NEGLIGIBLE = 1e-4
FINEST = 2.5  # refinement of the mesh that stands for the truth of one fastener's joint
S = TypeVar("S", bound=Solved)
COARSER = 1.6  # times the default size of elements, that what stands for the truth of cells fits a small machine
OBSERVED = 1.7  # order of convergence, from halving the elements of one fastener's joints twice
LEAST, GREATEST, SHARE = 0.7, 3.0, 0.9
FIGURES = (  # of rows, those that requirements use
    "fastener force F_S",
    "gasket force",
    "sealing-line pressure",
    "line load along the bead",
    "load factor dF_S/F_A",
    "stroke of the bead under gas",
    "separation: falls short at gas x",
    "mean fastener force",
    "bending stress of the fastener",
    "amplitude of that",
    "least sealing-line pressure",
    "least line load along the bead",
    "separation factor",
    "greatest sealed gas pressure",
    "head lift since assembly",
)
# changes of the shipped cells that make others
INVENTED = {
    "eight-studs": {
        "number = 6": "number = 8",
        'fire_deck = "14 mm"': 'fire_deck = "10 mm"',
        'side_wall = "9 mm"': 'side_wall = "8 mm"',
    },
    "five-studs": {
        "number = 6": "number = 5",
        'fire_deck = "14 mm"': 'fire_deck = "18 mm"',
        'deck_thickness = "10 mm"': 'deck_thickness = "16 mm"',
    },
    "thin-decks": {
        'fire_deck = "20 mm"': 'fire_deck = "9 mm"',
        'upper_deck = "14 mm"': 'upper_deck = "9 mm"',
        'side_wall = "13 mm"': 'side_wall = "9 mm"',
        'bridge_wall = "24 mm"': 'bridge_wall = "8 mm"',
        'deck_thickness = "16 mm"': 'deck_thickness = "9 mm"',
        'jacket_width = "4 mm"': 'jacket_width = "3.5 mm"',
    },
    "iron-head": {
        'fire_deck = "20 mm"': 'fire_deck = "14 mm"',
        'material = "EN AC-42100"': 'material = "EN-GJL-250"',
        'side_wall = "13 mm"': 'side_wall = "10 mm"',
        'jacket_depth = "70 mm"': 'jacket_depth = "50 mm"',
    },
    "open-deck": {
        'deck_thickness = "16 mm"': 'deck_thickness = "0 mm"',
        'fire_deck = "20 mm"': 'fire_deck = "16 mm"',
        'half_width = "70 mm"': 'half_width = "66 mm"',
    },
}


@dataclasses.dataclass(frozen=True)
class Compared:
    """One figure: its value, the stated mesh error, and the true one."""

    case: str
    figure: str
    value: float
    stated: float
    true: float

    @property
    def ratio(self) -> float:
        """Stated over true."""
        return self.stated / self.true


def cells() -> dict[str, Cell]:
    """Return the shipped cells of one bore and the invented ones."""
    texts = {name: shipped_cells()[name].read_text("utf-8") for name in ("boosted-four", "six-stud-ring")}
    for name, changes in INVENTED.items():
        text = texts["six-stud-ring" if "number = 6" in changes else "boosted-four"]
        for old, new in changes.items():
            assert old in text, old
            text = text.replace(old, new)
        texts[name] = text
    return {name: parse_cell(text, file=name) for name, text in texts.items()}


def joints() -> dict[str, Joint]:
    """Return the shipped joints."""
    return {name: parse_joint(path.read_text("utf-8"), file=name) for name, path in joint_files().items()}


def compared(case: str, found: Findings | CellFindings, truth: dict[str, float]) -> Iterator[Compared]:
    """Yield every figure that requirements use of one answer beside its truth."""
    for name, value, error in figures(found):
        true = abs(truth[name] - value)
        if error is not None and true > NEGLIGIBLE * abs(value):
            yield Compared(case, name, value, error, true)


def figures(found: Findings | CellFindings) -> Iterator[tuple[str, float, float | None]]:
    """Yield name, value and stated mesh error of every figure."""
    names = [state.name for state in found.states["nominal"]]
    for row in found.rows:
        if row.quantity in FIGURES:
            errors = row.mesh_error or (None,) * len(names)
            for state, value, error in zip(names, row.finite_elements, errors, strict=True):
                if value is not None:
                    yield f"{row.quantity}, {state}", value, error
    if isinstance(found, Findings):
        for figure in found.joint_figures:
            yield figure.quantity, figure.finite_elements, figure.mesh_error


def values(found: Findings | CellFindings) -> dict[str, float]:
    """Return every figure by its name."""
    return {name: value for name, value, _ in figures(found)}


def of_joint(name: str, joint: Joint) -> list[Compared]:
    """Compare one fastener's joint at the default size."""
    found = assess(with_coarse(lambda r: joint_on_mesh(joint, r), 1.0))
    return list(compared(name, found, extrapolated(found, assess(joint_on_mesh(joint, FINEST)), FINEST)))


def of_cell(name: str, cell: Cell) -> list[Compared]:
    """Compare a cell at a size somewhat above the default."""
    size = cell.mesh
    larger = {key: COARSER * getattr(size, key) for key in ("ring_size", "stud_size", "largest")}
    cell = dataclasses.replace(cell, mesh=dataclasses.replace(size, **larger))
    found = assess_cell(with_coarse(lambda r: cell_on_mesh(cell, r), 1.0))
    return list(compared(name, found, extrapolated(found, assess_cell(cell_on_mesh(cell, COARSER)), COARSER)))


def extrapolated(found: Findings | CellFindings, finer: Findings | CellFindings, refinement: float) -> dict[str, float]:
    """Return every figure by its name, extrapolated from a mesh `refinement` times as fine."""
    here = values(found)
    return {name: value + (value - here[name]) / (refinement**OBSERVED - 1.0) for name, value in values(finer).items()}


def with_coarse(solve: Callable[[float], S], refinement: float) -> S:
    """Return a solve with the one on doubled elements beside it."""
    return dataclasses.replace(solve(refinement), coarse=solve(refinement / 2.0), unbounded="")


def printed(found: Iterable[Compared]) -> int:
    """Print the table; return 1 where too few estimates cover the truth."""
    lines = sorted(found, key=lambda one: one.ratio)
    table = Table("case", "figure", "value", "true error, %", "stated, %", "stated over true")
    for one in lines:
        shares = [100.0 * error / abs(one.value) for error in (one.true, one.stated)]
        table.add_row(one.case, one.figure, f"{one.value:.4g}", *(f"{s:.2g}" for s in shares), f"{one.ratio:.2f}")
    console = Console(width=None if sys.stdout.isatty() else 130)
    console.print(table)
    ratios = np.array([one.ratio for one in lines])
    within = float(np.mean((ratios >= LEAST) & (ratios <= GREATEST)))
    console.print(
        f"{len(lines)} figures: {100 * within:.0f} % between {LEAST:g} and {GREATEST:g}, "
        f"{100 * np.mean(ratios >= 1.0):.0f} % cover the whole error, {100 * np.mean(ratios < LEAST):.0f} % below"
    )
    return 0 if within >= SHARE else 1


def main() -> int:
    """Run joints, or cells by their names."""
    found: list[Compared] = []
    for name in sys.argv[1:]:
        found += of_cell(name, cells()[name])
    if not sys.argv[1:]:
        for name, joint in joints().items():
            found += of_joint(name, joint)
    return printed(found)


if __name__ == "__main__":
    sys.exit(main())
