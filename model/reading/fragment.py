"""Measured values carried into a joint: fragments that a file includes, checked against where they were measured."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec

from headjoint.model.base.errors import InputError
from headjoint.model.base.named_files import named_beside
from headjoint.model.files.fragment_file import Include, IncludeTable, MeasuredTable
from headjoint.model.files.joint_file import MaterialTable, TighteningTable
from headjoint.model.joint import Joint, Measured
from headjoint.model.library.threads import thread as thread_of

CARRIED = ("tightening", "fastener")  # tables that a fragment may hold besides [measured]


@dataclass(frozen=True)
class Fragment:
    """One included fragment: where it was measured, what it carries, and what the joint accepts to differ in."""

    file: str
    measured: MeasuredTable
    content: dict[str, Any]
    accept: tuple[str, ...]


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
        for name in CARRIED:
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
    if not isinstance(stated, dict) or not isinstance(measured, dict):
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


def judged(fragment: Fragment, joint: Joint, lubricant: str) -> Measured:
    """Return what was measured with cautions where the joint lies outside its range.

    Raises InputError for another thread, lubricant or material, unless that is accepted.
    """
    measured = fragment.measured
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
    hottest = max(case.temperatures["fastener"] for case in joint.load_cases)
    if strengths and hottest > high + 20.0:
        cautions.append(f"strength was measured at {high:g} degC and is taken to be the same at {hottest:g} degC")
    least, most = measured.force
    preload, range_of_it = joint.tightening.preload, f"measured at {least / 1e3:.3g} to {most / 1e3:.3g} kN"
    if preload is None:
        cautions.append(f"{range_of_it}; compare with the preload that is found for this joint")
    elif not 0.9 * least <= preload <= 1.1 * most:
        cautions.append(f"{range_of_it}, this joint is tightened to {preload / 1e3:.3g} kN")
    carried = tuple(f"{table}.{name}" for table in CARRIED for name in fragment.content.get(table, {}))
    source = f"measured: {measured.log} on {measured.rig}" + (f" ({measured.note})" if measured.note else "")
    return Measured(fragment.file, carried, source, tuple(cautions))
