"""What a command found, ready to be told: as words on the terminal, as a page, as JSON, as files."""

from __future__ import annotations

import json
from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from headjoint.cases.command.made import FROM_PYTHON, Made
from headjoint.model.base.whole_files import moved_in_whole

if TYPE_CHECKING:
    from pandas import DataFrame

    from headjoint.postproc.present.report import Report
    from headjoint.postproc.verdict.verdict import Verdict

Stage = Callable[[str], None]
FILES_OF_FIGURES = (".json", ".csv", ".parquet")


def quiet(name: str) -> None:
    """Hear of a stage and say nothing."""


@dataclass(frozen=True)
class Wanted:
    """What files are wanted: in which units, with pictures and page, a series over time, pictures that move; who hears
    of stages.
    """

    units: str = "si"
    pictures: bool = True
    series: bool = True
    stage: Stage = quiet
    moving: bool = False


class Answer(ABC):
    """What a command found. document_name : of the JSON among its files; page_name : of the page. judges : whether
    there is anything to be met.
    """

    document_name: ClassVar[str] = "result.json"
    page_name: ClassVar[str] = "report.html"
    judges: ClassVar[bool] = True

    @property
    @abstractmethod
    def name(self) -> str:
        """What was asked about."""

    @property
    def verdict(self) -> Verdict | None:
        """The requirements and what they say, None where nothing is judged."""
        return None

    @property
    def holds(self) -> bool | None:
        """Whether every requirement is met, None where nothing is judged or one that decides cannot be."""
        return None if self.verdict is None else self.verdict.holds

    @abstractmethod
    def document(self) -> dict[str, Any]:
        """Return all figures, unrounded, as JSON knows them; units by name."""

    @abstractmethod
    def report(self, units: str = "si") -> Report:
        """Return what it says, figures in "si" or "workshop" units."""

    @abstractmethod
    def columns(self) -> Mapping[str, Sequence[Any]]:
        """Return its main table, column by column, in SI units that the headings name."""

    def frame(self) -> DataFrame:
        """Return its main table as a pandas frame; its `attrs["units"]` are the units of columns that name none."""
        from pandas import DataFrame

        frame = DataFrame(self.columns())
        frame.attrs["units"] = dict(self.column_units)
        return frame

    @property
    def column_units(self) -> Mapping[str, str]:
        """Units of the columns of its main table, where neither a heading nor a column states them."""
        return {}

    def pictures(self, folder: Path, units: str = "si") -> list[Path]:
        """Draw its pictures as PNG files into a folder and return their paths."""
        folder.mkdir(parents=True, exist_ok=True)
        return self.draw_all(folder, Wanted(units))

    def whole_report(self, units: str = "si") -> Report:
        """Return what its page says: what it says, and what of it only a page has room for."""
        return self.report(units)

    def draw_all(self, folder: Path, wanted: Wanted) -> list[Path]:
        """Draw the pictures, and what else a page shows, into a folder and return them."""
        return self.draw(folder, wanted)

    def draw(self, folder: Path, wanted: Wanted) -> list[Path]:
        """Draw the pictures into a folder and return them."""
        return []

    def move(self, folder: Path, wanted: Wanted) -> list[Path]:
        """Draw the pictures that move into a folder and return them."""
        return []

    def tables(self, folder: Path, wanted: Wanted) -> None:  # noqa: B027 most answers have no others
        """Write what files there are besides JSON, pictures and page into a folder."""

    @cached_property
    def _document(self) -> dict[str, Any]:
        return self.document()

    def json(self, indent: int | None = 1) -> str:
        """Return the document as text."""
        return json.dumps(self._document, indent=indent)

    def write_files(
        self,
        folder: Path,
        *,
        units: str = "si",
        pictures: bool = True,
        series: bool = True,
        moving: bool = False,
        paper: str | None = None,
        made: Made = FROM_PYTHON,
        stage: Stage = quiet,
    ) -> list[Path]:
        """Write all files into a folder, each whole or not at all; return their paths.

        units : "si" or "workshop", of page and pictures. pictures : whether they, the page and the PDF are made.
        series : whether instants over time are, moving : whether pictures that move are. paper : of the PDF, "a4" or
        "letter"; that of the units where None. made : from what, for the page. stage : hears what is made.
        """
        from headjoint.postproc.present.pdf import paper_for

        wanted = Wanted(units, pictures, series, stage, moving)
        paper = paper_for(paper, units)
        with moved_in_whole(folder) as (scratch, written):
            (scratch / self.document_name).write_text(self.json(None), encoding="utf-8")
            self.tables(scratch, wanted)
            if wanted.pictures:
                wanted.stage("pictures")
                drawn = self.draw_all(scratch, wanted)
                if wanted.moving:
                    wanted.stage("moving pictures")
                    self.move(scratch, wanted)
                wanted.stage("report")
                self._write_page(scratch, drawn, wanted, paper, made)
        return written

    def _write_page(self, scratch: Path, drawn: Sequence[Path], wanted: Wanted, paper: str, made: Made) -> None:
        from headjoint.postproc.present.page import page_text
        from headjoint.postproc.present.pdf import write_pdf

        figures = sorted(path.name for path in scratch.iterdir() if path.suffix in FILES_OF_FIGURES)
        report = self.whole_report(wanted.units)
        page = page_text(report, drawn, figures, made)
        path = scratch / self.page_name
        path.write_text(page, encoding="utf-8")
        write_pdf(page, path.with_suffix(".pdf"), paper, report.title)

    def _repr_html_(self) -> str:
        """Return what a notebook shows: what it says, without pictures."""
        from headjoint.postproc.present.page import piece_text

        return piece_text(self.report())

    def show(self, units: str = "si", written: Sequence[Path] = ()) -> None:
        """Print it; `written` are the files that were made."""
        from headjoint.postproc.present.terminal import print_report

        print_report(self.report(units), written)
