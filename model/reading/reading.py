"""From a joint file to a `Joint`: read, check, fill in every default, one clear message on a mistake."""

from __future__ import annotations

import dataclasses
import math
import os
import re
import tomllib
from functools import cache
from pathlib import Path
from types import UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

import msgspec

from headjoint.model.base.errors import InputError, nearest, unknown_name
from headjoint.model.base.named_files import check_regular
from headjoint.model.cell import Cell
from headjoint.model.files.cell_file import CellFile
from headjoint.model.files.joint_file import JointFile, convert
from headjoint.model.files.kinds import ENGINE, JOINT, kind_of, kind_of_table, refuse_other
from headjoint.model.files.service_file import RepeatedStep, StepTable
from headjoint.model.joint import Joint, Measured
from headjoint.model.reading.assumed import assumed
from headjoint.model.reading.cell_reading import resolve_cell
from headjoint.model.reading.fragment import judged, judged_law, take_fragments
from headjoint.model.reading.joint_reading import resolve

LARGEST_FILE = 5_000_000  # bytes; a joint file is a few thousand
LARGEST_INTEGER = 10**15
DEEPEST = 30  # tables in tables
# a dotted key of more parts than that; each part is looked at once
_PART = r"""(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')"""
_MANY_PARTS = re.compile(rf"(?<![\w-]){_PART}(?:[ \t]*+\.[ \t]*+{_PART}){{{DEEPEST}}}")
_STEERING = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069]")


def read_joint(path: str | os.PathLike[str]) -> Joint:
    """Read and check one joint file.

    Raises
    ------
    InputError : naming file, field, value and what is allowed; nothing is left half done.
    """
    path = Path(path)
    return parse_joint(read_text(path), file=path.name, folder=path.parent)


def read_input(path: str | os.PathLike[str]) -> Joint | Cell:
    """Read and check one joint file or, where it has a [layout], cell file; raises InputError like `read_joint`."""
    path = Path(path)
    return _parse(read_text(path), path.name, path.parent)


def read_text(path: Path) -> str:
    """Return the text of a UTF-8 file; InputError for a folder, a missing, empty or damaged file."""
    file = str(path)
    if path.is_dir():
        raise InputError("is a folder; give a joint file (TOML)", file=file)
    try:
        check_regular(path)
        if path.stat().st_size > LARGEST_FILE:
            raise InputError("is too large for a joint file (over 5 MB)", file=file)
        raw = path.read_bytes()
    except InputError as error:
        error.file = file
        raise
    except FileNotFoundError:
        raise InputError("no such file; `headjoint list joints` names those that ship", file=file) from None
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", file=file) from None
    except ValueError:
        raise InputError("is no usable file name", file=repr(file)) from None
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            f"is not UTF-8 text (byte {error.start + 1} is {raw[error.start]:#04x}); save it as UTF-8",
            file=file,
        ) from None
    if not text.strip():
        raise InputError("is empty; `headjoint new` writes a file to start from", file=file)
    return text


def parse_joint(text: str, *, file: str = "", folder: Path = Path()) -> Joint:
    """Return the joint that TOML `text` states, with tables it names in `folder`; errors carry `file` as the place."""
    found = _parse(text, file, folder)
    if isinstance(found, Cell):
        raise InputError("is a cell file (it has a [layout]); a joint file of one fastener is wanted", file=file)
    return found


def parse_cell(text: str, *, file: str = "", folder: Path = Path()) -> Cell:
    """Return the cell that TOML `text` states, with files it names in `folder`; errors carry `file` as the place."""
    found = _parse(text, file, folder)
    if isinstance(found, Joint):
        raise InputError("is a joint file of one fastener; a cell file has a [layout]", file=file)
    return found


def _parse(text: str, file: str, folder: Path = Path()) -> Joint | Cell:
    return joint_of(parse_content(text, file), file, folder)


def parse_content(text: str, file: str = "") -> dict[str, Any]:
    """Return TOML `text` as tables of numbers and text, not yet looked at; errors carry `file` as the place."""
    try:
        content = parse_toml(text)
    except InputError as error:
        error.file = error.file or file
        raise
    return content


def joint_of(
    content: dict[str, Any], file: str = "", folder: Path = Path(), *, past_yield: bool = False
) -> Joint | Cell:
    """Return the joint, or with a [layout] the cell, that parsed TOML states, with files it names in `folder`.

    past_yield : accept a tightening that yields the fastener, for studies that judge it by its yield factor.
    """
    try:
        refuse_other(kind_of(content), (JOINT, ENGINE), "an engine file or a joint file")
        content, fragments = take_fragments(content, folder, lambda path: parse_toml(read_text(path)), checked)
        stated = tables_of(content)
        resolved: Joint | Cell
        if isinstance(stated, CellFile):
            resolved = resolve_cell(stated, folder, past_yield=past_yield)
        else:
            resolved = resolve(stated, folder, past_yield=past_yield)
        joint = resolved if isinstance(resolved, Joint) else resolved.joint
        measured: list[Measured] = []
        for fragment in fragments:
            if fragment.computed is not None:
                measured += judged_law(fragment.computed, fragment.file, joint, stated.gasket.laws)
            else:
                measured.append(judged(fragment, joint, stated.tightening.lubricant))
        joint = dataclasses.replace(joint, measured=tuple(measured), assumed=assumed(content, resolved))
        return joint if isinstance(resolved, Joint) else dataclasses.replace(resolved, joint=joint)
    except InputError as error:
        error.file = error.file or file
        raise


def tables_of(content: dict[str, Any]) -> JointFile | CellFile:
    """Return the checked tables of parsed TOML."""
    return checked(content, CellFile if "layout" in content else JointFile)


def kind_at(place: str, content: dict[str, Any]) -> Any:
    """Return the type that the tables want at a place such as 'load_cases[2].gas_pressure'."""
    return _at(place, content, CellFile if "layout" in content else JointFile)[0]


def parse_toml(text: str) -> dict[str, Any]:
    """Return what TOML `text` states, every number finite; InputError otherwise."""
    if _MANY_PARTS.search(text):  # the parser's time grows with the cube of the parts
        raise InputError(f"cannot be read as TOML: a key of more than {DEEPEST} parts")
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        refuse_other(kind_of_table(text), (), "a TOML file")
        raise InputError(f"is not valid TOML: {error}") from None
    except RecursionError:
        raise InputError("cannot be read as TOML: lists or tables within each other a thousand times") from None
    except ValueError:
        raise InputError("cannot be read as TOML: a whole number of more than 4,300 digits") from None
    _refuse_unusable(content, "", 0)
    return content


def checked(content: dict[str, Any], table: type[Any]) -> Any:
    """Return the validated `table` of parsed TOML; InputError with field, value and what is allowed otherwise."""
    try:
        return convert(content, table)
    except msgspec.ValidationError as error:
        raise _translate(error, content, table) from None


def _refuse_unusable(value: object, place: str, depth: int) -> None:
    """Refuse what TOML knows and no joint has: nan, inf, huge numbers, text that steers a terminal, deep nesting."""
    if isinstance(value, float) and not math.isfinite(value):
        raise InputError("must be a finite number", field=place, value=value)
    if isinstance(value, int) and abs(value) > LARGEST_INTEGER:
        raise InputError("is too large a number", field=place, value=value)
    if isinstance(value, str) and (match := _STEERING.search(value)):
        raise InputError(f"must be plain text (it has the control character {match[0]!r})", field=place)
    if depth > DEEPEST:
        raise InputError(f"tables are nested deeper than {DEEPEST}", field=place)
    if isinstance(value, dict):
        for key, entry in value.items():
            if _STEERING.search(key):
                raise InputError("a key must be plain text", field=place, value=key)
            _refuse_unusable(entry, _join(place, key), depth + 1)
    elif isinstance(value, list):
        for number, entry in enumerate(value):
            _refuse_unusable(entry, f"{place}[{number}]", depth + 1)


PROBLEM = re.compile(r"^(?P<problem>.*?)(?: - at `\$(?P<place>.*)`)?$", re.DOTALL)
LISTED = re.compile(r"\[(\d+)\]")
WORDS = {
    "array": "a list",
    "object": "a table",
    "str": "text",
    "float": "a number",
    "int": "a number",
    "bool": "true or false",
}


def _translate(error: msgspec.ValidationError, content: dict[str, Any], table: type[Any]) -> InputError:
    """Turn the checker's message into ours: field, value, what is allowed, nearest valid name."""
    parts = PROBLEM.match(str(error))
    assert parts is not None
    problem, place = parts["problem"], (parts["place"] or "").lstrip(".")
    if "[...]" in place:
        place = _with_key(place, content, table)
    model, value = _at(place, content, table)
    if match := re.match(r"Object contains unknown field `(.*)`$", problem):
        names = list(model.__struct_fields__) if isinstance(model, type) and issubclass(model, msgspec.Struct) else []
        near = nearest(match[1], names)
        hint = f"did you mean '{near[0]}'?" if near else f"known here: {', '.join(names)}"
        return InputError(f"unknown key; {hint}", field=_join(place, match[1]))
    if match := re.match(r"Object missing required field `(.*)`$", problem):
        return InputError("is required but missing", field=_join(place, match[1]))
    shown = value if isinstance(value, (str, int, float)) else None
    if match := re.match(r"Invalid value (.*)$", problem):  # the 'do' of a step
        steps = RepeatedStep if ".steps[" in place else StepTable
        names = [one.__struct_config__.tag for one in get_args(steps)]
        return unknown_name("step", str(value), names, field=place)
    choices = [repr(choice) for choice in _choices(model)]
    if problem.startswith("Invalid enum value") and len(choices) > 1:
        return InputError(f"must be {', '.join(choices[:-1])} or {choices[-1]}", field=place, value=shown)
    if match := re.match(r"Expected `(.*?)`, got `(.*?)`$", problem):
        wanted = " or ".join(
            WORDS.get(part.strip(), part.strip()) for part in match[1].split("|") if "null" not in part
        )
        return InputError(f"must be {wanted}", field=place, value=shown)
    if match := re.match(r"Expected `array` of length (\d+), got \d+$", problem):
        return InputError(f"needs {match[1]} entries", field=place)
    if match := re.match(r"Expected `(.*?)` (of length )?(>=|>|<=|<) (.*)$", problem):
        words = {">=": "at least", ">": "greater than", "<=": "at most", "<": "less than"}
        if match[2]:
            entries = "entry" if match[4] == "1" else "entries"
            return InputError(f"needs {words[match[3]]} {match[4]} {entries}", field=place)
        return InputError(f"must be {words[match[3]]} {float(match[4]):g}", field=place, value=shown)
    return InputError(problem, field=place, value=shown)


def _join(place: str, name: str) -> str:
    return f"{place}.{name}" if place else name


def _with_key(place: str, content: dict[str, Any], table: type[Any]) -> str:
    """Put the key of the entry that is wrong in place of the checker's '[...]'."""
    before, after = place.split("[...]", 1)
    kinds, entries = _at(before, content, table)
    if isinstance(entries, dict) and get_args(kinds):
        for name, entry in entries.items():
            try:
                convert(entry, get_args(kinds)[-1])
            except msgspec.ValidationError:
                return f"{before}.{name}{after}"
    return place


def _at(place: str, content: dict[str, Any], table: type[Any]) -> tuple[Any, object]:
    """Return the type that the tables want at a place, and the value that the file has there."""
    model: Any = table
    value: object = content
    for step in [step for step in LISTED.sub(r".\1", place).split(".") if step]:
        if step.isdigit() and isinstance(value, list):
            value = value[int(step)] if int(step) < len(value) else None
            model = _inside(model, value)
        elif isinstance(value, dict):
            value = value.get(step)
            hints = _hints(model) if isinstance(model, type) else {}
            model = _plain(hints[step]) if step in hints else _inside(model)
    return model, value


@cache
def _hints(model: type) -> dict[str, Any]:
    """Return the types of a table's keys; evaluated once, for that takes milliseconds."""
    return get_type_hints(model, include_extras=False)


def _plain(hint: Any, value: object = None) -> Any:
    """Return the table in a union with None or a name, or the step that `value` is by its 'do'; else the hint."""
    if get_origin(hint) in (Union, UnionType):
        tables = [part for part in get_args(hint) if part is not type(None) and part is not str]
        if isinstance(value, dict) and "do" in value:
            tables = [part for part in tables if part.__struct_config__.tag == value["do"]]
        return tables[0] if len(tables) == 1 else hint
    return hint


def _inside(hint: Any, value: object = None) -> Any:
    """Return the type of the entries of a list or of a table of tables."""
    arguments = get_args(hint)
    return _plain(arguments[-1], value) if arguments else hint


def _choices(hint: Any) -> tuple[Any, ...]:
    return get_args(hint)
