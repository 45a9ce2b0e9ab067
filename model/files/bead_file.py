"""What a file may say of a beaded gasket sheet: profile, steel, layers, decks, and how it is pressed."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, field

from headjoint.model.base.units import (
    Length,
    PositiveLength,
    PositivePressure,
    PositiveStiffnessPerArea,
    Pressure,
    Temperature,
    ZeroOrLength,
    ZeroOrPressure,
)
from headjoint.model.files.table import Table, bare


class ProfileTable(Table, kw_only=True):
    """The bead's shape, of its middle line: what a micrometer and a height gauge tell."""

    kind: Annotated[Literal["full", "half"], Meta(description="a full bead rises and falls, a half bead is a step")] = (
        "full"
    )
    height: Annotated[
        PositiveLength | None, Meta(description="free height of the sheet over a flat plate, less its thickness")
    ] = None
    width: Annotated[PositiveLength | None, Meta(description="from where the flat ends to where it begins again")] = (
        None
    )
    foot_radius: Annotated[
        ZeroOrLength | None, Meta(description="of the middle line at the lower end; both radii left out: a cosine")
    ] = None
    crown_radius: Annotated[ZeroOrLength | None, Meta(description="of the middle line at the upper end")] = None
    points: Annotated[
        str | None,
        Meta(
            description="CSV beside this file with columns 'x [mm]' and 'y [mm]' of the middle line, in place of height, width and radii"
        ),
    ] = None
    legs: Annotated[PositiveLength, Meta(description="flat sheet on either side of the width")]
    stamped: Annotated[
        bool,
        Meta(
            description="whether the bead is stamped from flat sheet first and keeps the stress and hardening of it; else it starts in its shape free of stress; a half bead needs an end that is held"
        ),
    ] = False
    ends: Annotated[
        Literal["free", "held", "inner held", "outer held"],
        Meta(
            description="of the flat: free to slide and turn, or held in place and upright as where the sheet goes on"
        ),
    ] = "free"
    ring_radius: Annotated[
        PositiveLength | None,
        Meta(
            description="of the ring that the bead's middle forms; left out: straight, as a great ring of free ends counts"
        ),
    ] = None


class BackstressTable(Table, kw_only=True):
    """A backstress that grows by modulus C and fades by rate g; it saturates at C/g, with g = 0 never."""

    modulus: PositivePressure
    fading: Annotated[float, Meta(ge=0, le=1e5)] = 0.0


class HardeningTable(Table, kw_only=True):
    """A steel in figures. First tension at plastic strain p: yield_strength + modulus p + saturation (1 - exp(-rate p)) + sum C/g (1 - exp(-g p))."""

    E: PositivePressure
    nu: Annotated[float, Meta(ge=0, lt=0.5)] = 0.3
    yield_strength: Annotated[
        PositivePressure | None, Meta(description="where plastic flow begins; left out with `elastic`")
    ] = None
    elastic: Annotated[bool, Meta(description="stays elastic whatever comes")] = False
    modulus: Annotated[ZeroOrPressure, Meta(description="linear isotropic hardening, per unit of plastic strain")] = (
        bare(0.0)
    )
    saturation: Annotated[Pressure, Meta(description="isotropic hardening in the end; negative: softens")] = bare(0.0)
    rate: Annotated[float, Meta(ge=0, le=1e5, description="of the isotropic hardening, per unit of plastic strain")] = (
        0.0
    )
    kinematic: Annotated[
        list[BackstressTable], Meta(description="backstresses, which make for the Bauschinger effect", max_length=6)
    ] = field(default_factory=list)
    perfectly_plastic: Annotated[bool, Meta(description="does not harden at all; else hardening must be stated")] = (
        False
    )
    tensile_strength: Annotated[PositivePressure | None, Meta(description="R_m, for the fatigue life")] = None


class SheetTable(Table, kw_only=True):
    """The sheet that the bead is pressed into."""

    thickness: PositiveLength
    kept: Annotated[
        Literal["normal", "vertical"], Meta(description="thickness is the same across the sheet, or straight up")
    ] = "normal"
    material: Annotated[
        str | HardeningTable, Meta(description="designation with temper, as EN 1.4310 +C1300, or figures")
    ]


class CoatingTable(Table, kw_only=True):
    """A coating on both faces: a spring between metal and whatever it touches."""

    thickness: PositiveLength
    modulus: Annotated[PositivePressure | None, Meta(description="of the bonded film across its thickness")] = None
    stiffness: Annotated[PositiveStiffnessPerArea | None, Meta(description="in place of the modulus")] = None


class StopperTable(Table, kw_only=True):
    """A shim or fold beside the bead that ends its closure."""

    thickness: Annotated[
        PositiveLength | None, Meta(description="added to the sheet's own: what is left of the bead's height")
    ] = None
    fold: Annotated[
        bool,
        Meta(
            description="the sheet's own edge folded over, solid and as thick as the sheet unless `thickness` says by how "
            "much it was measured to stand higher; its bend is not followed"
        ),
    ] = False
    width: PositiveLength


class StackTable(Table, kw_only=True):
    """Layers one upon another, from below."""

    layers: Annotated[
        list[Literal["bead", "flat", "bead up", "bead down"]],
        Meta(
            min_length=1,
            max_length=9,
            description="beads by themselves, each pressed as between flat faces, one for all; or bead up and bead down, by where the crown points: then all layers are pressed in contact with each other",
        ),
    ]
    flat_thickness: PositiveLength | None = None
    heights: Annotated[
        list[PositiveLength] | None,
        Meta(description="of layers in contact: height of every beaded one, from below; default that of the bead"),
    ] = None
    offsets: Annotated[
        list[Length] | None,
        Meta(description="of layers in contact: how far each is shifted to the side, from below; default not at all"),
    ] = None


class PathTable(Table, kw_only=True):
    """How far each bead is closed, where it is opened on the way, and the small strokes of the engine."""

    deepest: Annotated[
        PositiveLength | None,
        Meta(description="greatest closure of a bead; default 0.9 of its height, or what the stopper leaves"),
    ] = None
    open_from: Annotated[
        list[PositiveLength] | None,
        Meta(
            description="closures from which it is opened wholly; default 0.12, 0.25, 0.35, 0.45, 0.55, 0.65, 0.75, 0.85 and 0.925 of the deepest, of a solid ring 0.01, 0.02, 0.06, 0.15, 0.4 and 0.7"
        ),
    ] = None
    stroke: Annotated[
        PositiveLength | None,
        Meta(description="opening and closing by gas, at the deepest closure; default a fiftieth of the height"),
    ] = None
    cycles: Annotated[int, Meta(ge=1, le=50, description="of that stroke that are run")] = 4
    temperatures: Annotated[
        list[Temperature], Meta(min_length=1, max_length=4, description="at each the bead is pressed anew")
    ] = field(default_factory=lambda: [Temperature(20.0)])


class MeshTable(Table, kw_only=True):
    """How fine the sheet is divided."""

    through: Annotated[int, Meta(ge=2, le=10, description="elements across the thickness")] = 4
    size: Annotated[
        PositiveLength | None,
        Meta(
            description="of elements along the sheet; default a quarter of its thickness, a third of layers in contact"
        ),
    ] = None


class TolerancesTable(Table, kw_only=True):
    """How far single beads are off, plus-minus."""

    height: ZeroOrLength = bare(0.0)
    thickness: ZeroOrLength = bare(0.0)


class DecksTable(Table, kw_only=True):
    """What the sheet lies between."""

    friction: Annotated[float, Meta(ge=0, le=1)] = 0.1


class BeadFile(Table, kw_only=True):
    """A bead file."""

    name: str
    note: str = ""
    bead: ProfileTable
    sheet: SheetTable
    coating: CoatingTable | None = None
    decks: DecksTable = field(default_factory=DecksTable)
    stack: StackTable | None = None
    stopper: StopperTable | None = None
    tolerances: TolerancesTable = field(default_factory=TolerancesTable)
    path: PathTable = field(default_factory=PathTable)
    zone_width: Annotated[
        PositiveLength | None,
        Meta(description="width over which a joint's zone smears the line load; default the bead's width"),
    ] = None
    mesh: MeshTable = field(default_factory=MeshTable)
