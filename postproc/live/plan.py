"""The gasket in plan as the page draws it: the very panel that reports and pictures are drawn from."""

from __future__ import annotations

import base64
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from headjoint.postproc.cell.in_plan import CellPlan, cell_panel, plan_zones
from headjoint.postproc.designs.outcome import JudgedDesign
from headjoint.postproc.plan.panel import Panel
from headjoint.postproc.plan.picture import plan_picture, pressure_ticks
from headjoint.postproc.present.drawing import picture_bytes
from headjoint.postproc.present.scale import Scales


def drawn_plan(plan: CellPlan, units: str) -> dict[str, Any]:
    """Return what all states of a shape share, in the reader's units.

    places : (2, n) of the modelled cell, triangles : (t, 3), images : matrix and shift of every copy. low, high : of
    what is shown; across, up, bar : what its axes and the bar of its colours are called.
    """
    scales, window = Scales(units), plan.window
    length = scales.length
    return {
        "places": _packed(length(plan.field.places), "<f4"),
        "triangles": _packed(plan.field.triangles, "<u4"),
        "images": [[*one.matrix.ravel().tolist(), *length(one.shift).tolist()] for one in plan.whole.images],
        "low": length(window.low).tolist(),
        "high": length(window.high).tolist(),
        "across": length.axis(window.across),
        "up": length.axis(window.up),
        "bar": scales.pressure.axis("contact pressure"),
    }


def panel_of(plan: CellPlan, found: JudgedDesign, level: str, number: int, units: str) -> Panel:
    """Return the panel of one state."""
    state = found.histories[level].states[number]
    return cell_panel(plan, state, found.states[level][number].lines, f"{state.name}, {level} preload", units)


def told_panel(plan: CellPlan, panel: Panel, units: str) -> dict[str, Any]:
    """Return what one state has besides, in the reader's units.

    pressure : (n,) at the places of the modelled cell. short : (k, 3) its triangles that press less than needed.
    sealed : (s, 2, 2) ends of lines round what presses enough, of all copies. ticks : round pressures of the colours.
    """
    scales = Scales(units)
    length, copies, count = scales.length, len(plan.whole.images), plan.field.places.shape[1]
    return {
        "pressure": _packed(scales.pressure(panel.pressure[:count]), "<f4"),
        "short": _packed(panel.short[: len(panel.short) // copies], "<u4"),
        "sealed": _packed(length(panel.sealed), "<f4"),
        "ticks": list(pressure_ticks([panel], plan.window, units)),
        "bores": [
            {
                "x": length(one.x),
                "y": length(one.y),
                "radius": length(one.radius),
                "words": one.words,
                "weakest": [[length(x), length(y)] for x, y in one.weakest],
            }
            for one in panel.bores
        ],
        "studs": [
            {
                "x": length(one.x),
                "y": length(one.y),
                "radius": length(one.radius),
                "force": scales.force.number(one.force),
                "turned": one.turned,
            }
            for one in panel.studs
        ],
    }


def plan_png(plan: CellPlan, found: JudgedDesign, level: str, number: int, units: str) -> bytes:
    """Return the picture of one state, as a report has it."""
    panel, zones = panel_of(plan, found, level, number, units), plan_zones(plan.cell)
    return picture_bytes(partial(plan_picture, "Gasket contact pressure in plan", [panel], plan.window, zones, units))


def _packed(values: NDArray, kind: str) -> str:
    return base64.b64encode(np.ascontiguousarray(values, dtype=kind).tobytes()).decode("ascii")
