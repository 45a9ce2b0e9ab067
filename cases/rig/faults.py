"""A fault of a log: a sentence, and which findings it spoils."""

from __future__ import annotations

from collections.abc import Iterable

YIELDED = ("torsion_kept", "hot_strength")
# friction, and all that is reckoned with it
FRICTION = (
    "nut_factor",
    "mean_friction",
    "thread_friction",
    "bearing_friction",
    "torque_at_load",
    "pitch",
    "setup_compliance",
    "proof_stress",
    *YIELDED,
)
APART = ("thread_friction", "bearing_friction")
STRETCH = (
    "stretch_compliance",
    "effective_length",
    "stretch_zero",
    "stretch_at_load",
    "setup_compliance",
    "yield_force",
    "proof_stress",
)
TURNING = ("setup_compliance", *APART)
STANDING = ("settled", "per_decade", "lost_in_a_day", "struck", "per_degree", "lost_by_heat")
ALL = (*dict.fromkeys((*FRICTION, *STRETCH)), "ultimate_force", "ultimate_strength", *STANDING)


class Fault(str):
    """What makes figures untrustworthy, one sentence. spoils : keys of the findings that it makes so."""

    spoils: frozenset[str]

    def __new__(cls, text: str, spoils: Iterable[str] = ALL) -> Fault:
        """Return the sentence with what it spoils."""
        made = super().__new__(cls, text)
        made.spoils = frozenset(spoils)
        return made


def spoilt_by(faults: Iterable[str], key: str) -> list[str]:
    """Return the faults that spoil a finding."""
    return [fault for fault in faults if not isinstance(fault, Fault) or key in fault.spoils]
