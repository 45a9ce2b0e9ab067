"""Requirement of clamp: what is left of it once cold, of what there was at assembly."""

from __future__ import annotations

from collections.abc import Iterable

from headjoint.model.base.figure import force, plain_text, said
from headjoint.postproc.verdict.requirement import Candidate, Event, Judged, Requirement, at_state, share_left


def _kept(judged: Judged) -> Iterable[Candidate]:
    least = judged.levels["least"]
    for state in least.states:
        if state.kind == "cold" and state.assembled > 0.0:
            yield Candidate(
                at_state(state, least),
                state.force / state.assembled,
                said("{} of {} at assembly", force(state.force), force(state.assembled)),
                plain_text(
                    "a gasket that sets less, a longer or slimmer shank, fewer and finer faces, or tightening again "
                    "after the first heat"
                ),
            )


CLAMP_KEPT = Requirement(
    key="clamp_kept",
    title="clamp kept after cooling",
    end="least",
    needed=lambda joint: joint.requirements.clamp_kept,
    source="clamp_kept of [requirements]; the typical one is common practice, no source",
    candidates=_kept,
    why_not=lambda judged: "no state is cold again",
    in_hand=share_left,
    colour="#2f8f83",
    axis="clamp after cooling over clamp at assembly",
    events=(
        Event(
            "too little clamp after cooling",
            "clamp kept after cooling",
            "of assembly",
            lambda joint: joint.requirements.clamp_kept,
        ),
    ),
)
