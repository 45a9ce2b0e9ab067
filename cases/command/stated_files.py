"""What commands and the Python interface name: joint, cell, rig and log files, shipped ones, gasket laws."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from headjoint.cases.elements.threads import dense_on_one_thread, one_thread
from headjoint.model.base.errors import InputError
from headjoint.model.joint import Joint

if TYPE_CHECKING:
    from headjoint.model.cell import Cell
    from headjoint.model.gasket.law import GasketLaw

SHIPPED_KINDS = ("joints", "cells", "rigs", "logs", "beads")
RENAMED = {"boosted-four-cell": "boosted-four"}  # shipped files by their former names
# joint files that described a shipped engine a second time: the engine, and what to write instead
RETIRED = {
    "boosted-four-steel": ("boosted-four", "boosted-four --model stud"),
    "boosted-four-composite": ("boosted-four", "headjoint compare boosted-four --gasket composite"),
    "boosted-four-copper": ("boosted-four", "headjoint compare boosted-four --gasket copper"),
    "iron-diesel-steel": ("iron-diesel", "iron-diesel --model stud"),
}

Seen = Literal["whole", "stud"]


def by_model(stated: Joint | Cell, model: Seen) -> Joint | Cell:
    """Return what a file states, or with "stud" one stud of an engine with its share of head, gasket and block."""
    return stated if model == "whole" or isinstance(stated, Joint) else stated.joint


def threads_for(stated: Joint | Cell) -> AbstractContextManager:
    """Keep a single fastener's algebra on one thread, and the dense one of a single bore; give several bores all."""
    if isinstance(stated, Joint):
        return one_thread()
    return dense_on_one_thread() if len(stated.bore_centres) == 1 else nullcontext()


def shipped_joints() -> dict[str, Path]:
    """Return the joint files that ship with headjoint, by name."""
    return _shipped("joints")


def shipped_cells() -> dict[str, Path]:
    """Return the cell files that ship with headjoint, by name."""
    return _shipped("cells")


def shipped_files(kind: str) -> dict[str, Path]:
    """Return what ships in the folder `kind`, by name: "joints", "cells", "rigs", "logs", "guide"; else nothing."""
    return _shipped(kind, {"logs": "csv", "guide": "md"}.get(kind, "toml"))


def named_file(name: str, shipped: dict[str, Path], what: str) -> Path:
    """Return the path of a file, or of a shipped one by its name; InputError otherwise."""
    from headjoint.model.base.errors import unknown_name

    if os.path.lexists(name):
        return Path(name)
    if name in shipped:
        return shipped[name]
    if (other := _of_another_kind(name)) is None:
        raise unknown_name(what, name, shipped)
    return other


def _of_another_kind(name: str) -> Path | None:
    """Return the path of whatever ships by this name, None where nothing does: who reads it says what it is."""
    return next((found[name] for kind in SHIPPED_KINDS if name in (found := shipped_files(kind))), None)


def _shipped(kind: str, ending: str = "toml") -> dict[str, Path]:
    return {path.stem: path for path in sorted((Path(__file__).parent.parent / "shipped" / kind).glob(f"*.{ending}"))}


def read_one_joint(joint: str) -> tuple[Path, Joint]:
    """Return path and joint of one fastener; a cell file gives the share of one of its studs."""
    path, stated = read_stated(joint)
    return path, stated if isinstance(stated, Joint) else stated.joint


def stated_path(joint: str) -> Path:
    """Return the path of a file, or of a shipped one by its name; InputError for neither."""
    from headjoint.model.base.errors import nearest

    if os.path.lexists(joint):
        return Path(joint)
    if joint in RETIRED:
        engine, instead = RETIRED[joint]
        raise InputError(f"no longer ships, for the engine {engine} has one description; write: {instead}", file=joint)
    shipped = shipped_joints() | shipped_cells()
    if RENAMED.get(joint, joint) in shipped:
        return shipped[RENAMED.get(joint, joint)]
    if (other := _of_another_kind(joint)) is not None:
        return other
    near = nearest(joint, shipped)
    hint = f"; nearest shipped joint: {near[0]}" if near else "; `headjoint list joints` names those that ship"
    raise InputError(f"no such joint file{hint}", file=joint)


def read_stated(joint: str) -> tuple[Path, Joint | Cell]:
    """Return path and content of a file, or of a shipped joint or cell by its name, said where it has a new one."""
    from headjoint.model.reading.reading import read_input

    path = stated_path(joint)
    if joint in RENAMED and not os.path.lexists(joint):
        print(f"headjoint: {joint} is now called {RENAMED[joint]}", file=sys.stderr)
    return path, read_input(path)


def say_cautions(stated: Joint | Cell, accepted: Sequence[str] = ()) -> None:
    """Say on standard error what to be wary of: measured values that a file includes, incredible ones accepted."""
    for caution in accepted:
        print(f"headjoint: caution: accepted, though hard to believe: {caution}", file=sys.stderr)
    for measured in (stated if isinstance(stated, Joint) else stated.joint).measured:
        for caution in measured.cautions:
            print(f"headjoint: caution: {measured.file}: {caution}", file=sys.stderr)


def law_file(name: str) -> Path | None:
    """Return the file whose laws `name` means, None where it is a law by its own name."""
    named = os.path.lexists(name) or name in RENAMED | RETIRED or _of_another_kind(name) is not None
    return stated_path(name) if named else None


def _laws_computed(path: Path) -> dict[str, GasketLaw] | None:
    """Return the laws of a fragment that `headjoint bead` wrote, None where a file is none."""
    from headjoint.model.reading.fragment import laws_in
    from headjoint.model.reading.reading import checked, parse_content, read_text
    from headjoint.model.reading.stated_laws import laws_of

    if not path.is_file():
        return None
    content = parse_content(read_text(path), path.name)
    if "computed" not in content:
        return None
    try:
        return laws_of(laws_in(content, path.name, checked).laws, path.parent)
    except InputError as error:
        error.file = error.file or path.name
        raise


def laws_named(name: str, wanted: str | None) -> list[GasketLaw]:
    """Return a shipped law by its name, or the laws of a file's zones, each once, or the `wanted` one of them."""
    from headjoint.model.base.errors import unknown_name
    from headjoint.model.gasket.shipped_laws import library

    if law_file(name) is None:
        if name in library():
            if wanted is not None:
                raise InputError("chooses among the laws of a file, and this is a law", field="--law", value=wanted)
            return [library()[name]]
        if not name.endswith(".toml"):
            raise unknown_name("gasket law or joint file", name, [*library(), *shipped_joints(), *shipped_cells()])
    laws = _laws_computed(Path(name))
    if laws is None:
        _, stated = read_one_joint(name)
        laws = {zone.law.name: zone.law for zone in stated.gasket.zones}
    if wanted is None:
        return list(laws.values())
    if wanted not in laws:
        raise unknown_name("gasket law of this file's zones", wanted, laws, field="--law")
    return [laws[wanted]]
