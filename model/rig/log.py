"""Readings of a test rig from CSV, as a logger or a spreadsheet writes them.

    # anything after a hash is a comment
    time [s]; pressure [bar]; torque [N.m]; angle [deg]; stretch [mm]; temperature [degC]; step;    use
    0;        0,0;            0;            0;           0,00;         21,5;               zero;    1
    12;       85,5;           14,2;         21;          0,06;         21,5;               tighten; 1

Columns stand in any order and any unit of their kind. Empty cells are gaps. `step` says what was being done, `use` the
how-manieth use of the fastener it is; without them all rows are one tightening of a new fastener. `lubricant` may say
what was on thread and bearing face, in place of what the rig file says; its first row is enough.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.csv_lines import NUMBER, cells_of, heading_parts, lines_of, text_of
from headjoint.model.base.errors import InputError, nearest, unknown_name
from headjoint.model.base.units import convert, fraction
from headjoint.model.files.kinds import LOG, kind_of, kind_of_table, refuse_other
from headjoint.model.reading.reading import parse_toml

BoolArray = NDArray[np.bool_]

LARGEST_FILE = 20_000_000  # bytes
MOST_UNREADABLE = 0.5  # of a column, beyond which it is not worth the name
# channel -> (dimension, heading as it may be written)
CHANNELS: dict[str, tuple[str, str]] = {
    "time": ("time", "time [s]"),
    "pressure": ("pressure", "pressure [MPa]"),
    "force": ("force", "force [kN]"),
    "torque": ("torque", "torque [N.m]"),
    "shank torque": ("torque", "shank torque [N.m]"),
    "angle": ("angle", "angle [deg]"),
    "stretch": ("length", "stretch [mm]"),
    "temperature": ("temperature", "temperature [degC]"),
}
WORDS = ("step", "use", "lubricant")
STEPS = ("zero", "tighten", "hold", "strike", "heat", "loosen", "pull")
GAPS = ("", "-", "--", "---", "----", "nan", "na", "n/a", "null", "ol")
KNOWN = ", ".join([heading for _, heading in CHANNELS.values()] + list(WORDS))
NEEDED_ROWS = 3
MOST_ROWS = 40_000  # of one log; the time of all fits grows with the readings, half a minute for these
USE_DIGITS = 4  # of the number of a use
MOST_DECIMALS = 15  # beyond which no float tells readings apart
STEPS_OF_SCALE = (100, 50, 25, 20, 10, 5, 2, 1)  # of the last digit written, as scales are divided


@dataclass(frozen=True)
class RigLog:
    """Readings row by row; gaps are not-a-number.

    channels : name -> (n,) in N.mm, MPa, N, rad, mm, degC, s. step : (n,) of `STEPS`. use : (n,) from 1. line : (n,)
    lines of the file. notes : what was found and done while reading, sentences. unknown : headings that
    nobody knows. lubricant : as the log states it, empty where it does not. resolution : channel -> the least step in
    which it is written, in its internal unit.
    """

    file: str
    channels: dict[str, FloatArray] = field(repr=False)
    step: NDArray[np.str_] = field(repr=False)
    use: NDArray[np.int64] = field(repr=False)
    line: NDArray[np.int64] = field(repr=False)
    notes: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()
    lubricant: str = ""
    resolution: dict[str, float] = field(default_factory=dict, repr=False)

    @property
    def rows(self) -> int:
        """Number of rows."""
        return len(self.line)

    def has(self, *names: str) -> bool:
        """Return whether the log has all these channels."""
        return all(name in self.channels and np.isfinite(self.channels[name]).any() for name in names)

    def at(self, step: str, use: int | None = None) -> BoolArray:
        """Return which rows (n,) belong to a step, of one use or of all."""
        return (self.step == step) & ((self.use == use) if use is not None else True)

    @property
    def uses(self) -> list[int]:
        """The uses of the fastener that were logged, rising."""
        return sorted(set(self.use.tolist()))


def read_log(path: str | Path) -> RigLog:
    """Return the readings of one CSV file.

    Raises InputError naming file, line, column, value and what is allowed: a column without its unit, a unit of another
    kind, text where a number belongs. Columns of an unknown name are left out and named in the notes.
    """
    path = Path(path)
    try:
        return _read(path)
    except InputError as error:
        error.file = error.file or path.name
        raise


@dataclass(frozen=True)
class _Column:
    """One column: its number, name, heading; a reading in the internal unit is offset + factor x number."""

    at: int
    name: str
    heading: str
    offset: float = 0.0
    factor: float = 1.0


def _read(path: Path) -> RigLog:
    lines = list(lines_of(_text(path)))
    if not lines:
        raise InputError("is empty; its first line names the columns, such as " + KNOWN)
    number, heading = lines[0]
    separator = max(";\t,", key=heading.count) if any(mark in heading for mark in ";\t,") else ","
    headings = cells_of(heading, separator, number)
    columns, unknown = _columns(headings, number)
    readings: dict[str, list[float]] = {column.name: [] for column in columns if column.name in CHANNELS}
    numbers: dict[str, list[str]] = {name: [] for name in readings}
    steps: list[str] = []
    uses: list[int] = []
    places: list[int] = []
    short, marks = 0, {"comma": 0, "gap": 0}
    lubricants: dict[str, str] = {}
    for number, line in lines[1:]:
        cells = cells_of(line, separator, number)
        if not any(cells):
            continue
        short += len(cells) < len(headings)
        cells = _as_many(cells, len(headings), separator, number, line)
        step, use = "tighten", 1
        for column in columns:
            cell = cells[column.at].strip()
            if column.name == "step":
                step = _step(cell, number, steps)
            elif column.name == "use":
                use = _use(cell, number, uses)
            elif column.name == "lubricant":
                _take_lubricant(cell, number, lubricants)
            else:
                readings[column.name].append(_number(cell, column, number, separator, marks))
                numbers[column.name].append(cell)
        steps.append(step)
        uses.append(use)
        places.append(number)
        if len(places) > MOST_ROWS:
            raise InputError(
                f"has more than {MOST_ROWS} readings; keep every second or tenth of them, no figure needs more"
            )
    if len(places) < NEEDED_ROWS:
        raise InputError(f"has {len(places)} rows of readings, too few to fit anything; at least {NEEDED_ROWS}")
    notes = _notes(unknown, short, marks)
    channels = _with_readings({name: np.array(values) for name, values in readings.items()}, notes)
    return RigLog(
        path.name,
        channels,
        np.array(steps),
        np.array(uses, dtype=np.int64),
        np.array(places),
        tuple(notes),
        tuple(unknown),
        next(iter(lubricants.values()), ""),
        {
            column.name: abs(column.factor) * _least_step(numbers[column.name])
            for column in columns
            if column.name in channels
        },
    )


def _text(path: Path) -> str:
    """Return the text of a log; InputError for a file of another kind."""
    text = text_of(path, LARGEST_FILE, "a rig log")
    if path.suffix == ".toml":
        refuse_other(kind_of(parse_toml(text)), (), "a rig log (CSV)")
    refuse_other(kind_of_table(text), (LOG,), "a rig log")
    return text


def _with_readings(channels: dict[str, FloatArray], notes: list[str]) -> dict[str, FloatArray]:
    """Return the channels that hold readings at all; say which do not, and which have many gaps."""
    for name, values in channels.items():
        if np.isnan(values).all():
            notes.append(f"column '{name}' has no readings at all")
        elif (share := float(np.isnan(values).mean())) > MOST_UNREADABLE:
            notes.append(f"column '{name}' has gaps in {100 * share:.0f} % of its rows")
    return {name: values for name, values in channels.items() if not np.isnan(values).all()}


def _least_step(cells: list[str]) -> float:
    """Return the step in which the numbers of a column are written: a scale's division, or the last digit."""
    decimal = [cell.replace(",", ".") for cell in cells]
    numbers = [cell for cell in decimal if NUMBER.fullmatch(cell) and "e" not in cell.casefold()]
    digits = max((min(len(cell.partition(".")[2]), MOST_DECIMALS) for cell in numbers), default=0)
    whole = [round(Decimal(cell).scaleb(digits)) for cell in numbers]  # a float may be too large to be scaled
    told = len(set(whole) - {0}) >= 4  # fewer may be round by chance
    step = next(step for step in STEPS_OF_SCALE if step == 1 or (told and all(one % step == 0 for one in whole)))
    return float(step / 10**digits)


def _as_many(cells: list[str], wanted: int, separator: str, number: int, line: str) -> list[str]:
    """Return a row with as many cells as the heading has; InputError where it has more that say something."""
    if any(cells[wanted:]):
        hint = "; with decimal commas, separate the columns by semicolons" if separator == "," else ""
        raise InputError(
            f"has {len(cells)} cells where the heading has {wanted}{hint}", field=f"line {number}", value=line[:80]
        )
    return cells + [""] * (wanted - len(cells))


def _notes(unknown: list[str], short: int, marks: dict[str, int]) -> list[str]:
    notes = []
    for heading in unknown:
        near = nearest(heading_parts(heading)[0].strip(), [*CHANNELS, *WORDS])
        hint = f" (nearest known name: {near[0]})" if near else ""
        notes.append(f"column '{heading}' is not known and was left out{hint}")
    if marks["comma"]:
        notes.append(f"{marks['comma']} numbers have a decimal comma")
    if marks["gap"]:
        notes.append(f"{marks['gap']} cells are gaps")
    if short:
        notes.append(f"{short} lines are shorter than the heading; what they lack counts as gaps")
    return notes


def _columns(headings: list[str], line: int) -> tuple[list[_Column], list[str]]:
    columns: list[_Column] = []
    unknown = []
    for at, heading in enumerate(headings):
        place = f"line {line}, column '{heading}'"
        stated, unit = heading_parts(heading)
        name = re.sub(r"[\s_]+", " ", stated.casefold()).strip()
        if name in WORDS:
            columns.append(_Column(at, name, heading))
            continue
        if name not in CHANNELS:
            if heading:
                unknown.append(heading)
            continue
        dimension, example = CHANNELS[name]
        if unit is None:
            raise InputError(f"needs its unit in brackets, such as '{example}'; units are not guessed", field=place)
        if name in [column.name for column in columns]:
            raise InputError(f"there are two columns of {name}; keep one", field=place)
        try:
            offset = convert(0.0, unit, dimension)
            factor = convert(1.0, unit, dimension) - offset
        except ValueError as error:
            raise InputError(str(error), field=place, value=unit) from None
        columns.append(_Column(at, name, heading, offset, factor))
    names = [column.name for column in columns]
    left = f"; left out: {', '.join(unknown)}" if unknown else ""
    if ("pressure" in names) == ("force" in names):
        raise InputError(f"needs one column of 'pressure [MPa]' or 'force [kN]'{left}", field=f"line {line}")
    if not any(name in names for name in ("torque", "angle", "stretch", "temperature", "time")):
        raise InputError(f"holds nothing to set against the force; known are {KNOWN}{left}", field=f"line {line}")
    return columns, unknown


def _step(cell: str, line: int, before: list[str]) -> str:
    """Return the step of a row; an empty cell goes on with the one before."""
    word = cell.casefold()
    if not word:
        return before[-1] if before else "tighten"
    if word not in STEPS:
        raise unknown_name("step", cell, STEPS, field=f"line {line}, column 'step'")
    return word


def _take_lubricant(cell: str, line: int, before: dict[str, str]) -> None:
    if not cell:
        return
    before.setdefault(cell.casefold(), cell)
    if len(before) > 1:
        raise InputError(
            f"a log has one lubricant, and above it is '{next(iter(before.values()))}'; give each its own log",
            field=f"line {line}, column 'lubricant'",
            value=cell,
        )


def _use(cell: str, line: int, before: list[int]) -> int:
    if not cell:
        return before[-1] if before else 1
    # digits of other scripts, and more than can be counted, are none
    if not (cell.isascii() and cell.isdigit() and len(cell) <= USE_DIGITS and int(cell) >= 1):
        raise InputError("must be a whole number from 1 to 9999", field=f"line {line}, column 'use'", value=cell)
    return int(cell)


def _number(cell: str, column: _Column, line: int, separator: str, marks: dict[str, int]) -> float:
    """Return a reading in the internal unit, not-a-number for a gap."""
    if cell.casefold() in GAPS:
        marks["gap"] += 1
        return float("nan")
    text = cell
    if CHANNELS[column.name][0] == "length" and (parts := fraction(cell)) is not None and not parts[1]:
        return column.offset + column.factor * parts[0]
    if "," in cell and separator != ",":
        marks["comma"] += 1
        text = cell.replace(",", ".")
    if not NUMBER.fullmatch(text):
        raise InputError(
            "must be a number, or empty for a gap; its unit stands in the heading",
            field=f"line {line}, column '{column.heading}'",
            value=cell,
        )
    return column.offset + column.factor * float(text)
