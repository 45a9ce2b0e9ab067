"""What is known of one instant of a warm-up, and of all of them from one preload."""

from __future__ import annotations

from dataclasses import dataclass, field

from headjoint.model.formulas.tightened import Tightened


@dataclass(frozen=True)
class Instant:
    """One instant: time s, temperatures degC at named places, hottest degC of every part, forces N, pressures MPa.

    force : mean over all fasteners without gas, fired_force with it. least_force, greatest_force : of any fastener,
    with gas or without. amplitude : greatest of a fastener between gas and none. sealing, line_load : least along the
    sealing lines, MPa and N/mm; fired_ the same with gas. stroke : how far these open at most under gas, mm.
    gas_pressure : 0 where nothing burns. zone_greatest : greatest pressure of every gasket zone by name, with gas or
    without. plastic : greatest plastic strain of a fastener so far. gasket_set : greatest permanent set of the gasket
    so far, mm, creep included. estimate : force of the closed-form chain at the mean temperatures of the parts.
    """

    time: float
    temperatures: dict[str, float]
    hottest: dict[str, float]
    force: float
    least_force: float
    greatest_force: float
    fired_force: float | None
    amplitude: float | None
    sealing: float
    line_load: float
    fired_sealing: float | None
    fired_line_load: float | None
    stroke: float | None
    gas_pressure: float
    zone_greatest: dict[str, float]
    plastic: float
    gasket_set: float
    estimate: float


@dataclass(frozen=True)
class WarmUpAtPreload:
    """The warm-up from what a tightening gives: clamp N when tightened, settled and cold, instants in order.

    zones : greatest pressure of every gasket zone at assembly, MPa.
    head_room : number of the instant at which sealing has least in hand under gas, and the factor on gas up to which it
    seals there (None beyond what is searched); None where there is no gas or nobody asked.
    """

    found: Tightened
    tightened: float
    zones: dict[str, float] = field(repr=False)
    instants: tuple[Instant, ...] = field(repr=False)
    head_room: tuple[int, float | None] | None = None

    @property
    def preload(self) -> float:
        """Mean fastener force at assembly, N."""
        return self.found.preload
