"""What one stud, one bore or one place of the deck of an engine's row has that the others do not."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from headjoint.model.gasket.law import GasketLaw


@dataclass(frozen=True)
class OddStud:
    """A stud unlike the others; number from 0, along the row, at each place the one at positive y first.

    slack : it carries nothing, left slack or broken. preload : of that of the others. retorque : share of the preload
    to which it is turned again after all the others, None where it is not. longer : mm of free length
    more, in the block.
    """

    number: int
    slack: bool = False
    preload: float = 1.0
    retorque: float | None = None
    longer: float = 0.0


@dataclass(frozen=True)
class Damage:
    """A part of a gasket zone round one bore that is not as it was made.

    law : what it does instead. step : mm, its clearance, None where that is as made. start, end : rad, anticlockwise
    from the row's direction; the end may be less than the start.
    """

    zone: str
    law: GasketLaw
    step: float | None
    start: float
    end: float


@dataclass(frozen=True)
class OddBore:
    """A bore unlike the others; number from 0. hotter : K, head, block and gasket there in every warm load case."""

    number: int
    hotter: Mapping[str, float] = field(default_factory=dict)
    damage: tuple[Damage, ...] = ()


@dataclass(frozen=True)
class Hollow:
    """The faces lack flatness between bore `after` (from 0) and the next: depth (mm) where it is deepest.

    It fades to nothing at both bores' centres and half of `width` (mm) off the row's middle line.
    """

    after: int
    depth: float
    width: float


@dataclass(frozen=True)
class RowAsFound:
    """All that is not alike along a row; nothing by default."""

    studs: tuple[OddStud, ...] = ()
    bores: tuple[OddBore, ...] = ()
    hollows: tuple[Hollow, ...] = ()

    def crush_pressure(self, zone: str, law: GasketLaw) -> float | None:
        """Return the least pressure (MPa) that crushes a zone of a law, or what is damaged of it; None where not known.

        A law that states none has no say.
        """
        laws = (law, *(one.law for bore in self.bores for one in bore.damage if one.zone == zone))
        return min((one.crush_pressure for one in laws if one.crush_pressure is not None), default=None)

    def __bool__(self) -> bool:
        return bool(self.studs or self.bores or self.hollows)
