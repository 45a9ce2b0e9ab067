"""Drawn bore cells of one stiffness side by side, each at its own preload: what scatter counts."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

from headjoint.cases.load_cases.load_history import History
from headjoint.cases.models.condensed import chain_of
from headjoint.cases.models.from_mesh import why_failed
from headjoint.cases.service.tightened import tightened
from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import BrokenFastenerError, JointError
from headjoint.model.cell import Cell
from headjoint.model.formulas.tightened import Tightened
from headjoint.postproc.cell.assessment import judged_level
from headjoint.postproc.cell.findings import found_state
from headjoint.postproc.designs.cell_designs import CellBase, bending_of, histories_of, like_base, unsolved
from headjoint.postproc.designs.cell_trials import without_gas
from headjoint.postproc.designs.outcome import Outcome, broken_outcome, drawn_outcome
from headjoint.postproc.verdict.fastener import NECKING, YIELD
from headjoint.postproc.verdict.model_seen import cell_seen
from headjoint.postproc.verdict.parts import BEARING, STRIPPING
from headjoint.postproc.verdict.requirement import Tightened as Judged


def judge_drawn_cells(base: CellBase, cells: Sequence[Cell]) -> list[Outcome]:
    """Return the figures of drawn cells, each at its own preload; fatigue is left out."""
    fine = _drawn_levels(base, cells)
    coarse = [None] * len(cells) if base.coarse is None else _drawn_levels(base.coarse, cells)
    stressed = [one.title for one in (YIELD, NECKING, BEARING, STRIPPING)]
    found = []
    for cell, one, other in zip(cells, fine, coarse, strict=True):
        if isinstance(one, Outcome):
            found.append(one)
            continue
        unbounded = base.unbounded
        if isinstance(other, Outcome):
            unbounded = why_failed(other.problem or "its fastener breaks")
        both = zip(one, (None, None) if other is None or isinstance(other, Outcome) else other, strict=True)
        low, high = (drawn_outcome(cell.joint, cell_seen(cell), *levels, unbounded).figures for levels in both)
        figures = low | {name: high[name] for name in stressed if name in high}
        found.append(Outcome(figures=figures, unbounded=unbounded))
    return found


def _drawn_levels(base: CellBase, cells: Sequence[Cell]) -> list[tuple[Judged, Judged] | Outcome]:
    """Return of every drawn cell what is judged on the mesh of a base; an outcome where it broke or has no solution.

    First by the fastener that is worst for sealing and clamp, then by the one that is worst for stress.
    """
    found: list[tuple[Judged, Judged] | Outcome] = []
    histories = histories_of(base, [(cell, _drawn(base, cell)) for cell in cells])
    without = without_gas(base.by, [history for history in histories if isinstance(history, History)])
    for history in histories:
        if isinstance(history, BrokenFastenerError):
            found.append(broken_outcome(history.used))
            continue
        if isinstance(history, JointError):
            found.append(Outcome(problem=str(history)))
            continue
        if lost := unsolved([history], without):
            found.append(Outcome(problem=lost))
            continue
        states = [found_state(history, state, without.get(id(state))) for state in history.states]
        bending = [one.stress for one in bending_of(base, history, {})]
        unknown: list[FloatArray | None] = [None] * len(states)
        kept = judged_level("least", history, states, bending, unknown, separated=False)
        most = judged_level("greatest", history, states, bending, unknown, separated=False)
        found.append((kept, most))
    return found


def _drawn(base: CellBase, cell: Cell) -> Tightened:
    """Return what a drawn cell's tightening gives: what the cell's own gave, times what the draw does to its chain."""
    if cell.joint.tightening.preload is not None:
        return tightened(like_base(base.model, cell))
    chain = tightened(chain_of(cell.joint), base.chain.past_yield)
    found = base.found.at(chain.preload / base.chain.preload)
    return dataclasses.replace(found, strain=chain.strain, strength=chain.strength)
