"""The tightening of a cell, nut after nut, as a picture in plan that moves."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from headjoint.cases.condensed.reduced_joint import grown_set, solve
from headjoint.cases.load_cases.load_history import History, State, demand_of
from headjoint.cases.load_cases.solved import SolvedCell
from headjoint.cases.models.condensed import BoreCell
from headjoint.postproc.cell.findings import line_findings
from headjoint.postproc.cell.in_plan import cell_panel, cell_plan, plan_zones
from headjoint.postproc.plan.picture import plan_picture, pressure_ticks
from headjoint.postproc.present.moving import save_moving
from headjoint.postproc.present.scale import Scales

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SHARES = np.linspace(0.1, 1.0, 10)  # of the preload, where all studs are tightened at once


def tightening_states(history: History[BoreCell]) -> list[tuple[str, State, int | None]]:
    """Return title, state and turned stud of every step of a tightening; in shares where all are turned at once."""
    if history.steps:
        return [
            (f"pass {one.number + 1}: stud {one.fastener + 1} is turned", one.state, one.fastener)
            for one in history.steps
        ]
    found: list[tuple[str, State, int | None]] = []
    model, assembled = history.model, history.states[0]
    case, reduced = assembled.case, model.reduced
    permanent_set, start = np.zeros(reduced.points), None
    for share in SHARES:
        demand = demand_of(model, case, force=share * assembled.force)
        equilibrium = solve(reduced, demand, permanent_set, start)
        grown = grown_set(reduced, equilibrium, permanent_set, demand.gasket_temperature)
        state = State(case.name, case.kind, case, equilibrium, grown, permanent_set, assembled.balance)
        found.append((f"all studs at {100.0 * share:.0f} % of the preload", state, None))
        permanent_set, start = grown, equilibrium.q
    return found


def tightening_frames(solved: SolvedCell, units: str = "si") -> Sequence[Callable[[], Figure]]:
    """Return what draws the gasket's pressure in plan at every step of the nominal tightening, on one scale."""
    history, cell = solved.nominal, solved.cell
    plan = cell_plan(history.model, solved.assembled.mesh.points[:2, solved.assembled.points.gasket_faces])
    panels = []
    for title, state, turned in tightening_states(history):
        lines = [line_findings(cell, line, 0.0) for line in history.model.lines(state.equilibrium)]
        panels.append(cell_panel(plan, state, lines, title, units, turned))
    ticks = pressure_ticks(panels, plan.window, units)
    title = f"Tightening to {Scales(units).force.text(history.preload)}: {cell.joint.name}"
    return [partial(plan_picture, title, [panel], plan.window, plan_zones(cell), units, ticks) for panel in panels]


def draw_tightening(solved: SolvedCell, folder: Path, units: str = "si") -> list[Path]:
    """Draw the tightening as tightening.gif into a folder and return its path."""
    return [save_moving(tightening_frames(solved, units), folder / "tightening.gif")]
