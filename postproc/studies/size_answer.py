"""Answers of sizing told: what just holds, the proof beside it, what was tried, files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from headjoint.model.base.figure import Figure
from headjoint.postproc.designs.outcome import Outcome
from headjoint.postproc.present.answer import Wanted
from headjoint.postproc.present.document import opening, plain
from headjoint.postproc.present.report import On, Paragraphs, Pictures, Report, Section, Sheet
from headjoint.postproc.present.scale import Scale
from headjoint.postproc.stated.answer import StatedAnswer
from headjoint.postproc.studies.size import Sized
from headjoint.postproc.studies.size_gas import QUESTION
from headjoint.postproc.studies.size_questions import Choice
from headjoint.postproc.studies.size_search import Found, Limit
from headjoint.postproc.studies.table import result_columns, write_tables
from headjoint.postproc.studies.words import errors_line, left_columns, left_open, models_seen, study_error_part

FORMAT, VERSION = "headjoint-size", 1


@dataclass(frozen=True)
class SizeAnswer(StatedAnswer):
    """What just meets every requirement."""

    sized: Sized
    document_name = "size.json"
    page_name = "size.html"

    @property
    def name(self) -> str:
        """Name of the joint."""
        return self.sized.joint.name

    @property
    def holds(self) -> bool:
        """Whether every question has an answer, and nothing that decides was left open."""
        return not any(words.startswith("no ") for words in sentences(self.sized)) and not left_open(self._outcomes)

    @property
    def _outcomes(self) -> list[Outcome]:
        return [outcome for answer in self.sized.answers for _, outcome in answer.curve]

    def document(self) -> dict[str, Any]:
        """Return the document, format "headjoint-size"; values in the unit beside them."""
        sized = self.sized
        return opening(FORMAT, VERSION, solved=True) | {
            "joint": sized.joint.name,
            "answers": [
                {
                    "question": one.question,
                    "unit": one.unit,
                    "own": one.own,
                    "searched": one.searched,
                    "least": plain(one.least),
                    "greatest": plain(one.greatest),
                    "clash": "" if one.clash is None else one.clash.written(),
                    "at": "" if one.at is None else one.at.written(),
                    "beside": "" if one.beside is None else one.beside.written(),
                }
                for one in sized.answers
            ],
            "threads": plain(sized.threads),
            "classes": plain(sized.classes),
            "verdict": {"sentences": sentences(sized)},
            "checks": {
                "evaluations": sized.evaluations,
                "mesh_errors": study_error_part(self._outcomes),
                "seconds": sized.seconds,
            },
        }

    def report(self, units: str = "si") -> Report:
        """Return what it says."""
        sized = self.sized
        tables: tuple[tuple[str, tuple[list[str], list[tuple[str, ...]]], On], ...] = (
            ("Limits", limit_lines(sized, units), "both"),
            ("What moves them", move_lines(sized, units), "both"),
            ("Threads, smallest first", choice_lines(sized.threads, units), "page"),
            ("Property classes, weakest first", choice_lines(sized.classes, units), "page"),
        )
        sections: list[Section] = [Pictures("")]
        for title, (headings, lines), on in tables:
            if lines:
                left = left_columns(tuple(headings))
                sections.append(Sheet(title, tuple(headings), tuple(lines), left=left, on=on))
        sections.append(Paragraphs("", (run_words(sized), errors_line(self._outcomes))))
        return Report(
            title=f"{sized.joint.name}: what meets every requirement in every load case",
            note="",
            judgement=None,
            sentences=(*sentences(sized, units), *left_open(self._outcomes)),
            sections=tuple(sections),
            seen=models_seen(self._outcomes),
        )

    def columns(self) -> Mapping[str, Sequence[Any]]:
        """Return every design solved along a continuous quantity."""
        rows = [(answer, x, outcome) for answer in self.sized.answers for x, outcome in answer.curve]
        asked: dict[str, Sequence[Any]] = {
            "quantity": [answer.question for answer, _, _ in rows],
            "value": [x for _, x, _ in rows],
            "unit": [answer.unit for answer, _, _ in rows],
        }
        return asked | result_columns([outcome for _, _, outcome in rows])

    def tables(self, folder: Path, wanted: Wanted) -> None:
        """Write these designs as CSV, and as Parquet where that can be written."""
        if self.sized.answers:
            write_tables(self.columns(), folder, "size")

    def draw(self, folder: Path, wanted: Wanted) -> list[Path]:
        """Draw the picture."""
        from headjoint.postproc.studies.size_pictures import draw_sized

        return draw_sized(self.sized, folder, wanted.units) if self.sized.answers else []


def answer_words(answer: Found, units: str) -> str:
    """Return one answer in a sentence."""

    def at(value: float) -> str:
        return Figure(value, answer.unit, ".4g").written(units)

    question = answer.question if answer.at is None else f"{QUESTION} {answer.at.written(units)}"
    if answer.clash is not None:
        return f"no {question} holds: {answer.clash.written(units)}"
    low, high = answer.least, answer.greatest
    text = []
    if low is not None:
        text.append(f"at least {at(low.at)} (limited by {low.active})")
    if high is not None:
        beside = "" if answer.beside is None else f", {answer.beside.written(units)}"
        text.append(f"at most {at(high.at)}{beside} (limited by {high.active})")
    own = f"the file has {at(answer.own)}"
    if not text:
        ends = _between(*answer.searched, answer.unit, units)
        return f"{question}: every value from {ends} meets all that is judged, no limit was found; {own}"
    ends_open = [end for end, one in zip(("lower", "upper"), (low, high), strict=True) if one is None]
    tail = ""
    if len(ends_open) == 1 and not (answer.question.startswith(QUESTION) and low is None):
        way, bound = ("down to", answer.searched[0]) if low is None else ("up to", answer.searched[1])
        tail = f"; no {ends_open[0]} limit {way} {at(bound)}"
    return f"{question}: {', '.join(text)}{tail}; {own}"


def _between(low: float | None, high: float | None, unit: str, units: str) -> str:
    """Write two ends of a stretch, the unit once."""
    scale = Scale(unit, units)
    first, last = ("" if one is None else scale.text_of_table(one, ".4g") for one in (low, high))
    return f"{first.removesuffix(scale.unit).rstrip()} to {last}"


def choice_words(what: str, choices: Sequence[Choice], units: str) -> str:
    """Return the smallest thread or class in a sentence."""
    if not choices:
        return f"no {what} to try"
    good = next((one for one in choices if one.holds), None)
    if good is None:
        return f"no {what} holds: {choices[-1].name}: {choices[-1].why.written(units)}"
    window = _between(good.least, good.greatest, good.unit, units)
    text = f"smallest {what}: {good.name}, with {good.why.written(units)} {window}"
    before = choices[choices.index(good) - 1] if choices.index(good) > 0 else None
    return text + (f"; {before.name} does not hold: {before.why.written(units)}" if before is not None else "")


def sentences(sized: Sized, units: str = "si") -> list[str]:
    """Return all answers in words."""
    found = [answer_words(one, units) for one in sized.answers]
    if sized.threads:
        found.append(choice_words("thread", sized.threads, units))
    if sized.classes:
        found.append(choice_words("class", sized.classes, units))
    return found


def _limits(sized: Sized) -> list[tuple[str, Limit, str]]:
    """Return every limit with what it is called and its unit."""
    return [
        (f"{word} {answer.question}", limit, answer.unit)
        for answer in sized.answers
        for word, limit in (("least", answer.least), ("greatest", answer.greatest))
        if limit is not None
    ]


def limit_lines(sized: Sized, units: str) -> tuple[list[str], list[tuple[str, ...]]]:
    """Return headings and lines of every limit: the answer, proved at it and 1 % beside it."""
    headings = ["limit", "answer", "active requirement", "factor/need 1 % below", "at it", "1 % above"]
    lines: list[tuple[str, ...]] = []
    for name, limit, unit in _limits(sized):
        around = [f"{factor:.4f} {'met' if met else 'fails'}" for _, factor, met in limit.around]
        lines.append((name, Figure(limit.at, unit, ".4g").written(units), limit.active, *around))
    return headings, lines


def move_lines(sized: Sized, units: str) -> tuple[list[str], list[tuple[str, ...]]]:
    """Return headings and lines of what moves every limit, by its slope there."""
    lines: list[tuple[str, ...]] = []
    for name, limit, unit in _limits(sized):
        for what, change in limit.sensitivity:
            text = Figure(abs(change), unit, ".3g").written(units)
            lines.append((name, what, f"{'-' if change < 0.0 else '+'}{text}"))
    return ["limit", "when this changes", "it moves by"], lines


def choice_lines(choices: Sequence[Choice], units: str) -> tuple[list[str], list[tuple[str, ...]]]:
    """Return headings and lines of the threads or classes tried."""
    lines: list[tuple[str, ...]] = []
    for one in choices:
        window = _between(one.least, one.greatest, one.unit, units) if one.holds else ""
        lines.append((one.name, "met" if one.holds else "no", window, "" if one.holds else one.why.written(units)))
    return ["tried", "", "from, to", "why not"], lines


def run_words(sized: Sized) -> str:
    """Say how much was solved."""
    proof = "every answer was solved again 1 % beside it"
    return f"{sized.evaluations} designs by finite elements, {sized.seconds:.1f} s; {proof}."
