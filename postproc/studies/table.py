"""Results of studies as one table: CSV, and Parquet where pyarrow is installed."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from headjoint.postproc.designs.outcome import Outcome, judged_by
from headjoint.postproc.verdict.table import requirement

RUN = ("=", "+", "-", "@", "\t", "\r")  # what spreadsheets take for the beginning of a formula
# figure -> unit of the table and factor to it
FIGURES = {
    "torque": ("N.m", 1e-3),
    "preload": ("kN", 1e-3),
    "least clamp": ("kN", 1e-3),
    "clamp after cooling": ("kN", 1e-3),
    "sealing-line pressure under gas": ("MPa", 1.0),
    "sealed gas pressure": ("bar", 10.0),
    "force amplitude": ("kN", 1e-3),
    "least sealing-line pressure": ("MPa", 1.0),
    "clamp under gas": ("kN", 1e-3),
}


def figure(outcome: Outcome, name: str) -> float | None:
    """Return a figure in the unit of the table."""
    value = outcome.figures.get(name)
    return None if value is None else value * FIGURES[name][1]


def result_columns(outcomes: Sequence[Outcome]) -> dict[str, list[Any]]:
    """Return verdicts, factors of requirements and figures, column by column."""
    columns: dict[str, list[Any]] = {
        "holds": [outcome.holds for outcome in outcomes],
        "limited by": [outcome.limiting.name if outcome.limiting else None for outcome in outcomes],
        "least factor over need": [outcome.limiting.in_hand if outcome.limiting else None for outcome in outcomes],
    }
    for key in judged_by(outcomes):
        found, title = [outcome.criterion(key) for outcome in outcomes], requirement(key).title
        columns[title] = [None if one is None else one.value for one in found]
        columns[f"{title}, needed"] = [None if one is None else one.needed for one in found]
    for name, (unit, _) in FIGURES.items():
        values = [figure(outcome, name) for outcome in outcomes]
        if any(value is not None for value in values):
            columns[f"{name} [{unit}]"] = values
    columns["problem"] = [outcome.problem or None for outcome in outcomes]
    return columns


def write_tables(columns: Mapping[str, Iterable[Any]], folder: Path, name: str) -> None:
    """Write NAME.csv, and NAME.parquet where pyarrow can be imported."""
    with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow([_cell(name) for name in columns])
        rows.writerows(zip(*([_cell(value) for value in values] for values in columns.values()), strict=True))
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError:
        return
    table = pyarrow.table({key: pyarrow.array(list(values)) for key, values in columns.items()})
    pyarrow.parquet.write_table(table, folder / f"{name}.parquet")


def _cell(value: Any) -> Any:
    """Return what stands in a cell: true and false in small letters, nothing for None, no text that would be run."""
    if isinstance(value, str) and value.startswith(RUN):
        return f"'{value}"
    return str(value).lower() if isinstance(value, bool) else value
