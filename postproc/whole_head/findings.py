"""From a solved whole head to findings: states by the same routines as a cell, the verdict on the safe side."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from headjoint.cases.load_cases.load_history import History
from headjoint.cases.models.condensed import BoreCell
from headjoint.cases.whole_head.gas_trials import can_be_tried
from headjoint.cases.whole_head.solved import HeadState, SolvedHead
from headjoint.postproc.cell.assessment import judged_level
from headjoint.postproc.cell.findings import CellStateFindings, found_state
from headjoint.postproc.cell.stuck_nuts import StudBending
from headjoint.postproc.present.mesh_errors import doubted
from headjoint.postproc.verdict.model_seen import ModelSeen, cut_by_elements
from headjoint.postproc.verdict.requirement import LEVELS, Judged, NotJudged, Tightened
from headjoint.postproc.verdict.verdict import Verdict, judge
from headjoint.postproc.whole_head.studs import StudStress, bending_of_levels, stud_stresses

UNSEEN = "ports and valves, friction between gasket and faces"
AS_IF_IT_WENT_ON = "end walls (both ends of the row are planes of symmetry, as if it went on)"
HANGS_ON = "what hangs on the ends of head and block"
NO_TRIALS = (
    "with a slack stud, other gas than stated is tried only where nuts may lift off: [nut] or [washer] contact = "
    '"frictionless" lets them'
)
NO_END_WALLS = (
    "the row's ends are planes of symmetry here, and the studs at them bear half; `end_length` in [layout] says where "
    "head and block end, and has them modelled"
)


@dataclass(frozen=True)
class HeadFindings:
    """What headjoint says of a whole head; states by tightening, bores that fire one after the other.

    bending : of the studs, of every state. studs : what each of them bears. unbounded : why mesh errors are not known,
    "" where they are.
    """

    states: dict[str, tuple[CellStateFindings, ...]] = field(repr=False)
    bending: dict[str, tuple[StudBending, ...]] = field(repr=False)
    studs: tuple[StudStress, ...] = field(repr=False)
    verdict: Verdict
    unbounded: str


def assess_head(solved: SolvedHead) -> HeadFindings:
    """Return the findings of a solved whole head; what it cannot judge keeps the verdict from holding."""
    fine = head_on_one_mesh(solved)
    coarse = None if solved.coarse is None else head_on_one_mesh(solved.coarse).judged
    verdict = judge(doubted(fine.judged, solved.unbounded), coarse=coarse)
    if solved.row.tile.end is None:
        known = (*verdict.not_judged, NotJudged("ends", "ends of the row", NO_END_WALLS, deciding=True))
        verdict = replace(verdict, not_judged=known)
    studs = stud_stresses(solved, fine.states, fine.bending)
    return HeadFindings(fine.states, fine.bending, studs, verdict, solved.unbounded)


@dataclass(frozen=True)
class HeadOnMesh:
    """States, bending of the studs and what is judged, as one mesh has them."""

    states: dict[str, tuple[CellStateFindings, ...]]
    bending: dict[str, tuple[StudBending, ...]]
    judged: Judged


def head_on_one_mesh(solved: SolvedHead) -> HeadOnMesh:
    """Return the figures of a whole head as one mesh has them."""
    states: dict[str, tuple[CellStateFindings, ...]] = {}
    levels: dict[str, Tightened] = {}
    bending = bending_of_levels(solved)
    amplitudes = [one.amplitude for one in bending["nominal"]]
    for name in LEVELS:
        own = solved.levels[name]
        states[name] = tuple(head_state_findings(solved, name, one) for one in own)
        model: BoreCell = solved.row.model
        history = History(model, tuple(one.state for one in own), solved.steps, solved.found[name])
        stresses = [one.stress for one in bending[name]]
        level = judged_level(name, history, states[name], stresses, amplitudes, separated=False)
        judged = (replace(a, separation_judged=b.searched) for a, b in zip(level.states, own, strict=True))
        levels[name] = replace(level, states=tuple(judged))
    # its studs are all there: none is beyond
    return HeadOnMesh(states, bending, Judged(replace(solved.cell.joint, beyond=0.0), head_seen(solved), levels))


def head_seen(solved: SolvedHead) -> ModelSeen:
    """Return what a whole head in three dimensions shows."""
    has_ends = solved.row.tile.end is not None
    made_of = "one tile of both sides" if solved.row.unlike_sides else "one tile"
    made_of += " and an end" if has_ends else ""
    return ModelSeen(
        f"all {solved.row.numbers.bores} bores of the row in three dimensions (finite elements, put together from "
        f"{made_of}; every bore fires alone)",
        f"{HANGS_ON if has_ends else AS_IF_IT_WENT_ON}, {UNSEEN}",
        not_seen(solved),
        solid=True,
        cut=cut_by_elements(solved.cell),
    )


def not_seen(solved: SolvedHead) -> dict[str, str]:
    """Return which requirements cannot be judged, and why; those that need other gas, where that was not tried."""
    fired = any(one.fired is not None for one in solved.levels["least"])
    if not fired or can_be_tried(solved.row.model):
        return {}
    limits = solved.cell.sealing_zone.law.limits
    stroke = [] if limits is None or limits.stroke is None else ["stroke"]
    return dict.fromkeys(["separation", "fatigue", *stroke], NO_TRIALS)


def head_state_findings(solved: SolvedHead, level: str, one: HeadState) -> CellStateFindings:
    """Return the findings of a state, in which only its own bore fires; damage may lower what crushes a zone."""
    model = solved.row.model
    first = solved.levels[level][0].state
    history: History[BoreCell] = History(model.firing(one.fired), (first, one.state), (), solved.found[level])
    found = found_state(history, one.state, one.without, one.head_room)
    cell = model.cell
    crush = {zone.name: cell.row.crush_pressure(zone.name, zone.law) for zone in cell.zones}
    zones = tuple((zone, mean, greatest, crush[zone]) for zone, mean, greatest, _ in found.zones)
    return replace(found, name=one.name, zones=zones)
