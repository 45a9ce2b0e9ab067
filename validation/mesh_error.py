"""Estimated mesh errors against true ones: how often the estimate covers the truth, and by how much.

    python -m validation.mesh_error                          # joints of one fastener: a minute or two
    python -m validation.mesh_error six-stud-ring thin-decks # cells by the names of `mesh_figures.cells`: minutes each
    python -m validation.mesh_error --default boosted-four   # at the default size, too
    python -m validation.mesh_error --kept FIGURES.json ...  # solves are kept there, and looked for

Prints, figure by figure, the mesh error that an answer states over its true error, and how many lie between 0.7 and 3:
of all, and of those that are off by more than `SMALL` of their value.
Exits with 1 where fewer than nine of ten cover the truth, within its doubt, or where a requirement is told too kind.
Counted are the rows that requirements use, and each requirement at its worst. Joints are taken at their default size
and at `COARSER` times it, cells at the latter; truth is a mesh finer than the default one, up to 9 GB for a bank's
cell, extrapolated by `OBSERVED`, since that has an error, too. What is extrapolated is the doubt of the truth. How much
finer it is, is told by its elements: walls and jackets are lines of a cell's plan at any stated size, so that half the
size is 1.5 to 1.6 times as fine by the elements.
Left out are figures whose true error is below `NEGLIGIBLE` of their value: there rounding and the tolerance of roots
are compared.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.table import Table

from headjoint.model.cell import Cell
from headjoint.model.joint import Joint
from headjoint.postproc.present.rows import with_errors, with_mesh_errors
from headjoint.postproc.verdict.table import REQUIREMENTS
from validation.mesh_figures import Kept, MeshFigures, cells, joints

NEGLIGIBLE, SMALL = 1e-4, 1e-3
COARSER = 1.6  # times the default size of elements
FINEST_JOINT, FINEST_CELL = 3.7, 2.0  # refinement of the default mesh that stands for the truth
OBSERVED = 1.7  # order of convergence, from halving the elements of one fastener's joints twice
LEAST, GREATEST, SHARE = 0.7, 3.0, 0.9
REQUIREMENT = "requirement: "
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
    "amplitude of bending under gas",
    "stress amplitude",
    "least sealing-line pressure",
    "least line load along the bead",
    "separation factor",
    "greatest sealed gas pressure",
)


@dataclass(frozen=True)
class Compared:
    """One figure: its value, the stated mesh error, the truth, and the doubt of that."""

    case: str
    figure: str
    value: float
    stated: float
    truth: float
    doubt: float

    @property
    def true(self) -> float:
        """The true error."""
        return abs(self.truth - self.value)

    @property
    def ratio(self) -> float:
        """Stated over true."""
        return self.stated / self.true

    @property
    def covers(self) -> bool:
        """Whether the truth lies within what is stated, or may do so."""
        return self.stated >= self.true - self.doubt

    @property
    def small(self) -> bool:
        """Whether the true error hardly matters."""
        return self.true <= SMALL * abs(self.value)

    @property
    def too_kind(self) -> bool:
        """Whether it is a requirement of which less is true than its factor less the stated error."""
        return self.figure.startswith(REQUIREMENT) and self.truth + self.doubt < self.value - self.stated


def values(found: MeshFigures) -> dict[str, float]:
    """Return every figure by its name; of a requirement, its least factor."""
    named = {one.quantity: one.finite_elements for one in found.figures}
    for row in found.rows:
        if row.quantity in FIGURES:
            pairs = zip(found.states, row.finite_elements, strict=True)
            named |= {f"{row.quantity}, {state}": value for state, value in pairs if value is not None}
    return named | {f"{REQUIREMENT}{key}": min(value for value, _ in some) for key, some in found.requirements.items()}


def stated(found: MeshFigures, coarse: MeshFigures) -> dict[str, float | None]:
    """Return the mesh error of every figure by its name, as answers have it."""
    pairs = zip(found.rows, with_mesh_errors(found.rows, coarse.rows, solid=found.solid), strict=True)
    named = {one.quantity: one.mesh_error for one in with_errors(found.figures, coarse.figures)}
    for row, beside in pairs:
        if row.quantity in FIGURES:
            named |= {f"{row.quantity}, {s}": e for s, e in zip(found.states, beside.mesh_error, strict=False)}
    for key, some in found.requirements.items():
        named[f"{REQUIREMENT}{key}"] = REQUIREMENTS[key].least_error(
            some, coarse.requirements.get(key, []), solid=found.solid
        )
    return named


def refinement(rough: MeshFigures, finer: MeshFigures) -> float:
    """Return how much smaller elements are, h = (volume / elements)^(1/d) as ASME V&V 20 has it for any mesh."""
    return (finer.elements / rough.elements) ** (1.0 / (3.0 if finer.solid else 2.0))


def truth(rough: MeshFigures, finer: MeshFigures) -> dict[str, tuple[float, float]]:
    """Return every figure by its name, extrapolated from a mesh finer than another; its doubt."""
    less, times = values(rough), refinement(rough, finer)
    found = {}
    for name, value in values(finer).items():
        if name in less:
            further = (value - less[name]) / (times**OBSERVED - 1.0)
            found[name] = value + further, abs(further)
    return found


def compared(
    case: str, found: MeshFigures, coarse: MeshFigures, true: dict[str, tuple[float, float]]
) -> Iterator[Compared]:
    """Yield every figure of one answer, which stands beside that of a coarse mesh, with its truth."""
    errors = stated(found, coarse)
    for name, value in values(found).items():
        if name in true and (error := errors.get(name)) is not None:
            known, doubt = true[name]
            if abs(known - value) > NEGLIGIBLE * abs(value):
                yield Compared(case, name, value, error, known, doubt)


def of_case(kept: Kept, name: str, case: Joint | Cell, default: bool) -> Iterator[Compared]:
    """Yield the figures of a joint or cell at each size that is asked for."""

    def mesh(size: float, refinement: float) -> MeshFigures:
        return kept.on_mesh(name, case, size, refinement)

    finest = mesh(1.0, FINEST_CELL if isinstance(case, Cell) else FINEST_JOINT)
    for size in (1.0, COARSER) if default else (COARSER,):
        found = mesh(size, 1.0)
        titled = name if size == 1.0 else f"{name}, {size:g} x"
        yield from compared(titled, found, mesh(size, 0.5), truth(found, finest))


def printed(found: Iterable[Compared]) -> int:
    """Print the table; return 1 where too few estimates cover the truth, or any requirement is told too kind."""
    lines = sorted(found, key=lambda one: one.ratio)
    table = Table("case", "figure", "value", "true error, %", "stated, %", "stated over true")
    for one in lines:
        shares = [100.0 * error / abs(one.value) for error in (one.true, one.stated)]
        table.add_row(one.case, one.figure, f"{one.value:.4g}", *(f"{s:.2g}" for s in shares), f"{one.ratio:.2f}")
    console = Console(width=None if sys.stdout.isatty() else 130)
    console.print(table)
    for case in dict.fromkeys(one.case for one in lines):
        console.print(f"{case}: {_counted([one for one in lines if one.case == case])}")
    console.print(f"all: {_counted(lines)}")
    console.print(f"off by more than {100 * SMALL:g} %: {_counted([one for one in lines if not one.small])}")
    kind = [f"{one.figure.removeprefix(REQUIREMENT)} of {one.case}" for one in lines if one.too_kind]
    required = sum(one.figure.startswith(REQUIREMENT) for one in lines)
    console.print(f"{required} requirements, too kind by more than their error: {', '.join(kind) or 'none'}")
    covered = float(np.mean([one.covers for one in lines]))
    return 0 if covered >= SHARE and not kind else 1


def _within(lines: list[Compared]) -> float:
    return float(np.mean([LEAST <= one.ratio <= GREATEST for one in lines]))


def _counted(lines: list[Compared]) -> str:
    if not lines:
        return "none"
    ratios = np.array([one.ratio for one in lines])
    return (
        f"{len(lines)} figures, {100 * _within(lines):.0f} % between {LEAST:g} and {GREATEST:g}, "
        f"{100 * np.mean(ratios >= 1.0):.0f} % cover the whole error "
        f"({100 * np.mean([one.covers for one in lines]):.0f} % within the doubt of the truth), "
        f"{np.sum(ratios < LEAST)} below {LEAST:g}, {np.sum(ratios > GREATEST)} above {GREATEST:g}"
    )


def main() -> int:
    """Run joints, or cells by their names."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("names", nargs="*", help="cells; without, joints of one fastener")
    parser.add_argument("--kept", type=Path, help="file in which figures are kept, and looked for")
    parser.add_argument("--default", action="store_true", help="cells at their default size, too")
    asked = parser.parse_args()
    cases = {name: cells()[name] for name in asked.names} or joints()
    kept, default = Kept(asked.kept), asked.default or not asked.names
    return printed([one for name, case in cases.items() for one in of_case(kept, name, case, default)])


if __name__ == "__main__":
    sys.exit(main())
