"""The answer of rig logs: what they say with intervals, comparisons, what is open, pictures, the fragment."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from headjoint.cases.rig.comparison import Compared, Repeated, against, repeated, within
from headjoint.cases.rig.evaluation import Evaluated, Finding, evaluate
from headjoint.cases.rig.faults import spoilt_by
from headjoint.cases.rig.least_squares import COVERAGE
from headjoint.cases.rig.not_identified import BETWEEN_FASTENERS, Missing
from headjoint.cases.rig.pool import check_one_treatment
from headjoint.cases.rig.prediction import Prediction, predict
from headjoint.model.base.errors import InputError
from headjoint.model.rig.log import read_log
from headjoint.model.rig.reading import read_rig
from headjoint.postproc.present.answer import Wanted
from headjoint.postproc.present.document import UNITS, opening, plain
from headjoint.postproc.present.report import Paragraphs, Pictures, Report, Section, Sheet, Verbatim
from headjoint.postproc.rig.fragment import fragment_text, withheld
from headjoint.postproc.rig.words import (
    compared_rows,
    compared_sentence,
    figures,
    full_stop,
    predicted_rows,
    repeat_note,
    repeated_rows,
    rounded,
    shown_unit,
    verdict,
)
from headjoint.postproc.stated.answer import StatedAnswer

FORMAT, VERSION = "headjoint-rig-result", 1
INTERVAL = (
    f"Intervals are {COVERAGE:g} standard deviations to either side, about 95 % (98 % of normal errors, less what is "
    "lost as scatter itself is estimated): 'scatter' is that of the readings, 'gauges' that of gauge errors, ram area, "
    "modulus and stiffness within their stated limits, each one standard deviation in the unit of the value."
)
PREDICTION = (
    "Predicted by the machinery that predicts engines: the rig is solved as a joint whose gasket is the ram. Strengths "
    "are those of the rig file; nothing measured is in it except, for angle, the friction that twists the fastener."
)
FRAGMENT = (
    "measured.toml carries what a joint file can use. Put it beside the joint file, name it there with "
    'include = "measured.toml", and delete from the joint file what the fragment states.'
)
REPEATED = (
    "Scatter is the standard deviation between the logs, what readings add to it included; its interval is where that "
    "of many such logs lies (95 %)."
)
REPEATED_HEADINGS = ("quantity", "logs", "mean", "scatter", "interval", "unit")
COMPARED_HEADINGS = ("question", "quantity", "difference", "interval", "verdict")
HEADINGS = ("quantity", "value", "interval", "scatter", "gauges", "unit", "how; what the interval owes most to")


PREDICTED_HEADINGS = ("quantity", "unit", "measured", "interval", "finite elements", "closed form")
NO_FRAGMENT = "No fragment was written: what a joint file could use of this log is what its faults spoil."
WITHHELD = "What the faults spoil is withheld from it: {names}."


@dataclass(frozen=True)
class RigAnswer(StatedAnswer):
    """All that came of the logs: those looked at, those they are compared with, the prediction, the comparisons, and
    how the logs looked at scatter."""

    logs: tuple[Evaluated, ...]
    others: tuple[Evaluated, ...]
    prediction: Prediction | None = field(repr=False)
    compared: tuple[Compared, ...]
    repeated: tuple[Repeated, ...] = ()
    document_name = "rig.json"
    page_name = "rig.html"
    judges = False

    @property
    def name(self) -> str:
        """Name of the log whose findings are told in full."""
        return self.first.clean.log.file

    @property
    def first(self) -> Evaluated:
        """The log whose findings are told in full."""
        return self.logs[0]

    @property
    def holds(self) -> bool | None:
        """False where a fault makes figures untrustworthy, else None: a log is not judged."""
        return False if self.first.faults else None

    def document(self) -> dict[str, Any]:
        """Return the document in internal units, unrounded."""
        prediction = self.prediction
        units = UNITS | {"time": "s", "angle": "rad", "share": "1", "finding": "as its unit field says"}
        return opening(FORMAT, VERSION, units) | {
            "rig": {"name": self.first.rig.name, "note": self.first.rig.note},
            "logs": [_log_part(one) for one in self.logs],
            "against": [_log_part(one) for one in self.others],
            "compared": [
                plain(one)
                | {"can_tell": one.can_tell, "smallest": one.smallest, "sentence": compared_sentence(one, "si")}
                for one in self.compared
            ],
            "repeated": plain(self.repeated),
            "predicted": None
            if prediction is None
            else {
                "stretch_compliance": {"finite_elements": prediction.stretch, "estimate": prediction.stretch_estimate},
                "setup_compliance": {"finite_elements": prediction.setup, "estimate": prediction.setup_estimate},
                "torsion_compliance": prediction.torsion,
            },
        }

    def report(self, units: str = "si") -> Report:
        """Return what it says."""
        one = self.first
        return Report(
            title=f"{one.clean.log.file} on {one.rig.name}",
            note=", ".join(part for part in (one.rig.note, one.lubricant) if part),
            judgement=None,
            sentences=tuple(verdict(one, units)),
            alarms=tuple(_faults(self)),
            sections=tuple(self._sections(units)),
        )

    def _sections(self, units: str) -> list[Section]:
        one, found = self.first, list[Section]()
        lines: tuple[tuple[str, ...], ...]
        if self.compared:
            lines = tuple(compared_rows(self.compared, units))
            note = repeat_note(self.compared)
            found.append(Sheet("Questions answered", COMPARED_HEADINGS, lines, left=(1, 4), note=note))
        if self.repeated:
            note = f"{REPEATED} What follows is of {one.clean.log.file} alone; measured.toml carries the means."
            lines = tuple(repeated_rows(self.repeated, units))
            found.append(Sheet("From log to log", REPEATED_HEADINGS, lines, left=(5,), note=note))
        rows = finding_rows(one, units)
        brief = tuple(row[:6] for row in rows)
        found += [
            Sheet("Findings", HEADINGS[:6], brief, left=(5,), note=INTERVAL, on="terminal"),
            Sheet("Findings", HEADINGS, tuple(rows), left=(5, 6), note=INTERVAL, on="page"),
        ]
        if self.prediction is not None and (lines := tuple(predicted_rows(one, self.prediction, units))):
            found.append(Sheet("Measured and predicted", PREDICTED_HEADINGS, lines, left=(1,), note=PREDICTION))
        found.append(Pictures())
        lines = tuple((missing.name, missing.why, missing.would) for missing in open_questions(self))
        found.append(
            Sheet("What this log cannot tell, and what would", ("open", "why", "what would tell"), lines, left=(1, 2))
        )
        fragment = fragment_text(self.logs)
        if fragment is not None:
            left_out = withheld(self.logs)
            said = (FRAGMENT, WITHHELD.format(names=", ".join(left_out))) if left_out else (FRAGMENT,)
            found += [Paragraphs("To the engine", said), Verbatim("", fragment)]
        elif any(each.faults for each in self.logs):
            found.append(Paragraphs("", (NO_FRAGMENT,)))
        if one.clean.notes:
            found.append(Paragraphs("While reading", tuple(one.clean.notes), listed=True))
        return found

    def columns(self) -> Mapping[str, Sequence[Any]]:
        """Return every finding of the first log with its interval, in the unit beside it."""
        names = ("key", "name", "use", "value", "low", "high", "unit")
        return {name: [getattr(found, name) for found in self.first.findings] for name in names}

    def tables(self, folder: Path, wanted: Wanted) -> None:
        """Write the fragment, where there is one."""
        fragment = fragment_text(self.logs)
        if fragment is not None:
            (folder / "measured.toml").write_text(fragment, encoding="utf-8")

    def draw(self, folder: Path, wanted: Wanted) -> list[Path]:
        """Draw the pictures."""
        from headjoint.postproc.present.drawing import save_pictures
        from headjoint.postproc.rig.pictures import pictures_of

        pictures = pictures_of(self.first, self.prediction, self.compared, wanted.units)
        return save_pictures(pictures, folder)


def run_rig(
    logs: Sequence[Path],
    rig: Path,
    others: Sequence[Path],
    other_rig: Path | None,
    stage: Callable[[str], None] = lambda name: None,
) -> RigAnswer:
    """Read rigs and logs, fit, predict and compare. Raises InputError for what cannot be used."""
    stage("reading")
    stated = read_rig(rig)
    beside = stated if other_rig is None else read_rig(other_rig)
    read, read_beside = [read_log(path) for path in logs], [read_log(path) for path in others]
    stage("fits")  # of which one takes seconds: nobody waits for them to hear that a file is of no use
    made = tuple(evaluate(log, stated) for log in read)
    compared_with = tuple(evaluate(log, beside) for log in read_beside)
    check_one_treatment(made, "LOGS")
    check_one_treatment(compared_with, "--against")
    stage("finite elements")
    prediction = predict(stated)
    compared = within(made[0]) + (against(compared_with, made) if compared_with else [])
    if compared_with and not any(one.between_logs for one in compared):
        raise InputError("the logs have no finding in common to compare", field="--against")
    drawn = (made[0].rig.joint,)
    return RigAnswer(made, compared_with, prediction, tuple(compared), tuple(repeated(made)), stated=drawn)


def finding_rows(one: Evaluated, units: str) -> list[tuple[str, ...]]:
    """Return the rows of the table of findings."""
    rows: list[tuple[str, ...]] = []
    for found in one.findings:
        value, interval, unit = figures(found, units)
        _, factor = shown_unit(found.key, found.unit, units)
        half = factor * found.deviation
        name = found.name + (f", use {found.use}" if found.use > 1 else "")
        how = found.method if found.use == 1 else ""
        how = f"{how}; {found.foremost}" if how else found.foremost
        scatter, gauges = (rounded(factor * part, half / 2.0) for part in (found.scatter, found.gauges))
        rows.append((name, value, interval, scatter, gauges, unit, how))
    return rows


def open_questions(result: RigAnswer) -> list[Missing]:
    """Return what the first log leaves open, less what several logs together tell."""
    return [one for one in result.first.missing if not (result.repeated and one.name == BETWEEN_FASTENERS)]


def _faults(result: RigAnswer) -> list[str]:
    """Return the faults of all logs; those of others than the first by their name."""
    named = []
    for each in (*result.logs, *result.others):
        name = "" if each is result.first else f"{each.clean.log.file}: "
        named += [name + full_stop(fault) for fault in each.faults]
    return named


def _log_part(one: Evaluated) -> dict[str, Any]:
    return {
        "file": one.clean.log.file,
        "rows": one.clean.log.rows,
        "load": one.load,
        "faults": list(one.faults),
        "notes": list(one.clean.notes),
        "findings": [_found_part(found, one.faults) for found in one.findings],
        "missing": plain(one.missing),
    }


def _found_part(found: Finding, faults: Sequence[str]) -> dict[str, Any]:
    points = found.points
    return {
        "key": found.key,
        "name": found.name,
        "use": found.use,
        "value": found.value,
        "low": found.low,
        "high": found.high,
        "unit": found.unit,
        "scatter": found.scatter,
        "gauges": found.gauges,
        "shifts": found.shifts,
        "method": found.method,
        "spoilt": bool(spoilt_by(faults, found.key)),
        "residuals": None
        if points is None
        else {
            "across": ", ".join(filter(None, points.across)),
            "x": plain(points.x),
            "residual": plain(points.y - points.fitted),
        },
    }
