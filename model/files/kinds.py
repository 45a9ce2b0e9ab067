"""What kind of file a file is, by the tables or columns it has, and who takes it: for those who gave it to another."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from headjoint.model.base.csv_lines import heading_parts, lines_of
from headjoint.model.base.errors import InputError

ONE_FASTENER = ("fastener", "tightening", "load_cases", "gasket", "head")  # tables of joint and engine files


@dataclass(frozen=True)
class FileKind:
    """A kind of file: its name with its article, and what is done with it, as a sentence goes on after "which"."""

    name: str
    taken_by: str


ENGINE = FileKind("an engine file", "`headjoint solve` and others take")
JOINT = FileKind("a joint file of one fastener", "`headjoint solve` and others take")
BEAD = FileKind("a bead file", "`headjoint bead` takes")
RING = FileKind("a file of a solid ring", "`headjoint bead` takes")
SHEET = FileKind("a file of a sheet's compression data", "`headjoint bead` takes")
RIG = FileKind("a rig file", "`headjoint rig LOG --rig` takes")
MEASURED = FileKind("a fragment with measured values", "a joint or engine file takes by `include`")
COMPUTED = FileKind("a fragment with computed laws", "`headjoint law` takes, and a joint or engine file by `include`")
LOG = FileKind("a rig log", "`headjoint rig` takes")
LAW_TABLE = FileKind("a table of a gasket law", "a joint or engine file takes by `file` of a law")
PROFILE = FileKind("a table of a bead's profile", "a bead file takes by `points`")


def kind_of(content: Mapping[str, Any]) -> FileKind | None:
    """Return the kind of file that parsed TOML is, None where nothing tells."""
    if "computed" in content:
        return COMPUTED
    if isinstance(content.get("measured"), dict):
        return MEASURED if "log" in content["measured"] else SHEET
    if "layout" in content:
        return ENGINE
    if "rig" in content and "head" not in content:
        return RIG
    for table, kind in (("bead", BEAD), ("ring", RING)):
        if table in content and not any(one in content for one in ONE_FASTENER):
            return kind
    return JOINT if sum(one in content for one in ONE_FASTENER) > 1 else None


def kind_of_table(text: str) -> FileKind | None:
    """Return the kind of CSV table that a text is by its heading, None where nothing tells."""
    _, heading = next(lines_of(text), (1, ""))
    names = {heading_parts(cell.strip())[0].casefold() for cell in re.split("[;,\t]", heading)}
    if "closure" in names and names <= {"closure", "pressure", "line load", "temperature"}:
        return LAW_TABLE
    if names == {"x", "y"}:
        return PROFILE
    if names & {"force", "pressure"} and names & {"angle", "torque", "stretch", "time"}:
        return LOG
    return None


def refuse_other(found: FileKind | None, wanted: Collection[FileKind], words: str) -> None:
    """Raise InputError for a file that is of another kind than any wanted; say nothing of one that tells no kind.

    words : what is wanted, "a bead file".
    """
    if found is not None and found not in wanted:
        raise InputError(f"is {found.name}, which {found.taken_by}; {words} is wanted here")
