"""Lines and cells of a CSV file as a spreadsheet or a logger writes it, and what a heading or a number looks like."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping
from pathlib import Path

from headjoint.model.base.errors import InputError
from headjoint.model.base.named_files import check_regular
from headjoint.model.base.units import Quantity

_HEADING = re.compile(r"(?P<name>[^\[\]]*?)\s*\[\s*(?P<unit>[^\[\]]+?)\s*\]")
_ROUND = re.compile(r"(?P<name>[^()\[\]]*?)\s*\(\s*(?P<unit>.+?)\s*\)")
NUMBER = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?")


def heading_parts(heading: str) -> tuple[str, str | None]:
    """Return name and unit of a heading, "force [kN]" or "force (kN)"; None where it states no unit."""
    parts = _HEADING.fullmatch(heading) or _ROUND.fullmatch(heading)
    return (heading, None) if parts is None else (parts["name"], parts["unit"])


def text_of(path: Path, largest: int, what: str) -> str:
    """Return the text of a CSV file that holds `what`.

    Raises InputError where it cannot be read, is no UTF-8, or is over `largest` bytes.
    """
    try:
        check_regular(path)
        if path.stat().st_size > largest:
            raise InputError(f"is too large for {what} (over {largest / 1e6:.0f} MB)")
        raw = path.read_bytes()
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}") from None
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise InputError("is not UTF-8 text; save it as CSV in UTF-8", field=f"line {line}") from None


def lines_of(text: str) -> Iterator[tuple[int, str]]:
    """Return the lines that say something, with their numbers; one that starts with # is a comment."""
    for number, line in enumerate(text.splitlines(), start=1):
        if line.strip() and not line.lstrip().startswith("#"):
            yield number, line


def cells_of(line: str, separator: str, number: int) -> list[str]:
    """Return the cells of one line; InputError where it is no line of a CSV table."""
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=separator, strict=True))]
    except csv.Error as error:
        raise InputError(f"is no line of a CSV table: {error}", field=f"line {number}", value=line[:80]) from None


def columns_of(text: str, kinds: Mapping[str, type[Quantity]], wanted: str) -> list[list[float]]:
    """Return the columns of a CSV table that `kinds` names, in their order, each in the internal unit of its kind.

    wanted : columns and their headings, as a message names them. Raises InputError naming the line where it is no such
    table.
    """
    lines = lines_of(text)
    number, heading = next(lines, (1, ""))
    separator = ";" if ";" in heading else ","
    columns = [heading_parts(cell) for cell in cells_of(heading, separator, number)]
    names = [name.casefold() for name, _ in columns]
    if sorted(names) != sorted(kinds) or any(unit is None for _, unit in columns):
        raise InputError(f"needs {wanted}", field=f"line {number}")
    found: dict[str, list[float]] = {name: [] for name in kinds}
    for number, line in lines:
        cells = cells_of(line, separator, number)
        if len(cells) != len(names):
            raise InputError(f"has {len(cells)} cells where the heading has {len(names)}", field=f"line {number}")
        texts = [cell.replace(",", ".") if separator == ";" else cell for cell in cells]
        if not all(NUMBER.fullmatch(cell) for cell in texts):
            mark = "point or comma" if separator == ";" else "point"
            raise InputError(f"must be numbers with a decimal {mark}; their unit stands in the heading",
                             field=f"line {number}", value=line)  # fmt: skip
        try:
            for cell, name, (_, unit) in zip(texts, names, columns, strict=True):
                found[name].append(float(kinds[name].read(f"{cell} {unit}")))
        except ValueError as error:
            raise InputError(str(error), field=f"line {number}", value=line) from None
    return list(found.values())
