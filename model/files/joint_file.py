"""What a joint file may say: the validated tables behind the TOML and its exported JSON schema."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Literal

import msgspec
from msgspec import Meta, field

from headjoint.model.base.units import (
    Expansion,
    GasketThickness,
    GasPressure,
    Length,
    PositiveArea,
    PositiveLength,
    PositivePressure,
    PositiveStiffnessPerArea,
    Pressure,
    Quantity,
    Temperature,
    ZeroOrCompliance,
    ZeroOrForce,
    ZeroOrLength,
    ZeroOrLineLoad,
    ZeroOrPressure,
    ZeroOrTime,
)
from headjoint.model.files.fragment_file import Include
from headjoint.model.files.heat_file import Filling, HeatTable
from headjoint.model.files.peaks_file import PeaksTable
from headjoint.model.files.rig_file import RigTable
from headjoint.model.files.scatter_file import ScatterTable
from headjoint.model.files.service_file import (
    AgeingTable,
    CreepTable,
    FlowTable,
    History,
    QuantityStages,
    RelaxationTable,
    WaysTable,
)
from headjoint.model.files.table import Table, bare
from headjoint.model.gasket.forms import FORMS

Fraction = Annotated[float, Meta(ge=0, le=1)]
Factor = Annotated[float, Meta(gt=0, le=100)]
Contact = Literal["frictionless", "tied"]


class ThreadCompliance:
    """How the teeth of an engaged thread give: by the standard's term, not at all, or as stated (mm/N)."""

    def __init__(self, value: str | float) -> None:
        self.value = value

    @classmethod
    def read(cls, value: object) -> ThreadCompliance:
        """Return what `value` states; ValueError with a sentence for the user otherwise."""
        if value in ("standard", "bonded"):
            return cls(str(value))
        try:
            return cls(ZeroOrCompliance.read(value))
        except ValueError as error:
            raise ValueError(f"'standard', 'bonded', or a compliance: {error}") from None

    @classmethod
    def schema(cls) -> dict[str, Any]:
        """Return the JSON schema."""
        return {"anyOf": [{"enum": ["standard", "bonded"]}, ZeroOrCompliance.schema()]}


class MaterialTable(Table, kw_only=True):
    """A library material by standard designation (`base`), with any value stated directly instead."""

    base: Annotated[str | None, Meta(description="designation in the material library; `headjoint list materials`")] = None
    E: Annotated[PositivePressure | None, Meta(description="Young's modulus")] = None
    nu: Annotated[Annotated[float, Meta(gt=-1, lt=0.5)] | None, Meta(description="Poisson's ratio")] = None
    expansion: Annotated[Expansion | None, Meta(description="mean thermal expansion coefficient from 20 degC")] = None
    yield_strength: PositivePressure | None = None
    ultimate_strength: PositivePressure | None = None
    bearing_limit: Annotated[PositivePressure | None, Meta(description="limit surface pressure p_G at 20 degC; hot it falls as the yield strength does")] = None


# a material is named, or stated in a table
MaterialSpec = str | MaterialTable


class SegmentTable(Table, kw_only=True):
    """A length of shank, waist or free thread, from the bearing face down."""

    length: Annotated[PositiveLength | None, Meta(description="one segment may leave it out: it takes the rest of the grip")] = None
    diameter: Annotated[PositiveLength | None, Meta(description="of the shank; of a thread, its core d3 unless stated")] = None
    thread: Annotated[bool, Meta(description="true for free loaded thread")] = False


class FastenerTable(Table, kw_only=True):
    """Stud with nut, or bolt."""

    kind: Literal["stud", "bolt"]
    thread: Annotated[str, Meta(description="designation of the thread in the block, such as 'M11x1.25' or '7/16-20 UNF'")]
    nut_thread: Annotated[str | None, Meta(description="stud: thread under the nut, when another")] = None
    property_class: Annotated[str | None, Meta(description="ISO 898-1 or SAE J429 class; sets the strengths")] = None
    material: MaterialSpec = "ISO 898-1 steel"
    segments: Annotated[list[SegmentTable], Meta(min_length=1)]
    length: Annotated[PositiveLength | None, Meta(description="overall, of a bolt under its head; checked against the stack when stated")] = None
    engagement: Annotated[PositiveLength, Meta(description="engaged thread length in the block")]
    bonded_diameter: Annotated[PositiveLength | None, Meta(description="cylinder tied to the block; default: pitch diameter")] = None
    nut_bonded_diameter: Annotated[PositiveLength | None, Meta(description="cylinder tied to the nut; default: pitch diameter")] = None
    thread_compliance: Annotated[ThreadCompliance | None, Meta(description="'standard' (default) adds the thread-tooth term of VDI 2230-1 in series, 'bonded' adds nothing")] = None
    nut_compliance: ThreadCompliance | None = None
    protrusion: Annotated[ZeroOrLength | None, Meta(description="stud above the nut; default: two pitches")] = None
    run_out: Annotated[ZeroOrLength | None, Meta(description="of the engagement, without full threads: the fastener's end and the chamfer of the hole; default two pitches (common practice, no source)")] = None
    rolled: Annotated[Literal["before heat treatment", "after heat treatment", "not known"], Meta(description="its threads; 'not known' takes the lower endurance limit and the shorter life")] = "not known"
    flow: Annotated[FlowTable, Meta(description="how it yields, for a service history")] = field(default_factory=FlowTable)
    relaxation: RelaxationTable = field(default_factory=RelaxationTable)


class SeatTable(Table, kw_only=True):
    """The nut of a stud, or the head of a bolt."""

    height: Annotated[PositiveLength | None, Meta(description="default: standard height of the thread's hexagon")] = None
    outer_diameter: Annotated[PositiveLength | None, Meta(description="of the equivalent cylinder; default: equal area to the hexagon")] = None
    bearing_outer_diameter: Annotated[PositiveLength | None, Meta(description="d_W; default: 0.95 of the width across flats")] = None
    bearing_inner_diameter: Annotated[PositiveLength | None, Meta(description="default: nominal thread diameter")] = None
    material: Annotated[MaterialSpec | None, Meta(description="default: that of the fastener")] = None
    contact: Annotated[Contact, Meta(description="its bearing face")] = "frictionless"


class WasherTable(Table, kw_only=True):
    """Washer under the nut or bolt head."""

    inner_diameter: PositiveLength
    outer_diameter: PositiveLength
    thickness: PositiveLength
    material: MaterialSpec
    contact: Annotated[Contact, Meta(description="its face on the head")] = "frictionless"


class HeadTable(Table, kw_only=True):
    """The head's share of one fastener."""

    height: PositiveLength
    outer_diameter: PositiveLength
    hole_diameter: PositiveLength
    material: MaterialSpec


class InsertTable(Table, kw_only=True):
    """A thread insert: what strips out of the block is its outer thread."""

    outer_thread: Annotated[str, Meta(description="designation of the thread on its outside, such as 'M14x1.5'")]
    length: Annotated[PositiveLength | None, Meta(description="default: the engagement, and no more counts")] = None


class BlockTable(Table, kw_only=True):
    """The block's share of one fastener."""

    height: PositiveLength
    outer_diameter: PositiveLength
    counterbore_diameter: Annotated[PositiveLength | None, Meta(description="default: hole of the head")] = None
    counterbore_depth: ZeroOrLength = bare(0.0)
    hole_below: Annotated[ZeroOrLength | None, Meta(description="open hole under the fastener's end; default half a diameter; 0 bonds the end face")] = None
    material: MaterialSpec
    insert: Annotated[InsertTable | None, Meta(description="thread insert; counts for stripping and embedding")] = None


class CurveTable(Table, kw_only=True):
    """Loading curve at one temperature."""

    temperature: Temperature
    closure: list[Length]
    pressure: list[Pressure]


# what each form of a law states beyond what all do; type checkers cannot follow keys that a list of forms makes
if TYPE_CHECKING:
    KeysOfForms = Table
else:
    KeysOfForms = msgspec.defstruct(
        "KeysOfForms",
        [(key, kind, None) for form in FORMS.values() for key, kind in form.KEYS.items()],
        bases=(Table,),
        kw_only=True,
    )


class LawTable(KeysOfForms, kw_only=True):
    """A pressure-closure law: one table, `curves` at several temperatures, a CSV `file`, or beads in `series`."""

    closure: list[Length] | None = None
    pressure: list[Pressure] | None = None
    curves: list[CurveTable] | None = None
    file: Annotated[str | None, Meta(description="CSV table beside this file; columns such as 'closure [mm]', 'pressure [MPa]', 'temperature [degC]'")] = None
    width: Annotated[PositiveLength | None, Meta(description="of the zone, where the CSV table has a column 'line load [N/mm]' in place of pressure")] = None
    series: Annotated[Annotated[list[str], Meta(min_length=1)] | None, Meta(description="names of laws, shipped or of this file, that lie one upon another")] = None
    stopper_closure: Annotated[ZeroOrLength | None, Meta(description="series: closure at which a stop beside the beads takes over")] = None
    stopper_stiffness: Annotated[PositiveStiffnessPerArea | None, Meta(description="series: of that stop")] = None
    source: Annotated[str | None, Meta(description="where the figures come from")] = None
    spread: Annotated[Annotated[float, Meta(ge=0, lt=1)] | None, Meta(description="plus-minus range of pressure to carry along, as a share")] = None
    crush_pressure: PositivePressure | None = None
    line_load_least: Annotated[ZeroOrLineLoad | None, Meta(description="of a bead: line load that it keeps in every state; with it line load is judged in place of the ratio of pressures")] = None
    line_load_per_gas: Annotated[ZeroOrLength | None, Meta(description="of a bead: line load that it needs for every MPa of gas, a width")] = None
    stroke_limit: Annotated[PositiveLength | None, Meta(description="of a bead: opening between gas and none beyond which it wears out")] = None
    creep: Annotated[CreepTable | None, Meta(description="how the zone goes on setting with time")] = None


class ZoneTable(Table, kw_only=True):
    """A ring of the gasket."""

    name: str
    inner_diameter: PositiveLength
    outer_diameter: PositiveLength
    law: Annotated[str, Meta(description="named law of the library, or one of [gasket.laws]")]
    step: Annotated[ZeroOrLength, Meta(description="how much lower this zone stands than the highest")] = bare(0.0)
    sealing: bool = False
    sealing_diameter: Annotated[PositiveLength | None, Meta(description="of the sealing line; default: middle of the zone")] = None


LawsAt = Annotated[Literal["low", "middle", "high"], Meta(description="where in their range (`spread`) all laws are taken: low presses less at every closure; a law that states none is taken as it is")]


class GasketTable(Table, kw_only=True):
    """The gasket."""

    thickness: Annotated[GasketThickness, Meta(description="distance of the faces at first touch of the highest zone")]
    expansion: Expansion = bare(0.0)
    zones: Annotated[list[ZoneTable], Meta(min_length=1)]
    laws: dict[str, LawTable] = field(default_factory=dict)
    laws_at: LawsAt = "middle"


class GasTable(Table, kw_only=True):
    """Where combustion pushes, for one fastener."""

    inner_diameter: PositiveLength
    outer_diameter: PositiveLength
    faces: Annotated[Literal["head and block", "head"], Meta(description="which faces of the ring it presses on; 'head' where something else, such as a piston on a rig, bears what presses the other way")] = "head and block"
    force_area: Annotated[PositiveArea | None, Meta(description="bore area per fastener; default: the ring's own")] = None
    boost: Annotated[ZeroOrPressure | None, Meta(description="gauge pressure in the manifold at which the gas pressures of the load cases hold; studies of `boost` scale them by absolute pressure (common practice, no source)")] = None
    peaks: PeaksTable | None = None


class TighteningTable(WaysTable, kw_only=True):
    """How the fastener is tightened; each method takes its own keys, `headjoint list tightening`."""

    method: Literal["torque", "torque and angle", "angle", "yield control", "stretch", "tensioner", "preload"]
    lubricant: Annotated[str, Meta(description="in your words; compared with that of included measurements")] = ""
    thread_friction: Annotated[float, Meta(gt=0, le=1)] = 0.12
    bearing_friction: Annotated[float, Meta(gt=0, le=1)] = 0.12
    scatter: Annotated[str | Annotated[float, Meta(ge=1, le=10)] | None, Meta(description="class of VDI 2230-1 table A8, or the factor alpha_A itself; default by method")] = None
    embedding: Annotated[ZeroOrLength | None, Meta(description="f_Z; default from `roughness` by VDI 2230-1 table 5")] = None
    roughness: Literal["Rz below 10 um", "Rz 10 to 40 um", "Rz 40 to 160 um"] = "Rz 10 to 40 um"


class TemperaturesTable(Table, kw_only=True):
    """Temperature of each part; the washer follows the head and the nut the fastener unless stated."""

    fastener: Temperature
    head: Temperature
    block: Temperature
    nut: Temperature | None = None
    washer: Temperature | None = None
    gasket: Annotated[Temperature | None, Meta(description="default: mean of head and block")] = None


class CaseHeatTable(Table, kw_only=True):
    """An instant of the duty of [heat] that gives a load case its temperatures."""

    step: Annotated[str | None, Meta(description="name of a step of the duty: at its end")] = None
    time: Annotated[ZeroOrTime | None, Meta(description="since the duty began, in place of a step")] = None
    steady: Annotated[bool, Meta(description="as if what surrounds the joint then stayed so for ever")] = False


class LoadCaseTable(Table, kw_only=True):
    """One state, in the order in which the joint meets them."""

    name: str
    kind: Literal["assembly", "hot", "firing", "cold"]
    temperature: Annotated[Temperature | None, Meta(description="of all parts; default 20 degC")] = None
    temperatures: TemperaturesTable | None = None
    heat: Annotated[CaseHeatTable | None, Meta(description="temperatures by heat conduction, in place of stated ones")] = None
    gas_pressure: GasPressure = bare(0.0)
    ring_force: Annotated[ZeroOrForce | None, Meta(description="separating force on the gas ring, stated directly")] = None


class RequirementsTable(Table, kw_only=True):
    """Least values that the verdict holds the joint to."""

    sealing_ratio: Annotated[Annotated[float, Meta(ge=0, le=100)], Meta(description="sealing-line pressure over gas pressure; default 1.5, and not asked of a bead whose law states line loads")] | None = None
    sealing_minimum: Annotated[ZeroOrPressure, Meta(description="sealing-line pressure in every case; default 5 MPa, and not asked of a bead whose law states line loads")] | None = None
    separation_factor: Annotated[Factor, Meta(description="on combustion pressure before the sealing line falls short")] = 1.2
    yield_factor: Factor = 1.05
    fatigue_factor: Factor = 1.2
    bearing_factor: Factor = 1.0
    stripping_factor: Factor = 1.25
    clamp_kept: Annotated[Fraction, Meta(description="clamp after cooling over clamp at assembly")] = 0.8


class MeshTable(Table, kw_only=True):
    """Mesh of the single fastener."""

    element_size: Annotated[PositiveLength | None, Meta(description="at edges and interfaces; default: a fortieth of the thread diameter")] = None
    growth: Annotated[float, Meta(gt=1, le=3)] = 1.5
    largest: Annotated[PositiveLength | None, Meta(description="default: 0.6 of the thread diameter")] = None


class EstimateTable(Table, kw_only=True):
    """Choices of the closed-form estimate."""

    load_introduction_factor: Annotated[Fraction | None, Meta(description="n; default from VDI 2230-1 table 2")] = None


class VariantTable(Table, kw_only=True):
    """A variant of the joint, for `headjoint compare`."""

    name: str
    change: Annotated[dict[str, str | float | dict[str, Any]], Meta(description="quantity by its path, such as \"fastener.thread\" or \"size\", and its value; or a whole table, such as tightening = { ... }, in place of the file's")]
    cost: Annotated[float | None, Meta(description="in any money, against the other variants")] = None


class JointFile(Table, kw_only=True):
    """A joint file: TOML, every quantity with its unit as text or bare in the internal unit."""

    name: str
    note: str = ""
    include: Annotated[Include | None, Meta(description="measured values from a rig, as `headjoint rig` writes them")] = None
    fastener: FastenerTable
    nut: SeatTable | None = None
    bolt_head: SeatTable | None = None
    washer: WasherTable | None = None
    head: HeadTable
    gasket: GasketTable
    block: BlockTable
    gas: GasTable | None = None
    tightening: TighteningTable
    load_cases: Annotated[list[LoadCaseTable], Meta(min_length=1)]
    history: Annotated[History, Meta(description="service, step by step; default: tighten, wait a day, a hundred heat cycles")] = field(default_factory=list)
    ageing: AgeingTable = field(default_factory=AgeingTable)
    heat: Annotated[HeatTable, Meta(description="films over a warm-up")] = field(default_factory=HeatTable)
    requirements: RequirementsTable = field(default_factory=RequirementsTable)
    mesh: MeshTable = field(default_factory=MeshTable)
    estimate: EstimateTable = field(default_factory=EstimateTable)
    scatter: Annotated[ScatterTable, Meta(description="for `headjoint scatter`")] = field(default_factory=ScatterTable)
    cost: Annotated[float | None, Meta(description="of the joint as stated, in any money; for `headjoint compare`")] = None
    variants: Annotated[list[VariantTable], Meta(description="what `headjoint compare` puts beside the joint")] = field(default_factory=list)
    rig: Annotated[RigTable | None, Meta(description="the test rig on which this fastener is measured, for `headjoint rig`")] = None


def convert(content: object, table: type[Any] = JointFile) -> Any:
    """Return the validated table of parsed TOML; msgspec.ValidationError for the first mistake in it."""
    return msgspec.convert(content, table, dec_hook=_read)


def json_schema(table: msgspec.StructMeta = JointFile) -> dict[str, Any]:
    """Return the JSON schema of joint files, or of another kind of file by its table."""
    schema = msgspec.json.schema(table, schema_hook=_schema)
    definitions = schema["$defs"]
    whole = definitions.pop(table.__name__)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **whole, "$defs": definitions}


def _read(wanted: type[Any], value: object) -> object:
    if issubclass(wanted, (Quantity, ThreadCompliance, QuantityStages, Filling)):
        return wanted.read(value)
    raise NotImplementedError(wanted)


def _schema(wanted: type[Any]) -> dict[str, Any]:
    if issubclass(wanted, (Quantity, ThreadCompliance, QuantityStages, Filling)):
        return wanted.schema()
    raise NotImplementedError(wanted)
