"""Requirements of sealing: pressure on the line, head-room on combustion, and what a service leaves of it."""

from __future__ import annotations

from collections.abc import Iterable

from headjoint.model.base.figure import Text, factor, force, plain_text, pressure, said, share
from headjoint.model.joint import Joint
from headjoint.postproc.verdict.requirement import (
    Candidate,
    Event,
    Judged,
    Requirement,
    Sealed,
    StateFigures,
    at_state,
    fixed,
)

RATIO_SOURCE = "sealing ratio and least pressure of [requirements]; the typical ones are common practice, no source"


def sealing_needed(joint: Joint, gas_pressure: float) -> float:
    """Return the contact pressure (MPa) that the sealing line must have at a gas pressure (MPa)."""
    return max(joint.requirements.sealing_ratio * gas_pressure, joint.requirements.sealing_minimum)


def _sealing(judged: Judged) -> Iterable[Candidate]:
    least = judged.levels["least"]
    for state in least.states:
        if state.sealing_needed > 0.0:
            yield Candidate(
                at_state(state, least),
                state.sealing_pressure / state.sealing_needed,
                said("{} against {} needed", pressure(state.sealing_pressure), pressure(state.sealing_needed)),
                plain_text(
                    "more preload, tighter scatter, a larger or stronger fastener, or a gasket that presses harder at "
                    "the sealing line (higher bead, lower body)"
                ),
            )


def _separation(judged: Judged) -> Iterable[Candidate]:
    least = judged.levels["least"]
    for state in least.states:
        if state.fired:
            yield Candidate(
                at_state(state, least),
                state.separation_factor,
                plain_text("factor on combustion pressure before the sealing line falls short"),
                _separation_remedy(judged, state),
            )


def _separation_remedy(judged: Judged, state: StateFigures) -> Text:
    joint, least, nominal = judged.joint, judged.levels["least"], judged.levels["nominal"]
    needed, found = joint.requirements.separation_factor, state.separation_factor
    if found is None or found >= needed or found <= 0.0:
        return plain_text("more preload or tighter scatter")
    # the sealing line gives way in proportion to gas force; the missing share must come from clamp
    missing = (needed / found - 1.0) * state.force * found / needed
    return said(
        "roughly {} more clamp per fastener, or tighter scatter (least preload is {} of nominal), a larger or stronger "
        "fastener, a gasket that seals at less pressure, or at most {} of this combustion pressure",
        force(missing, ".0f"),
        share(least.preload / nominal.preload, ".0f"),
        factor(found / needed),
    )


def _in_service(lines: Iterable[Sealed], remedy: str) -> Iterable[Candidate]:
    for one in lines:
        yield Candidate(
            plain_text(one.where),
            one.pressure / one.needed,
            said("{} at the sealing line, {} needed", pressure(one.pressure), pressure(one.needed)),
            plain_text(remedy),
        )


def _running(judged: Judged) -> Iterable[Candidate]:
    remedy = "more clamp, a retorque, a gasket that creeps less or seals at less pressure"
    return () if judged.service is None else _in_service(judged.service.running, remedy)


def _at_rest(judged: Judged) -> Iterable[Candidate]:
    remedy = "more clamp, a retorque, a gasket that creeps less"
    return () if judged.service is None else _in_service(judged.service.at_rest, remedy)


SEALING = Requirement(
    key="sealing",
    title="sealing-line pressure",
    end="least",
    needed=fixed(1.0),
    source=RATIO_SOURCE,
    candidates=_sealing,
    colour="#3b6ea5",
    axis="sealing-line pressure over need",
    events=(
        Event("sealing line presses less than required", "sealing-line pressure", "factor", fixed(1.0)),
        Event(
            "gas presses harder than the gasket",
            "seal over gas",
            "ratio",
            fixed(1.0),
            "sealing-line pressure over gas pressure",
        ),
        Event(
            "sealing line separates",
            "least sealing-line pressure",
            "MPa",
            fixed(0.0),
            "least sealing-line pressure, MPa",
        ),
    ),
)
SEPARATION = Requirement(
    key="separation",
    title="separation under combustion",
    end="least",
    needed=lambda joint: joint.requirements.separation_factor,
    source="separation_factor of [requirements]; the typical one is common practice, no source",
    candidates=_separation,
    colour="#a8323e",
    axis="combustion pressure that still seals over the stated one",
)
SEALING_RUNNING = Requirement(
    key="sealing_running",
    title="sealing while running",
    end=None,
    needed=fixed(1.0),
    source=RATIO_SOURCE,
    candidates=_running,
    colour="#3b6ea5",
    axis="sealing-line pressure over need",
)
SEALING_AT_REST = Requirement(
    key="sealing_at_rest",
    title="sealing at rest",
    end=None,
    needed=fixed(1.0),
    source=RATIO_SOURCE,
    candidates=_at_rest,
    colour="#6f96bf",
    axis="sealing-line pressure over need",
)
