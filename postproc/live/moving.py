"""What moves on the page: a tightening, step by step, and a warm-up, moment by moment."""

from __future__ import annotations

import base64
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from headjoint.cases.load_cases.load_history import History
from headjoint.cases.models.condensed import BoreCell
from headjoint.cases.warm_up.warm_up import nominal_warm_up
from headjoint.model.joint import Joint
from headjoint.postproc.cell.in_plan import CellPlan
from headjoint.postproc.cell.tightening import tightening_panels
from headjoint.postproc.live.plan import told_panel
from headjoint.postproc.live.points import Point, warm_up_points
from headjoint.postproc.plan.picture import pressure_ticks
from headjoint.postproc.present.moving import still_pictures
from headjoint.postproc.warm_up.pictures import moving_frames


@dataclass(frozen=True)
class FoundWarmUp:
    """What the page keeps of a warm-up: operating points, and its pictures, each a time in words and a PNG."""

    points: list[Point]
    pictures: list[tuple[str, bytes]] = field(repr=False)


def found_warm_up(joint: Joint, units: str, stage: Callable[[str], None]) -> FoundWarmUp:
    """Return the warm-up of a joint by the heat model. Raises InputError and SolveError as a warm-up does."""
    warmed = nominal_warm_up(joint, stage, 1.0)
    stage("pictures")
    times, frames = zip(*moving_frames(warmed, units), strict=True)
    return FoundWarmUp(warm_up_points(warmed), list(zip(times, still_pictures(frames), strict=True)))


def told_warm_up(found: FoundWarmUp) -> list[dict[str, str]]:
    """Return the pictures of a warm-up, each with its `title` and as a `picture` that a page shows."""
    return [
        {"title": time, "picture": "data:image/png;base64," + base64.b64encode(png).decode("ascii")}
        for time, png in found.pictures
    ]


def told_tightening(
    plan: CellPlan, history: History[BoreCell], units: str, between: Callable[[], None] = lambda: None
) -> list[dict[str, Any]]:
    """Return the gasket in plan after every step of a tightening, as one state is told, and its `title`.

    All have one scale of colours. between : called between steps, and may raise to end it.
    """
    panels = []
    for panel in tightening_panels(plan, history, units):
        panels.append(panel)
        between()
    ticks = list(pressure_ticks(panels, plan.window, units))
    return [told_panel(plan, one, units) | {"title": one.title, "ticks": ticks} for one in panels]
