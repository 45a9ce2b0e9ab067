"""What a file may say of a test rig: ram, stack, base, gauges, indicator. The [rig] table of a rig or joint file."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, field

from headjoint.model.base.units import (
    Length,
    PositiveAngle,
    PositiveArea,
    PositiveForce,
    PositiveLength,
    PositiveLineStiffness,
    PositivePressure,
    PositiveTorque,
    Pressure,
    Temperature,
    ZeroOrTorque,
)
from headjoint.model.files.table import Table, bare

Share = Annotated[float, Meta(ge=0, le=0.5)]


class RamTable(Table, kw_only=True):
    """The hollow ram that the fastener passes through and whose pressure tells the clamp."""

    area: Annotated[PositiveArea, Meta(description="effective area: force = area x pressure")]
    area_accuracy: Annotated[Share, Meta(description="limit of error of the area, as a share; not sharper than you know it")] = 0.005
    seal_friction: Annotated[Share, Meta(description="limit of what the seals carry, as a share of the force: pressure reads low while clamp rises, high while it falls")] = 0.005
    stiffness: Annotated[PositiveLineStiffness, Meta(description="of the ram with its oil, closed, force per shortening")]
    stiffness_accuracy: Annotated[Share, Meta(description="limit of error, as a share")] = 0.2
    height: PositiveLength
    outer_diameter: PositiveLength
    hole_diameter: PositiveLength


class StackTable(Table, kw_only=True):
    """What else is squeezed besides ram and washer: plates, sleeves, a washer stack."""

    height: PositiveLength
    outer_diameter: PositiveLength
    hole_diameter: PositiveLength
    material: str = "EN 1.7225"
    stiffness: Annotated[PositiveLineStiffness | None, Meta(description="measured; default: from its shape")] = None
    stiffness_accuracy: Annotated[Share, Meta(description="limit of error, as a share")] = 0.2


class BaseTable(Table, kw_only=True):
    """What the lower thread is screwed into."""

    height: PositiveLength
    outer_diameter: PositiveLength
    material: str = "EN 1.7225"


class PressureGaugeTable(Table, kw_only=True):
    """The ram's pressure gauge. `accuracy` is its class: limit of error as a share of the range."""

    range: PositivePressure
    accuracy: Share = 0.016


class ForceGaugeTable(Table, kw_only=True):
    """A load cell in place of the pressure gauge."""

    range: PositiveForce
    accuracy: Annotated[Share, Meta(description="limit of error, as a share of the range")] = 0.005


class TorqueGaugeTable(Table, kw_only=True):
    """The torque wrench."""

    range: PositiveTorque
    accuracy: Annotated[Share, Meta(description="limit of error, as a share of the reading")] = 0.04
    zero: Annotated[ZeroOrTorque, Meta(description="limit of its error at no torque")] = bare(0.0)


class AngleGaugeTable(Table, kw_only=True):
    """The angle gauge at the nut or bolt head."""

    accuracy: Annotated[PositiveAngle, Meta(description="limit of error, slack included")] = bare(0.0175)


class StretchGaugeTable(Table, kw_only=True):
    """The dial indicator."""

    range: PositiveLength = bare(10.0)
    accuracy: Annotated[Share, Meta(description="limit of error, as a share of the travel")] = 0.01
    position: Annotated[Literal["both ends", "end to base"], Meta(description="'both ends' reads the fastener's own stretch, 'end to base' also what its lower thread gives")] = "both ends"


class TemperatureGaugeTable(Table, kw_only=True):
    """The thermometer."""

    accuracy: Annotated[float, Meta(ge=0, le=50, description="limit of error, K")] = 1.0


class GaugesTable(Table, kw_only=True):
    """The gauges; those that the log does not use may be left out."""

    pressure: PressureGaugeTable | None = None
    force: ForceGaugeTable | None = None
    torque: TorqueGaugeTable | None = None
    angle: AngleGaugeTable = field(default_factory=AngleGaugeTable)
    stretch: StretchGaugeTable = field(default_factory=StretchGaugeTable)
    temperature: TemperatureGaugeTable = field(default_factory=TemperatureGaugeTable)


class BearingTable(Table, kw_only=True):
    """A thrust bearing of known friction under nut or bolt head, which lets torque tell the thread's friction."""

    friction: Annotated[float, Meta(ge=0, le=0.2)]
    accuracy: Annotated[float, Meta(ge=0, le=0.2, description="limit of error, in friction coefficient")]
    mean_diameter: PositiveLength


class RigGasketTable(Table, kw_only=True):
    """A gasket in the stack."""

    law: Annotated[str | None, Meta(description="named law of the library; or closure and pressure of your own")] = None
    closure: list[Length] | None = None
    pressure: list[Pressure] | None = None
    area: Annotated[PositiveArea, Meta(description="that bears")]


class RigTable(Table, kw_only=True):
    """A hollow ram, what it squeezes, and the gauges."""

    lubricant: Annotated[str, Meta(description="on thread and bearing face, in your words, where the log does not say; a joint that states another is refused")] = ""
    ram: RamTable
    stack: StackTable
    base: BaseTable
    gauges: GaugesTable
    bearing: BearingTable | None = None
    gasket: Annotated[RigGasketTable | None, Meta(description="in the stack; default: none")] = None
    load: Annotated[PositiveForce | None, Meta(description="at which stretch and torque are reported; default: nine tenths of the greatest force of the log")] = None
    offset: Annotated[Annotated[float, Meta(gt=0, le=0.05)], Meta(description="of the offset yield, share of the offset length")] = 0.002
    offset_length: Annotated[PositiveLength | None, Meta(description="default: the free length between nut or bolt head and first engaged thread")] = None
    torsion_accuracy: Annotated[Share, Meta(description="limit of error of the fastener's stiffness in torsion, as a share")] = 0.05
    modulus_accuracy: Annotated[Share, Meta(description="limit of error of Young's modulus, as a share")] = 0.02
    temperature: Annotated[Temperature, Meta(description="of the rig where the log has none")] = bare(20.0)
