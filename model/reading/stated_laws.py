"""Gasket laws that a joint or cell file states: by rows, a CSV table or layers in series, and by the keys of a form."""

from __future__ import annotations

import dataclasses
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

from msgspec.structs import asdict

from headjoint.model.base.errors import InputError, unknown_name
from headjoint.model.base.named_files import named_beside
from headjoint.model.files.joint_file import LawTable
from headjoint.model.gasket import curves_csv as law_csv
from headjoint.model.gasket import layers as law_series
from headjoint.model.gasket.bead_limits import BeadLimits
from headjoint.model.gasket.forms import stated_form
from headjoint.model.gasket.law import GasketLaw, check_law
from headjoint.model.gasket.loading import LoadingCurve
from headjoint.model.gasket.shipped_laws import library
from headjoint.model.reading.creep_reading import resolve_creep

WAYS = ("closure", "curves", "file", "series")  # what loading may be stated by, one of them
# key -> the way that it belongs to
BELONGS = {"pressure": "closure", "width": "file", "stopper_closure": "series", "stopper_stiffness": "series"}


def check_way(stated: LawTable, field: str) -> None:
    """Refuse a law whose loading is stated in none or in several of the ways, or with keys of another way."""
    given = [way for way in WAYS if getattr(stated, way) is not None]
    if len(given) != 1:
        raise InputError(
            "state the law by closure and pressure, by curves at several temperatures, by a CSV file, or by a series"
            + (f"; this one has {' and '.join(given)}" if given else ""),
            field=field,
        )
    for key, way in BELONGS.items():
        if getattr(stated, key) is not None and way != given[0]:
            raise InputError(f"belongs to a law stated by `{way}`; leave it out here", field=f"{field}.{key}")


def curves_of_file(stated: LawTable, field: str, folder: Path) -> tuple[LoadingCurve, ...]:
    """Return the loading curves of the CSV table that a law names, beside the file that states the law."""
    assert stated.file is not None
    try:
        path = named_beside(folder, stated.file, f"{field}.file")
        found = path.is_file()
    except (OSError, ValueError):  # a name too long, or with a zero byte
        found = False
    if not found:
        raise InputError(f"no such file in {folder.resolve()}", field=f"{field}.file", value=stated.file)
    return law_csv.read_curves(path, stated.file, stated.width)


def building_order(stated: dict[str, LawTable]) -> list[str]:
    """Return the names of the stated laws so that each comes after those that its series is made of."""
    layers = {name: [one for one in table.series or () if one in stated] for name, table in stated.items()}
    try:
        return list(TopologicalSorter(layers).static_order())
    except CycleError as error:
        round_trip = error.args[1][::-1]
        shipped = [name for name in round_trip if name in library()]
        hidden = f"; '{shipped[0]}' is also a shipped law: call your own otherwise" if shipped else ""
        raise InputError(
            f"a series cannot contain itself: {' > '.join(round_trip)}{hidden}",
            field=f"gasket.laws.{round_trip[0]}.series",
        ) from None


def laws_of(stated: dict[str, LawTable], folder: Path) -> dict[str, GasketLaw]:
    """Return the laws that a file states, by name; tables that they name lie in `folder`.

    Raises InputError with the key that cannot be used.
    """
    own: dict[str, GasketLaw] = {}
    for name in building_order(stated):
        field = f"gasket.laws.{name}"
        table = stated[name]
        check_way(table, field)
        law = _of_rows(name, table, field, folder) if table.series is None else _of_series(name, table, field, own)
        own[name] = check_law(law, field)
    return own


def _of_rows(name: str, stated: LawTable, field: str, folder: Path) -> GasketLaw:
    """Return the law whose loading curves stand in the file, or in a CSV table beside it."""
    source = "stated in the joint file"
    if stated.file is not None:
        curves = curves_of_file(stated, field, folder)
        source = f"read from {stated.file}"
    elif stated.curves is not None:
        if not stated.curves:
            raise InputError("needs at least one curve", field=f"{field}.curves")
        curves = tuple(LoadingCurve(c.temperature, tuple(c.closure), tuple(c.pressure)) for c in stated.curves)
    else:
        if stated.pressure is None:
            raise InputError("is required but missing", field=f"{field}.pressure")
        curves = (LoadingCurve(20.0, tuple(stated.closure or ()), tuple(stated.pressure)),)
    form, values = stated_form(asdict(stated), field)
    law = form(
        name,
        curves,
        crush_pressure=stated.crush_pressure,
        title=name,
        source=source,
        limits=_limits(stated, field),
        **values,
    )
    return dataclasses.replace(law, creep=resolve_creep(stated.creep, law.keeps_set, field))


def _limits(stated: LawTable, field: str) -> BeadLimits | None:
    """Return what a file states of a bead's line loads and stroke, None where it states none."""
    least, per_gas = stated.line_load_least, stated.line_load_per_gas
    if least is None and per_gas is None and stated.stroke_limit is None:
        return None
    if least is None or per_gas is None:
        missing = "line_load_least" if least is None else "line_load_per_gas"
        raise InputError("a bead is judged by both line loads; state it too", field=f"{field}.{missing}")
    return BeadLimits(least, per_gas, stated.stroke_limit, "stated in the joint file")


def _of_series(name: str, stated: LawTable, field: str, own: dict[str, GasketLaw]) -> GasketLaw:
    """Return the law of a series of shipped laws and of `own`, those already built from the same file.

    Unloading and crush pressure follow from the layers unless they are stated.
    """
    assert stated.series is not None
    known = library() | own
    for index, layer in enumerate(stated.series):
        if layer not in known:
            raise unknown_name("gasket law", layer, known, field=f"{field}.series[{index}]")
    layers = [known[layer] for layer in stated.series]
    if stated.creep is not None:  # that of the whole series goes before its layers' own
        layers = [dataclasses.replace(layer, creep=None) for layer in layers]
    try:
        stack = law_series.in_series(name, layers)
    except InputError as error:
        error.field = error.field or field
        raise
    if (stated.stopper_closure is None) != (stated.stopper_stiffness is None):
        missing = "stopper_closure" if stated.stopper_closure is None else "stopper_stiffness"
        raise InputError("a stop needs both its closure and its stiffness", field=f"{field}.{missing}")
    if stated.stopper_closure is not None and stated.stopper_stiffness is not None:
        stack = law_series.with_stop(stack, stated.stopper_closure, stated.stopper_stiffness)
    form, values = stated_form(asdict(stated), field)
    law: GasketLaw = stack
    if values:
        law = form(**{one.name: getattr(stack, one.name) for one in dataclasses.fields(GasketLaw)}, **values)
    return dataclasses.replace(
        law,
        crush_pressure=stated.crush_pressure or law.crush_pressure,
        limits=_limits(stated, field) or law.limits,
        creep=resolve_creep(stated.creep, law.keeps_set, field) or law.creep,
    )
