"""The job of `headjoint rig`: find the named files, run, print and write."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from headjoint.cases.command.cli_tools import delivered, named_file, one_thread, progress, shipped_files
from headjoint.cases.command.output_paths import check_folder
from headjoint.model.base.errors import InputError
from headjoint.postproc.rig.report import print_rig, rig_document, run_rig, write_rig_files


def rig_job(
    logs: Sequence[str],
    *,
    rig: str,
    against: Sequence[str],
    against_rig: str | None,
    output: Path | None,
    pictures: bool,
    json_file: str | None,
    units: str,
) -> None:
    """Read logs on a rig, compare where asked, print and write. Raises InputError for what cannot be used."""
    if against_rig is not None and not against:
        raise InputError("is the rig of the logs given by --against, and there are none", field="--against-rig")
    rigs, shipped = shipped_files("rigs"), shipped_files("logs")
    paths = [named_file(name, shipped, "rig log") for name in logs]
    others = [named_file(name, shipped, "rig log") for name in against]
    rig_path = named_file(rig, rigs, "rig file")
    other_rig = None if against_rig is None else named_file(against_rig, rigs, "rig file")
    folder = check_folder(output or Path(f"headjoint-{paths[0].stem}"))
    with progress() as stage, one_thread():
        result = run_rig(paths, rig_path, others, other_rig, stage)
        document = rig_document(result)
        written = delivered(
            document,
            json_file,
            lambda: write_rig_files(result, document, folder, units, pictures=pictures, stage=stage),
        )
    if written is not None:
        print_rig(result, units, written)
