"""Loading curves of a gasket law from a CSV table, as a spreadsheet or a test rig writes it.

The first line names the columns with their units, every further line is one row:

    closure [thou]; pressure [psi]; temperature [degF]
    0;              0;              70
    3,9;            5200;           70

Rows of one temperature form one curve, in the order in which they stand. `line load [N/mm]` may stand in place of
pressure where the width of the zone is known. Lines that start with # are comments.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from headjoint.model.base.csv_lines import NUMBER, cells_of, heading_parts, lines_of, text_of
from headjoint.model.base.errors import InputError
from headjoint.model.base.units import Length, Pressure, Quantity, Temperature
from headjoint.model.gasket.loading import LoadingCurve

LARGEST_FILE = 2_000_000  # bytes; a law has some tens of rows, a test rig writes some thousands
ROOM_TEMPERATURE = 20.0  # degC of a table without a temperature column, as of one stated in the joint file


class LineLoad(Quantity):
    """A force along a line."""

    dimension = "force per length"


# column -> what it holds, and how its heading is written
COLUMNS: dict[str, tuple[type[Quantity], str]] = {
    "closure": (Length, "closure [mm]"),
    "pressure": (Pressure, "pressure [MPa]"),
    "line load": (LineLoad, "line load [N/mm]"),
    "temperature": (Temperature, "temperature [degC]"),
}
KNOWN = "known are " + ", ".join(heading for _, heading in COLUMNS.values()) + ", each with any unit of its kind"


@dataclass(frozen=True)
class Column:
    """One column of a table: its heading as the file has it, the kind of quantity, the unit."""

    heading: str
    name: str
    unit: str

    def read(self, cell: str, decimal_comma: bool) -> float:
        """Return what `cell` states in the internal unit; ValueError with a sentence for the user otherwise."""
        text = cell.replace(",", ".") if decimal_comma else cell
        if not NUMBER.fullmatch(text):
            mark = "point or comma" if decimal_comma else "point"
            raise ValueError(f"must be a number with a decimal {mark}; its unit stands in the heading")
        return float(COLUMNS[self.name][0].read(f"{text} {self.unit}"))


@dataclass(frozen=True)
class Row:
    """One row in internal units, the line of the file on which it stands, and its cells by column as written."""

    line: int
    cells: dict[str, str]
    closure: float
    pressure: float
    temperature: float


def read_curves(path: Path, file: str, width: float | None) -> tuple[LoadingCurve, ...]:
    """Return the loading curves that the table at `path` states, temperatures rising.

    Parameters
    ----------
    path : of the CSV file.
    file : its name as the user wrote it, for messages.
    width : mm over which a line load spreads; needed with a column of line load, refused with one of pressure.

    Raises
    ------
    InputError : naming file, line, column, value and what is allowed.
    """
    try:
        lines = lines_of(text_of(path, LARGEST_FILE, "a table of a gasket law"))
        number, heading = next(lines, (1, ""))
        separator = ";" if ";" in heading else ","
        columns = _columns(cells_of(heading, separator, number), number)
        names = [column.name for column in columns]
        if ("line load" in names) != (width is not None):
            wanted = "a line load needs the `width` of the zone" if width is None else "`width` goes with a line load"
            raise InputError(f"{wanted}, stated beside `file`", field=_place(number, columns[_load_at(names)].heading))
        curves: dict[float, list[Row]] = {}
        for number, line in lines:
            row = _row(cells_of(line, separator, number), columns, number, separator == ";", width or 1.0)
            if row is not None:
                curves.setdefault(row.temperature, []).append(row)
        if not curves:
            raise InputError("has a heading but no rows", field=f"line {number}")
        for temperature, rows in curves.items():
            _check(rows, columns, temperature)
    except InputError as error:
        error.file = file
        raise
    return tuple(
        LoadingCurve(temperature, tuple(row.closure for row in rows), tuple(row.pressure for row in rows))
        for temperature, rows in sorted(curves.items())
    )


def _place(line: int, heading: str) -> str:
    return f"line {line}, column '{heading}'"


def _load_at(names: list[str]) -> int:
    return names.index("line load" if "line load" in names else "pressure")


def _columns(headings: list[str], line: int) -> list[Column]:
    """Return the columns that the heading names; nothing is guessed from a name that is not known."""
    columns: list[Column] = []
    for heading in headings:
        place = _place(line, heading)
        stated, unit = heading_parts(heading)
        name = stated.casefold()
        if name not in COLUMNS:
            raise InputError(f"unknown column; {KNOWN}, separated by comma or semicolon", field=place)
        if unit is None:
            raise InputError(f"needs its unit in brackets, such as '{COLUMNS[name][1]}'", field=place)
        if name in [column.name for column in columns]:
            raise InputError(f"there are two columns of {name}; keep one", field=place)
        column = Column(heading, name, unit)
        try:
            column.read("1", decimal_comma=False)
        except ValueError as error:
            raise InputError(str(error), field=place, value=column.unit) from None
        columns.append(column)
    names = [column.name for column in columns]
    if "closure" not in names:
        raise InputError("needs a column 'closure [mm]', or in another unit of length", field=f"line {line}")
    if ("pressure" in names) == ("line load" in names):
        raise InputError("needs one column of 'pressure [MPa]' or 'line load [N/mm]'", field=f"line {line}")
    return columns


def _row(cells: list[str], columns: list[Column], line: int, decimal_comma: bool, width: float) -> Row | None:
    """Return one row, or None for a line of empty cells as spreadsheets leave them."""
    if not any(cells):
        return None
    if len(cells) != len(columns):
        hint = "" if decimal_comma else "; with decimal commas, separate the columns by semicolons"
        raise InputError(
            f"has {len(cells)} cells where the heading has {len(columns)}{hint}",
            field=f"line {line}",
            value=("; " if decimal_comma else ", ").join(cells)[:80],
        )
    found = {"temperature": ROOM_TEMPERATURE}
    written = {column.name: cell for cell, column in zip(cells, columns, strict=True)}
    for cell, column in zip(cells, columns, strict=True):
        try:
            found[column.name] = column.read(cell, decimal_comma)
        except ValueError as error:
            raise InputError(str(error), field=_place(line, column.heading), value=cell) from None
    pressure = found["line load"] / width if "line load" in found else found["pressure"]
    return Row(line, written, found["closure"], pressure, found["temperature"])


def _check(rows: list[Row], columns: list[Column], temperature: float) -> None:
    """Refuse a curve that `check_law` would refuse, but by the line and column of its own file."""
    names = [column.name for column in columns]
    closure, load = columns[names.index("closure")], columns[_load_at(names)]
    several = f" at {temperature:g} degC" if "temperature" in names else ""
    first = rows[0]
    if len(rows) < 2:
        raise InputError(f"a curve needs at least two rows, this one{several} has one", field=f"line {first.line}")
    if first.closure < 0.0:
        raise InputError(
            "closure starts at first touch, so no row may be negative",
            field=_place(first.line, closure.heading),
            value=first.cells[closure.name],
        )
    if first.pressure != 0.0:
        raise InputError(
            f"the first row{several} must have zero {load.name} (the zone just touches)",
            field=_place(first.line, load.heading),
            value=first.cells[load.name],
        )
    for before, after in zip(rows, rows[1:], strict=False):
        if after.closure <= before.closure:
            raise InputError(
                f"closure must rise from row to row{several}, but line {before.line} has {before.cells[closure.name]}",
                field=_place(after.line, closure.heading),
                value=after.cells[closure.name],
            )
        if after.pressure < before.pressure:
            raise InputError(
                f"{load.name} must not fall from row to row{several}, "
                f"but line {before.line} has {before.cells[load.name]}",
                field=_place(after.line, load.heading),
                value=after.cells[load.name],
            )
