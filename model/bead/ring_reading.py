"""From the file of a solid ring to a `Bead` whose section is solid: read, check, fill in every default."""

from __future__ import annotations

from dataclasses import replace

from headjoint.model.base.errors import InputError
from headjoint.model.bead.bead import Bead, Stack
from headjoint.model.bead.shared_reading import check_elements, path_of, stated_steel, tolerances_of
from headjoint.model.bead.solid import Solid
from headjoint.model.files.ring_file import RingFile, RingTable, WireTable

DEEPEST, MOST, STROKE = 0.15, 0.5, 0.001  # of the height, unless stated; at most; unless stated
OPENED = (0.01, 0.02, 0.06, 0.15, 0.4, 0.7)  # of the deepest closure: a ring yields at once
ACROSS = 12  # elements over the height, unless stated
FEWEST = 4
THINNEST, THICKEST = 0.2, 0.8  # of the smaller side of a section, a wire in it


def ring_of(stated: RingFile) -> Bead:
    """Return the solid ring that checked tables state.

    Raises
    ------
    InputError : naming field, value and what is allowed.
    """
    solid, radius = _section(stated.ring), stated.ring.radius
    if radius is not None and float(radius) <= solid.width:
        raise InputError(f"must be more than its section is wide, {solid.width:g} mm", field="ring.radius",
                         value=float(radius))  # fmt: skip
    if float(stated.tolerances.thickness):
        raise InputError("is of a sheet; a ring has one of `height`", field="tolerances.thickness",
                         value=float(stated.tolerances.thickness))  # fmt: skip
    size = solid.height / ACROSS if stated.mesh.size is None else float(stated.mesh.size)
    if size > solid.height / FEWEST:
        raise InputError(f"must be at most a quarter of the height, {solid.height / FEWEST:.4g} mm", field="mesh.size",
                         value=size)  # fmt: skip
    check_elements(solid.width / size * solid.height / size, f"a section {solid.height:g} mm by {solid.width:g} mm")
    temperatures = sorted({float(one) for one in stated.path.temperatures})
    most = MOST * (solid.height - solid.core)
    what = "elements stand, half the height" + (" over and under the wire" if solid.core else "")
    path = path_of(stated.path, min(DEEPEST * solid.height, most), STROKE * solid.height, most, what, OPENED)
    return Bead(
        name=stated.name,
        note=stated.note,
        profile=solid,
        thickness=0.0,
        kept="normal",
        legs=0.0,
        held=(False, False),
        ring=None if radius is None else float(radius),
        steels=tuple(
            (one, stated_steel(stated.ring.material, one, len(temperatures) > 1, "ring.material"))
            for one in temperatures
        ),
        friction=stated.decks.friction,
        coating=None,
        stack=Stack(),
        stopper=None,
        path=path,
        zone_width=float(stated.zone_width or solid.width),
        through=0,
        size=size,
        tolerances=tolerances_of(stated.tolerances, solid.height, solid.height, path.deepest),
        cores=()
        if stated.ring.wire is None
        else tuple(
            stated_steel(stated.ring.wire.material, one, len(temperatures) > 1, "ring.wire.material")
            for one in temperatures
        ),
    )


def _section(stated: RingTable) -> Solid:
    height = float(stated.height)
    if stated.section == "round":
        if stated.width is not None:
            raise InputError("belongs to a rectangular section; the height of a round one is its diameter",
                             field="ring.width", value=float(stated.width))  # fmt: skip
        return _cored(Solid("round", height, height), stated.wire)
    if stated.width is None:
        raise InputError("is required but missing of a rectangular section", field="ring.width")
    return _cored(Solid("rectangular", height, float(stated.width)), stated.wire)


def _cored(solid: Solid, wire: WireTable | None) -> Solid:
    """Return a section with its wire, which must leave metal all around it and be worth dividing into elements."""
    if wire is None:
        return solid
    diameter, side = float(wire.diameter), min(solid.height, solid.width)
    if not THINNEST * side <= diameter <= THICKEST * side:
        raise InputError(
            f"must be {THINNEST * side:.4g} to {THICKEST * side:.4g} mm, {100 * THINNEST:.0f} to {100 * THICKEST:.0f} "
            "% of the smaller side of the section",
            field="ring.wire.diameter", value=diameter,
        )  # fmt: skip
    return replace(solid, core=diameter)
