"""Requirements of clamp: what is left of it once cold, after load cases or a warm-up and after a service."""

from __future__ import annotations

from collections.abc import Iterable

from headjoint.model.base.figure import force, plain_text, said
from headjoint.postproc.verdict.requirement import Candidate, Event, Judged, Requirement, at_state

SOURCE = "clamp_kept of [requirements]; the typical one is common practice, no source"


def _kept(judged: Judged) -> Iterable[Candidate]:
    nominal = judged.levels["nominal"]
    first = nominal.states[0].force
    for state in nominal.states:
        if state.kind == "cold":
            yield Candidate(
                at_state(state, nominal),
                state.force / first,
                said("{} of {} at assembly", force(state.force), force(first)),
                plain_text(
                    "a gasket that sets less, a longer or slimmer shank, fewer and finer faces, or tightening again "
                    "after the first heat"
                ),
            )


def _kept_in_service(judged: Judged) -> Iterable[Candidate]:
    for one in () if judged.service is None else judged.service.kept:
        yield Candidate(
            plain_text(one.where),
            one.cold / one.peak,
            said("{} cold, {} at the peak of tightening", force(one.cold), force(one.peak)),
            plain_text(
                "a retorque after the first heat, a gasket that creeps less, a longer or slimmer shank, less stress in "
                "the fastener, fewer and finer faces"
            ),
        )


CLAMP_KEPT = Requirement(
    key="clamp_kept",
    title="clamp kept after cooling",
    end="nominal",
    needed=lambda joint: joint.requirements.clamp_kept,
    source=SOURCE,
    candidates=_kept,
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
CLAMP_KEPT_IN_SERVICE = Requirement(
    key="clamp_kept_in_service",
    title="clamp kept",
    end=None,
    needed=lambda joint: joint.requirements.clamp_kept,
    source=SOURCE,
    candidates=_kept_in_service,
    colour="#2f8f83",
    axis="clamp when cold over clamp at the peak of tightening",
)
