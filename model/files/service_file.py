"""What a joint file may say of service: [[history]], [ageing], how the fastener flows, how the gasket creeps."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from msgspec import Meta

from headjoint.model.base.units import (
    GasPressure,
    PositiveAngle,
    PositiveForce,
    PositiveLength,
    PositivePressure,
    PositiveTime,
    PositiveTorque,
    Quantity,
    Temperature,
    ZeroOrEnergy,
    ZeroOrForce,
    ZeroOrLength,
    ZeroOrTime,
)
from headjoint.model.files.table import Table, bare

Share = Annotated[float, Meta(ge=0, le=1)]
Loss = Annotated[float, Meta(ge=0, le=10)]
Friction = Annotated[float, Meta(gt=0, le=1)]
PlasticStrain = Annotated[float, Meta(ge=0, lt=1)]
Number = Annotated[float, Meta(ge=0, le=1e12)]
Text = str | None


class QuantityStages:
    """One quantity, or a list of them taken one after the other."""

    each: type[Quantity]

    def __init__(self, values: tuple[float, ...]) -> None:
        self.values = values

    @classmethod
    def read(cls, value: object) -> Self:
        """Return the stages that `value` states; ValueError with a sentence for the user otherwise."""
        stated = value if isinstance(value, list) else [value]
        if not stated:
            raise ValueError("needs at least one stage")
        return cls(tuple(float(cls.each.read(one)) for one in stated))

    @classmethod
    def schema(cls) -> dict[str, Any]:
        """Return the JSON schema."""
        return {"anyOf": [cls.each.schema(), {"type": "array", "items": cls.each.schema(), "minItems": 1}]}


class TorqueStages(QuantityStages):
    """Torques."""

    each = PositiveTorque


class AngleStages(QuantityStages):
    """Angles."""

    each = PositiveAngle


class FlowTable(Table, kw_only=True):
    """How the fastener yields: by its proof stress, ultimate strength and elongation, or a measured curve."""

    elongation: Annotated[
        Annotated[float, Meta(gt=0, lt=1)] | None,
        Meta(description="A after fracture, as a fraction; half of it is taken as uniform"),
    ] = None
    uniform_elongation: Annotated[
        Annotated[float, Meta(gt=0.002, lt=1)] | None, Meta(description="A_g, plastic strain at which necking begins")
    ] = None
    plastic_strain: Annotated[
        list[PlasticStrain] | None,
        Meta(description="measured curve at 20 degC: plastic strains from 0 up, the last one where necking begins"),
    ] = None
    stress: Annotated[
        list[PositivePressure] | None, Meta(description="measured curve: engineering stress at each plastic strain")
    ] = None
    temperature: Annotated[
        list[Temperature] | None, Meta(description="at which `hot` is given, from 20 degC up; needs `hot`")
    ] = None
    hot: Annotated[
        list[Share] | None,
        Meta(
            description="strength at each `temperature` over that at 20 degC, as a tensile test of minutes reads it "
            "(short-time); in place of the fall of class or material"
        ),
    ] = None


class RelaxationTable(Table, kw_only=True):
    """How the fastener's stress fades: EN 1992-1-1 eq. (3.28) to (3.30), class 3 unless stated."""

    loss_1000h: Annotated[
        Annotated[float, Meta(ge=0, le=50)],
        Meta(description="rho_1000 of the formula, %, which gives about half of it at 70 % of R_m; 0 for none"),
    ] = 4.0
    A: Annotated[float, Meta(ge=0, le=100)] = 1.98
    k: Annotated[float, Meta(ge=0, le=30)] = 8.0
    activation_energy: Annotated[ZeroOrEnergy, Meta(description="of the shift of time with temperature")] = bare(40e3)


class CreepTable(Table, kw_only=True):
    """How a gasket law goes on setting with time."""

    kind: Annotated[
        Literal["logarithmic", "power"], Meta(description="set grows with the logarithm, or a power, of time")
    ] = "logarithmic"
    temperature: Annotated[
        list[Temperature] | None,
        Meta(description="at which `loss` is given; left out for one loss at all temperatures"),
    ] = None
    loss: Annotated[
        list[Loss],
        Meta(
            min_length=1,
            description="share of pressure lost at fixed closure, to first order: per tenfold time (logarithmic), within "
            "`onset` (power)",
        ),
    ]
    onset: Annotated[PositiveTime, Meta(description="time scale; logarithmic: before it little happens")] = bare(60.0)
    exponent: Annotated[Annotated[float, Meta(gt=0, lt=1)] | None, Meta(description="of time, for kind 'power'")] = None
    activation_energy: Annotated[
        ZeroOrEnergy, Meta(description="of an Arrhenius shift of time from 20 degC; 0 leaves temperature to the table")
    ] = bare(0.0)


class AgeingTable(Table, kw_only=True):
    """What settles and slips, besides gasket and fastener; the defaults are common practice, no source, unless said."""

    embedding_first: Annotated[Share, Meta(description="share of f_Z lost as the wrench lets go")] = 0.5
    embedding_time: Annotated[
        PositiveTime,
        Meta(description="over which the rest follows with the logarithm of time; the first heat completes it"),
    ] = bare(86400.0)
    embedding_again: Annotated[Share, Meta(description="share of f_Z that comes anew after loosening")] = 0.3
    torsion_left: Annotated[
        Share, Meta(description="k_tau, share of tightening torsion that stays (VDI 2230-1: 0.5)")
    ] = 0.5
    breakaway: Annotated[
        Annotated[float, Meta(ge=1, le=5)], Meta(description="static over sliding friction of a nut that has stood")
    ] = 1.15
    dry_friction: Annotated[
        Friction, Meta(description="of thread and bearing face without lubricant, for the comparison")
    ] = 0.16
    block_friction: Annotated[
        Friction | None, Meta(description="of a stud's thread in the block; default: [tightening] thread_friction")
    ] = None
    seating: Annotated[
        ZeroOrLength, Meta(description="by which a nut run down by hand sinks in when a tensioner lets go")
    ] = bare(0.01)
    bearing_set: Annotated[
        ZeroOrLength | None,
        Meta(
            description="per tenfold time of the face under nut or washer at its limiting pressure; default by the head's material"
        ),
    ] = None
    permanent_limit: Annotated[
        Annotated[float, Meta(gt=0, lt=0.5)],
        Meta(description="plastic strain of the weakest length up to which a fastener is used again"),
    ] = 0.01


class StepTemperatures(Table, kw_only=True):
    """Temperature of each part in a step; the rest as in load cases."""

    fastener: Temperature
    head: Temperature
    block: Temperature
    nut: Temperature | None = None
    washer: Temperature | None = None
    gasket: Temperature | None = None


class WaysTable(Table, kw_only=True):
    """What any way to tighten takes; [tightening] and the steps of a service share these keys."""

    torque: Annotated[TorqueStages | None, Meta(description="one torque, or stages of it")] = None
    angle: Annotated[
        AngleStages | None, Meta(description="one angle, or stages of it, after the torque or from snug")
    ] = None
    snug_torque: Annotated[PositiveTorque | None, Meta(description="at which an angle or a yield slope starts")] = None
    snug_force: Annotated[
        ZeroOrForce | None,
        Meta(
            description="in its place; default of the two: a tenth of the force at yield (common practice, no source)"
        ),
    ] = None
    yield_slope: Annotated[
        Annotated[float, Meta(gt=0, lt=1)] | None,
        Meta(
            description="after the torque, or from snug, turn on until the torque-angle slope has fallen to this share of "
            "its steepest"
        ),
    ] = None
    stretch: Annotated[PositiveLength | None, Meta(description="tighten until the fastener is this much longer")] = None
    pull: Annotated[
        PositiveForce | None, Meta(description="pull with a hydraulic tensioner, run the nut down, let go")
    ] = None
    preload: Annotated[PositiveForce | None, Meta(description="reached by whatever means; counts as turned")] = None
    twisted: Annotated[
        bool | None,
        Meta(description="with `preload`: false where the fastener is pulled, so that no torsion is left in it"),
    ] = None


class TightenTable(WaysTable, kw_only=True, tag_field="do", tag="tighten"):
    """Tighten a loose joint; without anything stated, as [tightening] says."""

    name: Text = None
    thread_friction: Friction | None = None
    bearing_friction: Friction | None = None


class ReuseTable(TightenTable, kw_only=True, tag_field="do", tag="reuse"):
    """Let the fastener go and tighten it again, strained as it is."""


class RetorqueTable(Table, kw_only=True, tag_field="do", tag="retorque"):
    """Turn a tight fastener on; without anything stated, to the torque of [tightening]."""

    name: Text = None
    torque: PositiveTorque | None = None
    angle: PositiveAngle | None = None
    thread_friction: Friction | None = None
    bearing_friction: Friction | None = None


class WaitTable(Table, kw_only=True, tag_field="do", tag="wait"):
    """Stand at assembly temperature."""

    name: Text = None
    duration: PositiveTime


class HeatStepTable(Table, kw_only=True, tag_field="do", tag="heat"):
    """Stand at the temperatures of a load case, or at those stated."""

    name: Text = None
    case: Annotated[Text, Meta(description="load case that gives the temperatures")] = None
    temperature: Temperature | None = None
    temperatures: StepTemperatures | None = None
    duration: ZeroOrTime = bare(0.0)


class RunTable(Table, kw_only=True, tag_field="do", tag="run"):
    """Run at load: temperatures and gas pressure of a firing load case, or those stated."""

    name: Text = None
    case: Annotated[Text, Meta(description="load case that gives temperatures and gas pressure")] = None
    temperature: Temperature | None = None
    temperatures: StepTemperatures | None = None
    gas_pressure: GasPressure | None = None
    duration: ZeroOrTime = bare(0.0)
    cycles: Annotated[Number, Meta(description="pressure cycles within the duration, for fatigue")] = 1.0


class CoolTable(Table, kw_only=True, tag_field="do", tag="cool"):
    """Cool down to the assembly temperature, or to the one stated."""

    name: Text = None
    temperature: Temperature | None = None
    duration: ZeroOrTime = bare(0.0)


class ColdStartTable(RunTable, kw_only=True, tag_field="do", tag="cold start"):
    """Fire a cold engine: the temperature stated, with gas."""


class LoosenTable(Table, kw_only=True, tag_field="do", tag="loosen"):
    """Let the fastener go."""

    name: Text = None


class ReplaceGasketTable(Table, kw_only=True, tag_field="do", tag="replace gasket"):
    """Put in a new gasket; the joint must be loose."""

    name: Text = None


class NewFastenerTable(Table, kw_only=True, tag_field="do", tag="new fastener"):
    """Put in a new fastener; the joint must be loose."""

    name: Text = None


RepeatedStep = WaitTable | HeatStepTable | RunTable | CoolTable | ColdStartTable | RetorqueTable


class RepeatTable(Table, kw_only=True, tag_field="do", tag="repeat"):
    """Steps that repeat a number of times."""

    name: Text = None
    times: Annotated[int, Meta(ge=1, le=1_000_000)]
    steps: Annotated[list[RepeatedStep], Meta(min_length=1)]


StepTable = (
    TightenTable
    | ReuseTable
    | RetorqueTable
    | WaitTable
    | HeatStepTable
    | RunTable
    | CoolTable
    | ColdStartTable
    | LoosenTable
    | ReplaceGasketTable
    | NewFastenerTable
    | RepeatTable
)
History = list[StepTable]
