"""What `headjoint rig` prints and writes: verdict, findings, comparison, what is open, pictures, page, fragment."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from headjoint.cases.rig.comparison import Compared, Repeated, against, repeated, within
from headjoint.cases.rig.evaluation import Evaluated, Finding, evaluate
from headjoint.cases.rig.least_squares import COVERAGE
from headjoint.cases.rig.not_identified import BETWEEN_FASTENERS, Missing
from headjoint.cases.rig.pool import check_one_treatment
from headjoint.cases.rig.prediction import Prediction, predict
from headjoint.model.base.errors import InputError
from headjoint.model.rig.log import read_log
from headjoint.model.rig.reading import read_rig
from headjoint.postproc.present.console import console
from headjoint.postproc.present.document import CAUTION, UNITS, opening, plain
from headjoint.postproc.present.page import moved_in_whole
from headjoint.postproc.rig.fragment import fragment_text
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


@dataclass(frozen=True)
class RigResult:
    """All that came of the logs: those looked at, those they are compared with, the prediction, the comparisons, and
    how the logs looked at scatter."""

    logs: tuple[Evaluated, ...]
    others: tuple[Evaluated, ...]
    prediction: Prediction | None = field(repr=False)
    compared: tuple[Compared, ...]
    repeated: tuple[Repeated, ...] = ()

    @property
    def first(self) -> Evaluated:
        """The log whose findings are told in full."""
        return self.logs[0]


def run_rig(
    logs: Sequence[Path],
    rig: Path,
    others: Sequence[Path],
    other_rig: Path | None,
    stage: Callable[[str], None] = lambda name: None,
) -> RigResult:
    """Read rigs and logs, fit, predict and compare. Raises InputError for what cannot be used."""
    stage("reading")
    stated = read_rig(rig)
    stage("fits")
    made = tuple(evaluate(read_log(path), stated) for path in logs)
    beside = stated if other_rig is None else read_rig(other_rig)
    compared_with = tuple(evaluate(read_log(path), beside) for path in others)
    check_one_treatment(made, "LOGS")
    check_one_treatment(compared_with, "--against")
    stage("finite elements")
    prediction = predict(stated)
    compared = within(made[0]) + (against(compared_with, made) if compared_with else [])
    if compared_with and not any(one.between_logs for one in compared):
        raise InputError("the logs have no finding in common to compare", field="--against")
    return RigResult(made, compared_with, prediction, tuple(compared), tuple(repeated(made)))


def finding_rows(one: Evaluated, units: str) -> list[tuple[str, ...]]:
    """Return the rows of the table of findings."""
    rows = []
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


def print_rig(result: RigResult, units: str, written: Sequence[Path]) -> None:
    """Print verdict, findings, comparison and what is open."""
    screen, one = console(), result.first
    screen.print(f"\n[bold]{escape(one.clean.log.file)}[/bold] on {escape(one.rig.name)}" + _note(one))
    for fault in _faults(result):
        screen.print(f"[bold red]DO NOT TRUST YET[/bold red]: {escape(fault)}")
    for sentence in verdict(one, units):
        screen.print(f"  {escape(sentence)}.")
    screen.print()
    if result.compared:
        screen.print("[bold]Questions answered[/bold]")
        _print_table(screen, COMPARED_HEADINGS, compared_rows(result.compared, units), "")
        screen.print(escape(repeat_note(result.compared)) + "\n")
    if result.repeated:
        _print_table(screen, REPEATED_HEADINGS, repeated_rows(result.repeated, units), "From log to log")
        screen.print(
            REPEATED + f" What follows is of {escape(one.clean.log.file)} alone; measured.toml carries the means.\n"
        )
    _print_table(screen, HEADINGS[:6], [row[:6] for row in finding_rows(one, units)], "Findings")
    screen.print(INTERVAL + "\n")
    if result.prediction is not None and (rows := predicted_rows(one, result.prediction, units)):
        headings = ("quantity", "unit", "measured", "interval", "finite elements", "closed form")
        _print_table(screen, headings, rows, "Measured and predicted")
        screen.print()
    screen.print("[bold]What this log cannot tell[/bold]")
    for missing in open_questions(result):
        screen.print(f"  {escape(missing.name)}: {escape(missing.why)}. Would tell: {escape(missing.would)}.")
    for note in one.clean.notes:
        screen.print(f"Note: {escape(note)}.")
    if one.faults:
        screen.print("No fragment was written: put right first what makes the figures untrustworthy.")
    if written:
        screen.print(f"Files in {escape(str(written[0].parent))}/: " + ", ".join(escape(path.name) for path in written))
        if any(path.name == "measured.toml" for path in written):
            screen.print(FRAGMENT)
    screen.print(f"[bold]Caution[/bold]: {CAUTION}")


def open_questions(result: RigResult) -> list[Missing]:
    """Return what the first log leaves open, less what several logs together tell."""
    return [one for one in result.first.missing if not (result.repeated and one.name == BETWEEN_FASTENERS)]


def _note(one: Evaluated) -> str:
    return f"  ({escape(one.rig.note)})" if one.rig.note else ""


def _faults(result: RigResult) -> list[str]:
    """Return the faults of all logs; those of others than the first by their name."""
    named = []
    for each in (*result.logs, *result.others):
        name = "" if each is result.first else f"{each.clean.log.file}: "
        named += [name + full_stop(fault) for fault in each.faults]
    return named


def _print_table(screen: Console, headings: Sequence[str], rows: Sequence[Sequence[str]], title: str) -> None:
    table = Table(title=title or None, title_justify="left", box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for number, heading in enumerate(headings):
        left = number == 0 or heading in ("unit", "quantity", "verdict")
        table.add_column(heading, justify="left" if left else "right")
    for row in rows:
        table.add_row(*(escape(text) for text in row))
    screen.print(table)


def rig_document(result: RigResult) -> dict[str, Any]:
    """Return the result as a JSON document in internal units, unrounded."""
    prediction = result.prediction
    units = UNITS | {"time": "s", "angle": "rad", "share": "1", "finding": "as its unit field says"}
    return opening(FORMAT, VERSION, units) | {
        "rig": {"name": result.first.rig.name, "note": result.first.rig.note},
        "logs": [_log_part(one) for one in result.logs],
        "against": [_log_part(one) for one in result.others],
        "compared": [
            plain(one) | {"can_tell": one.can_tell, "smallest": one.smallest, "sentence": compared_sentence(one, "si")}
            for one in result.compared
        ],
        "repeated": plain(result.repeated),
        "predicted": None
        if prediction is None
        else {
            "stretch_compliance": {"finite_elements": prediction.stretch, "estimate": prediction.stretch_estimate},
            "setup_compliance": {"finite_elements": prediction.setup, "estimate": prediction.setup_estimate},
            "torsion_compliance": prediction.torsion,
        },
    }


def _log_part(one: Evaluated) -> dict[str, Any]:
    return {
        "file": one.clean.log.file,
        "rows": one.clean.log.rows,
        "load": one.load,
        "faults": list(one.faults),
        "notes": list(one.clean.notes),
        "findings": [_found_part(found) for found in one.findings],
        "missing": plain(one.missing),
    }


def _found_part(found: Finding) -> dict[str, Any]:
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
        "residuals": None
        if points is None
        else {"across": points.across, "x": plain(points.x), "residual": plain(points.y - points.fitted)},
    }


def write_rig_files(
    result: RigResult,
    document: dict[str, Any],
    folder: Path,
    units: str,
    *,
    pictures: bool,
    stage: Callable[[str], None] = lambda name: None,
) -> list[Path]:
    """Write rig.json, measured.toml and, with `pictures`, the PNGs and the page; each file is whole or not there."""
    one = result.first
    with moved_in_whole(folder) as (scratch, written):
        (scratch / "rig.json").write_text(json.dumps(document, indent=1), encoding="utf-8")
        fragment = fragment_text(result.logs)
        if fragment is not None:
            (scratch / "measured.toml").write_text(fragment, encoding="utf-8")
        if pictures:
            stage("pictures")
            from headjoint.postproc.present.drawing import save_pictures
            from headjoint.postproc.present.page import write_page
            from headjoint.postproc.rig.pictures import pictures_of

            drawn = save_pictures(pictures_of(one, result.prediction, result.compared), scratch)
            write_page(
                scratch / "rig.html",
                "rig.html.j2",
                drawn,
                title=f"{one.clean.log.file} on {one.rig.name}",
                subtitle=", ".join(part for part in (one.rig.note, one.lubricant) if part),
                faults=_faults(result),
                sentences=verdict(one, units),
                compared_headings=COMPARED_HEADINGS,
                compared=compared_rows(result.compared, units),
                repeat_note=repeat_note(result.compared),
                headings=HEADINGS,
                rows=finding_rows(one, units),
                interval=INTERVAL,
                predicted=[] if result.prediction is None else predicted_rows(one, result.prediction, units),
                prediction_note=PREDICTION,
                missing=open_questions(result),
                repeated_headings=REPEATED_HEADINGS,
                repeated=repeated_rows(result.repeated, units),
                repeated_note=REPEATED,
                fragment=fragment,
                fragment_note=FRAGMENT,
                notes=one.clean.notes,
            )
    return written
