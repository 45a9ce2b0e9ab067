"""What a picture of the gasket in plan shows of one state, whatever model it comes from."""

from __future__ import annotations

from dataclasses import dataclass, field

from headjoint.model.base.arrays import FloatArray, IntArray


@dataclass(frozen=True)
class PlanBore:
    """A bore at x, y, mm. words : what is written in it. weakest : where its sealing line presses least, mm."""

    x: float
    y: float
    radius: float
    sealing_radius: float
    words: tuple[str, ...] = ()
    weakest: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class PlanStud:
    """A stud at x, y mm, the radius of its hole in the gasket, its force, N. turned : whether it is being tightened."""

    x: float
    y: float
    radius: float
    force: float
    turned: bool = False


@dataclass(frozen=True)
class PlanZone:
    """A gasket zone round every bore: its name, and the radius (mm) at which it is pointed to."""

    name: str
    radius: float


@dataclass(frozen=True)
class Panel:
    """One state in plan.

    places : (2, n) mm; triangles : (t, 3); pressure : (n,) MPa, linear over each triangle. sealed : segments (s, 2, 2)
    round what of the sealing ring presses at least as needed, short : triangles (k, 3) of it that press less.
    ring_width : of the sealing ring, mm.
    """

    title: str
    places: FloatArray = field(repr=False)
    triangles: IntArray = field(repr=False)
    pressure: FloatArray = field(repr=False)
    sealed: FloatArray = field(repr=False)
    short: IntArray = field(repr=False)
    ring_width: float
    bores: tuple[PlanBore, ...]
    studs: tuple[PlanStud, ...]


@dataclass(frozen=True)
class PlanWindow:
    """The lower left and upper right corner (2,) of what is shown, mm, and what its axes are called."""

    low: FloatArray
    high: FloatArray
    across: str = "along the row of bores"
    up: str = "across the row"
