"""Yield of the studs at the ends of a row of bores, which bend most: of a model that has not the ends, by its limit."""

from __future__ import annotations

from collections.abc import Iterable

from headjoint.model.base.figure import plain_text, pressure, said
from headjoint.model.formulas import strength
from headjoint.model.formulas.mesh_error import BENT_YIELD_SOLID
from headjoint.model.formulas.stud_bending import beam_bending, growth_across
from headjoint.model.formulas.turning import torsion_of
from headjoint.model.joint import Joint
from headjoint.postproc.verdict.fastener import YIELD
from headjoint.postproc.verdict.requirement import Candidate, Judged, Requirement, StateFigures, at_state

NO_ROW = (
    "the head's growth over the block bends them most, and how far they are from the middle is not stated: `in_row` in "
    "[layout] is the number of bores; `headjoint head` judges it"
)
PAST_YIELD = (
    "it is tightened past yield on purpose, and what the head's growth over the block strains them more is not followed"
)


def _row_ends(judged: Judged) -> Iterable[Candidate]:
    """Yield what the end studs bear at most: as the model's worst stud, and bent by all growth beyond that as well."""
    joint, greatest = judged.joint, judged.levels["greatest"]
    if not joint.beyond or greatest.past_yield is not None or greatest.preload <= 0.0:
        return
    torsion = torsion_of(joint, greatest.preload).left
    coarse = [1.0 / one.allowed.value for one in judged.coarse if one.found.key == YIELD.key and one.allowed.value]
    grown = [_growth(joint, state) for state in greatest.states]
    for number, state in enumerate(greatest.states[1:], start=1):
        # a nut that slid in the heat is bent the other way in the cold: growth since any state before counts
        bending = _bending_beyond(judged, state, max(abs(grown[number] - one) for one in grown[:number]))
        use = strength.service_utilisation(joint, state.tension + bending, torsion, state.fastener_temperature)
        if use.factor is None:
            continue
        assert use.strength is not None
        # a coarse mesh beside one stud knows how its head bends
        value = min([use.factor, *(1.0 / (one + bending / use.strength) for one in coarse)])
        yield Candidate(
            at_state(state, greatest),
            value,
            said(
                "{} at most, {} of it by beam theory with rigid ends",
                pressure(use.strength / value, ".0f"),
                pressure(bending),
            ),
            plain_text(
                "less preload, a stronger fastener, a longer or slimmer shank; `headjoint head` finds what is true"
            ),
        )


def _growth(joint: Joint, state: StateFigures) -> float:
    return growth_across(joint, {"head": state.head_temperature, "block": state.block_temperature})


def _bending_beyond(judged: Judged, state: StateFigures, growth: float) -> float:
    """Return the bending stress (MPa) of an end stud by growth (mm/mm) that the model's worst stud has not in it."""
    joint = judged.joint
    assert joint.beyond is not None
    seen = state.bent or bool(judged.coarse)
    across = joint.beyond if seen or joint.from_middle is None else joint.from_middle
    return beam_bending(joint, growth * across, state.force).stress


def _why_not(judged: Judged) -> str:
    joint = judged.joint
    if strength.service_utilisation(joint, 1.0, 0.0, joint.assembly_temperature).factor is None or joint.beyond == 0.0:
        return ""
    if judged.levels["greatest"].past_yield is not None:
        return PAST_YIELD
    return NO_ROW if joint.beyond is None else ""  # nothing grows where no state comes after the assembly


ROW_ENDS = Requirement(
    key="row_ends",
    title="yield of the studs at the ends of the row",
    end="greatest",
    needed=YIELD.needed,
    source="yield_factor of [requirements]; beam theory, M = 6 E I d/L^2, rigid ends, free growth: an upper limit",
    candidates=_row_ends,
    why_not=_why_not,
    deciding=True,
    unknown_decides=True,
    colour="#e6b277",
    axis="yield strength over the most that an end stud bears",
    at_most="beam theory with rigid ends assures no more than {} against {} needed; `headjoint head` judges it",
    untold_solid=BENT_YIELD_SOLID,
)
