"""Write all files of a solved joint into a folder, each whole or not at all."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from headjoint.cases.load_cases.one_fastener import SolvedJoint
from headjoint.postproc.joint.assessment import Findings
from headjoint.postproc.present.page import moved_in_whole


def write_files(
    solved: SolvedJoint,
    findings: Findings,
    document: dict[str, Any],
    folder: Path,
    *,
    pictures: bool,
    stage: Callable[[str], None] = lambda name: None,
) -> list[Path]:
    """Write result.json, one VTU per state and, with `pictures`, the PNGs and the page; return their paths.

    Everything is made in a scratch folder beside the target and moved in file by file when complete, so an
    interruption leaves no half-written file.
    """
    with moved_in_whole(folder) as (scratch, written):
        (scratch / "result.json").write_text(json.dumps(document, indent=1), encoding="utf-8")
        stage("fields")
        from headjoint.postproc.joint.fields import recover, write_vtu

        recovered = recover(solved)
        write_vtu(solved, recovered, scratch)
        if pictures:
            stage("pictures")
            from headjoint.postproc.joint.pictures import draw_all
            from headjoint.postproc.joint.report import write_report

            drawn = draw_all(solved, findings.states["nominal"], recovered, scratch)
            write_report(findings, document, drawn, scratch)
    return written
