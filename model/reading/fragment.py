"""Measured values carried into a joint: fragments that a file includes, checked against where they were measured."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

import msgspec

from headjoint.model.base.errors import InputError
from headjoint.model.base.named_files import named_beside
from headjoint.model.files.computed_file import ComputedGasket, ComputedTable
from headjoint.model.files.fragment_file import Include, IncludeTable, MeasuredTable
from headjoint.model.files.joint_file import LawTable, MaterialTable, TighteningTable
from headjoint.model.joint import Joint, Measured, Zone
from headjoint.model.library.threads import thread as thread_of

CARRIED = ("tightening", "fastener")  # tables that a fragment may hold besides [measured]
WIDTHS_ALIKE = 0.02  # by which a zone may differ in width from that of a bead's law
WARMER = 20.0  # K by which something may be hotter than it was measured
COMPUTED = ("gasket",)  # and besides [computed]


@dataclass(frozen=True)
class Fragment:
    """One included fragment: where it was measured, what it carries, and what the joint accepts to differ in.

    measured : None where it was computed from a bead. computed : None where it was measured.
    """

    file: str
    measured: MeasuredTable | None
    content: dict[str, Any]
    accept: tuple[str, ...]
    computed: ComputedTable | None = None


def take_fragments(
    content: dict[str, Any],
    folder: Path,
    parse: Callable[[Path], dict[str, Any]],
    checked: Callable[[dict[str, Any], Any], Any],
) -> tuple[dict[str, Any], list[Fragment]]:
    """Return the content of a joint file with its fragments put in, and the fragments.

    parse : from a path to its TOML. checked : from TOML and a table to the validated table.

    Raises InputError where a fragment cannot be read, or states what the file states, too.
    """
    if "include" not in content:
        return content, []
    content = dict(content)
    stated = content.pop("include")
    try:
        stated = msgspec.convert(stated, Include)
    except msgspec.ValidationError:
        raise InputError(
            "must name a fragment ('measured.toml'), or be { file = '...', accept = ['thread'] }, or a list of such; "
            "'thread', 'lubricant', 'material' may be accepted to differ",
            field="include",
        ) from None
    fragments: list[Fragment] = []
    for entry in stated if isinstance(stated, list) else [stated]:
        table = IncludeTable(file=entry) if isinstance(entry, str) else entry
        fragment = _read(table, folder, parse, checked)
        for name in (*CARRIED, *COMPUTED):
            if name in fragment.content:
                here = f"here or in '{fragments[-1].file}'" if fragments else "here"
                content[name] = _merged(content.get(name, {}), fragment.content[name], name, table.file, here)
        fragments.append(fragment)
    return content, fragments


def _read(
    table: IncludeTable,
    folder: Path,
    parse: Callable[[Path], dict[str, Any]],
    checked: Callable[[dict[str, Any], Any], Any],
) -> Fragment:
    path = named_beside(folder, table.file, "include")
    if not path.is_file():
        raise InputError("no such fragment beside the joint file", field="include", value=table.file)
    try:
        content = parse(path)
    except InputError as error:
        error.file = table.file
        raise
    if "computed" in content:
        computed, _ = _computed(content, table.file, checked)
        return Fragment(table.file, None, content, tuple(table.accept), computed)
    place = "measured"
    try:
        if "measured" not in content:
            raise InputError("is no fragment: it has no [measured], which says where its values come from")
        for name in content:
            if name not in ("measured", *CARRIED):
                raise InputError(f"a fragment carries only {' and '.join(CARRIED)} besides [measured]", field=name)
        measured = checked(content["measured"], MeasuredTable)
        # by themselves first, so that a mistake in a fragment is said to be there
        place = "tightening"
        checked({"method": "torque"} | content.get(place, {}), TighteningTable)
        if isinstance(material := content.get("fastener", {}).get("material"), dict):
            place = "fastener.material"
            checked(material, MaterialTable)
    except InputError as error:
        error.file = table.file
        if error.field and error.field not in content:
            error.field = f"{place}.{error.field}"
        raise
    return Fragment(table.file, measured, content, tuple(table.accept))


def _computed(
    content: dict[str, Any], file: str, checked: Callable[[dict[str, Any], Any], Any]
) -> tuple[ComputedTable, ComputedGasket]:
    """Return the tables of a fragment with laws that were computed from a bead, checked by itself."""
    place = "computed"
    try:
        for name in content:
            if name not in ("computed", *COMPUTED):
                raise InputError("a fragment with [computed] carries only [gasket.laws]", field=name)
        computed: ComputedTable = checked(content[place], ComputedTable)
        place = "gasket"
        if place not in content:
            raise InputError("carries no law", field="gasket.laws")
        gasket: ComputedGasket = checked(content[place], ComputedGasket)
    except InputError as error:
        error.file = file
        if error.field and error.field.split(".")[0] not in content:
            error.field = f"{place}.{error.field}"
        raise
    return computed, gasket


def laws_in(content: dict[str, Any], file: str, checked: Callable[[dict[str, Any], Any], Any]) -> ComputedGasket:
    """Return the tables of the laws that a fragment with [computed] carries."""
    return _computed(content, file, checked)[1]


def _merged(stated: Any, measured: Any, place: str, file: str, here: str) -> Any:
    """Return a table with measured values in it; what both state is refused, for nobody could see which one counts."""
    if place == "fastener.material" and isinstance(stated, str) and isinstance(measured, dict):
        # a material by name takes measured strengths of the same material
        if measured.get("base", stated) != stated:
            raise InputError(
                f"'{file}' was measured on {measured['base']}; state that material, or leave the fragment out",
                field=place,
                value=stated,
            )
        return measured | {"base": stated}
    one_law = place.startswith("gasket.laws.")
    if one_law or not isinstance(stated, dict) or not isinstance(measured, dict):
        raise InputError(
            f"is stated {here} and in '{file}', too; delete one of them, so that it is clear which counts",
            field=place,
            value=stated if isinstance(stated, (str, int, float)) else None,
        )
    made = dict(stated)
    for name, value in measured.items():
        inner = f"{place}.{name}"
        if inner == "fastener.material.base" and stated.get(name) == value:
            continue
        made[name] = _merged(stated[name], value, inner, file, here) if name in stated else value
    return made


def judged_law(
    computed: ComputedTable, file: str, joint: Joint, laws: Mapping[str, LawTable] = MappingProxyType({})
) -> list[Measured]:
    """Return what to be wary of: where a zone is not as wide as the law of a bead smears its line load over, or the
    gasket is hotter than the law's data, and whatever the fragment itself says of its law; zones whose law is a series
    with that law among its layers count, too.

    laws : stated in the file, by name.
    """
    within = _made_of(computed.bead, laws)
    zones = [zone for zone in joint.gasket.zones if zone.law.name in within]
    if not zones:
        return []
    # a sheet's law is one of pressure, whatever the width
    cautions = () if computed.zone_width is None else _off_width(computed, float(computed.zone_width), zones)
    cautions += _hotter_than_data(computed, joint)
    cautions += tuple(f"the law '{computed.bead}': {one}" for one in computed.cautions)
    if not cautions:
        return []
    by, carried = computed.written_by or "headjoint bead", (f"gasket.laws.{computed.bead}",)
    source = "from stated compression data" if computed.zone_width is None else "computed from a bead"
    return [Measured(file, carried, f"{source} by {by}", cautions)]


def _made_of(name: str, laws: Mapping[str, LawTable]) -> set[str]:
    """Return a law's name with those of all series that it is a layer of, layers of layers, too."""
    found, more = set[str](), {name}
    while more:
        found |= more
        more = {one for one, table in laws.items() if found & set(table.series or ())} - found
    return found


def _off_width(computed: ComputedTable, width: float, zones: Sequence[Zone]) -> tuple[str, ...]:
    return tuple(
        f"the law '{computed.bead}' smears its line load over {width:g} mm, and zone '{zone.name}' is "
        f"{zone.line_width:.3g} mm wide, so that it bears {zone.line_width / width:.2g} times what the bead "
        "does; press the bead anew with that zone_width"
        for zone in zones
        if abs(zone.line_width - width) > WIDTHS_ALIKE * width
    )


def _hotter_than_data(computed: ComputedTable, joint: Joint) -> tuple[str, ...]:
    if not computed.temperature:
        return ()
    high = max(map(float, computed.temperature))
    gasket = _hotter(joint, "gasket", high)
    if not gasket:
        return ()
    if computed.zone_width is None:
        said = (
            f"the sheet of the law '{computed.bead}' was measured at {high:g} degC and the gasket is {gasket}: its law "
        )
        return (said + "is taken to be the same there, and hotter a sheet may bear less and keep more set",)
    return (
        f"the law '{computed.bead}' is of metal at {high:g} degC at most and the gasket is {gasket}: it is taken to be "
        "the same there, and hotter metal bears less and keeps more set; press it anew with that temperature in "
        "path.temperatures",
    )


def _hotter(joint: Joint, part: str, measured: float) -> str:
    """Return in words how hot a part gets where that is more than what was measured (degC), "" where it is not."""
    hottest = max(case.temperatures[part] for case in joint.load_cases if case.heat is None)
    if joint.by_heat:
        return "as hot as heat is found to make it"
    return f"{hottest:g} degC hot" if hottest > measured + WARMER else ""


def judged(fragment: Fragment, joint: Joint, lubricant: str) -> Measured:
    """Return what was measured with cautions where the joint lies outside its range.

    Raises InputError for another thread, lubricant or material, unless that is accepted.
    """
    measured = fragment.measured
    assert measured is not None
    turned = joint.fastener.nut_thread.designation
    cautions = []
    material = joint.fastener.material.name
    strengths = "material" in fragment.content.get("fastener", {})
    friction = "tightening" in fragment.content
    differing = {
        "thread": friction and thread_of(measured.thread).designation != turned and (measured.thread, turned),
        "lubricant": friction and bool(lubricant and measured.lubricant)
        and lubricant.casefold() != measured.lubricant.casefold() and (measured.lubricant, lubricant),
        "material": strengths and measured.material != material and (measured.material, material),
    }  # fmt: skip
    for name, both in differing.items():
        if not both:
            continue
        said = f"measured with {name} {both[0]}, this joint has {both[1]}"
        if name not in fragment.accept:
            raise InputError(
                f"'{fragment.file}' was {said}; measure that, or accept it: "
                f"include = {{ file = '{fragment.file}', accept = ['{name}'] }}",
                field="include",
            )
        cautions.append(said + " (accepted in the file)")
    if friction and measured.lubricant and not lubricant:
        cautions.append(
            f"measured with {measured.lubricant}; this joint states no tightening.lubricant to compare with"
        )
    low, high = measured.temperature
    if not low - 5.0 <= joint.assembly_temperature <= high + 5.0:
        cautions.append(
            f"measured at {low:g} to {high:g} degC, this joint is tightened at {joint.assembly_temperature:g} degC"
        )
    hotter = _hotter(joint, "fastener", high)
    if strengths and hotter:
        cautions.append(
            f"strength was measured at {high:g} degC and the fastener is {hotter}: it is taken to be the same there"
        )
    least, most = measured.force
    preload, range_of_it = joint.tightening.preload, f"measured at {least / 1e3:.3g} to {most / 1e3:.3g} kN"
    if preload is None:
        cautions.append(f"{range_of_it}; compare with the preload that is found for this joint")
    elif not 0.9 * least <= preload <= 1.1 * most:
        cautions.append(f"{range_of_it}, this joint is tightened to {preload / 1e3:.3g} kN")
    carried = tuple(f"{table}.{name}" for table in CARRIED for name in fragment.content.get(table, {}))
    source = f"measured: {measured.log} on {measured.rig}" + (f" ({measured.note})" if measured.note else "")
    return Measured(fragment.file, carried, source, tuple(cautions))
