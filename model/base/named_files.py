"""Files that other files name: read from beside the file that names them and below, unless the user allows more.

A joint file may come from anybody; it shall not make headjoint read, and quote, whatever its reader can.
"""

from __future__ import annotations

import os
from pathlib import Path

from headjoint.model.base.errors import InputError

ALLOWED = "HEADJOINT_ALLOWED_FOLDERS"  # set by the command line, inherited by worker processes


def allow_folders(folders: list[str]) -> None:
    """Allow files in these folders and below, too, here and in processes started from here."""
    os.environ[ALLOWED] = os.pathsep.join(str(Path(one).resolve()) for one in folders)


def named_beside(folder: Path, name: str, field: str) -> Path:
    """Return the path of the file called `name` by a file in `folder`; InputError where it lies elsewhere."""
    try:
        path = (folder / name).resolve()
        allowed = [folder.resolve(), *(Path(one) for one in os.environ.get(ALLOWED, "").split(os.pathsep) if one)]
    except (OSError, ValueError, RuntimeError):  # a name that no file can have, links in a circle
        raise InputError("is no usable file name", field=field, value=name) from None
    if not any(path.is_relative_to(one) for one in allowed):
        raise InputError(
            "lies outside the folder of the file that names it; copy it there, or allow its folder: "
            "--allow-folder FOLDER",
            field=field,
            value=name,
        )
    return folder / name


def check_regular(path: Path) -> None:
    """Raise InputError for what is there but is no regular file: devices and pipes can go on for ever."""
    if path.exists() and not path.is_file():
        raise InputError("is no regular file")
