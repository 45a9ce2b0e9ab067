"""Requirements of the other parts: faces under nut and washer, threads in the block, gasket crush, melting."""

from __future__ import annotations

from collections.abc import Iterable

from headjoint.model.base.figure import force, plain_text, pressure, said, temperature
from headjoint.model.formulas.mesh_error import PEAK, PEAK_SOLID
from headjoint.model.formulas.stripping import nut_stripping, stripping
from headjoint.postproc.verdict.requirement import Candidate, Event, Judged, Requirement, at_state, fixed


def _bearing(judged: Judged) -> Iterable[Candidate]:
    greatest = judged.levels["greatest"]
    for state in greatest.states:
        for face, found, limit in state.bearings:
            if limit is not None and found > 0.0:
                yield Candidate(
                    said("{}, {}", face, at_state(state, greatest)),
                    limit / found,
                    said("{} mean on {}, limit {} there", pressure(found, ".0f"), face, pressure(limit, ".0f")),
                    plain_text("a larger or harder washer, a flange nut, or less preload"),
                )


def _stripping(judged: Judged) -> Iterable[Candidate]:
    joint, greatest = judged.joint, judged.levels["greatest"]
    for state in greatest.states:
        for result in (stripping(joint, state.block_temperature), nut_stripping(joint, state.fastener_temperature)):
            if result is not None:
                yield Candidate(
                    at_state(state, greatest),
                    result.force / max(state.force, 1e-9),
                    said("{} strips at {}", result.weaker, force(result.force, ".0f")),
                    plain_text("more engagement, a thread insert, a higher nut, or a stronger block or nut material"),
                )


def _crush(judged: Judged) -> Iterable[Candidate]:
    greatest = judged.levels["greatest"]
    for state in greatest.states:
        for zone, found, limit in state.zones:
            if limit is not None and found > 0.0:
                yield Candidate(
                    said("{}, {}", zone, at_state(state, greatest)),
                    limit / found,
                    said("{} on {}, limit {}", pressure(found, ".0f"), zone, pressure(limit, ".0f")),
                    plain_text("a wider zone, less preload, or less step between the zones"),
                )


def _melting(judged: Judged) -> Iterable[Candidate]:
    for one in judged.heat:
        yield Candidate(
            said("{}, {}", one.part, one.when),
            one.solidus / one.reached,
            said(
                "{} in the {} against {}, where {} begins to melt",
                temperature(one.reached),
                one.part,
                temperature(one.solidus),
                one.material,
            ),
            plain_text("less gas film or gas temperature, more coolant film, or a second look at the heat data"),
        )


BEARING = Requirement(
    key="bearing",
    title="bearing pressure",
    end="greatest",
    needed=lambda joint: joint.requirements.bearing_factor,
    source="bearing_factor of [requirements]; limits by material, VDI 2230-1 table A9, at the temperature of the head",
    candidates=_bearing,
    why_not=lambda judged: "the materials under nut and washer have no stated limit",
    colour="#8a6d3b",
    axis="limit over pressure under nut or washer",
    events=(Event("head or washer yields under the nut", "bearing pressure", "factor", fixed(1.0)),),
)
STRIPPING = Requirement(
    key="stripping",
    title="thread stripping",
    end="greatest",
    needed=lambda joint: joint.requirements.stripping_factor,
    source="stripping_factor of [requirements]; force by VDI 2230-1 sec. 5.5.5",
    candidates=_stripping,
    why_not=lambda judged: "the strengths of block and fastener are not stated",
    colour="#5f7f3a",
    axis="stripping force over fastener force",
    events=(Event("thread strips in block or nut", "thread stripping", "factor", fixed(1.0)),),
)
CRUSH = Requirement(
    key="crush",
    title="gasket crush",
    end="greatest",
    needed=fixed(1.0),
    source="crush pressure of the gasket law",
    candidates=_crush,
    why_not=lambda judged: "no gasket law states a crush pressure",
    colour="#7a7f87",
    axis="crush limit over pressure on the gasket",
    events=(Event("gasket is crushed", "gasket crush", "factor", fixed(1.0)),),
    untold=PEAK,
    untold_solid=PEAK_SOLID,
)
MELTING = Requirement(
    key="melting",
    title="melting",
    end=None,
    needed=fixed(1.0),
    source="solidus of the material",
    candidates=_melting,
    colour="#7d1f2a",
    axis="solidus over hottest temperature, both in degC",
)
