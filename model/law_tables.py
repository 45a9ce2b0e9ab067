"""Laws that a joint or cell file states by other means than rows of its own: a CSV table."""

from __future__ import annotations

from pathlib import Path

from headjoint.model import law_csv
from headjoint.model.errors import InputError
from headjoint.model.gasket_laws import LoadingCurve
from headjoint.model.joint_file import LawTable

FORMS = ("closure", "curves", "file")  # what a law may be stated by, one of them
# key -> the form that it belongs to
BELONGS = {"pressure": "closure", "width": "file"}


def check_form(stated: LawTable, field: str) -> None:
    """Refuse a law that is stated in none or in several of the forms, or with keys of another form."""
    given = [form for form in FORMS if getattr(stated, form) is not None]
    if len(given) != 1:
        raise InputError(
            "state the law by closure and pressure, by curves at several temperatures, or by a CSV file"
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
