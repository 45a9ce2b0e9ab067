"""Requirements of the fastener: yield and fatigue, and after a service necking, use again and Miner's sum."""

from __future__ import annotations

import math
from collections.abc import Iterable

from headjoint.model.base.figure import Text, force, plain_text, pressure, said, share, temperature
from headjoint.model.base.figure import factor as number
from headjoint.model.formulas import strength
from headjoint.model.formulas.mesh_error import BENT_YIELD_SOLID, DIFFERENCE_SOLID
from headjoint.model.formulas.turning import torsion_of
from headjoint.postproc.verdict.requirement import Candidate, Event, Judged, Requirement, at_state, fixed

STRAIN_FACTOR = 2.0  # uniform elongation over plastic strain: common practice, no source
MOST_TOLD = 20.0  # factors beyond this are reported as "more than"


ON_PURPOSE = "it is tightened past yield on purpose; its strain is judged"


def _yield(judged: Judged) -> Iterable[Candidate]:
    joint, greatest = judged.joint, judged.levels["greatest"]
    if greatest.past_yield is not None:
        return  # its strain is judged
    peak = greatest.preload if greatest.peak is None else greatest.peak
    if peak <= 0.0:
        return  # it broke before anything was tight
    torsion = torsion_of(joint, greatest.preload)
    at_tightening = strength.tightening_utilisation(joint, peak, torsion.tightening)
    if at_tightening.factor is not None:
        assert at_tightening.strength is not None
        yield Candidate(
            said("while tightening to {} preload {}", greatest.name, force(greatest.preload))
            if peak == greatest.preload
            else said("at {} while tightening to {} preload {}", force(peak), greatest.name, force(greatest.preload)),
            at_tightening.factor,
            said(
                "{} tension{} against {}",
                pressure(at_tightening.stress, ".0f"),
                " and torsion" if torsion.tightening > 0.0 else "",
                pressure(at_tightening.strength, ".0f"),
            ),
            plain_text(
                f"less {'torque' if joint.tightening.torque is not None else 'preload'}, tighter scatter, a stronger "
                f"or thicker fastener{', less thread friction' if torsion.tightening > 0.0 else ''}"
            ),
        )
    for state in greatest.states[1:]:
        use = strength.service_utilisation(joint, state.tension, torsion.left, state.fastener_temperature)
        if use.factor is not None:
            assert use.strength is not None
            yield Candidate(
                at_state(state, greatest),
                use.factor,
                said(
                    "{} tension{}{}, against {} at {}",
                    pressure(use.stress, ".0f"),
                    " with bending" if state.bent else "",
                    " and the torsion left" if torsion.left > 0.0 else "",
                    pressure(use.strength, ".0f"),
                    temperature(state.fastener_temperature),
                ),
                plain_text(
                    "less preload, a stronger fastener, a longer or slimmer shank (less thermal load), a "
                    "fastener that expands more like the head"
                ),
            )


def _why_no_yield(judged: Judged) -> str:
    on_purpose = judged.levels["greatest"].past_yield is not None
    return ON_PURPOSE if on_purpose else "the fastener's yield strength is not stated"


def _fatigue(judged: Judged) -> Iterable[Candidate]:
    greatest = judged.levels["greatest"]
    for state in greatest.states:
        if not state.force_amplitude:
            continue
        low = state.force - 2.0 * state.force_amplitude
        result = strength.fatigue(judged.joint, state.force, low, state.fastener_temperature)
        yield Candidate(
            at_state(state, greatest),
            _told(result.factor) if result.factor is not None and result.amplitude > 0 else None,
            said("amplitude {} against an endurance limit of {}", pressure(result.amplitude), pressure(result.limit)),
            plain_text("a slimmer or longer shank, more preload, threads rolled after heat treatment"),
        )


def _necking(judged: Judged) -> Iterable[Candidate]:
    service = judged.service
    if service is not None and service.strain is not None:
        yield _short_of_necking(
            plain_text("whole service"), service.strain, service.uniform, "", "less angle, fewer reuses"
        )
    for level in judged.levels.values():
        if level.past_yield is not None:
            where = said("{} preload {}", level.name, force(level.preload))
            said_first = "tightened past yield on purpose: "
            yield _short_of_necking(where, level.past_yield.strain, level.past_yield.uniform, said_first, "less angle")


def _short_of_necking(where: Text, strain: float, uniform: float, before: str, remedy: str) -> Candidate:
    return Candidate(
        where,
        None if strain < uniform / MOST_TOLD else uniform / strain,
        said(before + "{} plastic strain in its weakest length, it necks at {}", share(strain), share(uniform)),
        plain_text(f"{remedy}, a longer free length of the same section"),
    )


def _reuse(judged: Judged) -> Iterable[Candidate]:
    service = judged.service
    for name, strain in () if service is None else service.reused:
        assert service is not None
        yield Candidate(
            plain_text(name),
            _told(service.permanent_limit / max(strain, 1e-12)),
            said("{} plastic strain before it, limit {}", share(strain), share(service.permanent_limit)),
            plain_text("a new fastener"),
        )


def _told(value: float) -> float | None:
    """Return a factor, None for one beyond what is told."""
    return None if value > MOST_TOLD else value


def _miner(judged: Judged) -> Iterable[Candidate]:
    service = judged.service
    if service is None or service.miner is None:
        return
    value = math.inf if service.miner == 0.0 else 1.0 / service.miner
    yield Candidate(
        plain_text(f"fastener {service.fastener}, whole service"),
        _told(value),
        said("Miner sum {}", number(service.miner, ".2g")),
        plain_text("a slimmer or longer shank, more clamp, threads rolled after heat treatment"),
    )


YIELD = Requirement(
    key="yield",
    title="fastener yield",
    end="greatest",
    needed=lambda joint: joint.requirements.yield_factor,
    source="yield_factor of [requirements]; stresses by VDI 2230-1 sec. 5.5.1 and 5.5.2",
    candidates=_yield,
    why_not=_why_no_yield,
    colour="#c46f17",
    axis="yield strength over stress of the fastener",
    events=(Event("fastener yields", "fastener yield", "factor", fixed(1.0)),),
    untold_solid=BENT_YIELD_SOLID,
)
FATIGUE = Requirement(
    key="fatigue",
    title="fastener fatigue",
    end="greatest",
    needed=lambda joint: joint.requirements.fatigue_factor,
    source="fatigue_factor of [requirements]; endurance limit by VDI 2230-1 sec. 5.5.3",
    candidates=_fatigue,
    why_not=lambda judged: "",
    colour="#6d4c7d",
    axis="endurance limit over stress amplitude",
    events=(Event("fastener breaks by fatigue", "fastener fatigue", "factor", fixed(1.0)),),
    untold_solid=DIFFERENCE_SOLID,
)
NECKING = Requirement(
    key="necking",
    title="fastener short of necking",
    end=None,
    needed=fixed(STRAIN_FACTOR),
    source="common practice, no source",
    candidates=_necking,
    colour="#c46a1b",
    axis="strain at which it necks over plastic strain",
    events=(
        Event("fastener breaks while it is tightened past yield", "fastener short of necking", "factor", fixed(1.0)),
    ),
)
REUSE = Requirement(
    key="reuse",
    title="fastener used again",
    end=None,
    needed=fixed(1.0),
    source="permanent_limit of [ageing]; the typical one is common practice, no source",
    candidates=_reuse,
    colour="#a65d16",
    axis="allowed plastic strain over that before use again",
)
FATIGUE_IN_SERVICE = Requirement(
    key="fatigue_in_service",
    title="fatigue over the service",
    end=None,
    needed=fixed(1.0),
    source="Miner's sum below 1 with lives by VDI 2230-1 sec. 5.5.3",
    candidates=_miner,
    colour="#6d4c7d",
    axis="one over Miner's sum",
)
