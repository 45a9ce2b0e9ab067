"""What a cell file may say besides the tables it shares with a joint file: layout, coolant spaces, plan zones."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, field

from headjoint.model.base.units import Expansion, GasketThickness, Length, PositiveLength, ZeroOrLength, ZeroOrPressure
from headjoint.model.files.fragment_file import Include
from headjoint.model.files.heat_file import HeatTable
from headjoint.model.files.joint_file import (
    FastenerTable,
    InsertTable,
    LawsAt,
    LawTable,
    LoadCaseTable,
    MaterialSpec,
    RequirementsTable,
    SeatTable,
    TighteningTable,
    VariantTable,
    WasherTable,
)
from headjoint.model.files.peaks_file import PeaksTable
from headjoint.model.files.row_file import RowTable
from headjoint.model.files.scatter_file import ScatterTable
from headjoint.model.files.service_file import AgeingTable, History
from headjoint.model.files.table import Table, bare

Count = Annotated[int, Meta(ge=1, le=99)]


class PlaceTable(Table, kw_only=True):
    """A place in plan, bore centre at the origin."""

    x: Length
    y: Length


class LayoutTable(Table, kw_only=True):
    """How bores and studs lie in plan. A table with `kind` makes a file a cell file."""

    kind: Annotated[Literal["bank", "ring"], Meta(description="in-line bores, or studs on a circle round one bore")]
    bore: PositiveLength
    extent: Annotated[Literal["quarter", "half", "sector", "full"] | None, Meta(description="bank: quarter (default) or half (with an [exhaust_side] always); ring: sector (default) or full")] = None
    pitch: Annotated[PositiveLength | None, Meta(description="bank: distance of bore centres")] = None
    half_width: Annotated[PositiveLength | None, Meta(description="bank: from the bore centres to the outer side")] = None
    studs: Annotated[list[PlaceTable] | None, Meta(description="bank: places in the first quarter, 0 <= x <= pitch/2")] = None
    bores: Annotated[Annotated[int, Meta(ge=1, le=6)], Meta(description="bank: bores modelled; 1 is the cell from bore centre to mid-bridge")] = 1
    number: Annotated[Annotated[int, Meta(ge=4, le=8)] | None, Meta(description="ring: studs")] = None
    stud_circle: Annotated[PositiveLength | None, Meta(description="ring: diameter on which the studs stand")] = None
    outer_diameter: Annotated[PositiveLength | None, Meta(description="ring: of head and block")] = None
    in_row: Annotated[Count | None, Meta(description="bank: bores of the whole engine, for the work sheet's plan of nuts")] = None
    end_length: Annotated[PositiveLength | None, Meta(description="bank: from the middle of the bridge behind the first and the last bore of the engine to the end of head and block; for `headjoint head`")] = None
    end_wall: Annotated[PositiveLength | None, Meta(description="bank: thickness of the wall that closes the head at its ends, between the decks; default that of the side wall")] = None
    fired: Annotated[list[Count] | None, Meta(description="numbers of the bores that fire, from 1; default all")] = None


class CellHeadTable(Table, kw_only=True):
    """The head: two decks, a side wall and columns round an open coolant space."""

    height: PositiveLength
    fire_deck: PositiveLength
    upper_deck: PositiveLength
    side_wall: PositiveLength
    column_diameter: Annotated[PositiveLength, Meta(description="of the column round each stud")]
    centre_column_diameter: Annotated[ZeroOrLength, Meta(description="of the column over the bore's centre; 0 for none")] = bare(0.0)
    bridge_wall: Annotated[ZeroOrLength, Meta(description="web between the decks over mid-bridge (bank) or between studs (ring); 0 for none")] = bare(0.0)
    hole_diameter: PositiveLength
    material: MaterialSpec


class ExhaustSideTable(Table, kw_only=True):
    """What the side at negative y has that is unlike the other: widths and walls of intake and exhaust."""

    half_width: Annotated[PositiveLength | None, Meta(description="from the bore centres to the outer side of head, gasket and block; default that of [layout]")] = None
    side_wall: Annotated[PositiveLength | None, Meta(description="of the head; default that of [head]")] = None


class CellBlockTable(Table, kw_only=True):
    """The block: bore wall, water jacket, stud bosses."""

    height: PositiveLength
    wall: Annotated[PositiveLength, Meta(description="from bore to jacket, liner included")]
    jacket_width: ZeroOrLength = bare(0.0)
    jacket_depth: ZeroOrLength = bare(0.0)
    deck_thickness: Annotated[ZeroOrLength, Meta(description="over the jacket; 0 is an open deck")] = bare(0.0)
    boss_diameter: PositiveLength
    counterbore_depth: ZeroOrLength = bare(0.0)
    material: MaterialSpec
    insert: Annotated[InsertTable | None, Meta(description="thread insert; counts for stripping and embedding")] = None


class LinerTable(Table, kw_only=True):
    """A liner, bonded to the bore wall."""

    outer_diameter: PositiveLength
    protrusion: Annotated[ZeroOrLength, Meta(description="how far it stands above the deck")] = bare(0.0)
    length: Annotated[PositiveLength | None, Meta(description="from the deck down; default: whole block")] = None
    material: MaterialSpec


class RingZoneTable(Table, kw_only=True):
    """A gasket ring round every bore."""

    name: str
    inner_diameter: PositiveLength
    outer_diameter: PositiveLength
    law: str
    step: ZeroOrLength = bare(0.0)
    sealing: bool = False


class BodyZoneTable(Table, kw_only=True):
    """The gasket beyond its rings."""

    law: str
    step: ZeroOrLength = bare(0.0)


class HoleTable(Table, kw_only=True):
    """A hole through the gasket, in the first tile."""

    x: Length
    y: Length
    diameter: PositiveLength


class CellGasketTable(Table, kw_only=True):
    """The gasket in plan."""

    thickness: GasketThickness
    expansion: Expansion = bare(0.0)
    rings: Annotated[list[RingZoneTable], Meta(min_length=1)]
    body: BodyZoneTable
    holes: list[HoleTable] = field(default_factory=list)
    laws: dict[str, LawTable] = field(default_factory=dict)
    laws_at: LawsAt = "middle"


class CellGasTable(Table, kw_only=True):
    """Where combustion presses besides the head inside the sealing line."""

    wall_depth: Annotated[ZeroOrLength, Meta(description="of the bore wall below the deck")] = bare(0.0)
    boost: Annotated[ZeroOrPressure | None, Meta(description="gauge pressure in the manifold at which the gas pressures of the load cases hold")] = None
    peaks: PeaksTable | None = None


class CellTighteningTable(TighteningTable, kw_only=True):
    """Tightening, all at once or stud after stud."""

    passes: Annotated[list[Annotated[float, Meta(gt=0, le=1)]] | None, Meta(description="shares of the preload, such as [0.5, 1.0]: tightens stud after stud")] = None
    order: Annotated[list[Count] | None, Meta(description="stud numbers from 1 in the order of tightening; default ascending")] = None
    snug: Annotated[Annotated[float, Meta(gt=0, lt=1)] | None, Meta(description="share of the preload that every stud carries before the first pass; default 0.1 (common practice, no source)")] = None


class CellMeshTable(Table, kw_only=True):
    """Element sizes, or a mesh of your own."""

    file: Annotated[str | None, Meta(description="own volume mesh, .msh or .vtu, beside the cell file; its groups name parts and faces")] = None
    unit: Annotated[Literal["mm", "cm", "m", "in"] | None, Meta(description="length unit of the own mesh; default mm")] = None
    ring_size: Annotated[PositiveLength | None, Meta(description="at the gasket rings; default bore/20")] = None
    stud_size: Annotated[PositiveLength | None, Meta(description="at studs; default bore/20")] = None
    growth: Annotated[Annotated[float, Meta(gt=0, le=1)] | None, Meta(description="of element size per length away from rings and studs; default 0.4")] = None
    largest: Annotated[PositiveLength | None, Meta(description="default bore/6")] = None


class LineTable(Table, kw_only=True):
    """A straight line over the gasket, from one place to another."""

    start: PlaceTable
    end: PlaceTable
    count: Annotated[Annotated[int, Meta(ge=2, le=2000)], Meta(description="places along it")] = 101


class AskTable(Table, kw_only=True):
    """What the answer tells besides: gasket pressure anywhere, the bore's shape at any depth."""

    points: Annotated[list[PlaceTable], Meta(description="places at which gasket pressure and closure are given")] = field(default_factory=list)
    lines: Annotated[list[LineTable], Meta(description="lines along which they are given")] = field(default_factory=list)
    bore_depths: Annotated[list[PositiveLength] | None, Meta(description="below the deck, at which the bore's shape is given; default 0.06, 0.25, 0.5 and 0.9 of the bore")] = None


class CellFile(Table, kw_only=True):
    """A cell file: several bores and studs in three dimensions."""

    name: str
    note: str = ""
    include: Annotated[Include | None, Meta(description="measured values from a rig, as `headjoint rig` writes them")] = None
    layout: LayoutTable
    fastener: FastenerTable
    nut: SeatTable | None = None
    bolt_head: SeatTable | None = None
    washer: WasherTable | None = None
    head: CellHeadTable
    exhaust_side: ExhaustSideTable | None = None
    block: CellBlockTable
    liner: LinerTable | None = None
    gasket: CellGasketTable
    gas: CellGasTable = field(default_factory=CellGasTable)
    tightening: CellTighteningTable
    load_cases: Annotated[list[LoadCaseTable], Meta(min_length=1)]
    history: History = field(default_factory=list)
    ageing: AgeingTable = field(default_factory=AgeingTable)
    heat: HeatTable = field(default_factory=HeatTable)
    requirements: RequirementsTable = field(default_factory=RequirementsTable)
    mesh: CellMeshTable = field(default_factory=CellMeshTable)
    ask: AskTable = field(default_factory=AskTable)
    row: RowTable = field(default_factory=RowTable)
    scatter: ScatterTable = field(default_factory=ScatterTable)
    cost: float | None = None
    variants: list[VariantTable] = field(default_factory=list)
