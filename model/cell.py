"""The bore cell as every later stage reads it: what a stud's joint does not say about plan and coolant spaces.

z is up and the block deck is z = 0, as in `joint`. A bank tile is 0 <= x <= pitch/2, 0 <= y <= half width with the
bore's axis at the origin; a ring tile is half a sector, the stud on the x axis. Lengths mm, angles rad.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

from headjoint.model.base.rich import Rich
from headjoint.model.gasket.law import GasketLaw
from headjoint.model.joint import Joint
from headjoint.model.library.materials import Material
from headjoint.model.row import RowAsFound

MILLIMETRES = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}  # in a unit that an own mesh may have
ALIKE = 1e-6  # mm below which two places are one
LEAST_RING = 0.02  # mm between circles of one centre that the mesh follows
HOLE_RIM = 1.4  # times its diameter, room round a gasket hole that the mesh needs
CELL_PARTS = ("fastener", "nut", "washer", "head", "liner", "block")


@dataclass(frozen=True)
class RowEnd:
    """What lies at both ends of a row beyond the middle of the bridge behind its first and last bore: so long (mm), the
    head closed by a wall so thick (mm).
    """

    length: float
    wall: float


@dataclass(frozen=True)
class ExhaustSide:
    """What the side at negative y has that is unlike the other: from the bores' centres to its outer side (mm), and the
    head's wall there (mm).
    """

    half_width: float
    side_wall: float


@dataclass(frozen=True)
class Bank:
    """In-line bores: `bores` of them from the centre of the first to half a pitch beyond the last.

    Both ends are planes of symmetry. studs : (x, y) in the first tile. extent "quarter" has y = 0 as a plane of
    symmetry, "half" has both sides. in_row : bores of the whole engine, None where the file does not say. end : what
    closes the whole engine's row, None where the file does not say; the cell does not have it. exhaust : the side at
    negative y, None where both are alike; unlike ones have the extent "half".
    """

    bore: float
    pitch: float
    half_width: float
    studs: tuple[tuple[float, float], ...]
    bores: int
    extent: str
    in_row: int | None = None
    end: RowEnd | None = None
    exhaust: ExhaustSide | None = None

    @property
    def half_widths(self) -> tuple[float, float]:
        """From the bores' centres to the outer sides (mm), at positive and at negative y."""
        return self.half_width, self.half_width if self.exhaust is None else self.exhaust.half_width

    @property
    def tile_studs(self) -> tuple[tuple[float, float], ...]:
        """Axes of the studs in the first tile, mm."""
        return self.studs

    @property
    def studs_in_row(self) -> int:
        """Number of studs of the whole engine, 0 where `in_row` is not known."""
        if self.in_row is None:
            return 0
        bores, found = self.in_row, 0
        for x, y in self.studs:
            along = bores if x < ALIKE else bores + 1 if x > self.pitch / 2.0 - ALIKE else 2 * bores
            found += along * (1 if y < ALIKE else 2)
        return found

    @property
    def from_middle(self) -> float | None:
        """Distance (mm) of the engine's farthest stud from the middle of the row, None where `in_row` is."""
        if self.in_row is None:
            return None
        end = (self.in_row - 1) / 2.0 * self.pitch
        return max(math.hypot(end + x, y) for x, y in self.studs)

    @property
    def beyond(self) -> float | None:
        """How much farther (mm) along the row its end studs are than the modelled ones, None where `in_row` is."""
        return None if self.in_row is None else max((self.in_row - 1) / 2.0 - (self.bores - 1), 0.0) * self.pitch


@dataclass(frozen=True)
class Ring:
    """`number` studs on a circle round one bore; extent "sector" (half a stud) or "full"."""

    bore: float
    number: int
    stud_circle: float
    outer_diameter: float
    extent: str

    @property
    def tile_studs(self) -> tuple[tuple[float, float], ...]:
        """Axes of the studs in the first tile, mm."""
        return ((self.stud_circle / 2.0, 0.0),)

    @property
    def from_middle(self) -> float:
        """Distance (mm) of every stud from the middle."""
        return self.stud_circle / 2.0

    @property
    def beyond(self) -> float:
        """No stud is farther than the modelled ones."""
        return 0.0


@dataclass(frozen=True)
class HeadShape:
    """Fire deck, side wall, stud columns and upper deck round an open coolant space.

    centre_column_diameter is that of the spark plug's or injector's column, 0 for none. bridge_wall is the thickness
    of the web between the decks over the middle of each bridge (bank) or half-way between studs (ring), 0 for none.
    """

    height: float
    fire_deck: float
    upper_deck: float
    side_wall: float
    column_diameter: float
    centre_column_diameter: float
    bridge_wall: float
    hole_diameter: float


@dataclass(frozen=True)
class BlockShape:
    """Bore wall, water jacket and stud bosses; deck_thickness 0 is an open deck, jacket_width 0 no jacket."""

    height: float
    wall: float
    jacket_width: float
    jacket_depth: float
    deck_thickness: float
    boss_diameter: float
    counterbore_depth: float


@dataclass(frozen=True)
class Liner:
    """A liner bonded in the bore wall; protrusion (mm) is how far it stands above the deck."""

    outer_diameter: float
    protrusion: float
    length: float
    material: Material


@dataclass(frozen=True)
class PlanZone:
    """A gasket zone: a ring round every bore, or with `outer_diameter` infinite the body beyond all rings."""

    name: str
    inner_diameter: float
    outer_diameter: float
    law: GasketLaw
    step: float
    sealing: bool

    @property
    def sealing_diameter(self) -> float:
        """Diameter of the sealing line, the middle of the ring."""
        return (self.inner_diameter + self.outer_diameter) / 2.0

    @property
    def line_width(self) -> float:
        """Width (mm) over which the law of a ring smears a line load."""
        return (self.outer_diameter - self.inner_diameter) / 2.0


@dataclass(frozen=True)
class Hole:
    """A hole through the gasket, given in the first tile."""

    x: float
    y: float
    diameter: float


@dataclass(frozen=True)
class Asked:
    """What the answer tells besides: gasket pressure at points and along lines, each the places (x, y) on it, and the
    depths (mm) at which the bore's shape is given.
    """

    points: tuple[tuple[float, float], ...] = ()
    lines: tuple[tuple[tuple[float, float], ...], ...] = ()
    bore_depths: tuple[float, ...] = ()

    @property
    def places(self) -> tuple[tuple[float, float], ...]:
        """All places at which the gasket's pressure is asked for."""
        return self.points + tuple(place for line in self.lines for place in line)


@dataclass(frozen=True)
class CellMesh:
    """Element sizes (mm) at sealing rings and studs, growth away from them, largest.

    file : an own mesh instead, in units of `unit` mm.
    """

    ring_size: float
    stud_size: float
    growth: float
    largest: float
    file: Path | None = None
    unit: float = 1.0


def typical_mesh(bore: float) -> CellMesh:
    """Return the sizes that a cell of a bore (mm) has where its file states none."""
    return CellMesh(ring_size=bore / 20.0, stud_size=bore / 20.0, growth=0.4, largest=bore / 6.0)


LARGE = 1.65  # times the typical sizes, up to which a mesh keeps lines of walls and jacket, and folds on no cell tried


def is_large(size: float, typical: float) -> bool:
    """Return whether elements (mm) are too large to keep the lines of walls and jacket; rounding makes none so."""
    return size > LARGE * typical * (1.0 + 1e-9)


@dataclass(frozen=True)
class Cell(Rich):
    """A bore cell. `joint` is one stud's share of it, which carries fastener, tightening, cases, requirements.

    zones : rings from the bore outwards, then the body. fired : numbers of the bores that fire, from 0.
    wall_depth : how far below the deck combustion presses on the bore wall. order : passes of the tightening, each
    (share of the preload, fastener numbers from 0 in order); empty means all at once. snug : share of the preload on
    every fastener before the first pass. asked : what the answer tells besides. row : what is odd along the row.
    """

    joint: Joint
    layout: Bank | Ring
    head: HeadShape
    block: BlockShape
    liner: Liner | None
    zones: tuple[PlanZone, ...]
    holes: tuple[Hole, ...]
    fired: tuple[int, ...]
    wall_depth: float
    order: tuple[tuple[float, tuple[int, ...]], ...]
    snug: float
    mesh: CellMesh
    asked: Asked
    row: RowAsFound = RowAsFound()

    @property
    def mesh_too_large(self) -> bool:
        """Whether an element size that is stated is too large to keep the lines of walls and jacket."""
        stated, typical = self.mesh, typical_mesh(self.layout.bore)
        sizes = ("ring_size", "stud_size", "largest")
        return stated.file is None and any(is_large(getattr(stated, one), getattr(typical, one)) for one in sizes)

    @property
    def sealing_zone(self) -> PlanZone:
        """The ring that holds the sealing line."""
        return next(zone for zone in self.zones if zone.sealing)

    @property
    def shank_diameter(self) -> float:
        """Diameter (mm) of the cylinder that stands for the fastener: that of its longest segment."""
        return max(self.joint.fastener.segments, key=lambda segment: segment.length).diameter

    @property
    def series_compliance(self) -> float:
        """Compliance (mm/N) in series with the cylinder: thread teeth, and segments of other diameters."""
        fastener = self.joint.fastener
        E = fastener.material.E.at(self.joint.assembly_temperature)
        area = math.pi / 4.0 * self.shank_diameter**2
        thinner = sum(segment.length / E * (1.0 / segment.area - 1.0 / area) for segment in fastener.segments)
        return fastener.meshed_compliance + thinner

    @property
    def bearing_contact(self) -> str:
        """How nut (or washer, which is one piece with it here) meets the head."""
        return self.joint.washer.contact if self.joint.washer is not None else self.joint.seat.contact

    @property
    def sides(self) -> tuple[Cell, Cell]:
        """The cells of a tile at positive and at negative y, each as if the other side were like it."""
        layout = self.layout
        if not isinstance(layout, Bank) or layout.exhaust is None:
            return self, self
        alike = replace(layout, exhaust=None)
        other = replace(alike, half_width=layout.exhaust.half_width)
        wall = replace(self.head, side_wall=layout.exhaust.side_wall)
        return replace(self, layout=alike), replace(self, layout=other, head=wall)

    @property
    def bore_centres(self) -> tuple[tuple[float, float], ...]:
        """Axes of the modelled bores, mm."""
        if isinstance(self.layout, Ring):
            return ((0.0, 0.0),)
        return tuple((index * self.layout.pitch, 0.0) for index in range(self.layout.bores))

    def part_material(self, part: str) -> Material:
        """Return the material of a part of `CELL_PARTS`."""
        if part == "liner":
            assert self.liner is not None
            return self.liner.material
        return self.joint.part_material(part)
