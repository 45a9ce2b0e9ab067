"""Where results go, checked before any work: a mistyped folder must not cost a run."""

from __future__ import annotations

import os
from pathlib import Path

from headjoint.model.base.errors import InputError


def check_folder(path: Path, field: str = "--output") -> Path:
    """Return `path` if results can be written into it as a folder, made where it is missing; else InputError."""
    if path.exists():
        if not path.is_dir():
            raise InputError("is a file; name a folder for the results", field=field, value=str(path))
        _check_writable(path, path, field)
        return path
    above = path.absolute().parent
    while not above.exists():
        above = above.parent
    if not above.is_dir():
        raise InputError(f"{above.name} is a file, no folder can be made in it", field=field, value=str(path))
    _check_writable(above, path, field)
    return path


def check_file(path: Path, field: str = "--output", endings: tuple[str, ...] = ()) -> Path:
    """Return `path` if a file can be written there; else InputError."""
    if endings and path.suffix not in endings:
        raise InputError(f"the file ends in {' or '.join(endings)}", field=field, value=str(path))
    if path.is_dir():
        raise InputError("is a folder; name a file", field=field, value=str(path))
    folder = path.absolute().parent
    if not folder.is_dir():
        raise InputError("no such folder to write in", field=field, value=str(path))
    _check_writable(folder, path, field)
    return path


def _check_writable(folder: Path, path: Path, field: str) -> None:
    if not os.access(folder, os.W_OK | os.X_OK):
        raise InputError(f"may not be written: no permission in {folder}", field=field, value=str(path))


def check_json(json_file: str | None) -> None:
    """Refuse a place for JSON that cannot be written; '-' is standard output."""
    if json_file not in (None, "-"):
        check_file(Path(json_file), "--json")
