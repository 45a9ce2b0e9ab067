"""Requirements of sealing: pressure and line load on the sealing line, stroke of the bead, head-room on combustion."""

from __future__ import annotations

from collections.abc import Iterable

from headjoint.model.base.figure import Figure, Text, factor, force, plain_text, pressure, said, share, small_length
from headjoint.postproc.verdict.requirement import (
    Candidate,
    Event,
    Judged,
    Requirement,
    StateFigures,
    at_state,
    fixed,
)

RATIO_SOURCE = "sealing ratio and least pressure of [requirements]; the typical ones are common practice, no source"
MORE_SEAL = (
    "more preload, tighter scatter, a larger or stronger fastener, or a gasket that presses harder at the sealing line "
    "(higher bead, lower body), or less gas pressure"
)
LESS_STROKE = (
    "a stiffer head or deck between the studs, studs nearer to the bore, a softer body beside the bead, less gas "
    "pressure"
)


def _pressure(judged: Judged) -> Iterable[Candidate]:
    least = judged.levels["least"]
    for state in least.states:
        if state.need.pressure > 0.0:
            yield Candidate(
                at_state(state, least),
                state.seal.pressure / state.need.pressure,
                said("{} against {} needed", pressure(state.seal.pressure), pressure(state.need.pressure)),
                plain_text(MORE_SEAL),
            )


def _line_load(judged: Judged) -> Iterable[Candidate]:
    least = judged.levels["least"]
    for state in least.states:
        if state.need.line_load > 0.0:
            yield Candidate(
                at_state(state, least),
                state.seal.line_load / state.need.line_load,
                said(
                    "{} along the bead against {} needed",
                    Figure(state.seal.line_load, "N/mm", ".0f"),
                    Figure(state.need.line_load, "N/mm", ".0f"),
                ),
                plain_text(MORE_SEAL),
            )


def _stroke(judged: Judged) -> Iterable[Candidate]:
    least, limits = judged.levels["least"], judged.joint.gasket.sealing_zone.law.limits
    if limits is None or limits.stroke is None:
        return
    for state in least.states:
        if state.stroke is not None:
            yield Candidate(
                at_state(state, least),
                limits.stroke / max(state.stroke, 1e-6),
                said(
                    "opens by {} between gas and none, limit {}",
                    small_length(state.stroke, ".1f"),
                    small_length(limits.stroke, ".1f"),
                ),
                plain_text(LESS_STROKE),
            )


def _why_no_line_load(judged: Judged) -> str:
    return "" if judged.joint.gasket.sealing_zone.law.limits is not None else "the gasket's law states no line load"


def _why_no_stroke(judged: Judged) -> str:
    if not any(state.fired for state in judged.levels["least"].states):
        return ""
    limits = judged.joint.gasket.sealing_zone.law.limits
    stated = limits is not None and limits.stroke is not None
    by_mesh = "closed formulas press the bead alike all round and do not say how far it opens; `headjoint solve` does"
    return by_mesh if stated else "the gasket's law states no stroke"


def _separation(judged: Judged) -> Iterable[Candidate]:
    least = judged.levels["least"]
    for state in least.states:
        standing = state.sealing_without_gas
        if state.fired and state.separation_judged:
            yield Candidate(
                at_state(state, least),
                state.separation_factor,
                plain_text("factor on combustion pressure before the sealing line falls short"),
                _separation_remedy(judged, state),
                relieved=None if standing is None else (state.seal.pressure, standing),
            )


def _why_no_separation(judged: Judged) -> str:
    fired = any(state.fired for state in judged.levels["least"].states)
    return (
        "its factor on combustion is not searched for here; sealing at the stated pressure is judged" if fired else ""
    )


def _separation_remedy(judged: Judged, state: StateFigures) -> Text:
    joint, least, nominal = judged.joint, judged.levels["least"], judged.levels["nominal"]
    needed, found = joint.requirements.separation_factor, state.separation_factor
    if found is None or found >= needed or found <= 0.0:
        return plain_text("more preload or tighter scatter")
    # gas takes its share of clamp in proportion to its force, so clamp must grow as the factor on combustion shall
    missing = (needed / found - 1.0) * state.force
    return said(
        "roughly {} more clamp per fastener, or tighter scatter (least preload is {} of nominal), a larger or stronger "
        "fastener, a gasket that seals at less pressure, or at most {} of this combustion pressure",
        force(missing, ".0f"),
        share(least.preload / nominal.preload, ".0f"),
        factor(found / needed),
    )


SEALING = Requirement(
    key="sealing",
    title="sealing-line pressure",
    end="least",
    needed=fixed(1.0),
    source=RATIO_SOURCE,
    candidates=_pressure,
    deciding=True,
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
LINE_LOAD = Requirement(
    key="line_load",
    title="line load along the bead",
    end="least",
    needed=fixed(1.0),
    source="line loads of the gasket's law; those of shipped laws are common practice, no source",
    candidates=_line_load,
    why_not=_why_no_line_load,
    deciding=True,
    colour="#5b8bc0",
    axis="line load along the bead over need",
    events=(Event("bead presses less than it needs", "line load along the bead", "factor", fixed(1.0)),),
)
STROKE = Requirement(
    key="stroke",
    title="stroke of the bead under gas",
    end="least",
    needed=fixed(1.0),
    source="stroke of the gasket's law; those of shipped laws are common practice, no source",
    candidates=_stroke,
    why_not=_why_no_stroke,
    deciding=True,
    colour="#264a73",
    axis="stroke that the bead stands over its stroke",
    events=(Event("bead moves more than it stands", "stroke of the bead under gas", "factor", fixed(1.0)),),
)
SEPARATION = Requirement(
    key="separation",
    title="separation under combustion",
    end="least",
    needed=lambda joint: joint.requirements.separation_factor,
    source="separation_factor of [requirements]; the typical one is common practice, no source",
    candidates=_separation,
    why_not=_why_no_separation,
    deciding=True,
    colour="#a8323e",
    axis="combustion pressure that still seals over the stated one",
)
