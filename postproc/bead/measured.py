"""The answer of a sheet of stated compression data: its law, and what the data leave open."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.figure import Figure as Value
from headjoint.model.bead.measured_sheet import MeasuredSheet
from headjoint.model.gasket.law import GasketLaw
from headjoint.model.gasket.loading import LoadingCurve
from headjoint.postproc.bead.law import Rows, law_lines, opening_law, thinned
from headjoint.postproc.present.answer import Answer, Wanted
from headjoint.postproc.present.document import opening, plain, toml_text
from headjoint.postproc.present.drawing import COLOURS, INK, blank_figure, headline, placed_axes, save_pictures
from headjoint.postproc.present.report import Paragraphs, Pictures, Report, Section, Sheet, Verbatim
from headjoint.postproc.present.scale import Scales
from headjoint.postproc.present.units import figure_text, shown, unit_in

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FORMAT, VERSION = "headjoint-measured-sheet", 1
FRAGMENT = "law.toml"
UNITS = {"length": "mm", "closure": "mm", "pressure": "MPa", "temperature": "degC"}
MOST_LEFT = 0.05  # of the pressure that it is opened from, beyond which a word is said of an opening that stops there
STOPS = (
    "opened from {:.4g} mm it was let go to {:.3g} MPa only; from there the law goes on along the last two rows, to a "
    "greater set than a sheet keeps that opens ever more softly, which is on the safe side"
)
NO_RANGE = "no range is known: one piece was pressed and none is stated; two more pieces would tell it"
HOW = (
    "Rows are taken as measured. Loading is where pressure is greater than before, openings where it falls; pressing "
    "again is passed over, for the law has no loop. Where the sheet gave way by more than 5 % of the greatest closure "
    "at nearly the greatest pressure so far, loading is lowered to what it bore then, the safe side. Creep and "
    "relaxation under load are not in such data: rows read "
    "soon after each other flatter the sheet."
)


@dataclass(frozen=True)
class MeasuredAnswer(Answer):
    """A sheet as measured, with the law that an engine may take."""

    sheet: MeasuredSheet
    law: GasketLaw = field(repr=False)
    cautions: tuple[str, ...]
    document_name = "bead.json"
    page_name = "bead.html"
    judges = False

    @property
    def name(self) -> str:
        """Name of the sheet."""
        return self.sheet.name

    @property
    def fragment(self) -> str:
        """The law as TOML that an engine or joint file includes."""
        closure, pressure = self.sheet.measured.loading[:, -1]
        lines = [
            "# A gasket law from stated compression data, written by `headjoint bead`. Name this file in an engine or",
            '# joint file that lies beside it:   include = "law.toml"   and the law in a zone:   law = '
            + toml_text(self.name),
            *(f"# Caution: {one}." for one in self.cautions),
            "",
            "[computed]",
            f"bead = {toml_text(self.name)}",
            f"note = {toml_text(self.sheet.note)}",
            f"written_by = {toml_text('headjoint ' + version('headjoint'))}",
            f'temperature = ["{self.sheet.temperature:g} degC"]',
            f'deepest_closure = "{closure:.6g} mm"  # beyond it the last slope goes on, which nobody measured',
            f'greatest_pressure = "{pressure:.6g} MPa"',
            "",
        ]
        return "\n".join([*lines, *law_lines(self.law, "of pieces or as stated")]) + "\n"

    def document(self) -> dict[str, Any]:
        """Return the document in internal units, unrounded."""
        sheet = self.sheet
        return opening(FORMAT, VERSION, UNITS) | {
            "sheet": {"name": sheet.name, "note": sheet.note, "thickness": sheet.thickness, "source": sheet.source,
                      "temperature": sheet.temperature, "specimens": sheet.specimens, "spread": sheet.spread},
            "loading": plain(sheet.measured.loading),
            "openings": [plain(one) for one in sheet.measured.openings],
            "law": plain(self.law),
            "cautions": list(self.cautions),
        }  # fmt: skip

    def columns(self) -> Mapping[str, Sequence[Any]]:
        """Return every row that the law is made of."""
        legs = [("loading", self.sheet.measured.loading), *(("opening", one) for one in self.sheet.measured.openings)]
        return {
            "leg": [name for name, rows in legs for _ in rows[0]],
            "closure mm": [float(one) for _, rows in legs for one in rows[0]],
            "pressure MPa": [float(one) for _, rows in legs for one in rows[1]],
        }

    def tables(self, folder: Path, wanted: Wanted) -> None:
        """Write the curve and the law."""
        self.frame().to_csv(folder / "curve.csv", index=False)
        (folder / FRAGMENT).write_text(self.fragment, encoding="utf-8")

    def draw(self, folder: Path, wanted: Wanted) -> list[Path]:
        """Draw the picture."""
        return save_pictures([("curve", lambda: _picture(self, wanted.units))], folder)

    def report(self, units: str = "si") -> Report:
        """Return what it says."""
        sheet = self.sheet
        closure, pressure = sheet.measured.loading[:, -1]
        sentences = [
            f"pressed to {_say(pressure, 'MPa', units, '.1f')} the sheet is closed by "
            f"{_say(closure, 'mm', units, '.3f')}, {100.0 * closure / sheet.thickness:.0f} % of its "
            f"{_say(sheet.thickness, 'mm', units, '.3f')}",
            f"let go from there it keeps a set of {_say(1e3 * openings_of(sheet)[-1][0][0], 'um', units, '.0f')}",
            NO_RANGE if sheet.spread is None else f"its pressure is known to plus-minus {100.0 * sheet.spread:.0f} %",
            *(f"caution: {one}" for one in self.cautions),
        ]
        sections: list[Section] = [_sheet(sheet, units), Pictures(), Paragraphs("What stands behind it", (HOW,), True)]
        return Report(title=sheet.name, note=sheet.note, judgement=None, sentences=tuple(sentences),
                      sections=(*sections, Verbatim(f"The law, as in {FRAGMENT}", self.fragment)))  # fmt: skip


def measured_answer(sheet: MeasuredSheet) -> MeasuredAnswer:
    """Return the law that follows from what was measured, with what to be wary of."""
    closure, pressure = sheet.measured.loading
    closure, pressure = thinned(closure, pressure, [_begins(sheet, one) for one in sheet.measured.openings])
    curve = LoadingCurve(sheet.temperature, tuple(map(float, closure)), tuple(map(float, pressure)))
    openings = openings_of(sheet)
    stiffest = max((p1 - p0) / (c1 - c0) for *_, (c0, p0), (c1, p1) in openings)
    reach = f"{closure[-1]:.4g} mm and {pressure[-1]:.4g} MPa at {sheet.temperature:g} degC"
    source = f"`headjoint bead`: stated compression data of {_pieces(sheet)} up to {reach}: {sheet.source}"
    about = {"title": f"sheet of {sheet.thickness:g} mm as measured", "source": source, "spread": sheet.spread}
    law, cautions = opening_law(sheet.name, (curve,), openings, stiffest, about)
    stops = [
        STOPS.format(*rows[:1, 0], rows[1, -1])
        for rows in sheet.measured.openings
        if rows[1, -1] > MOST_LEFT * rows[1, 0]
    ]
    return MeasuredAnswer(sheet, law, (*stops, *cautions))


def openings_of(sheet: MeasuredSheet) -> list[Rows]:
    """Return openings in few rows, each from its set up, gone on along their last two rows where they stop before."""
    found = []
    for closure, pressure in sheet.measured.openings:
        c, p = closure[::-1], pressure[::-1]
        if p[0] > 0.0:
            foot = c[0] - p[0] * (c[1] - c[0]) / (p[1] - p[0])
            c, p = np.append(foot, c), np.append(0.0, p)
        c, p = thinned(c, p, ())
        found.append(tuple(zip(map(float, c), map(float, p), strict=True)))
    return found


def _begins(sheet: MeasuredSheet, opening: FloatArray) -> int:
    return int(np.abs(sheet.measured.loading[0] - opening[0, 0]).argmin())


def _pieces(sheet: MeasuredSheet) -> str:
    return "one piece" if sheet.specimens == 1 else f"{sheet.specimens} pieces"


def _say(value: float, unit: str, units: str, digits: str) -> str:
    return Value(float(value), unit, digits).written(units)


def _sheet(sheet: MeasuredSheet, units: str) -> Sheet:
    rows = zip(sheet.measured.openings, openings_of(sheet), strict=True)
    lines = tuple(
        tuple(
            figure_text(shown(value, unit, units)[0])
            for value, unit in (
                (1e3 * float(measured[0, 0]), "um"),
                (float(measured[1, 0]), "MPa"),
                (1e3 * stated[0][0], "um"),
                ((stated[-1][1] - stated[-2][1]) / (stated[-1][0] - stated[-2][0]), "MPa/mm"),
            )
        )
        for measured, stated in rows
    )
    pairs = (("opened from", "um"), ("pressure there", "MPa"), ("set", "um"), ("stiffness at first", "MPa/mm"))
    return Sheet("Let go", tuple(f"{name}, {unit_in(unit, units)[0]}" for name, unit in pairs), lines)


def _picture(answer: MeasuredAnswer, units: str) -> Figure:
    """Return pressure over closure as measured, with the rows of the law."""
    scales, measured = Scales(units), answer.sheet.measured
    load = scales.of("MPa")
    figure = blank_figure(10.4, 5.6)
    headline(figure, f"{answer.name}: pressure of the sheet as measured")
    title = f"at {scales.temperature.text(answer.sheet.temperature, 'g')}"
    axes = placed_axes(figure, (0.075, 0.11, 0.63, 0.76), title, scales.fine.axis("closure from first touch"),
                       load.axis("pressure"))  # fmt: skip
    axes.plot(scales.fine(measured.loading[0]), load(measured.loading[1]), color=COLOURS["assembly"], linewidth=2.0,
              label="loading")  # fmt: skip
    for number, rows in enumerate(measured.openings):
        axes.plot(scales.fine(rows[0]), load(rows[1]), color=INK, linewidth=1.1, label=None if number else "opening")
    curve = answer.law.curves[0]
    axes.plot(scales.fine(np.array(curve.closure)), load(np.array(curve.pressure)), "o", color=COLOURS["hot"],
              markersize=3.5, label="rows of the law")  # fmt: skip
    sets = np.array([rows[0][0] for rows in openings_of(answer.sheet)])
    axes.plot(scales.fine(sets), 0.0 * sets, "o", color=INK, markersize=4.5, clip_on=False, zorder=4,
              label="permanent set")  # fmt: skip
    axes.set_xlim(left=0.0)
    axes.set_ylim(bottom=0.0)
    axes.legend(loc="upper left", bbox_to_anchor=(1.01, 1.02), frameon=False, fontsize=9, labelspacing=0.9)
    return figure
