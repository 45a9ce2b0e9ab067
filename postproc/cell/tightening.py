"""The tightening of a cell, nut after nut, as a picture in plan that moves."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from headjoint.cases.load_cases.load_history import History, State, TighteningStep, pulled_in_steps
from headjoint.cases.load_cases.solved import SolvedCell
from headjoint.cases.models.condensed import BoreCell
from headjoint.postproc.cell.findings import line_findings
from headjoint.postproc.cell.in_plan import CellPlan, cell_panel, cell_plan, plan_zones
from headjoint.postproc.plan.panel import Panel
from headjoint.postproc.plan.picture import plan_picture, pressure_ticks
from headjoint.postproc.present.moving import save_moving
from headjoint.postproc.present.report import Sheet
from headjoint.postproc.present.scale import Scales
from headjoint.postproc.present.units import figure_text, unit_in

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SHARES = np.linspace(0.1, 1.0, 10)  # of the preload, where all studs are tightened at once


def tightening_states(history: History[BoreCell]) -> Iterator[tuple[str, State, int | None]]:
    """Yield title, state and turned stud of every step of a tightening; in shares where all are turned at once."""
    for one in history.steps:
        yield f"pass {one.nth_pass}: stud {one.fastener + 1} is turned", one.state, one.fastener
    if not history.steps:
        states = pulled_in_steps(history.model, history.states[0].force, SHARES)
        for share, state in zip(SHARES, states, strict=True):
            yield f"all studs at {100.0 * share:.0f} % of the preload", state, None


def tightening_panels(plan: CellPlan, history: History[BoreCell], units: str) -> Iterator[Panel]:
    """Yield the gasket in plan after every step of a tightening."""
    for title, state, turned in tightening_states(history):
        lines = [line_findings(plan.cell, line, 0.0) for line in history.model.lines(state.equilibrium)]
        yield cell_panel(plan, state, lines, title, units, turned)


def tightening_sheets(steps: Sequence[TighteningStep], units: str) -> list[Sheet]:
    """Return the table of forces after every nut, none where all are tightened at once."""
    if not steps:
        return []
    unit, factor = unit_in("kN", units)
    lines = tuple(
        (
            f"{'again' if step.nth_pass is None else f'pass {step.nth_pass}'}, stud {step.fastener + 1}",
            *(figure_text(float(force) / 1e3, factor) for force in step.force),
        )
        for step in steps
    )
    headings = ("turned", *(f"stud {number + 1}" for number in range(len(steps[0].force))))
    return [Sheet(f"Tightening nut after nut, forces afterwards ({unit})", headings, lines)]


def tightening_frames(solved: SolvedCell, units: str = "si") -> Sequence[Callable[[], Figure]]:
    """Return what draws the gasket's pressure in plan at every step of the nominal tightening, on one scale."""
    history, cell = solved.nominal, solved.cell
    plan = cell_plan(history.model, solved.assembled.mesh.points[:2, solved.assembled.points.gasket_faces])
    panels = list(tightening_panels(plan, history, units))
    ticks = pressure_ticks(panels, plan.window, units)
    title = f"Tightening to {Scales(units).force.text(history.preload)}: {cell.joint.name}"
    return [partial(plan_picture, title, [panel], plan.window, plan_zones(cell), units, ticks) for panel in panels]


def draw_tightening(solved: SolvedCell, folder: Path, units: str = "si") -> list[Path]:
    """Draw the tightening as tightening.gif into a folder and return its path."""
    return [save_moving(tightening_frames(solved, units), folder / "tightening.gif")]
