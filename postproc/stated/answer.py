"""An answer about a joint or an engine, whose page shows what was stated: drawn, assumed, and known how well."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from headjoint.model.cell import Cell
from headjoint.model.joint import Joint
from headjoint.postproc.present.answer import Answer, Wanted
from headjoint.postproc.present.document import plain
from headjoint.postproc.present.drawing import save_pictures
from headjoint.postproc.present.report import SOURCES, Items, Pictures, Report, Section, sources_sheet
from headjoint.postproc.stated.sources import sources
from headjoint.postproc.stated.words import assumed_sheet, not_modelled

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PIXELS = 1420  # across a drawing: its fine lines need more than other pictures
DRAWN = "As stated, to scale"
RESOLVED = "SHA-256 of the joint as understood, every default filled in"


@dataclass(frozen=True)
class StatedAnswer(Answer):
    """stated : what the answer is about, one design or several; the page shows it."""

    stated: tuple[Joint | Cell, ...] = field(default=(), kw_only=True, repr=False)

    @property
    def has_ends(self) -> bool:
        """Whether the ends of a row of bores are modelled."""
        return False

    def whole_report(self, units: str = "si") -> Report:
        """Return what its page says: what it says, the drawing, what was assumed, sources, what is not modelled."""
        report = self.report(units)
        if not self.stated:
            return report
        sections = list(report.sections)
        places = [number for number, one in enumerate(sections) if isinstance(one, Pictures)]
        # studies begin with their pictures: what was studied comes after what came of it
        place = places[0] if places and places[0] > 0 else len(sections)
        joints = [joint_of(one) for one in self.stated]
        told = any(one.title == SOURCES for one in sections)
        after: list[Section] = [
            *(assumed_sheet(joint, units) for joint in joints[:1] if joint.assumed),
            *([] if told else [sources_sheet(sources(joints[0]))]),
            not_modelled(self.stated[0], self.has_ends),
            Items("", ((RESOLVED, digest_of(self.stated[0])),), on="page"),
        ]
        whole = [*sections[:place], Pictures(DRAWN, drawings=True), *sections[place:], *after]
        return dataclasses.replace(report, sections=tuple(whole))

    def draw_all(self, folder: Path, wanted: Wanted) -> list[Path]:
        """Draw what was stated and the pictures into a folder and return them."""
        return [*draw_stated(self.stated, folder, wanted.units), *self.draw(folder, wanted)]


def joint_of(stated: Joint | Cell) -> Joint:
    """Return the joint of one fastener, of an engine that of one stud."""
    return stated.joint if isinstance(stated, Cell) else stated


def digest_of(stated: Joint | Cell) -> str:
    """Return the SHA-256 of a joint or cell as documents have it: the same wherever its file says the same."""
    return hashlib.sha256(json.dumps(plain(stated), sort_keys=True).encode()).hexdigest()


def draw_stated(stated: Sequence[Joint | Cell], folder: Path, units: str) -> list[Path]:
    """Draw joints and engines to scale into a folder and return the pictures: drawing.png, drawing_2.png, ..."""
    drawings = [
        ("drawing" if number == 1 else f"drawing_{number}", partial(_drawn, one, units))
        for number, one in enumerate(stated, start=1)
    ]
    return save_pictures(drawings, folder, pixels=PIXELS)


def _drawn(stated: Joint | Cell, units: str) -> Figure:
    from headjoint.postproc.stated.engine import draw_engine
    from headjoint.postproc.stated.stud import draw_joint

    return draw_engine(stated, units) if isinstance(stated, Cell) else draw_joint(stated, units)
