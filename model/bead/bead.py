"""A beaded gasket as plain numbers, every default filled in."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from headjoint.model.bead.hardening import SpringSteel
from headjoint.model.bead.profile import Profile
from headjoint.model.bead.solid import Solid


@dataclass(frozen=True)
class Stopper:
    """A shim beside the bead. closure : of one bead, or of all layers in contact, at which it bears, mm. width : mm.
    folded : whether it is the sheet's own edge, folded over."""

    closure: float
    width: float
    thickness: float
    folded: bool = False


@dataclass(frozen=True)
class Layer:
    """A layer in contact with its neighbours. name : bead up, bead down or flat. share : of the stated bead's height.
    offset : mm to the side."""

    name: str
    share: float
    offset: float


@dataclass(frozen=True)
class Stack:
    """Layers. beads : how many are beaded. flats : how many are flat. flat_thickness : mm. names : from below.

    laid : the layers from below where they are pressed in contact with each other, free : what they can be closed by
    then, mm; none where each bead counts by itself, in series with its like.
    """

    beads: int = 1
    flats: int = 0
    flat_thickness: float = 0.0
    names: tuple[str, ...] = ("bead",)
    laid: tuple[Layer, ...] = ()
    free: float = 0.0


@dataclass(frozen=True)
class Path:
    """Closures of one bead, mm: the deepest, those it is opened from on the way, the stroke of gas and how often."""

    deepest: float
    open_from: tuple[float, ...]
    stroke: float
    cycles: int


@dataclass(frozen=True)
class Bead:
    """A beaded gasket between flat decks, or a solid ring of metal. Lengths in mm.

    profile : of the sheet's middle line, or the section of a solid ring, whose thickness and legs are nothing. legs :
    flat sheet beside the width. held : whether the inner and the outer end are. ring : radius of the bead's middle,
    None for a straight one; great_ring : of one so great that it is pressed as a straight one. steels : by temperature
    (degC), rising. coating : MPa/mm of one face, None for bare metal. zone_width : over which the law smears the line
    load. through, size : elements across and along. tolerances : plus-minus of height and thickness. stamped_in : steel
    as it is stamped, None where the bead starts in its stated shape free of stress. cores : metal of the wire in a
    solid ring, at the temperatures of `steels`; none where it has no wire.
    """

    name: str
    note: str
    profile: Profile | Solid = field(repr=False)
    thickness: float
    kept: Literal["normal", "vertical"]
    legs: float
    held: tuple[bool, bool]
    ring: float | None
    steels: tuple[tuple[float, SpringSteel], ...]
    friction: float
    coating: float | None
    stack: Stack
    stopper: Stopper | None
    path: Path
    zone_width: float
    through: int
    size: float
    tolerances: tuple[float, float]
    stamped_in: SpringSteel | None = None
    great_ring: float | None = None
    cores: tuple[SpringSteel, ...] = ()

    @property
    def height(self) -> float:
        """Free height of one bead's middle line."""
        return self.profile.height

    @property
    def stated_ring(self) -> float | None:
        """Radius of the bead's middle (mm), whether it is pressed as a ring or straight; None for no ring."""
        return self.great_ring if self.ring is None else self.ring

    @property
    def solid(self) -> bool:
        """Whether it is a solid ring and no sheet."""
        return isinstance(self.profile, Solid)

    @property
    def in_series(self) -> int:
        """How many times what is pressed lies one upon the other, under the same load."""
        return 1 if self.stack.laid else self.stack.beads

    @property
    def free(self) -> float:
        """How far what is pressed may be closed, mm."""
        return self.stack.free if self.stack.laid else self.height

    @property
    def reach(self) -> float:
        """Closure (mm) that steps are shares of: all that a sheet has, what a solid ring is pressed by."""
        return self.path.deepest if self.solid else self.free

    @property
    def steel(self) -> SpringSteel:
        """At the lowest temperature."""
        return self.steels[0][1]

    def core_beside(self, steel: SpringSteel) -> SpringSteel | None:
        """Return the metal of the wire at the temperature at which the ring's is `steel`, None for no wire."""
        beside = zip(self.steels, self.cores, strict=False)
        return next((core for (_, one), core in beside if one == steel), None)

    @property
    def outer_stays(self) -> bool:
        """Whether it is the outer end of a half bead that stays upright in its place while it is stamped."""
        return self.held == (False, True)

    @property
    def symmetric(self) -> bool:
        """Whether one half stands for the whole."""
        shifted = any(one.offset for one in self.stack.laid)
        return self.profile.kind != "half" and self.ring is None and self.held[0] == self.held[1] and not shifted
