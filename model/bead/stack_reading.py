"""The layers of a bead file: each bead by itself, or all of them in contact."""

from __future__ import annotations

import numpy as np

from headjoint.model.base.errors import InputError
from headjoint.model.bead.bead import Layer, Stack
from headjoint.model.bead.profile import Profile
from headjoint.model.files.bead_file import BeadFile, StackTable

MOST_IN_CONTACT = 4  # layers, for stiffness grows with their square


def stack_of(stated: BeadFile, profile: Profile) -> Stack:
    """Return the layers that checked tables state, beads of `profile`.

    Raises
    ------
    InputError : naming field, value and what is allowed.
    """
    table = stated.stack
    if table is None:
        return Stack()
    names = tuple(table.layers)
    flats = names.count("flat")
    beads = len(names) - flats
    if not beads:
        raise InputError("has no beaded layer", field="stack.layers")
    if flats and table.flat_thickness is None:
        raise InputError("is required where a layer is flat", field="stack.flat_thickness")
    thickness = float(table.flat_thickness or 0.0)
    turned = [name for name in names if name in ("bead up", "bead down")]
    if turned and "bead" in names:
        raise InputError("a bead by itself does not lie beside layers in contact; call each bead up or down",
                         field="stack.layers", value="bead")  # fmt: skip
    if not turned:
        for name in ("heights", "offsets"):
            if getattr(table, name) is not None:
                raise InputError("is of layers in contact, whose beads are called bead up or bead down",
                                 field=f"stack.{name}")  # fmt: skip
        return Stack(beads, flats, thickness, names)
    _check_laid(stated, names)
    laid = _layers(table, names, profile.height, float(stated.bead.legs), stated.bead.ends == "held")
    across = float(stated.sheet.thickness) if stated.sheet.kept == "normal" else 0.0
    return Stack(beads, flats, thickness, names, laid, free_height(laid, profile, across))


def _check_laid(stated: BeadFile, names: tuple[str, ...]) -> None:
    if len(names) > MOST_IN_CONTACT:
        raise InputError(f"of layers in contact there may be {MOST_IN_CONTACT}", field="stack.layers", value=len(names))
    if stated.bead.stamped:
        raise InputError("is of a bead by itself; layers in contact start free of stress", field="bead.stamped",
                         value=True)  # fmt: skip
    for name in ("height", "thickness"):
        if off := float(getattr(stated.tolerances, name)):
            raise InputError("is not followed through layers in contact; press the bead by itself for its range",
                             field=f"tolerances.{name}", value=off)  # fmt: skip


def _layers(table: StackTable, names: tuple[str, ...], height: float, legs: float, held: bool) -> tuple[Layer, ...]:
    beads = len(names) - names.count("flat")
    heights = [height] * beads if table.heights is None else [float(one) for one in table.heights]
    offsets = [0.0] * len(names) if table.offsets is None else [float(one) for one in table.offsets]
    for name, found, wanted in (("heights", heights, beads), ("offsets", offsets, len(names))):
        if len(found) != wanted:
            raise InputError(f"needs {wanted} entries, one for every {'bead' if name == 'heights' else 'layer'}",
                             field=f"stack.{name}", value=len(found))  # fmt: skip
    for number, one in enumerate(heights):
        if not 0.5 * height <= one <= height:
            raise InputError(
                f"must be between half of the bead's height and all of it, {height:g} mm: state the highest bead in "
                "`bead`", field=f"stack.heights[{number}]", value=one,
            )  # fmt: skip
    for number, one in enumerate(offsets):
        if abs(one) > legs:
            raise InputError(f"must be at most as far as the legs are long, {legs:g} mm",
                             field=f"stack.offsets[{number}]", value=one)  # fmt: skip
    if any(offsets) and not held:
        raise InputError(
            "needs `ends` of the bead that are held: layers askew with free ends turn until their edges touch",
            field="stack.offsets", value=max(offsets, key=abs),
        )  # fmt: skip
    left = iter(heights)
    return tuple(
        Layer(name, 0.0 if name == "flat" else next(left) / height, offset)
        for name, offset in zip(names, offsets, strict=True)
    )


def free_height(laid: tuple[Layer, ...], profile: Profile, across: float) -> float:
    """Return by how much layers stand higher than their sheets are thick together, mm, by their middle lines.

    A bead in another keeps off by its thickness straight up, which is a little more than that `across` itself (mm);
    nothing where the sheet is as thick straight up.
    """
    reach = profile.width
    x = np.linspace(-2.0 * reach, 2.0 * reach, 4001)
    below, start, most = np.zeros_like(x), 0.0, 0.0
    for number, layer in enumerate(laid):
        height, slope = profile.at(x - layer.offset)
        sign = {"bead up": layer.share, "bead down": -layer.share, "flat": 0.0}[layer.name]
        up = across * (np.sqrt(1.0 + (sign * slope) ** 2) - 1.0)
        line = sign * height
        start = -line.min() if number == 0 else float((below - line).max())
        below = start + line + up
        most = max(most, float((start + line).max()))
    return most
