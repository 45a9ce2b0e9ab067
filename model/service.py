"""A joint's service as an ordered list of steps, and what ages it between them; plain numbers in internal units."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from headjoint.model.load_case import LoadCase


@dataclass(frozen=True)
class Tighten:
    """Tighten a loose joint: stages of torque, or a snug force, then of angle; or one of the other ways.

    torques : N.mm, one after the other. snug : N turned to in their place. angles : rad, turned after them. gradient :
    share of the steepest torque-angle slope at which turning stops (yield control), None without. stretch : mm that the
    fastener is to be longer. pull : N of a hydraulic tensioner that is let go. preload : N reached by whatever means.
    Frictions while turning. again : the same fastener, let go first. twisted : whether a stated preload counts as
    turned, the worse way to reach it. forces : N that each fastener is left with as the tool comes off, known already:
    then nothing else decides but the pull of a tensioner on the way.
    """

    name: str
    torques: tuple[float, ...]
    angles: tuple[float, ...]
    gradient: float | None
    stretch: float | None
    pull: float | None
    preload: float | None
    thread_friction: float
    bearing_friction: float
    again: bool = False
    snug: float | None = None
    twisted: bool = True
    forces: tuple[float, ...] | None = None

    @property
    def turned(self) -> bool:
        """Whether the shank is twisted: by turning, but not by a tensioner."""
        return self.pull is None and (self.preload is None or self.twisted)


@dataclass(frozen=True)
class Retorque:
    """Turn a tight fastener on: to `torque` (N.mm) where that breaks it away, or by `angle` (rad)."""

    name: str
    torque: float | None
    angle: float | None
    thread_friction: float
    bearing_friction: float


@dataclass(frozen=True)
class Hold:
    """A state kept for `duration` (s): waiting, heat, running, cooling, a cold start.

    case : its temperatures and gas pressure. cycles : pressure cycles within the duration, for fatigue.
    """

    name: str
    kind: str
    case: LoadCase
    duration: float
    cycles: float = 0.0


@dataclass(frozen=True)
class Change:
    """Something done at no load: kind "loosen", "replace gasket" or "new fastener"."""

    name: str
    kind: str


@dataclass(frozen=True)
class Repeat:
    """Steps that repeat."""

    name: str
    times: int
    steps: tuple[Hold | Retorque, ...]


Step = Tighten | Retorque | Hold | Change | Repeat


@dataclass(frozen=True)
class Ageing:
    """What settles and slips, besides gasket and fastener.

    embedding_first : share of f_Z lost as the wrench lets go. embedding_time : s over which the rest follows with the
    logarithm of time; the first heat or run completes it at once. embedding_again : share of f_Z that comes anew after
    loosening. torsion_left : k_tau, share of the tightening torsion that stays. breakaway : static over sliding
    friction of a nut that has stood. dry_friction : of thread and bearing face without lubricant. block_friction : of a
    stud's thread in the block. seating : mm by which a nut run down by hand sinks in as a tensioner lets go.
    bearing_set : mm per tenfold time at the limiting pressure, by the head's material unless stated. permanent_limit :
    plastic strain of its weakest length up to which a fastener is used again.
    """

    embedding_first: float
    embedding_time: float
    embedding_again: float
    torsion_left: float
    breakaway: float
    dry_friction: float
    block_friction: float
    seating: float
    bearing_set: float | None
    permanent_limit: float
