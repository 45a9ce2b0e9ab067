"""From a joint file to a `Joint`: read, check, fill in every default, one clear message on a mistake."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path

from pydantic import BaseModel, ValidationError

from headjoint.model.errors import InputError, nearest
from headjoint.model.joint import Joint
from headjoint.model.joint_file import JointFile
from headjoint.model.resolve import resolve

LARGEST_FILE = 5_000_000  # bytes; a joint file is a few thousand


def read_joint(path: str | os.PathLike[str]) -> Joint:
    """Read and check one joint file.

    Raises
    ------
    InputError : naming file, field, value and what is allowed; nothing is left half done.
    """
    path = Path(path)
    return parse_joint(read_text(path), file=path.name)


def read_text(path: Path) -> str:
    """Return the text of a UTF-8 file; InputError for a folder, a missing, empty or damaged file."""
    file = str(path)
    if path.is_dir():
        raise InputError("is a folder; give a joint file (TOML)", file=file)
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise InputError("is too large for a joint file (over 5 MB)", file=file)
        raw = path.read_bytes()
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
        raise InputError("is empty; `headjoint new` writes a starter file", file=file)
    return text


def parse_joint(text: str, *, file: str = "") -> Joint:
    """Return the joint that TOML `text` states; errors carry `file` as the place."""
    try:
        try:
            content = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            raise InputError(f"is not valid TOML: {error}") from None
        except (RecursionError, ValueError) as error:  # deep nesting, or numbers beyond the parser
            raise InputError(f"cannot be read as TOML: {type(error).__name__}") from None
        try:
            stated = JointFile.model_validate(content)
        except ValidationError as error:
            raise _translate(error) from None
        return resolve(stated)
    except InputError as error:
        error.file = error.file or file
        raise


def field_path(location: tuple[int | str, ...]) -> str:
    """Write a pydantic location as a path: ('gasket', 'zones', 1, 'law') -> 'gasket.zones[1].law'.

    Union branches that pydantic adds (such as 'float' or 'literal[...]') are left out.
    """
    path = ""
    for step in location:
        if isinstance(step, int):
            path += f"[{step}]"
        elif not any(mark in step for mark in "[](") and step not in ("float", "str", "constrained-str"):
            path += f".{step}" if path else step
    return path


def _translate(error: ValidationError) -> InputError:
    """Turn the first of pydantic's errors into ours; misspelt keys first, as they cause missing ones."""
    problems = error.errors(include_url=False)
    first = min(problems, key=lambda problem: problem["type"] != "extra_forbidden")
    location, kind = first["loc"], first["type"]
    more = f" (and {len(problems) - 1} more)" if len(problems) > 1 else ""
    if kind == "extra_forbidden":
        names = _fields_at(location[:-1])
        near = nearest(str(location[-1]), names)
        hint = f"did you mean '{near[0]}'?" if near else f"known here: {', '.join(names)}"
        return InputError(f"unknown key; {hint}{more}", field=field_path(location))
    value = first.get("input")
    shown = value if isinstance(value, (str, int, float)) else None
    if kind == "missing":
        return InputError(f"is required but missing{more}", field=field_path(location))
    message = first["msg"]
    if kind == "quantity" and "or '" in message and len({p["loc"] for p in problems}) == 1:
        more = ""
    return InputError(message[0].lower() + message[1:] + more, field=field_path(location), value=shown)


def _fields_at(location: tuple[int | str, ...]) -> list[str]:
    """Return the keys allowed in the table at `location`."""
    model: type[BaseModel] = JointFile
    for step in location:
        field = model.model_fields.get(step) if isinstance(step, str) else None
        if field is None:
            continue
        found = _model_in(field.annotation)
        if found is not None:
            model = found
    return list(model.model_fields)


def _model_in(annotation: object) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in getattr(annotation, "__args__", ()):
        found = _model_in(inner)
        if found is not None:
            return found
    return None
