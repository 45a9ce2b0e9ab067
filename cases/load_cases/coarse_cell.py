"""A bore cell on a coarse mesh, in seconds: where one stud of an engine borrows how the head bends over the bore.

A coarse mesh is a little off, so its sealing lines are taken down by an allowance and are never kinder than those of
the engine's own mesh. The allowance was measured: `validation/quick_and_whole.py` says on what, and shows it again.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from headjoint.cases.condensed.reduced_joint import Equilibrium
from headjoint.cases.condensed.store import CondensedStore
from headjoint.cases.load_cases.solved import SolvedCell, cell_on_mesh
from headjoint.cases.models.condensed import BoreCell, LineState
from headjoint.cases.models.from_mesh import COARSE
from headjoint.cases.models.stages import Stages
from headjoint.meshes.solid.symmetry import copies
from headjoint.model.base.arrays import FloatArray
from headjoint.model.cell import Cell, typical_mesh

LOST_MORE = 0.1  # of what gas takes off pressure and line load
LESS_AT_REST = 0.02  # of pressure and line load without gas
UNEVEN = 0.2  # of mean less least along the line without gas: what is spread unevenly is found less well
OPENS_MORE = 0.2  # of how far the line opens
AND_BESIDES = 0.5e-3  # mm, where it opens at all


@dataclass(frozen=True)
class LoweredCell(BoreCell):
    """A cell whose sealing lines are taken down by the allowance. rest : the lines without gas, not taken down."""

    rest: tuple[LineState, ...] = field(repr=False)

    def lines(self, equilibrium: Equilibrium) -> tuple[LineState, ...]:
        """Return what every sealing line bears along its angle, less the allowance."""
        lines = super().lines(equilibrium)
        return tuple(taken_down(line, rest) for line, rest in zip(lines, self.rest, strict=True))


def lowered(model: BoreCell, rest: Equilibrium) -> LoweredCell:
    """Return a cell whose lines are taken down. rest : the state that is asked about, without its gas."""
    own = {one.name: getattr(model, one.name) for one in dataclasses.fields(BoreCell)}
    return LoweredCell(**own, rest=model.lines(rest))


def taken_down(line: LineState, rest: LineState) -> LineState:
    """Return a line less its allowance. rest : the same line without gas."""

    def less(bears: FloatArray, at_rest: FloatArray) -> FloatArray:
        lost = np.maximum(at_rest - bears, 0.0)
        unsure = LESS_AT_REST * at_rest + UNEVEN * (at_rest.mean() - at_rest.min())
        return np.maximum(bears - LOST_MORE * lost - unsure, 0.0)

    opened = np.maximum(rest.closure - line.closure, 0.0)
    return dataclasses.replace(
        line,
        pressure=less(line.pressure, rest.pressure),
        line_load=less(line.line_load, rest.line_load),
        closure=line.closure - OPENS_MORE * opened - np.where(opened > 0.0, AND_BESIDES, 0.0),
    )


def why_no_coarse_cell(cell: Cell) -> str:
    """Return why a cell has no coarse one that is solved in seconds, "" where it has."""
    if cell.mesh.file is not None:
        return "its own mesh has no coarser one"
    if cell.joint.by_heat:
        return "temperatures by heat conduction are found on the engine's own mesh alone"
    if len(copies(cell)) > 1:
        return "more than one tile of the engine takes as long as solving it, and its allowance was not measured"
    return ""


def solve_coarse_cell(
    cell: Cell, stage: Callable[[str], None] = lambda name: None, store: CondensedStore | None = None
) -> SolvedCell:
    """Mesh, condense and run a cell on a coarse mesh; `stage` is told the name of each stage as it begins.

    The mesh is twice as coarse as the typical one, whatever sizes the file states: the allowance is known for that.

    Raises SolveError and MeshError as `solve_cell` does.
    """
    cell = dataclasses.replace(cell, mesh=typical_mesh(cell.layout.bore))
    return cell_on_mesh(cell, COARSE, store, Stages(lambda name: stage(f"the engine on a coarse mesh: {name}")))
