"""What the commands share: reading what they name, progress, threads, files written whole."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any

from headjoint.cases.command.output_paths import check_file, write_whole
from headjoint.model.base.errors import InputError
from headjoint.model.joint import Joint

if TYPE_CHECKING:
    from headjoint.model.cell import Cell
    from headjoint.model.gasket.law import GasketLaw


def check_json(json_file: str | None) -> None:
    """Refuse a place for JSON that cannot be written; '-' is standard output."""
    if json_file not in (None, "-"):
        check_file(Path(json_file), "--json")


def write_text(path: Path, text: str) -> None:
    """Write a whole file or none of it."""
    write_whole(path, text.encode())


def delivered(
    document: dict[str, Any], json_file: str | None, write: Callable[[], list[Path]], indent: int | None = 1
) -> list[Path] | None:
    """Let `write` make the files of a result and return them; JSON to standard output, "-", is all there is, and None.

    json_file : where the document is written besides.
    """
    if json_file == "-":
        print(json.dumps(document, indent=indent))
        return None
    written = write()
    if json_file is not None:
        write_text(Path(json_file), json.dumps(document, indent=indent))
    return written


def threads_for(stated: Joint | Cell) -> AbstractContextManager:
    """Keep a single fastener's algebra on one thread, give a cell's all."""
    return one_thread() if isinstance(stated, Joint) else nullcontext()


def one_thread() -> AbstractContextManager:
    """Keep dense algebra on one thread: a single fastener's matrices are so small that threads only wait."""
    from threadpoolctl import threadpool_limits

    return threadpool_limits(limits=1)


@contextmanager
def progress() -> Iterator[Callable[[str], None]]:
    """Show the stage at work on a terminal's standard error; say nothing in a pipe."""
    if not sys.stderr.isatty():
        yield lambda name: None
        return
    from rich.console import Console

    with Console(stderr=True).status("reading") as status:
        yield lambda name: status.update(name)


def shipped_joints() -> dict[str, Path]:
    """Return the joint files that ship with headjoint, by name."""
    return _shipped("joints")


def shipped_cells() -> dict[str, Path]:
    """Return the cell files that ship with headjoint, by name."""
    return _shipped("cells")


def shipped_files(kind: str) -> dict[str, Path]:
    """Return what ships in the folder `kind`, by name: "joints", "cells", "rigs", or "logs" of rigs; else nothing."""
    return _shipped(kind, "csv" if kind == "logs" else "toml")


def named_file(name: str, shipped: dict[str, Path], what: str) -> Path:
    """Return the path of a file, or of a shipped one by its name; InputError otherwise."""
    from headjoint.model.base.errors import unknown_name

    if os.path.lexists(name):
        return Path(name)
    if name not in shipped:
        raise unknown_name(what, name, shipped)
    return shipped[name]


def _shipped(kind: str, ending: str = "toml") -> dict[str, Path]:
    return {path.stem: path for path in sorted((Path(__file__).parent.parent / "shipped" / kind).glob(f"*.{ending}"))}


def read_one_joint(joint: str) -> tuple[Path, Joint]:
    """Return path and joint of one fastener; a cell file gives the share of one of its studs."""
    path, stated = read_stated(joint)
    return path, stated if isinstance(stated, Joint) else stated.joint


def read_stated(joint: str) -> tuple[Path, Joint | Cell]:
    """Return path and content of a file, or of a shipped joint or cell by its name."""
    from headjoint.model.base.errors import nearest
    from headjoint.model.reading.reading import read_input

    shipped = shipped_joints() | shipped_cells()
    path = shipped.get(joint, Path(joint)) if not os.path.lexists(joint) else Path(joint)
    if joint not in shipped and not os.path.lexists(joint):
        near = nearest(joint, shipped)
        hint = f"; nearest shipped joint: {near[0]}" if near else "; `headjoint list joints` names those that ship"
        raise InputError(f"no such joint file{hint}", file=joint)
    stated = read_input(path)
    for measured in (stated if isinstance(stated, Joint) else stated.joint).measured:
        for caution in measured.cautions:
            print(f"headjoint: caution: {measured.file}: {caution}", file=sys.stderr)
    return path, stated


def laws_named(name: str, wanted: str | None) -> list[GasketLaw]:
    """Return a shipped law by its name, or the laws of a file's zones, each once, or the `wanted` one of them."""
    from headjoint.model.base.errors import unknown_name
    from headjoint.model.gasket.shipped_laws import library

    if not os.path.lexists(name) and name not in (joints := shipped_joints() | shipped_cells()):
        if name in library():
            if wanted is not None:
                raise InputError("chooses among the laws of a file, and this is a law", field="--law", value=wanted)
            return [library()[name]]
        if not name.endswith(".toml"):
            raise unknown_name("gasket law or joint file", name, [*library(), *joints])
    _, stated = read_one_joint(name)
    laws = {zone.law.name: zone.law for zone in stated.gasket.zones}
    if wanted is None:
        return list(laws.values())
    if wanted not in laws:
        raise unknown_name("gasket law of this file's zones", wanted, laws, field="--law")
    return [laws[wanted]]
