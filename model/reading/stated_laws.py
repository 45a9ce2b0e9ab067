"""Laws that a joint or cell file states by other means than rows of its own: a CSV table, or layers in series."""

from __future__ import annotations

import dataclasses
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

from headjoint.model.base.errors import InputError, unknown_name
from headjoint.model.files.joint_file import LawTable
from headjoint.model.gasket import curves_csv as law_csv
from headjoint.model.gasket import layers as law_series
from headjoint.model.gasket.laws import GasketLaw, LoadingCurve, library
from headjoint.model.reading.creep_reading import resolve_creep

FORMS = ("closure", "curves", "file", "series")  # what a law may be stated by, one of them
# key -> the form that it belongs to
BELONGS = {"pressure": "closure", "width": "file", "stopper_closure": "series", "stopper_stiffness": "series"}


def check_form(stated: LawTable, field: str) -> None:
    """Refuse a law that is stated in none or in several of the forms, or with keys of another form."""
    given = [form for form in FORMS if getattr(stated, form) is not None]
    if len(given) != 1:
        raise InputError(
            "state the law by closure and pressure, by curves at several temperatures, by a CSV file, or by a series"
            + (f"; this one has {' and '.join(given)}" if given else ""),
            field=field,
        )
    for key, form in BELONGS.items():
        if getattr(stated, key) is not None and form != given[0]:
            raise InputError(f"belongs to a law stated by `{form}`; leave it out here", field=f"{field}.{key}")


def curves_of_file(stated: LawTable, field: str, folder: Path) -> tuple[LoadingCurve, ...]:
    """Return the loading curves of the CSV table that a law names, beside the file that states the law."""
    assert stated.file is not None
    try:
        path = folder / stated.file
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


def series_law(name: str, stated: LawTable, field: str, own: dict[str, GasketLaw]) -> GasketLaw:
    """Return the law of a series of shipped laws and of `own`, those already built from the same file.

    Unloading stiffness and crush pressure follow from the layers unless they are stated.
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
        law = law_series.in_series(name, layers)
    except InputError as error:
        error.field = error.field or field
        raise
    if (stated.stopper_closure is None) != (stated.stopper_stiffness is None):
        missing = "stopper_closure" if stated.stopper_closure is None else "stopper_stiffness"
        raise InputError("a stop needs both its closure and its stiffness", field=f"{field}.{missing}")
    if stated.stopper_closure is not None and stated.stopper_stiffness is not None:
        law = law_series.with_stop(law, stated.stopper_closure, stated.stopper_stiffness)
    return dataclasses.replace(
        law,
        unloading_stiffness=stated.unloading_stiffness or law.unloading_stiffness,
        crush_pressure=stated.crush_pressure or law.crush_pressure,
        creep=resolve_creep(stated.creep, stated.unloading_stiffness or law.unloading_stiffness, field) or law.creep,
    )
