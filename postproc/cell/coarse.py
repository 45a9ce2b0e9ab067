"""What a coarse cell says of the requirements: as it was found, and less the allowance for a coarse mesh."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

from headjoint.cases.condensed.reduced_joint import Equilibrium
from headjoint.cases.load_cases.coarse_cell import lowered
from headjoint.cases.load_cases.head_room import sealed_factor
from headjoint.cases.load_cases.load_history import History, without_gas
from headjoint.cases.load_cases.solved import SolvedCell
from headjoint.cases.models.condensed import BoreCell
from headjoint.postproc.cell.assessment import judged_level
from headjoint.postproc.cell.findings import CellStateFindings, found_state
from headjoint.postproc.cell.stuck_nuts import stud_bending
from headjoint.postproc.verdict.model_seen import cell_seen
from headjoint.postproc.verdict.requirement import CoarseFigure, Judged, StateFigures, Tightened
from headjoint.postproc.verdict.verdict import Verdict, judge

MORE_STRESS = 0.005  # of tension with bending
MORE_AMPLITUDE = 0.1  # of the amplitude of force and bending
MORE_FORCE = 0.002  # of the force of a fastener, and of the pressure under its nut or washer
MORE_CRUSH = 0.15  # of the greatest pressure on a zone, which a coarse mesh smooths


def coarse_figures(coarse: SolvedCell) -> tuple[CoarseFigure, ...]:
    """Return every requirement that a coarse cell judges; raises SolveError when a head-room cannot be solved."""
    found, allowed = _verdicts(coarse)
    of = {one.key: one for one in found.criteria}
    return tuple(CoarseFigure(of[one.key], one) for one in allowed.criteria)


def _verdicts(coarse: SolvedCell) -> tuple[Verdict, Verdict]:
    """Return the verdict on a coarse mesh, and the same less the allowance."""
    assert coarse.watched is not None  # temperatures by heat conduction have no coarse cell
    rows = coarse.watched.bending
    rests = {name: without_gas(history) for name, history in coarse.histories.items()}
    bent = {name: stud_bending(rows, history, rests[name]) for name, history in coarse.histories.items()}
    amplitudes = [one.amplitude for one in bent["nominal"]]
    found: dict[str, Tightened] = {}
    allowed: dict[str, Tightened] = {}
    for name, history in coarse.histories.items():
        bending, separated = [one.stress for one in bent[name]], name == "least"
        for levels, less in ((found, False), (allowed, True)):
            states = _states(history, rests[name], separated=separated, less=less)
            levels[name] = judged_level(name, history, states, bending, amplitudes, separated=separated)
        allowed[name] = with_allowance(allowed[name])
    cell = coarse.cell
    raw, taken_down = (judge(Judged(cell.joint, cell_seen(cell), levels)) for levels in (found, allowed))
    return raw, taken_down


def _states(
    history: History[BoreCell], rests: Sequence[Equilibrium | None], *, separated: bool, less: bool
) -> list[CellStateFindings]:
    """Return the findings of every state, its sealing lines taken down by the allowance where `less`."""
    found = []
    for state, rest in zip(history.states, rests, strict=True):
        model = lowered(history.model, rest or state.equilibrium) if less else history.model
        factor = sealed_factor(model, state, rest) if separated and rest is not None else None
        found.append(found_state(dataclasses.replace(history, model=model), state, rest, factor))
    return found


def with_allowance(level: Tightened) -> Tightened:
    """Return a tightening whose forces and stresses are off by the allowance to the side that it is judged at."""
    way = -1.0 if level.name == "least" else 1.0

    def off(state: StateFigures) -> StateFigures:
        amplitude = state.force_amplitude
        return dataclasses.replace(
            state,
            force=state.force * (1.0 + way * MORE_FORCE),
            tension=state.tension * (1.0 + MORE_STRESS),
            force_amplitude=None if amplitude is None else amplitude * (1.0 + MORE_AMPLITUDE),
            zones=tuple((name, found * (1.0 + MORE_CRUSH), limit) for name, found, limit in state.zones),
            bearings=tuple((name, found * (1.0 + MORE_FORCE), limit) for name, found, limit in state.bearings),
        )

    return dataclasses.replace(level, states=tuple(off(state) for state in level.states))
