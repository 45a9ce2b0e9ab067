"""An answer as titled sections in words, the same on the terminal and on a page."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from headjoint.postproc.present.rows import Row
from headjoint.postproc.present.units import figure_places, figure_text, unit_in
from headjoint.postproc.verdict.requirement import Criterion
from headjoint.postproc.verdict.verdict import Judgement, Verdict

On = Literal["both", "page", "terminal"]
MOST_TOLD = "> 20"
SOURCES = "Where the data come from"
ROUNDED_UP = "Mesh errors are rounded up to the last place that their figure is printed with."


@dataclass(frozen=True)
class Sheet:
    """A table in words. left : numbers of columns aligned left besides the first. quiet : numbers of lines that stand
    beside the one above. bad : numbers of lines that fail. note : what is to be known of it. on : where it is shown.
    named : how many columns say what a line is about; they are repeated where a wide table is cut in two.
    """

    title: str
    headings: tuple[str, ...]
    lines: tuple[tuple[str, ...], ...]
    left: tuple[int, ...] = ()
    quiet: tuple[int, ...] = ()
    bad: tuple[int, ...] = ()
    note: str = ""
    on: On = "both"
    named: int = 1
    kind = "sheet"


@dataclass(frozen=True)
class Items:
    """Headings with a sentence each."""

    title: str
    items: tuple[tuple[str, str], ...]
    on: On = "both"
    kind = "items"


@dataclass(frozen=True)
class Paragraphs:
    """Sentences. listed : one below the other, marked."""

    title: str
    texts: tuple[str, ...]
    listed: bool = False
    on: On = "both"
    kind = "paragraphs"


@dataclass(frozen=True)
class Pictures:
    """Where the pictures stand on a page. drawings : those of the joint as it is stated, in place of all others."""

    title: str = "Pictures"
    drawings: bool = False
    on: On = "page"
    kind = "pictures"


@dataclass(frozen=True)
class Verbatim:
    """A file's text on a page."""

    title: str
    text: str
    on: On = "page"
    kind = "verbatim"


Section = Sheet | Items | Paragraphs | Pictures | Verbatim


@dataclass(frozen=True)
class Report:
    """What an answer says. judgement : None where nothing is judged. alarms : what makes figures untrustworthy.

    sentences : the answer in short, the first is the verdict. seen : by which model, and what it does not see.
    """

    title: str
    note: str
    judgement: Judgement | None
    sentences: tuple[str, ...]
    sections: tuple[Section, ...]
    alarms: tuple[str, ...] = ()
    seen: str = ""


def balance_words(found: Iterable[tuple[float, float]]) -> str:
    """Say how well the worst of some states, each with its free-body error and residual, came to equilibrium."""
    balances, residuals = zip(*found, strict=True)
    return f"bolts = gasket + gas to {max(balances):.0e} of the clamp; Newton residual {max(residuals):.0e}"


def criteria_sections(verdict: Verdict, units: str) -> list[Section]:
    """Return every requirement at its worst, and what to change where one fails."""
    lines = tuple(
        (
            one.name,
            factor_text(one),
            f"{one.needed:.2f}",
            one.word,
            f"{one.where.written(units)}: {one.detail.written(units)}",
        )
        for one in verdict.criteria
    )
    bad = tuple(number for number, one in enumerate(verdict.criteria) if one.holds is False)
    headings = ("requirement", "factor", "needed", "", "worst at")
    sections: list[Section] = [Sheet("Requirements, each at its worst", headings, lines, left=(3, 4), bad=bad)]
    remedies = tuple(
        (f"To change for {one.name}", f"{one.remedy.written(units)}.") for one in verdict.criteria if one.holds is False
    )
    if remedies:
        sections.append(Items("", remedies))
    if verdict.not_judged:
        unknown = tuple(
            (one.name + (" (decides)" if one.deciding else ""), f"{one.why}.") for one in verdict.not_judged
        )
        sections.append(Items("Not judged", unknown))
    return sections


def error_text(error: float | None, value: float | None, factor: float = 1.0) -> str:
    """Write a mesh error with the places of its figure, rounded up: never finer than what it belongs to."""
    if error is None or value is None:
        return ""
    return rounded_up(error * factor, figure_places(value * factor))


def rounded_up(error: float, places: int) -> str:
    """Write a mesh error with so many decimal places, rounded up; the least that is written is one of the last."""
    last = 10.0**-places
    # by binary fractions 0.07 is a hair more than seven hundredths
    return f"{max(1, math.ceil(error / last - 1e-9)) * last:.{places}f}"


def factor_text(one: Criterion) -> str:
    """Return the factor of a requirement with its mesh error in words."""
    if one.value is None:
        return MOST_TOLD
    error = "" if one.mesh_error is None else f" +- {rounded_up(one.mesh_error, int(one.digits[1]))}"
    return f"{one.value:{one.digits}}{error}"


def rows_sheet(rows: Sequence[Row], names: Sequence[str], units: str, title: str) -> Sheet:
    """Return quantities over states; under each finite-element line its estimate and the ratio."""
    lines: list[tuple[str, ...]] = []
    quiet = []
    for row in rows:
        unit, factor = unit_in(row.unit, units)
        lines.append((row.quantity, unit, *(figure_text(value, factor) for value in row.finite_elements)))
        if row.mesh_error:
            quiet.append(len(lines))
            pairs = zip(row.mesh_error, row.finite_elements, strict=True)
            lines.append(("  mesh error +-", "", *(error_text(error, value, factor) for error, value in pairs)))
        if any(value is not None for value in row.estimate):
            quiet += [len(lines), len(lines) + 1]
            lines.append(("  estimate", "", *(figure_text(value, factor) for value in row.estimate)))
            lines.append(("  ratio", "", *("" if ratio is None else f"{ratio:.3f}" for ratio in row.ratio)))
    note = ROUNDED_UP if any(row.mesh_error for row in rows) else ""
    return Sheet(title, ("", "", *names), tuple(lines), left=(1,), quiet=tuple(quiet), note=note, named=2)


def reasons(rows: Iterable[Row], more: Iterable[str] = ()) -> Paragraphs:
    """Return why finite elements and estimate should differ, each reason once. more : of the compliances."""
    found: dict[str, list[str]] = {}
    for row in rows:
        if row.why:
            found.setdefault(row.why, []).append(row.quantity)
    for why in more:
        if why:
            found.setdefault(why, []).append("compliance")
    texts = tuple(f"{', '.join(quantities)}: {why}" for why, quantities in found.items())
    return Paragraphs("Why finite elements and estimate should differ", texts, listed=True)


def sources_sheet(sources: Iterable[tuple[str, str]]) -> Sheet:
    """Return where the data come from: what, its source, and how well it is known."""
    lines = tuple((datum, source, well_known(source)) for datum, source in sources)
    return Sheet(SOURCES, ("datum", "source", "how well known"), lines, left=(1, 2), on="page")


def well_known(source: str) -> str:
    """Return how well a datum is known, by the words of its source: as the least sure of them."""

    def says(phrase: str) -> bool:
        return re.search(rf"\b{phrase}\b", source) is not None

    if says("no source"):
        return "no source"
    sure = next((one for one in ("low", "medium", "high") if says(f"{one} confidence")), "")
    if says("from memory"):
        return f"from memory, {sure or 'how well not said'}"
    if sure:
        return sure
    return "as stated in the file" if says("(?<!not )stated") else "as its source says"
