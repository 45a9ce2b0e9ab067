"""Answers of sizing told: what just holds, the proof beside it, what was tried, files."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from headjoint.postproc.present.answer import Answer, Wanted
from headjoint.postproc.present.document import opening, plain
from headjoint.postproc.present.report import Paragraphs, Pictures, Report, Section, Sheet
from headjoint.postproc.studies.size import Choice, Found, Limit, Sized
from headjoint.postproc.studies.table import result_columns, write_tables
from headjoint.postproc.studies.words import left_columns

FORMAT, VERSION = "headjoint-size", 1


@dataclass(frozen=True)
class SizeAnswer(Answer):
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
        """Whether every question has an answer."""
        return not any(words.startswith("no ") for words in sentences(self.sized))

    def document(self) -> dict[str, Any]:
        """Return the document, format "headjoint-size"; values in the unit beside them."""
        sized = self.sized
        return opening(FORMAT, VERSION) | {
            "joint": sized.joint.name,
            "answers": [
                {
                    "question": one.question,
                    "unit": one.unit,
                    "own": one.own,
                    "searched": one.searched,
                    "least": plain(one.least),
                    "greatest": plain(one.greatest),
                    "clash": one.clash,
                }
                for one in sized.answers
            ],
            "threads": plain(sized.threads),
            "classes": plain(sized.classes),
            "verdict": {"sentences": sentences(sized)},
            "checks": {"evaluations": sized.evaluations, "seconds": sized.seconds},
        }

    def report(self, units: str = "si") -> Report:
        """Return what it says."""
        sized = self.sized
        sections: list[Section] = [Pictures("")]
        for title, (headings, lines), on in (
            ("Limits", limit_lines(sized), "both"),
            ("What moves them", move_lines(sized), "both"),
            ("Threads, smallest first", choice_lines(sized.threads), "page"),
            ("Property classes, weakest first", choice_lines(sized.classes), "page"),
        ):
            if lines:
                left = left_columns(tuple(headings))
                sections.append(Sheet(title, tuple(headings), tuple(lines), left=left, on=on))  # type: ignore[arg-type]
        sections.append(Paragraphs("", (run_words(sized),)))
        return Report(
            title=f"{sized.joint.name}: what meets every requirement in every load case",
            note="",
            judgement=None,
            sentences=tuple(sentences(sized)),
            sections=tuple(sections),
        )

    def columns(self) -> dict[str, Sequence[Any]]:
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

        return draw_sized(self.sized, folder) if self.sized.answers else []


def answer_words(answer: Found) -> str:
    """Return one answer in a sentence."""
    if not answer.found:
        return f"no {answer.question} holds: {answer.clash}"
    low, high = answer.least, answer.greatest
    text = []
    if low is not None:
        text.append(f"at least {low.at:.4g} {answer.unit} (limited by {low.active})")
    if high is not None:
        text.append(f"at most {high.at:.4g} {answer.unit} (limited by {high.active})")
    if not text:
        ends = f"{answer.searched[0]:.4g} to {answer.searched[1]:.4g} {answer.unit}"
        return f"{answer.question}: every value from {ends} holds, no limit was found; the file has {answer.own:.4g}"
    ends = [end for end, one in zip(("lower", "upper"), (low, high), strict=True) if one is None]
    tail = ""
    if len(ends) == 1 and not (answer.question == "cylinder pressure" and low is None):
        bound = answer.searched[0] if low is None else answer.searched[1]
        tail = f"; no {ends[0]} limit down to" if low is None else f"; no {ends[0]} limit up to"
        tail += f" {bound:.4g} {answer.unit}"
    return f"{answer.question}: {', '.join(text)}{tail}; the file has {answer.own:.4g} {answer.unit}"


def choice_words(what: str, choices: Sequence[Choice]) -> str:
    """Return the smallest thread or class in a sentence."""
    good = next((one for one in choices if one.holds), None)
    if good is None:
        return f"no {what} holds: {choices[-1].name}: {choices[-1].why}" if choices else f"no {what} to try"
    text = f"smallest {what}: {good.name}, with {good.why} {good.least:.4g} to {good.greatest:.4g} {good.unit}"
    before = choices[choices.index(good) - 1] if choices.index(good) > 0 else None
    return text + (f"; {before.name} does not hold: {before.why}" if before is not None else "")


def sentences(sized: Sized) -> list[str]:
    """Return all answers in words."""
    found = [answer_words(one) for one in sized.answers]
    if sized.threads:
        found.append(choice_words("thread", sized.threads))
    if sized.classes:
        found.append(choice_words("class", sized.classes))
    return found


def limit_lines(sized: Sized) -> tuple[list[str], list[tuple[str, ...]]]:
    """Return headings and lines of every limit: the answer, proved at it and 1 % beside it."""
    headings = ["limit", "answer", "active requirement", "factor/need 1 % below", "at it", "1 % above"]
    lines = []
    for answer in sized.answers:
        for word, limit in (("least", answer.least), ("greatest", answer.greatest)):
            if limit is not None:
                lines.append((f"{word} {answer.question}", *_limit_line(limit, answer.unit)))
    return headings, lines


def _limit_line(limit: Limit, unit: str) -> tuple[str, ...]:
    around = [f"{factor:.4f} {'holds' if holds else 'fails'}" for _, factor, holds in limit.around]
    return f"{limit.at:.4g} {unit}", limit.active, *around


def move_lines(sized: Sized) -> tuple[list[str], list[tuple[str, ...]]]:
    """Return headings and lines of what moves every limit, by its slope there."""
    lines = []
    for answer in sized.answers:
        for word, limit in (("least", answer.least), ("greatest", answer.greatest)):
            for what, change in limit.sensitivity if limit is not None else ():
                lines.append((f"{word} {answer.question}", what, f"{change:+.3g} {answer.unit}"))
    return ["limit", "when this changes", "it moves by"], lines


def choice_lines(choices: Sequence[Choice]) -> tuple[list[str], list[tuple[str, ...]]]:
    """Return headings and lines of the threads or classes tried."""
    lines = []
    for one in choices:
        window = f"{one.least:.4g} to {one.greatest:.4g} {one.unit}" if one.holds else ""
        lines.append((one.name, "holds" if one.holds else "no", window, "" if one.holds else one.why))
    return ["tried", "", "from, to", "why not"], lines


def run_words(sized: Sized) -> str:
    """Say how much was solved."""
    proof = "every answer was solved again 1 % beside it"
    return f"{sized.evaluations} designs by finite elements, {sized.seconds:.1f} s; {proof}."
