"""What `headjoint history` prints and writes: verdict, clamp step by step, losses by cause, answers, page and JSON."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from headjoint.cases.service.tightening import CurveReading, read_curve
from headjoint.model.reading.service_reading import duration_text
from headjoint.model.service import Repeat
from headjoint.postproc.joint.report import sources
from headjoint.postproc.present.console import console
from headjoint.postproc.present.document import CAUTION, UNITS, opening, plain, stated
from headjoint.postproc.present.page import moved_in_whole, write_page
from headjoint.postproc.present.terminal import figure_text, force_text, print_criteria, print_verdict, unit_in
from headjoint.postproc.service.findings import ServiceFindings, ServiceRow
from headjoint.postproc.service.loss_split import CAUSES

EXTRAPOLATED = 0.85  # of R_m: relaxation tests hardly go beyond (from memory)
FORMAT, VERSION = "headjoint-service-result", 1
LIMITS = (
    "Temperatures change at once and are uniform in each part; friction in the gasket, bending of the fastener in its "
    "yield and the wrench's own dynamics are left out. Gasket laws, creep, relaxation and bearing set are typical data "
    "from memory unless the file states them: read trends and ranges, not the last digit."
)
Line = tuple[str, str]


def print_service(findings: ServiceFindings, units: str, written: Sequence[Path]) -> None:
    """Print the findings; `units` is "si" or "workshop", `written` the files that were made."""
    screen = console()
    joint = findings.joint
    screen.print(f"\n[bold]{escape(joint.name)}[/bold]" + (f"  ({escape(joint.note)})" if joint.note else ""))
    print_verdict(screen, findings.holds, findings.sentence)
    print_criteria(screen, findings.criteria)
    _print_rows(screen, findings, units)
    _print_splits(screen, findings, units)
    grid = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    grid.add_column(width=26, overflow="fold")
    grid.add_column(overflow="fold")
    for heading, text in answers(findings, units):
        grid.add_row(f"[bold]{escape(heading)}[/bold]", escape(text))
    screen.print(grid)
    screen.print(f"\n{LIMITS}")
    screen.print(check_line(findings))
    if written:
        screen.print(f"Files in {escape(str(written[0].parent))}/: " + ", ".join(escape(path.name) for path in written))
    screen.print(f"[bold]Caution[/bold]: {CAUTION}")


def row_name(findings: ServiceFindings, row: ServiceRow) -> str:
    """Return the step of a row, with the cycle where it is one of many."""
    step = findings.service.steps[row.step]
    number = f"{row.step + 1} "
    if isinstance(step, Repeat):
        return f"{number}{step.name}, cycle {row.cycle}: {row.name}"
    return number + row.name


ROW_HEADINGS = ("step", "time", "clamp", "firing", "cold", "kept", "estimate", "ratio", "sealing", "firing")


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


def _print_rows(screen: Console, findings: ServiceFindings, units: str) -> None:
    force, pressure = unit_in("kN", units)[0], unit_in("MPa", units)[0]
    title = f"Clamp per fastener ({force}) and pressure on the sealing line ({pressure}) at the end of each step"
    table = Table(title=title, title_justify="left", box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for index, heading in enumerate(ROW_HEADINGS):
        table.add_column(heading, justify="left" if index == 0 else "right", no_wrap=index > 0)
    for row in findings.rows:
        table.add_row(escape(row_name(findings, row)), *row_figures(findings, row, units))
    screen.print(table)
    screen.print(
        "[dim]clamp: at the step's temperatures; cold: back at assembly temperature without gas; kept: cold over the "
        "peak of the latest tightening; estimate: cold by the closed-form chain.[/dim]\n"
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


def _loss_text(value: float, units: str) -> str:
    """Write a loss with as many places as tell small ones apart, and no sign on nothing."""
    text = f"{value:.3f}" if units == "si" else f"{value:.1f}"
    return text.removeprefix("-") if float(text) == 0.0 else text


def _print_splits(screen: Console, findings: ServiceFindings, units: str) -> None:
    headings, rows = split_rows(findings, units)
    if not rows:
        return
    title = f"Where clamp went since the peak of the latest tightening, {unit_in('kN', units)[0]} per fastener, cold"
    table = Table(title=title, title_justify="left", box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for index, heading in enumerate(headings):
        table.add_column(heading, justify="left" if index == 0 else "right")
    for row in rows:
        style = "dim" if row[0].startswith("  ") else ""
        table.add_row(*(escape(text) for text in row), style=style)
    screen.print(table)
    screen.print()


def answers(findings: ServiceFindings, units: str) -> list[Line]:
    """Return the answers in words: kept and range, cycles, tightening, retorque, friction, reuse, fatigue."""
    lines: list[Line] = []
    end, low, high = findings.kept_range
    if findings.ranges and findings.chain_clamp > 0.0:
        text = ", ".join(
            f"{one.name} {100 * (one.low / findings.chain_clamp - 1):+.1f} to "
            f"{100 * (one.high / findings.chain_clamp - 1):+.1f} % ({one.values})"
            for one in findings.ranges
        )
        lines.append(
            (
                "Clamp at the end",
                f"{force_text(end, units)} cold, {force_text(low, units)} to {force_text(high, units)} with the range "
                f"of its inputs, combined as independent (shares by the closed-form chain): {text}",
            )
        )
    for block in findings.blocks:
        if block.shaken:
            state = "it has shaken down"
        elif block.next_loss is None:
            state = "too few cycles to tell whether it goes on"
        else:
            state = f"it goes on losing: as many cycles again would cost about {100 * block.next_loss:.2f} %"
        full = "every one was run as it is"
        if block.run_in_full < block.times:
            full = f"{block.run_in_full} cycles were run as they are, the rest as longer ones between them"
        lines.append(
            (
                f"After {block.times} cycle{'' if block.times == 1 else 's'} ({block.name})",
                f"{100 * block.kept:.1f} % of the clamp before is left; {state}; {full}",
            )
        )
    lines += _turning_lines(findings, units)
    for one in findings.retorques:
        text = f"{force_text(one.with_it, units)} in the end against {force_text(one.without, units)} without"
        if not one.moved:
            text = (
                "does nothing: the torque does not break the nut away again, static friction being "
                f"{findings.joint.ageing.breakaway:g} of the sliding"
            )
        lines.append((one.what[0].upper() + one.what[1:], text))
    if findings.dry is not None:
        dry, share = findings.dry, []
        for name, value in (("threads dry", dry.dry_threads), ("threads and face dry", dry.dry)):
            text = "breaks the fastener" if value is None else f"{100 * (value / dry.oiled - 1):+.0f} %"
            share.append(f"{name} {text}")
        lines.append(
            ("Dry, at the same torque and angle", f"{', '.join(share)} clamp (friction {dry.friction:g} where dry)")
        )
    lines += _reuse_lines(findings, units)
    fatigue = findings.fatigue
    text = f"Miner sum {fatigue.miner:.2g}"
    if fatigue.factor is not None:
        text += f"; endurance limit over the greatest often-repeated amplitude {min(fatigue.factor, 99):.1f}"
    if not fatigue.trusted:
        text += "; some cycles are so large that the life formula (over 10,000 cycles) does not hold for them"
    lines.append(("Fatigue", text + "; bending of the fastener not included"))
    return lines


def _turning_lines(findings: ServiceFindings, units: str) -> list[Line]:
    lines = []
    for record in findings.service.records:
        if record.kind not in ("tighten", "reuse", "retorque") or record.turning is None or record.cycle > 1:
            continue
        turning = record.turning
        greatest = float(turning.force.max())
        stress = greatest / findings.joint.fastener.smallest_area
        unit, factor = unit_in("um", units)
        stress_unit, stress_factor = unit_in("MPa", units)
        text = (
            f"{force_text(greatest, units)} at the peak ({stress * stress_factor:.0f} {stress_unit} in the smallest "
            "section), "
            f"fastener {1e3 * turning.stretch * factor:.0f} {unit} longer, "
            f"{57.29578 * float(turning.angle[-1]):.0f} deg from first touch"
        )
        if turning.torque[-1] > 0.0:
            torque = float(turning.torque[-1])
            shown = f"{torque / 1e3:.0f} N.m" if units == "si" else f"{torque / 1355.8179483314:.0f} lbf.ft"
            text += f", last torque {shown}"
        if turning.force[-1] < 0.999 * greatest:
            text += f", {force_text(float(turning.force[-1]), units)} once the tensioner has let go"
        if stress > EXTRAPOLATED * findings.service.model.law.flow.ultimate:
            text += f"; its relaxation is extrapolated beyond {100 * EXTRAPOLATED:.0f} % of R_m"
        reading = read_curve(turning)
        if reading is not None and record.kind in ("tighten", "reuse"):
            text += _curve_text(reading, findings, units)
        lines.append((f"Step {record.step + 1}, {record.name}", text))
    return lines


def _curve_text(reading: CurveReading, findings: ServiceFindings, units: str) -> str:
    """Return snug point, slope beside the one from resilience, and yield point of a tightening in words."""
    unit, factor = unit_in("kN", units)
    degree = math.pi / 180.0
    estimate = findings.closed_form_slope
    text = (
        f"; snug from {reading.snug_angle / degree:.0f} deg and {force_text(reading.snug_force, units)}, then "
        f"{reading.slope * degree / 1e3 * factor:.3g} {unit}/deg ({estimate * degree / 1e3 * factor:.3g} by resilience)"
    )
    if reading.yield_angle is None or reading.yield_force is None or reading.slope_after is None:
        return text + "; no yield"
    return text + (
        f"; yields at {reading.yield_angle / degree:.0f} deg and {force_text(reading.yield_force, units)}, then "
        f"{reading.slope_after * degree / 1e3 * factor:.2g} {unit}/deg"
    )


def _reuse_lines(findings: ServiceFindings, units: str) -> list[Line]:
    reuse = findings.reuse
    if reuse is None:
        return []
    unit, factor = unit_in("um", units)
    times = f"more than {len(reuse.clamp)} times" if reuse.times is None else f"{reuse.times} times"
    if reuse.strain > reuse.limit:
        verdict = "do not use it again"
    elif reuse.times == 0:
        verdict = "do not use it again: the next tightening " + ("breaks it" if reuse.breaks else "passes the limit")
    else:
        verdict = f"may be tightened the same way again {times} until the limit of {100 * reuse.limit:.2g} % strain"
    text = (
        f"{verdict}; {1e3 * reuse.longer * factor:.1f} {unit} longer for good, by yield and creep, and "
        f"{100 * reuse.strain:.3g} % plastic strain in its weakest length ({reuse.weakest}) of "
        f"{100 * reuse.uniform:.2g} % before it necks"
    )
    if reuse.stretch_again is not None and reuse.clamp:
        text += (
            f"; stretch at {force_text(reuse.load, units)}: {1e3 * reuse.stretch_new * factor:.0f} {unit} new, "
            f"{1e3 * reuse.stretch_again * factor:.0f} {unit} in the next use, "
            f"{1e3 * (reuse.stretch_in_all or 0.0) * factor:.0f} {unit} longer than it was new"
        )
    return [("Using the fastener again", text)]


def check_line(findings: ServiceFindings) -> str:
    """Return the checks in words."""
    error = max((split.finite_elements.error for split in findings.splits), default=0.0)
    service = findings.service
    return (
        f"Checks: every state converged and balanced to 1e-8 of the clamp; losses by cause add up to the whole to "
        f"{error:.0e}; {len(service.records)} steps solved in {sum(findings.seconds.values()):.1f} s; variants on "
        f"{findings.quick}."
    )


def service_document(findings: ServiceFindings) -> dict[str, Any]:
    """Return the service as a JSON document, format "headjoint-service-result": everything unrounded, N mm MPa s."""
    service = findings.service
    units = UNITS | {"time": "s", "angle": "rad", "strain": "1"}
    return opening(FORMAT, VERSION, units) | {
        "joint": stated(findings.joint),
        "steps": [{"kind": type(step).__name__.lower()} | plain(step) for step in service.steps],
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
        "range": {"chain_clamp": findings.chain_clamp, "inputs": plain(findings.ranges), "clamp": findings.kept_range},
        "criteria": [plain(one) | {"holds": one.holds} for one in findings.criteria],
        "verdict": {"holds": findings.holds, "broken": service.broken, "sentence": findings.sentence},
        "checks": {"seconds": findings.seconds},
    }


def write_service_files(
    findings: ServiceFindings,
    document: dict[str, Any],
    folder: Path,
    units: str,
    *,
    pictures: bool,
    stage: Callable[[str], None] = lambda name: None,
) -> list[Path]:
    """Write history.json, the pictures and the page; return their paths. Each file is whole or not there."""
    with moved_in_whole(folder) as (scratch, written):
        (scratch / "history.json").write_text(json.dumps(document), encoding="utf-8")
        if pictures:
            stage("pictures")
            from headjoint.postproc.service.pictures import draw_service

            _write_page(findings, draw_service(findings, scratch), scratch, units)
    return written


def _write_page(findings: ServiceFindings, pictures: Sequence[Path], folder: Path, units: str) -> None:
    headings, splits = split_rows(findings, units)
    write_page(
        folder / "history.html",
        "history.html.j2",
        pictures,
        findings=findings,
        joint=findings.joint,
        force=unit_in("kN", units)[0],
        pressure=unit_in("MPa", units)[0],
        headings=ROW_HEADINGS,
        rows=[(row_name(findings, row), *row_figures(findings, row, units)) for row in findings.rows],
        split_headings=headings,
        splits=splits,
        answers=answers(findings, units),
        limits=LIMITS,
        check=check_line(findings),
        sources=sources(findings.joint) + service_sources(findings),
    )


def service_sources(findings: ServiceFindings) -> list[dict[str, str]]:
    """Return where the data of flow, relaxation, creep, bearing set and friction come from."""
    joint, law = findings.joint, findings.service.model.law
    found = [
        {"item": "fastener: yield and hardening", "text": law.flow.source},
        {"item": "fastener: relaxation", "text": law.relaxation.source},
    ]
    for zone in {zone.law.name: zone.law for zone in joint.gasket.zones}.values():
        if zone.creep is not None:
            found.append({"item": f"gasket law '{zone.name}': creep", "text": zone.creep.source})
    bearing = joint.head.material.sources.get("bearing_set")
    if joint.ageing.bearing_set is not None:
        bearing = "stated in the joint file"
    if bearing:
        found.append({"item": "bearing set of the head's face", "text": bearing})
    found.append(
        {
            "item": "embedding over time, breakaway, dry friction, seating, reuse limit",
            "text": "common practice, no source, unless stated in the joint file",
        }
    )
    return found
