"""Joints, engines, findings and verdicts as a notebook shows them: pieces of HTML."""

from __future__ import annotations

import base64
import tempfile
from pathlib import Path
from typing import Any

from headjoint.model.cell import Cell
from headjoint.model.joint import Joint
from headjoint.postproc.present.page import piece_text
from headjoint.postproc.present.report import Report, Section, criteria_sections
from headjoint.postproc.stated.answer import DRAWN, draw_stated, joint_of
from headjoint.postproc.stated.words import assumed_sheet
from headjoint.postproc.verdict.verdict import Verdict


def html_of(shown: Any) -> str:
    """Return a joint or engine drawn to scale with what was assumed, or the verdict of findings with its table."""
    if isinstance(shown, (Joint, Cell)):
        return _stated(shown)
    return verdict_html(shown if isinstance(shown, Verdict) else shown.verdict, "")


def verdict_html(verdict: Verdict, title: str, units: str = "si") -> str:
    """Return a verdict and every requirement at its worst."""
    sections: tuple[Section, ...] = tuple(criteria_sections(verdict, units))
    seen = verdict.model_line
    return piece_text(Report(title, "", verdict.judgement, verdict.sentences(units), sections, seen=seen))


def _stated(stated: Joint | Cell) -> str:
    joint = joint_of(stated)
    with tempfile.TemporaryDirectory() as folder:
        (path,) = draw_stated((stated,), Path(folder), "si")
        picture = base64.b64encode(path.read_bytes()).decode("ascii")
    drawing = f'<img src="data:image/png;base64,{picture}" alt="{DRAWN}" style="width: 900px; max-width: 100%">'
    return drawing + piece_text(Report("", joint.note, None, (), (assumed_sheet(joint, "si"),)))
