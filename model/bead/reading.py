"""From a bead file to a `Bead`: read, check, fill in every default, one clear message on a mistake."""

from __future__ import annotations

import os
from pathlib import Path as FilePath

import numpy as np

from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.csv_lines import columns_of, text_of
from headjoint.model.base.errors import InputError
from headjoint.model.base.named_files import named_beside
from headjoint.model.base.units import Length
from headjoint.model.bead.bead import Bead, Path, Stack, Stopper
from headjoint.model.bead.hardening import SpringSteel
from headjoint.model.bead.measured_sheet import MeasuredSheet, sheet_of
from headjoint.model.bead.profile import Profile, arcs, cosine, through
from headjoint.model.bead.ring_reading import ring_of
from headjoint.model.bead.shared_reading import check_elements, path_of, stated_steel, tolerances_of
from headjoint.model.bead.stack_reading import stack_of
from headjoint.model.files.bead_file import BeadFile, PathTable, ProfileTable, StopperTable
from headjoint.model.files.kinds import BEAD, RING, SHEET, kind_of, refuse_other
from headjoint.model.files.measured_file import MeasuredFile
from headjoint.model.files.ring_file import RingFile
from headjoint.model.reading.reading import checked, parse_toml, read_text

LARGEST_FILE = 500_000  # bytes of a profile
DEEPEST, STROKE = 0.9, 0.02  # of the height, unless stated
# times the sheet's half width, from which a full bead's ring is pressed straight: hoop stress alone holds it in its
# place, too little to find it by when all its touches slide; how far that is off is measured in tests/test_bead.py
GREAT = 100.0
ROOM = 20.0  # degC, at which beads are stamped
STEEPEST = 1.0  # height over width of one side; steeper is no bead that decks can press flat


def read_bead(path: str | os.PathLike[str]) -> Bead:
    """Read and check one bead file, or that of a solid ring.

    Raises
    ------
    InputError : naming file, field, value and what is allowed.
    """
    found = read_gasket(path)
    if isinstance(found, MeasuredSheet):
        raise InputError("states compression data of a sheet, and a bead or ring is wanted", file=FilePath(path).name)
    return found


def read_gasket(path: str | os.PathLike[str]) -> Bead | MeasuredSheet:
    """Read and check a file of a bead, a solid ring or a sheet of stated compression data; raises as `read_bead`."""
    path = FilePath(path)
    try:
        document = parse_toml(read_text(path))
        refuse_other(kind_of(document), (BEAD, RING, SHEET), "a bead file")
        stated = [name for name in ("bead", "ring", "measured") if name in document]
        if len(stated) > 1:
            raise InputError(f"stands beside [{stated[0]}]: a file states one gasket; keep one", field=stated[1])
        if "ring" in document:
            return ring_of(checked(document, RingFile))
        if "measured" in document:
            return sheet_of(checked(document, MeasuredFile), path.parent)
        return bead_of(checked(document, BeadFile), path.parent)
    except InputError as error:
        error.file = error.file or path.name
        raise


def bead_of(stated: BeadFile, folder: FilePath) -> Bead:
    """Return the bead that checked tables state; a profile that they name lies in `folder`."""
    profile = _profile(stated.bead, folder)
    thickness = float(stated.sheet.thickness)
    _check_shape(profile, thickness, stated)
    stack = stack_of(stated, profile)
    free = stack.free if stack.laid else profile.height
    stopper = None if stated.stopper is None else _stopper(stated.stopper, free, stack, thickness)
    temperatures = sorted({float(one) for one in stated.path.temperatures})
    steels = tuple(
        (one, stated_steel(stated.sheet.material, one, len(temperatures) > 1, "sheet.material")) for one in temperatures
    )
    ends, path = stated.bead.ends, _path(stated.path, free, stopper)
    ring = None if stated.bead.ring_radius is None else float(stated.bead.ring_radius)
    great = ring is not None and _is_great(ring, profile, stated)
    size = float(stated.mesh.size or thickness / (3.0 if stack.laid else 4.0))
    length = profile.width + 2.0 * float(stated.bead.legs)
    layers = max(len(stack.laid), 1)
    check_elements(length / size * stated.mesh.through * layers, f"a sheet {length:g} mm wide")
    return Bead(
        name=stated.name,
        note=stated.note,
        profile=profile,
        thickness=thickness,
        kept=stated.sheet.kept,
        legs=float(stated.bead.legs),
        held=(ends in ("held", "inner held"), ends in ("held", "outer held")),
        ring=None if great else ring,
        steels=steels,
        friction=stated.decks.friction,
        coating=_coating(stated),
        stack=stack,
        stopper=stopper,
        path=path,
        zone_width=float(stated.zone_width or profile.width),
        through=stated.mesh.through,
        size=size,
        tolerances=tolerances_of(stated.tolerances, profile.height, thickness, path.deepest),
        stamped_in=_stamped_in(stated),
        great_ring=ring if great else None,
    )


def _is_great(ring: float, profile: Profile, stated: BeadFile) -> bool:
    """Whether a ring of free ends is so great that it is pressed as a straight bead."""
    half = profile.width / 2.0 + float(stated.bead.legs)
    return profile.kind == "full" and stated.bead.ends == "free" and ring >= GREAT * half


def _profile(stated: ProfileTable, folder: FilePath) -> Profile:
    given = [name for name in ("height", "width") if getattr(stated, name) is not None]
    radii = [name for name in ("foot_radius", "crown_radius") if getattr(stated, name) is not None]
    if stated.points is not None:
        if given or radii:
            raise InputError("belongs to a bead without `points`; keep one of them", field=f"bead.{(given + radii)[0]}")
        x, y = _points(named_beside(folder, stated.points, "bead.points"), stated.points)
        return through(stated.kind, x, y)
    for name in ("height", "width"):
        if name not in given:
            raise InputError("is required but missing; or state `points`", field=f"bead.{name}")
    assert stated.height is not None
    assert stated.width is not None
    _check_steepness(stated.kind, float(stated.height), float(stated.width))
    if not radii:
        return cosine(stated.kind, float(stated.height), float(stated.width))
    if len(radii) == 1:
        missing = ({"foot_radius", "crown_radius"} - set(radii)).pop()
        raise InputError("is needed beside the other radius; leave both out for a cosine", field=f"bead.{missing}")
    assert stated.foot_radius is not None
    assert stated.crown_radius is not None
    return arcs(
        stated.kind, float(stated.height), float(stated.width), float(stated.foot_radius), float(stated.crown_radius)
    )


def _points(path: FilePath, file: str) -> tuple[FloatArray, FloatArray]:
    """Return places and heights (mm) from a CSV table."""
    if not path.is_file():
        raise InputError("no such file beside the bead file", field="bead.points", value=file)
    try:
        text = text_of(path, LARGEST_FILE, "a profile")
        wanted = "two columns, 'x [mm]' and 'y [mm]', or in another unit of length"
        x, y = columns_of(text, {"x": Length, "y": Length}, wanted)
    except InputError as error:
        error.file = file
        raise
    return np.array(x), np.array(y)


def _check_steepness(kind: str, height: float, width: float) -> None:
    side = width / 2.0 if kind == "full" else width
    if height > STEEPEST * side:
        raise InputError(
            f"is more than one side is wide, {side:g} mm: decks would fold such a sheet, not flatten it",
            field="bead.height",
            value=height,
        )


def _check_shape(profile: Profile, thickness: float, stated: BeadFile) -> None:
    _check_steepness(profile.kind, profile.height, profile.width)
    bend = np.gradient(profile.slopes, profile.rows[0]) / (1.0 + profile.slopes**2) ** 1.5
    radius = 1.0 / max(float(np.percentile(np.abs(bend), 99.5)), 1e-12)
    if radius < 0.55 * thickness:
        raise InputError(
            f"the middle line bends to a radius of {radius:.3g} mm, and a sheet {thickness:g} mm thick needs more than "
            f"{0.55 * thickness:.3g} mm, else its layers overlap",
            field="bead.crown_radius" if stated.bead.crown_radius is not None else "bead.height",
        )
    if stated.bead.ring_radius is not None:
        least = profile.width / 2.0 + float(stated.bead.legs)
        if float(stated.bead.ring_radius) <= least:
            raise InputError(f"must be more than {least:g} mm, for width and legs reach to the axis",
                             field="bead.ring_radius", value=float(stated.bead.ring_radius))  # fmt: skip


def _stamped_in(stated: BeadFile) -> SpringSteel | None:
    """Return the steel as it is stamped, at room temperature; None where the bead is not."""
    if not stated.bead.stamped:
        return None
    if stated.bead.kind == "half" and stated.bead.ends == "free":
        raise InputError("of a half bead needs `ends` of which one is held at least: that end stays upright in its "
                         "place in the dies, and nothing tells how a free one would turn",
                         field="bead.stamped", value=True)  # fmt: skip
    if stated.sheet.kept == "vertical":
        raise InputError("of a stamped sheet is that of the flat one, across itself; leave it out", field="sheet.kept",
                         value=stated.sheet.kept)  # fmt: skip
    steel = stated_steel(stated.sheet.material, ROOM, False, "sheet.material")
    if steel.yield_strength is None:
        raise InputError("needs a material that yields: one that stays elastic springs back flat",
                         field="bead.stamped", value=True)  # fmt: skip
    return steel


def _stopper(stated: StopperTable, free: float, stack: Stack, thickness: float) -> Stopper:
    """Return the shim or fold that ends the closure of a bead, or of layers in contact."""
    if not stated.fold and stated.thickness is None:
        raise InputError("state its thickness, or fold = true", field="stopper")
    shim = thickness if stated.thickness is None else float(stated.thickness)
    if stated.fold and shim < thickness:
        raise InputError(
            f"must be at least the sheet's own, {thickness:g} mm, of a fold: what it stands higher than one sheet",
            field="stopper.thickness", value=shim,
        )  # fmt: skip
    layers = stack.beads if stack.laid else 1
    if layers * shim >= free:
        raise InputError(
            f"must be thinner than the bead is high, {free / layers:g} mm: a thicker stopper never lets the bead touch",
            field="stopper.fold" if stated.fold else "stopper.thickness",
            value=shim,
        )
    return Stopper(free - layers * shim, float(stated.width), shim, stated.fold)


def _coating(stated: BeadFile) -> float | None:
    coating = stated.coating
    if coating is None:
        return None
    if (coating.modulus is None) == (coating.stiffness is None):
        raise InputError("state either modulus or stiffness of the coating", field="coating")
    if coating.stiffness is not None:
        return float(coating.stiffness)
    assert coating.modulus is not None
    return float(coating.modulus) / float(coating.thickness)


def _path(stated: PathTable, height: float, stopper: Stopper | None) -> Path:
    if stopper is None:
        return path_of(stated, DEEPEST * height, STROKE * height, height, "the bead is high")
    return path_of(stated, stopper.closure, STROKE * height, stopper.closure, "the stopper leaves")
