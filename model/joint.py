"""The joint as every later stage reads it: plain numbers in internal units, every default filled in.

z is up: the block deck is z = 0, the head stands on the gasket at z = gasket.thickness, the fastener's
axis is r = 0. Lengths mm, forces N, pressures MPa, temperatures degC.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from headjoint.model.base.property_table import PropertyTable
from headjoint.model.base.rich import Rich
from headjoint.model.gasket.law import GasketLaw
from headjoint.model.heat.duty import HeatDuty
from headjoint.model.library.materials import Material
from headjoint.model.library.plasticity import FlowCurve, SteelRelaxation
from headjoint.model.library.threads import Thread
from headjoint.model.load_case import LoadCase
from headjoint.model.peak_cycles import PeakCycles
from headjoint.model.service import Ageing, Step, Tighten

PARTS = ("fastener", "nut", "washer", "head", "gasket", "block")


@dataclass(frozen=True)
class Segment:
    """One length of the fastener between bearing face and first engaged thread.

    diameter is that of the elastic cylinder: the shank's own, or the thread's core d3 where `threaded`.
    """

    length: float
    diameter: float
    threaded: bool

    @property
    def area(self) -> float:
        """Cross-section in mm2."""
        return math.pi / 4.0 * self.diameter**2


@dataclass(frozen=True)
class Fastener:
    """Stud with nut, or bolt.

    segments run from the bearing face (nut or head) down to the first engaged thread of the block.
    bonded_diameter is the cylinder over which the engaged thread is tied to the block, nut_bonded_diameter
    the same in the nut. thread_compliance and nut_compliance (mm/N) are the thread-tooth compliances put in
    series with the fastener besides the elastic bodies; thread_teeth and nut_teeth what of them is in series where the
    engaged thread is meshed, all of it where None. yield_strength is by temperature, None when not
    stated; flow is how it yields and hardens, None where strengths or elongation are not known.
    """

    kind: str
    thread: Thread
    nut_thread: Thread
    material: Material
    yield_strength: PropertyTable | None
    ultimate_strength: float | None
    segments: tuple[Segment, ...]
    engagement: float
    bonded_diameter: float
    nut_bonded_diameter: float
    thread_compliance: float
    nut_compliance: float
    protrusion: float
    rolled: str
    flow: FlowCurve | None = None
    relaxation: SteelRelaxation = field(default_factory=SteelRelaxation)
    property_class: str | None = None
    run_out: float = 0.0
    thread_teeth: float | None = None
    nut_teeth: float | None = None

    @property
    def clamped_length(self) -> float:
        """l_K, from bearing face to first engaged thread, mm."""
        return sum(segment.length for segment in self.segments)

    @property
    def smallest_area(self) -> float:
        """Smallest cross-section that carries the clamp, mm2 (stress area A_S for threads, VDI 2230)."""
        areas = [segment.area for segment in self.segments if not segment.threaded]
        return min([*areas, self.thread.stress_area, self.nut_thread.stress_area])

    @property
    def series_compliance(self) -> float:
        """Thread-tooth compliance of both ends in series, mm/N, as closed forms count it."""
        return self.thread_compliance + self.nut_compliance

    @property
    def meshed_compliance(self) -> float:
        """The same beside a mesh, which has the give of block and nut round the thread in it."""
        thread = self.thread_compliance if self.thread_teeth is None else self.thread_teeth
        return thread + (self.nut_compliance if self.nut_teeth is None else self.nut_teeth)


@dataclass(frozen=True)
class Seat:
    """What presses on the joint from above: the nut, or the bolt head.

    outer_diameter is that of the elastic cylinder; the bearing ring may be smaller. contact says how its
    under face meets what lies below: "frictionless" or "tied".
    """

    height: float
    outer_diameter: float
    bearing_inner_diameter: float
    bearing_outer_diameter: float
    material: Material
    contact: str


@dataclass(frozen=True)
class Washer:
    """Flat washer under nut or bolt head; contact is its lower face on the head casting."""

    inner_diameter: float
    outer_diameter: float
    thickness: float
    material: Material
    contact: str


@dataclass(frozen=True)
class Head:
    """The head's share of one fastener: a cylinder with a clearance hole."""

    height: float
    outer_diameter: float
    hole_diameter: float
    material: Material


@dataclass(frozen=True)
class Insert:
    """A thread insert in the block: the thread on its outside, and how long (mm) that is."""

    outer_thread: Thread
    length: float


@dataclass(frozen=True)
class Block:
    """The block's share of one fastener: a cylinder with counterbore and tapped hole.

    hole_below is the depth of the open hole under the fastener's end; 0 bonds the end face to the block. insert counts
    for stripping alone.
    """

    height: float
    outer_diameter: float
    counterbore_diameter: float
    counterbore_depth: float
    hole_below: float
    material: Material
    insert: Insert | None = None


@dataclass(frozen=True)
class Zone:
    """A ring of the gasket with one pressure-closure law; `step` mm lower than the highest zone.

    line_length : of the sealing line (mm), where it is not that of the ring: the share of a bead that one stud of an
    engine answers for.
    """

    name: str
    inner_diameter: float
    outer_diameter: float
    law: GasketLaw
    step: float
    sealing: bool
    sealing_diameter: float
    line_length: float | None = None

    @property
    def area(self) -> float:
        """Area in plan, mm2."""
        return math.pi / 4.0 * (self.outer_diameter**2 - self.inner_diameter**2)

    @property
    def line_width(self) -> float:
        """Width (mm) over which the law smears a line load: area over the length of the sealing line."""
        return self.area / (self.line_length or math.pi * self.sealing_diameter)


@dataclass(frozen=True)
class Gasket:
    """All zones between deck and head; thickness is the distance of the faces at first touch."""

    thickness: float
    zones: tuple[Zone, ...]
    expansion: float
    conductivity: float | None = None

    @property
    def sealing_zone(self) -> Zone:
        """The zone that holds the sealing line."""
        return next(zone for zone in self.zones if zone.sealing)


@dataclass(frozen=True)
class Gas:
    """Ring on which combustion pushes the head, and the area that sets the force.

    force_area (mm2) is the bore area one fastener answers for; the pressure on the ring is scaled so that
    the ring carries gas pressure times force_area. on_block : whether the same pressure presses on the block's deck
    over the ring, too. peaks : how peaks scatter from cycle to cycle, None where the stated one is the greatest.
    """

    inner_diameter: float
    outer_diameter: float
    force_area: float
    on_block: bool = True
    peaks: PeakCycles | None = None

    @property
    def ring_area(self) -> float:
        """Area of the ring, mm2."""
        return math.pi / 4.0 * (self.outer_diameter**2 - self.inner_diameter**2)


@dataclass(frozen=True)
class Tightening:
    """How a fastener is tightened, and what surrounds it.

    method : of `library.tightening.METHODS`. step : what is done, as a step of a service.
    preload : F_M (N) at the nominal torque, or as stated; None where the elastic joint decides it, as by an angle:
    `cases.service.tightened` finds it then.
    torque : M_A (N.mm) at the nut or bolt head, None where none ends the turning.
    scatter : plus-minus fraction of preload, (alpha_A - 1)/(alpha_A + 1).
    embedding : f_Z in mm, lost between tightening and first service.
    typical_snug : whether the force at snug is the typical one. share : of the preload that is found, what one joint of
    a batch gets.
    """

    method: str
    step: Tighten
    preload: float | None
    torque: float | None
    thread_friction: float
    bearing_friction: float
    tightening_factor: float
    scatter_name: str
    embedding: float
    embedding_source: str
    typical_snug: bool = False
    share: float = 1.0

    @property
    def twisted(self) -> bool:
        """Whether tightening twists the fastener."""
        return self.step.turned

    @property
    def scatter(self) -> float:
        """Plus-minus fraction of preload from alpha_A = F_Mmax/F_Mmin (VDI 2230-1)."""
        return (self.tightening_factor - 1.0) / (self.tightening_factor + 1.0)


@dataclass(frozen=True)
class Requirements:
    """What the joint must hold; every factor is a least allowed value.

    sealing_ratio : contact pressure at the sealing line over gas pressure.
    sealing_minimum : contact pressure (MPa) that the sealing line must keep in every case.
    """

    sealing_ratio: float
    sealing_minimum: float
    separation_factor: float
    yield_factor: float
    fatigue_factor: float
    bearing_factor: float
    stripping_factor: float
    clamp_kept: float


@dataclass(frozen=True)
class MeshSize:
    """Element size (mm) at edges and interfaces, growth away from them, and largest size."""

    element_size: float
    growth: float
    largest: float


@dataclass(frozen=True)
class Measured:
    """Values that a test rig gave: the fragment, the fields it carries, where measured, and what to be wary of."""

    file: str
    carried: tuple[str, ...]
    source: str
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class Assumed:
    """A key that a file leaves out, what stands in its place (in a table unit, or a word), and on what ground."""

    field: str
    value: float | str
    unit: str
    why: str


@dataclass(frozen=True)
class Joint(Rich):
    """One fastener with its share of head, gasket and block, its load cases, requirements and service.

    from_middle : mm from the middle of the engine's fasteners to the one farthest from it, from where the head grows
    across the block; None where the file does not say. beyond : mm, how much farther along a row of bores its end
    fasteners are than those of a model of its bores; None where the file does not say, 0 without a row.
    mean_of_sides : whether it bears the mean of two sides of an engine that differ.
    """

    name: str
    note: str
    fastener: Fastener
    seat: Seat
    washer: Washer | None
    head: Head
    gasket: Gasket
    block: Block
    gas: Gas | None
    tightening: Tightening
    load_cases: tuple[LoadCase, ...]
    requirements: Requirements
    mesh_size: MeshSize
    load_introduction_factor: float | None
    history: tuple[Step, ...]
    ageing: Ageing
    heat: HeatDuty
    measured: tuple[Measured, ...] = ()
    assumed: tuple[Assumed, ...] = ()
    from_middle: float | None = None
    beyond: float | None = 0.0
    mean_of_sides: bool = False

    @property
    def assembly_temperature(self) -> float:
        """Temperature (degC) at which the joint is tightened and free of thermal strain."""
        return self.load_cases[0].temperatures["head"]

    @property
    def by_heat(self) -> bool:
        """Whether any load case has its temperatures from heat conduction."""
        return any(case.heat is not None for case in self.load_cases)

    @property
    def reference_force(self) -> float:
        """A force (N) of the size of the preload, to measure residuals by: where it is not known, 0.1 % of strain."""
        fastener, preload = self.fastener, self.tightening.preload
        if preload is not None:
            return preload
        return 1e-3 * fastener.material.E.at(self.assembly_temperature) * fastener.smallest_area

    def part_material(self, part: str) -> Material:
        """Return the material of a part of `PARTS` other than the gasket."""
        if part == "washer":
            assert self.washer is not None
            return self.washer.material
        return {
            "fastener": self.fastener.material,
            "nut": self.seat.material,
            "head": self.head.material,
            "block": self.block.material,
        }[part]


def bearing_ring(joint: Joint) -> tuple[float, float]:
    """Return inner and outer diameter (mm) of the ring on which the nut or bolt head bears."""
    seat, washer, head = joint.seat, joint.washer, joint.head
    hole = washer.inner_diameter if washer is not None else head.hole_diameter
    edge = washer.outer_diameter if washer is not None else head.outer_diameter
    return max(seat.bearing_inner_diameter, hole), min(seat.bearing_outer_diameter, edge)


def washer_ring(joint: Joint) -> tuple[float, float]:
    """Return inner and outer diameter (mm) of the ring on which the washer bears on the head."""
    assert joint.washer is not None
    return (
        max(joint.washer.inner_diameter, joint.head.hole_diameter),
        min(joint.washer.outer_diameter, joint.head.outer_diameter),
    )
