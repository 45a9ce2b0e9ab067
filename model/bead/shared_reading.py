"""What files of beads and of solid rings state alike: metal, tolerances, the way they are pressed."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from headjoint.model.base.errors import InputError
from headjoint.model.bead.bead import Path
from headjoint.model.bead.hardening import AS_STATED, Backstress, SpringSteel
from headjoint.model.bead.steels import named_steel
from headjoint.model.files.bead_file import HardeningTable, PathTable, TolerancesTable

OPENED = (0.12, 0.25, 0.35, 0.45, 0.55, 0.65, 0.75, 0.85, 0.925)  # of the deepest closure, unless stated
MOST_OFF = 0.3  # tolerance over size
MOST_OPENINGS = 40  # each is pressed and let go by itself, and its curve is in the law and in the answer
NEAREST = 1e-3  # of the deepest closure, between openings: what lies nearer differs by what steps leave of error
SMALLEST = 1e-4  # of the deepest closure, of a stroke: the load of a smaller one changes by what rounding leaves
MOST_ELEMENTS = 6000  # some twenty times those of a bead as it is divided unless stated: minutes between two closures


def stated_steel(material: str | HardeningTable, temperature: float, several: bool, field: str) -> SpringSteel:
    """Return the metal that `field` of a file states, at a temperature (degC), one of `several`."""
    if isinstance(material, str):
        return named_steel(material, temperature, field)
    if several:
        raise InputError("a material in figures holds at one temperature; name a shipped one, or state one temperature",
                         field="path.temperatures")  # fmt: skip
    if material.elastic:
        if material.yield_strength is not None:
            raise InputError("leave it out of a material that is `elastic`", field=f"{field}.yield_strength")
        return SpringSteel(AS_STATED, float(material.E), material.nu, None, tensile_strength=_tensile(material))
    if material.yield_strength is None:
        raise InputError("is required but missing; a material that stays elastic says elastic = true",
                         field=f"{field}.yield_strength")  # fmt: skip
    return _hardening(material, field)


def _hardening(material: HardeningTable, field: str) -> SpringSteel:
    assert material.yield_strength is not None
    yields = float(material.yield_strength)
    backstresses = tuple(Backstress(float(one.modulus), one.fading) for one in material.kinematic)
    stated = bool(backstresses) or material.modulus > 0.0 or (material.saturation != 0.0 and material.rate > 0.0)
    if stated == material.perfectly_plastic:
        raise InputError(
            "has no hardening data; state `modulus`, `saturation` with `rate`, or `kinematic`, or say "
            "perfectly_plastic = true"
            if not stated
            else "is perfectly plastic and hardens, too; keep one",
            field=field,
        )
    if yields + min(0.0, float(material.saturation)) <= 0.0:
        raise InputError("softens the steel to nothing; must be more than minus the yield strength",
                         field=f"{field}.saturation", value=float(material.saturation))  # fmt: skip
    return SpringSteel(
        AS_STATED, float(material.E), material.nu, yields, float(material.saturation), material.rate,
        float(material.modulus), backstresses, tensile_strength=_tensile(material),
    )  # fmt: skip


def _tensile(material: HardeningTable) -> float | None:
    return None if material.tensile_strength is None else float(material.tensile_strength)


def tolerances_of(stated: TolerancesTable, height: float, thickness: float, deepest: float) -> tuple[float, float]:
    """Return tolerances (mm) of height and thickness, which are checked against both and the deepest closure."""
    found = float(stated.height), float(stated.thickness)
    for name, tolerance, size in zip(("height", "thickness"), found, (height, thickness), strict=True):
        if tolerance > MOST_OFF * size:
            raise InputError(f"must be at most {MOST_OFF * size:.4g} mm, {100 * MOST_OFF:.0f} % of it",
                             field=f"tolerances.{name}", value=tolerance)  # fmt: skip
    if found[0] >= deepest:
        raise InputError(
            f"must be less than the deepest closure, {deepest:g} mm: decks never touch a bead that is so much lower",
            field="tolerances.height",
            value=found[0],
        )
    return found


def check_elements(count: float, what: str) -> None:
    """Refuse a mesh of so many elements that nobody would wait for it; `what` (with its length) is divided."""
    if count > MOST_ELEMENTS:
        raise InputError(
            f"divides {what} into {count:.3g} elements, and {MOST_ELEMENTS} are followed at most: it is too fine for "
            "what is so long, or that is a slip of units",
            field="mesh.size",
        )


def path_of(
    stated: PathTable, deepest: float, stroke: float, most: float, what: str, opened_at: Sequence[float] = OPENED
) -> Path:
    """Return the way that is stated, deepest and stroke (mm) as given unless stated; `most` (mm) is all that `what`.

    opened_at : shares of the deepest closure from which it is opened, unless stated.
    """
    deepest = deepest if stated.deepest is None else float(stated.deepest)
    if deepest > most + 1e-12:
        raise InputError(f"must be at most {most:g} mm, all that {what}", field="path.deepest", value=deepest)
    opened = (
        tuple(float(one) for one in stated.open_from)
        if stated.open_from is not None
        else tuple(share * deepest for share in opened_at)
    )
    for number, closure in enumerate(opened):
        if closure >= deepest:
            raise InputError(f"must be less than the deepest closure, {deepest:g} mm, from which it is opened anyway",
                             field=f"path.open_from[{number}]", value=closure)  # fmt: skip
    opened = tuple(sorted(opened))
    _check_openings(opened, deepest)
    stroke = stroke if stated.stroke is None else float(stated.stroke)
    if stroke >= 0.5 * deepest:
        raise InputError(
            f"must be less than half the deepest closure, {deepest:g} mm", field="path.stroke", value=stroke
        )
    if stroke < SMALLEST * deepest:
        raise InputError(
            f"must be at least {SMALLEST * deepest:.3g} mm, a ten-thousandth of the deepest closure",
            field="path.stroke",
            value=stroke,
        )
    return Path(deepest, opened, stroke, stated.cycles)


def _check_openings(opened: Sequence[float], deepest: float) -> None:
    """Refuse too many of them, and two that nothing tells apart."""
    if len(opened) > MOST_OPENINGS:
        raise InputError(
            f"may have {MOST_OPENINGS} closures: from each the gasket is let go by itself, which takes as long as a "
            "loading, and ten of them tell its law",
            field="path.open_from",
            value=len(opened),
        )
    for before, after in pairwise((0.0, *opened, deepest)):
        if after - before < NEAREST * deepest:
            raise InputError(
                f"{before:g} mm and {after:g} mm differ by less than a thousandth of the deepest closure: keep one",
                field="path.open_from",
            )
