"""What moves on the page: a tightening, step by step, and a warm-up, moment by moment."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, cast

from headjoint.cases.heat.conduction import HeatBody
from headjoint.cases.load_cases.load_history import History
from headjoint.cases.models.condensed import BoreCell
from headjoint.cases.warm_up.warm_up import March, WarmUp, nominal_warm_up
from headjoint.model.base.errors import InputError
from headjoint.model.joint import Joint
from headjoint.postproc.cell.in_plan import CellPlan
from headjoint.postproc.cell.tightening import tightening_panels
from headjoint.postproc.live.plan import told_panel
from headjoint.postproc.live.points import Point, warm_up_points
from headjoint.postproc.plan.picture import pressure_ticks
from headjoint.postproc.present.drawing import picture_bytes
from headjoint.postproc.present.moving import ACROSS
from headjoint.postproc.warm_up.pictures import section_frames


@dataclass(frozen=True)
class FoundWarmUp:
    """What the page keeps of a warm-up of one fastener. body : what heat went through. pictures : drawn so far."""

    warmed: WarmUp = field(repr=False)
    body: HeatBody = field(repr=False)
    pictures: dict[tuple[str, int], bytes] = field(default_factory=dict, repr=False)

    @property
    def points(self) -> list[Point]:
        """Operating points at which something is at its worst."""
        return warm_up_points(self.warmed)

    @property
    def titles(self) -> list[str]:
        """Times of its pictures, in words."""
        return [time for time, _ in section_frames(self.warmed, self.body)]

    def picture(self, number: int, units: str) -> bytes:
        """Return one of its pictures as PNG, drawn when it is first asked for; InputError for a number of none."""
        frames = section_frames(self.warmed, self.body, units)
        if not 0 <= number < len(frames):
            raise InputError(f"give 0 to {len(frames) - 1}", field="frame", value=number)
        if (units, number) not in self.pictures:
            self.pictures[units, number] = picture_bytes(frames[number][1], ACROSS)
        return self.pictures[units, number]


def found_warm_up(joint: Joint, stage: Callable[[str], None]) -> FoundWarmUp:
    """Return the warm-up of a joint by the heat model. Raises InputError and SolveError as a warm-up does."""
    warmed = nominal_warm_up(joint, stage, 1.0)
    body = dataclasses.replace(warmed.march.heated.body, basis=None)
    # the march holds functions, which no other process can be told, and pictures of one fastener do without it
    return FoundWarmUp(dataclasses.replace(warmed, march=cast(March, None), steps=()), body)


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
