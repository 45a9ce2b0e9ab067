"""The answer of a service: verdict, clamp step by step, losses by cause, answers in words."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from headjoint.model.reading.service_reading import duration_text
from headjoint.model.service import Repeat, Retorque, Tighten
from headjoint.postproc.present.answer import Wanted
from headjoint.postproc.present.document import UNITS, opening, plain, stated
from headjoint.postproc.present.mesh_errors import factor_error_words, mesh_error_part
from headjoint.postproc.present.report import (
    Items,
    Paragraphs,
    Pictures,
    Report,
    Sheet,
    criteria_sections,
    sources_sheet,
)
from headjoint.postproc.present.units import figure_text, unit_in
from headjoint.postproc.service.findings import ServiceFindings, ServiceRow
from headjoint.postproc.service.loss_split import CAUSES
from headjoint.postproc.service.words import answers
from headjoint.postproc.stated.answer import StatedAnswer
from headjoint.postproc.stated.sources import sources
from headjoint.postproc.verdict.verdict import Verdict

FORMAT, VERSION = "headjoint-service-result", 1
# words of the document for steps that have no `kind` of their own
KINDS = {Tighten: "tighten", Retorque: "retorque", Repeat: "block"}
LIMITS = (
    "Temperatures change at once and are uniform in each part; friction in the gasket, bending of the fastener in its "
    "yield and the wrench's own dynamics are left out. Gasket laws, creep, relaxation and bearing set are typical data "
    "from memory unless the file states them: read trends and ranges, not the last digit."
)
ROW_HEADINGS = ("step", "time", "clamp", "firing", "cold", "kept", "estimate", "ratio", "sealing", "firing")
ROW_NOTE = (
    "clamp: at the step's temperatures; cold: back at assembly temperature without gas; kept: cold over the peak of "
    "the latest tightening; estimate: cold by the closed-form chain."
)


@dataclass(frozen=True)
class ServiceAnswer(StatedAnswer):
    """What a service does to a joint."""

    findings: ServiceFindings
    document_name = "history.json"
    page_name = "history.html"

    @property
    def name(self) -> str:
        """Name of the joint."""
        return self.findings.joint.name

    @property
    def verdict(self) -> Verdict:
        """The requirements and what they say."""
        return self.findings.verdict

    def document(self) -> dict[str, Any]:
        """Return the document, format "headjoint-service-result": everything unrounded, N mm MPa s."""
        findings, service = self.findings, self.findings.service
        units = UNITS | {"time": "s", "angle": "rad", "strain": "1"}
        return (
            opening(FORMAT, VERSION, units, solved=True)
            | {
                "joint": stated(findings.joint),
                "steps": [{"kind": KINDS.get(type(step))} | plain(step) for step in service.steps],
                "rows": plain(findings.rows),
                "records": [
                    {
                        field.name: plain(getattr(record, field.name))
                        for field in dataclasses.fields(record)
                        if field.name not in ("memory", "case")
                    }
                    | {"time": record.time, "plastic_strain": plain(record.memory.plastic)}
                    for record in service.records
                ],
                "losses": plain(findings.splits),
                "blocks": plain(findings.blocks),
                "retorques": plain(findings.retorques),
                "dry": plain(findings.dry),
                "reuse": plain(findings.reuse),
                "fatigue": plain(findings.fatigue),
                "range": {
                    "chain_clamp": findings.chain_clamp,
                    "inputs": plain(findings.ranges),
                    "clamp": findings.kept_range,
                },
                "checks": {
                    "mesh_errors": mesh_error_part(findings.unbounded, findings.verdict.seen),
                    "seconds": findings.seconds,
                },
            }
            | self._judged()
        )

    def _judged(self) -> dict[str, Any]:
        judged = self.findings.verdict.document()
        judged["verdict"]["broken"] = self.findings.service.broken
        return judged

    def report(self, units: str = "si") -> Report:
        """Return what it says."""
        findings = self.findings
        return Report(
            title=f"{findings.joint.name}: service",
            note=findings.joint.note,
            judgement=findings.verdict.judgement,
            seen=findings.verdict.model_line,
            sentences=findings.verdict.sentences(units),
            sections=(
                *criteria_sections(findings.verdict, units),
                _rows_sheet(findings, units),
                *_splits_sheet(findings, units),
                Items("Answers", tuple(answers(findings, units))),
                Pictures(),
                Paragraphs("How far to trust it", (LIMITS, check_line(findings))),
                sources_sheet([*sources(findings.joint), *service_sources(findings)]),
            ),
        )

    def columns(self) -> Mapping[str, Sequence[Any]]:
        """Return the end of every step: times s, forces N, pressures MPa."""
        names = [one.name for one in dataclasses.fields(ServiceRow)]
        return {name: [getattr(row, name) for row in self.findings.rows] for name in names}

    @property
    def column_units(self) -> Mapping[str, str]:
        """Units of the columns of its main table."""
        forces, pressures = ("clamp", "fired", "cold", "estimate"), ("sealing", "fired_sealing")
        return {"time": "s", "kept": "1", **dict.fromkeys(forces, "N"), **dict.fromkeys(pressures, "MPa")}

    def draw(self, folder: Path, wanted: Wanted) -> list[Path]:
        """Draw the pictures."""
        from headjoint.postproc.service.pictures import draw_service

        return draw_service(self.findings, folder, wanted.units)


def row_name(findings: ServiceFindings, row: ServiceRow) -> str:
    """Return the step of a row, with the cycle where it is one of many."""
    step = findings.service.steps[row.step]
    number = f"{row.step + 1} "
    if isinstance(step, Repeat):
        return f"{number}{step.name}, cycle {row.cycle}: {row.name}"
    return number + row.name


def row_figures(findings: ServiceFindings, row: ServiceRow, units: str) -> tuple[str, ...]:
    """Return the figures of a row after its name: forces in the table's unit, sealing pressures, shares."""
    _, force = unit_in("kN", units)
    _, pressure = unit_in("MPa", units)

    def in_table(value: float | None) -> str:
        return "" if value is None else figure_text(value / 1e3, force)

    ratio = "" if row.cold is None or not row.estimate else f"{row.cold / row.estimate:.3f}"
    return (
        duration_text(row.time) if row.time > 0.0 else "",
        in_table(row.clamp),
        in_table(row.fired),
        in_table(row.cold),
        "" if row.kept is None else f"{100 * row.kept:.1f} %",
        in_table(row.estimate),
        ratio,
        figure_text(row.sealing, pressure),
        figure_text(row.fired_sealing, pressure),
    )


def _rows_sheet(findings: ServiceFindings, units: str) -> Sheet:
    force, pressure = unit_in("kN", units)[0], unit_in("MPa", units)[0]
    return Sheet(
        f"Clamp per fastener ({force}) and pressure on the sealing line ({pressure}) at the end of each step",
        ROW_HEADINGS,
        tuple((row_name(findings, row), *row_figures(findings, row, units)) for row in findings.rows),
        note=ROW_NOTE,
    )


def split_rows(findings: ServiceFindings, units: str) -> tuple[list[str], list[list[str]]]:
    """Return headings and rows of the loss table: causes that took anything, their sum, and what is left."""
    _, factor = unit_in("kN", units)
    parts = [split.finite_elements for split in findings.splits]
    largest = max((abs(value) for part in parts for value in part.parts.values()), default=0.0)
    causes = [cause for cause in CAUSES if any(abs(part.parts[cause]) > 1e-6 * max(largest, 1.0) for part in parts)]
    rows = []
    for split in findings.splits:
        for name, one in ((f"{split.step + 1} {split.name}", split.finite_elements), ("  estimate", split.estimate)):
            if one is None:
                continue
            figures = [_loss_text(one.parts[cause] / 1e3 * factor, units) for cause in causes]
            rows.append([name, *figures, figure_text((one.peak - one.left) / 1e3, factor),
                         figure_text(one.left / 1e3, factor)])  # fmt: skip
    return ["end of step", *causes, "all", "left"], rows


def _splits_sheet(findings: ServiceFindings, units: str) -> list[Sheet]:
    headings, rows = split_rows(findings, units)
    if not rows:
        return []
    title = f"Where clamp went since the peak of the latest tightening, {unit_in('kN', units)[0]} per fastener, cold"
    quiet = tuple(number for number, row in enumerate(rows) if row[0].startswith("  "))
    return [Sheet(title, tuple(headings), tuple(map(tuple, rows)), quiet=quiet)]


def _loss_text(value: float, units: str) -> str:
    """Write a loss with as many places as tell small ones apart, and no sign on nothing."""
    text = f"{value:.3f}" if units == "si" else f"{value:.1f}"
    return text.removeprefix("-") if float(text) == 0.0 else text


def check_line(findings: ServiceFindings) -> str:
    """Return the checks in words."""
    error = max((split.finite_elements.error for split in findings.splits), default=0.0)
    service = findings.service
    return (
        f"Checks: every state converged and balanced to 1e-8 of the clamp; losses by cause add up to the whole to "
        f"{error:.0e}; {len(service.records)} steps solved in {sum(findings.seconds.values()):.1f} s; variants on "
        f"{findings.quick}; {factor_error_words(findings.unbounded)}."
    )


def service_sources(findings: ServiceFindings) -> list[tuple[str, str]]:
    """Return where the data of flow, relaxation, creep, bearing set and friction come from."""
    joint, law = findings.joint, findings.service.model.law
    found = [
        ("fastener: yield and hardening", law.flow.source),
        ("fastener: relaxation", law.relaxation.source),
    ]
    for zone in {zone.law.name: zone.law for zone in joint.gasket.zones}.values():
        if zone.creep is not None:
            found.append((f"gasket law '{zone.name}': creep", zone.creep.source))
    bearing = joint.head.material.sources.get("bearing_set")
    if joint.ageing.bearing_set is not None:
        bearing = "stated in the joint file"
    if bearing:
        found.append(("bearing set of the head's face", bearing))
    found.append(
        (
            "embedding over time, breakaway, dry friction, seating, reuse limit",
            "common practice, no source, unless stated in the joint file",
        )
    )
    return found
