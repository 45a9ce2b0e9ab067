"""What a joint file may say: the validated model behind the TOML and its exported JSON schema."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from headjoint.model.units import (
    Area,
    Compliance,
    Expansion,
    Force,
    Length,
    Pressure,
    StiffnessPerArea,
    Temperature,
    Torque,
)

# A joint's parts lie between a hundredth of a millimetre and ten metres; anything else is a slip of units.
PositiveLength = Annotated[Length, Field(gt=0, le=1e4)]
ZeroOrLength = Annotated[Length, Field(ge=0, le=1e4)]
PositivePressure = Annotated[Pressure, Field(gt=0)]
RealTemperature = Annotated[Temperature, Field(gt=-273.15, le=1200.0)]
Fraction = Annotated[float, Field(ge=0, le=1)]
Factor = Annotated[float, Field(gt=0, le=100)]
Contact = Literal["frictionless", "tied"]


class Table(BaseModel):
    """Base of every table of a joint file: no unknown keys, finite numbers."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True)


class MaterialTable(Table):
    """A library material by standard designation (`base`), with any value stated directly instead."""

    base: str | None = Field(None, description="designation in the material library; `headjoint list materials`")
    E: PositivePressure | None = Field(None, description="Young's modulus")
    nu: Annotated[float, Field(gt=-1, lt=0.5)] | None = Field(None, description="Poisson's ratio")
    expansion: Expansion | None = Field(None, description="mean thermal expansion coefficient from 20 degC")
    yield_strength: PositivePressure | None = None
    ultimate_strength: PositivePressure | None = None
    bearing_limit: PositivePressure | None = Field(None, description="limit surface pressure p_G")

    @model_validator(mode="before")
    @classmethod
    def _from_name(cls, value: Any) -> Any:
        return {"base": value} if isinstance(value, str) else value


class SegmentTable(Table):
    """A length of shank, waist or free thread, from the bearing face down."""

    length: PositiveLength | None = Field(
        None, description="one segment may leave it out: it takes the rest of the grip"
    )
    diameter: PositiveLength | None = Field(None, description="of the shank; of a thread, its core d3 unless stated")
    thread: bool = Field(False, description="true for free loaded thread")


class FastenerTable(Table):
    """Stud with nut, or bolt."""

    kind: Literal["stud", "bolt"]
    thread: str = Field(description="designation of the thread in the block, such as 'M11x1.25' or '7/16-20 UNF'")
    nut_thread: str | None = Field(None, description="stud: thread under the nut, when another")
    property_class: str | None = Field(None, description="ISO 898-1 or SAE J429 class; sets the strengths")
    material: MaterialTable = Field(default_factory=lambda: MaterialTable(base="ISO 898-1 steel"))
    segments: Annotated[list[SegmentTable], Field(min_length=1)]
    length: PositiveLength | None = Field(
        None, description="overall, of a bolt under its head; checked against the stack when stated"
    )
    engagement: PositiveLength = Field(description="engaged thread length in the block")
    bonded_diameter: PositiveLength | None = Field(
        None, description="cylinder tied to the block; default: pitch diameter"
    )
    nut_bonded_diameter: PositiveLength | None = Field(
        None, description="cylinder tied to the nut; default: pitch diameter"
    )
    thread_compliance: Literal["standard", "bonded"] | Annotated[Compliance, Field(ge=0)] = Field(
        "standard",
        description="'standard' adds the thread-tooth term of VDI 2230-1 in series, 'bonded' adds nothing",
    )
    nut_compliance: Literal["standard", "bonded"] | Annotated[Compliance, Field(ge=0)] = "standard"
    protrusion: ZeroOrLength | None = Field(None, description="stud above the nut; default: two pitches")
    rolled: Literal["before heat treatment", "after heat treatment"] = "after heat treatment"


class SeatTable(Table):
    """The nut of a stud, or the head of a bolt."""

    height: PositiveLength | None = Field(None, description="default: standard height of the thread's hexagon")
    outer_diameter: PositiveLength | None = Field(
        None, description="of the equivalent cylinder; default: equal area to the hexagon"
    )
    bearing_outer_diameter: PositiveLength | None = Field(
        None, description="d_W; default: 0.95 of the width across flats"
    )
    bearing_inner_diameter: PositiveLength | None = Field(None, description="default: nominal thread diameter")
    material: MaterialTable | None = Field(None, description="default: that of the fastener")
    contact: Contact = Field("frictionless", description="its bearing face")


class WasherTable(Table):
    """Washer under the nut or bolt head."""

    inner_diameter: PositiveLength
    outer_diameter: PositiveLength
    thickness: PositiveLength
    material: MaterialTable
    contact: Contact = Field("frictionless", description="its face on the head")


class HeadTable(Table):
    """The head's share of one fastener."""

    height: PositiveLength
    outer_diameter: PositiveLength
    hole_diameter: PositiveLength
    material: MaterialTable


class BlockTable(Table):
    """The block's share of one fastener."""

    height: PositiveLength
    outer_diameter: PositiveLength
    counterbore_diameter: PositiveLength | None = Field(None, description="default: hole of the head")
    counterbore_depth: ZeroOrLength = 0.0
    hole_below: ZeroOrLength | None = Field(
        None, description="open hole under the fastener's end; default half a diameter; 0 bonds the end face"
    )
    material: MaterialTable


class CurveTable(Table):
    """Loading curve at one temperature."""

    temperature: RealTemperature
    closure: list[Length]
    pressure: list[Pressure]


class LawTable(Table):
    """A pressure-closure law stated in the file: one table, or `curves` at several temperatures."""

    closure: list[Length] | None = None
    pressure: list[Pressure] | None = None
    curves: list[CurveTable] | None = None
    unloading_stiffness: Annotated[StiffnessPerArea, Field(gt=0)] | None = Field(
        None, description="at least the steepest loading slope; left out: comes back along its loading curve"
    )
    crush_pressure: PositivePressure | None = None


class ZoneTable(Table):
    """A ring of the gasket."""

    name: str
    inner_diameter: PositiveLength
    outer_diameter: PositiveLength
    law: str = Field(description="named law of the library, or one of [gasket.laws]")
    step: ZeroOrLength = Field(0.0, description="how much lower this zone stands than the highest")
    sealing: bool = False
    sealing_diameter: PositiveLength | None = Field(
        None, description="of the sealing line; default: middle of the zone"
    )


class GasketTable(Table):
    """The gasket."""

    thickness: PositiveLength = Field(description="distance of the faces at first touch of the highest zone")
    expansion: Expansion = 0.0
    zones: Annotated[list[ZoneTable], Field(min_length=1)]
    laws: dict[str, LawTable] = Field(default_factory=dict)


class GasTable(Table):
    """Where combustion pushes the head, for one fastener."""

    inner_diameter: PositiveLength
    outer_diameter: PositiveLength
    force_area: Annotated[Area, Field(gt=0)] | None = Field(
        None, description="bore area per fastener; default: the ring's own"
    )


class TighteningTable(Table):
    """How the fastener is tightened."""

    method: Literal["torque", "preload"]
    torque: Annotated[Torque, Field(gt=0)] | None = None
    preload: Annotated[Force, Field(gt=0)] | None = None
    thread_friction: Annotated[float, Field(gt=0, le=1)] = 0.12
    bearing_friction: Annotated[float, Field(gt=0, le=1)] = 0.12
    scatter: str | Annotated[float, Field(ge=1, le=10)] = Field(
        "torque wrench, friction class B",
        description="class of VDI 2230-1 table A8, or the factor alpha_A itself",
    )
    embedding: ZeroOrLength | None = Field(None, description="f_Z; default from `roughness` by VDI 2230-1 table 5")
    roughness: Literal["Rz below 10 um", "Rz 10 to 40 um", "Rz 40 to 160 um"] = "Rz 10 to 40 um"


class TemperaturesTable(Table):
    """Temperature of each part; the washer follows the head and the nut the fastener unless stated."""

    fastener: RealTemperature
    head: RealTemperature
    block: RealTemperature
    nut: RealTemperature | None = None
    washer: RealTemperature | None = None
    gasket: RealTemperature | None = Field(None, description="default: mean of head and block")


class LoadCaseTable(Table):
    """One state, in the order in which the joint meets them."""

    name: str
    kind: Literal["assembly", "hot", "firing", "cold"]
    temperature: RealTemperature | None = Field(None, description="of all parts; default 20 degC")
    temperatures: TemperaturesTable | None = None
    gas_pressure: Annotated[Pressure, Field(ge=0)] = 0.0
    ring_force: Annotated[Force, Field(ge=0)] | None = Field(
        None, description="separating force on the gas ring, stated directly"
    )


class RequirementsTable(Table):
    """Least values that the verdict holds the joint to."""

    sealing_ratio: Annotated[float, Field(ge=0, le=100)] = Field(
        1.5, description="sealing-line pressure over gas pressure"
    )
    sealing_minimum: Annotated[Pressure, Field(ge=0)] = Field(5.0, description="sealing-line pressure in every case")
    separation_factor: Factor = Field(1.2, description="on combustion pressure before the sealing line falls short")
    yield_factor: Factor = 1.05
    fatigue_factor: Factor = 1.2
    bearing_factor: Factor = 1.0
    stripping_factor: Factor = 1.25
    clamp_kept: Fraction = Field(0.8, description="clamp after cooling over clamp at assembly")


class MeshTable(Table):
    """Mesh of the single fastener."""

    element_size: PositiveLength | None = Field(
        None, description="at edges and interfaces; default: a twentieth of the thread diameter"
    )
    growth: Annotated[float, Field(gt=1, le=3)] = 1.35
    largest: PositiveLength | None = Field(None, description="default: 0.6 of the thread diameter")


class EstimateTable(Table):
    """Choices of the closed-form estimate."""

    load_introduction_factor: Fraction | None = Field(None, description="n; default from VDI 2230-1 table 2")


class JointFile(Table):
    """A joint file: TOML, every quantity with its unit as text or bare in the internal unit."""

    name: str
    note: str = ""
    fastener: FastenerTable
    nut: SeatTable | None = None
    bolt_head: SeatTable | None = None
    washer: WasherTable | None = None
    head: HeadTable
    gasket: GasketTable
    block: BlockTable
    gas: GasTable | None = None
    tightening: TighteningTable
    load_cases: Annotated[list[LoadCaseTable], Field(min_length=1)]
    requirements: RequirementsTable = Field(default_factory=RequirementsTable)
    mesh: MeshTable = Field(default_factory=MeshTable)
    estimate: EstimateTable = Field(default_factory=EstimateTable)
