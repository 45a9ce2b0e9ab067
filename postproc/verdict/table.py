"""The one list of requirements. A new one is a `Requirement` beside its like and a line here."""

from __future__ import annotations

from headjoint.model.base.errors import unknown_name
from headjoint.postproc.verdict.between_studs import BENT_HEAD, BETWEEN_STUDS
from headjoint.postproc.verdict.clamp import CLAMP_KEPT
from headjoint.postproc.verdict.fastener import FATIGUE, FATIGUE_IN_SERVICE, NECKING, REUSE, YIELD
from headjoint.postproc.verdict.parts import BEARING, CRUSH, MELTING, STRIPPING
from headjoint.postproc.verdict.requirement import Requirement
from headjoint.postproc.verdict.row_ends import ROW_ENDS
from headjoint.postproc.verdict.sealing import LINE_LOAD, SEALING, SEPARATION, STROKE

# what every command and every model is judged by; what an answer has nothing to say of is left out or named
REQUIREMENTS = {
    one.key: one
    for one in (
        SEALING,
        LINE_LOAD,
        STROKE,
        SEPARATION,
        BETWEEN_STUDS,
        BENT_HEAD,
        CLAMP_KEPT,
        YIELD,
        ROW_ENDS,
        FATIGUE,
        BEARING,
        STRIPPING,
        CRUSH,
        MELTING,
        NECKING,
        REUSE,
        FATIGUE_IN_SERVICE,
    )
}
# what scatter counts, each with the requirement it belongs to, by its name
EVENTS = {event.name: (one, event) for one in REQUIREMENTS.values() for event in one.events}


def requirement(key: str) -> Requirement:
    """Return the requirement of a key; InputError with the nearest one for an unknown key."""
    if key not in REQUIREMENTS:
        raise unknown_name("requirement", key, REQUIREMENTS)
    return REQUIREMENTS[key]
