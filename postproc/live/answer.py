"""The answer of the live page: verdict, requirements, states, lines and pressures of an engine as it is moved now."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from headjoint.model.base.arrays import FloatArray
from headjoint.model.cell import Cell
from headjoint.model.joint import Joint
from headjoint.postproc.cell.in_plan import CellPlan, cell_plan
from headjoint.postproc.designs.cell_designs import CellBase, base_near, begun_cell, judged_cell
from headjoint.postproc.designs.evaluation import begun_joint, judged_joint
from headjoint.postproc.designs.outcome import JudgedDesign, OnMesh
from headjoint.postproc.live.plan import panel_of, told_panel
from headjoint.postproc.present.report import factor_text
from headjoint.postproc.present.scale import Scales
from headjoint.postproc.verdict.requirement import LEVELS
from headjoint.postproc.verdict.verdict import Verdict

STILL_TO_COME = "the rest is being judged: gas that just seals, openings, bending and mesh errors"
SHOWN = 4  # significant digits that curves are told with
MOST_PLACES = 300  # decimals, beyond which powers of ten are none


@dataclass
class Shape:
    """A condensed joint and its plan. plan : None of one fastener.

    last : the design that was judged last, and begun : the one that was begun last, from which others start.
    """

    base: Any = field(repr=False)
    plan: CellPlan | None = field(repr=False)
    last: JudgedDesign | None = field(default=None, repr=False)
    begun: JudgedDesign | None = field(default=None, repr=False)


def shape_of(base: Any) -> Shape:
    """Return a condensed joint with the plan of its gasket."""
    return Shape(base, cell_plan(base.model, base.corners) if isinstance(base, CellBase) else None)


def begin(shape: Shape, design: Joint | Cell) -> JudgedDesign:
    """Return a design solved at its three tightenings, of which only what surely fails is judged.

    Raises SolveError where one fastener has no equilibrium; of a cell the outcome says so.
    """
    if isinstance(design, Cell):
        found = begun_cell(shape.base, design, shape.begun)
    else:
        found = begun_joint(shape.base, design, shape.begun)
    shape.begun = found if found.histories else shape.begun
    return found


def moved(
    shape: Shape,
    design: Joint | Cell,
    begun: JudgedDesign | None,
    between: Callable[[], None],
    beside: Callable[[], OnMesh | None] | None,
) -> JudgedDesign:
    """Return a design judged at its least, nominal and greatest tightening.

    begun : the same as `begin` has it, where it was. between : called between stages, and may raise to end it. beside :
    gives the design on the coarser mesh where it is solved elsewhere meanwhile, None where it is not.

    Raises SolveError where one fastener has no equilibrium; of a cell the outcome says so.
    """
    if isinstance(design, Cell):
        found = judged_cell(shape.base, design, shape.last, begun, between, beside)
    else:
        found = judged_joint(shape.base, design, None, shape.last, begun, between, beside)
    if found.histories:
        shape.last = shape.begun = found
    return found


def come_near(shape: Shape, found: JudgedDesign) -> None:
    """Make ready for what is like a design that was judged."""
    if isinstance(shape.base, CellBase):
        shape.base = base_near(shape.base, found, lambda: None)


def told(found: JudgedDesign, units: str) -> dict[str, Any]:
    """Return all that the page shows but the gasket in plan, in the reader's units."""
    outcome = found.outcome
    if outcome.problem:
        return {"problem": outcome.problem}
    verdict, scales = outcome.verdict, Scales(units)
    return (_judged(verdict, units) if found.judged else _begun(verdict)) | {
        "model": verdict.model_line,
        "units": {"force": scales.force.unit, "pressure": scales.pressure.unit, "length": scales.length.unit},
        "states": [
            {"name": state.name, "kind": state.kind, "gas": state.gas_pressure > 0.0}
            for state in found.states["nominal"]
        ],
        "forces": {level: _forces(found, level, scales) for level in LEVELS},
        "lines": {level: _lines(found, level, scales) for level in LEVELS},
    }


def told_later(found: JudgedDesign, units: str) -> dict[str, Any]:
    """Return what the page shows of a judged design besides what is told of one that is begun, or its problem."""
    outcome = found.outcome
    return {"problem": outcome.problem} if outcome.problem else _judged(outcome.verdict, units)


def _begun(verdict: Verdict) -> dict[str, Any]:
    """Return what the page says until the verdict is there: what fails already, and never that anything holds."""
    failing = ", ".join(one.name for one in verdict.criteria)
    return {
        "judged": False,
        "word": "does not hold" if failing else "not judged yet",
        "sentence": (f"fails: {failing}; " if failing else "") + STILL_TO_COME,
    }


def _judged(verdict: Verdict, units: str) -> dict[str, Any]:
    return {
        "judged": True,
        "word": verdict.judgement,
        "sentence": verdict.sentence.written(units),
        "change": "" if verdict.change_first is None else verdict.change_first.written(units),
        "requirements": [
            {
                "key": one.key,
                "name": one.name,
                "holds": one.holds,
                "value": one.value,
                "found": factor_text(one),
                "needed": one.needed,
                "where": one.where.written(units),
                "detail": one.detail.written(units),
                "remedy": one.remedy.written(units) if one.holds is False else "",
            }
            for one in verdict.criteria
        ],
        "not_judged": [{"name": one.name, "why": one.why, "deciding": one.deciding} for one in verdict.not_judged],
    }


def _forces(found: JudgedDesign, level: str, scales: Scales) -> list[list[float]]:
    """Return the force of every fastener, state by state."""
    return [rounded(scales.force(state.force)) for state in found.histories[level].states]


def _lines(found: JudgedDesign, level: str, scales: Scales) -> list[list[dict[str, Any]]]:
    """Return what lies along the sealing lines, state by state; of one fastener over the radius."""
    pressure, length = scales.pressure, scales.length
    if isinstance(found.design, Joint):
        sealing = found.design.gasket.sealing_zone
        width = sealing.line_width
        return [
            [
                {
                    "at": rounded(length(state.profile.radius)),
                    "pressure": rounded(pressure(state.profile.pressure)),
                    "zone": list(state.profile.zone),
                    "sealing": sealing.name,
                    "need": pressure(state.need.over(width)),
                    "fired": True,
                }
            ]
            for state in found.states[level]
        ]
    width = found.design.sealing_zone.line_width
    return [
        [
            {
                "at": rounded(line.angle),
                "pressure": rounded(pressure(line.pressure)),
                "need": pressure(line.need.over(width)),
                "fired": line.fired,
            }
            for line in state.lines
        ]
        for state in found.states[level]
    ]


def panel(found: JudgedDesign, shape: Shape, level: str, state: int, units: str) -> dict[str, Any] | None:
    """Return the gasket in plan in one state; None of one fastener, or where there is no solution."""
    if shape.plan is None or not found.histories:
        return None
    return told_panel(shape.plan, panel_of(plan_of(shape, found), found, level, state, units), units)


def plan_of(shape: Shape, found: JudgedDesign) -> CellPlan:
    """Return the plan of a cell that has a shape, by the cell's own laws."""
    assert shape.plan is not None
    model = found.histories["nominal"].model
    pieces = tuple(
        dataclasses.replace(one, group=model.reduced.group(one.group.name)) for one in shape.plan.field.pieces
    )
    return dataclasses.replace(shape.plan, model=model, field=dataclasses.replace(shape.plan.field, pieces=pieces))


def state_shown(found: JudgedDesign, asked: int) -> int:
    """Return the number of the state to show: the one asked for, else the last one under gas, else the first."""
    states = found.states["nominal"]
    if 0 <= asked < len(states):
        return asked
    return max((number for number, one in enumerate(states) if one.gas_pressure > 0.0), default=0)


def rounded(values: FloatArray | Sequence[float], digits: int = SHOWN) -> list[float]:
    """Return values to so many significant digits, each the number nearest to them, so that it is sent short."""
    given = np.asarray(values, dtype=float)
    size = np.abs(np.where(given == 0.0, 1.0, given))
    places = np.minimum(digits - 1 - np.floor(np.log10(size)), MOST_PLACES)
    up, down = 10.0 ** np.maximum(places, 0.0), 10.0 ** np.maximum(-places, 0.0)
    found: list[float] = (np.rint(given * up / down) / up * down).tolist()
    return found
