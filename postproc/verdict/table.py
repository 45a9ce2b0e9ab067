"""The one list of requirements. A new one is a `Requirement` beside its like and a line here."""

from __future__ import annotations

from headjoint.model.base.errors import unknown_name
from headjoint.postproc.verdict.clamp import CLAMP_KEPT, CLAMP_KEPT_IN_SERVICE
from headjoint.postproc.verdict.fastener import FATIGUE, FATIGUE_IN_SERVICE, NECKING, REUSE, YIELD
from headjoint.postproc.verdict.parts import BEARING, CRUSH, MELTING, STRIPPING
from headjoint.postproc.verdict.requirement import Requirement
from headjoint.postproc.verdict.sealing import SEALING, SEALING_AT_REST, SEALING_RUNNING, SEPARATION

# by load cases at three tightenings; every command that has them judges by these
LOAD_CASES = (SEALING, SEPARATION, CLAMP_KEPT, YIELD, NECKING, FATIGUE, BEARING, STRIPPING, CRUSH)
# at every instant between assembly and cold again, where nothing is known of head-room and of cycles
WARM_UP = (SEALING, CLAMP_KEPT, YIELD, NECKING, BEARING, STRIPPING, CRUSH, MELTING)
SERVICE = (SEALING_RUNNING, SEALING_AT_REST, CLAMP_KEPT_IN_SERVICE, NECKING, REUSE, FATIGUE_IN_SERVICE)

REQUIREMENTS = {one.key: one for one in dict.fromkeys((*LOAD_CASES, *WARM_UP, *SERVICE))}


# what scatter counts, each with the requirement it belongs to, by its name
EVENTS = {event.name: (one, event) for one in REQUIREMENTS.values() for event in one.events}


def requirement(key: str) -> Requirement:
    """Return the requirement of a key; InputError with the nearest one for an unknown key."""
    if key not in REQUIREMENTS:
        raise unknown_name("requirement", key, REQUIREMENTS)
    return REQUIREMENTS[key]
