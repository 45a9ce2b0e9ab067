"""What `headjoint warmup` prints and writes: verdict, temperatures and clamp over time, the dangerous moments, page."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from headjoint.cases.command.cli_tools import delivered, progress, threads_for
from headjoint.cases.warm_up.warm_up import WarmUp, both_paces
from headjoint.model.cell import Cell
from headjoint.model.joint import Joint
from headjoint.postproc.joint.report import sources
from headjoint.postproc.present.console import console
from headjoint.postproc.present.document import CAUTION, UNITS, opening, plain, stated
from headjoint.postproc.present.page import moved_in_whole, write_page
from headjoint.postproc.present.terminal import figure_text, print_criteria, print_verdict, unit_in
from headjoint.postproc.warm_up.chosen_instants import shown
from headjoint.postproc.warm_up.findings import (
    WarmUpFindings,
    assess_warm_up,
    degree_unit,
    degrees_text,
    moments,
    time_text,
)

FORMAT, VERSION = "headjoint-warm-up-result", 2
PLACES = ("chamber face", "sealing line", "head at the bridge", "head mean", "fastener mean", "block mean")
LIMITS = (
    "Heat enters through the chamber (in a cell also the bore wall) and leaves through the faces of the coolant "
    "spaces; in one fastener's joint the outer cylinders of head and block stand for those. Faces in contact conduct "
    "by the pressure between them, shank and hole across their gap. Films, gas and roughness are typical, from memory, "
    "unless the file states them. Requirements are judged over the scatter of tightening, at the temperatures of the "
    "nominal joint; table and extremes are those of the nominal preload. Gas presses with the peak pressure of the "
    "duty while it burns; gasket and fastener creep, set and yield on the way."
)


def print_warm_up(findings: WarmUpFindings, units: str, written: Sequence[Path]) -> None:
    """Print the findings; `units` is "si" or "workshop", `written` the files that were made."""
    screen = console()
    joint = findings.joint
    screen.print(f"\n[bold]{escape(joint.name)}[/bold]" + (f"  ({escape(joint.note)})" if joint.note else ""))
    print_verdict(screen, findings.holds, findings.sentence)
    print_criteria(screen, findings.criteria)
    grid = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    grid.add_column(width=26, overflow="fold")
    grid.add_column(overflow="fold")
    for heading, text in moments(findings, units):
        grid.add_row(f"[bold]{escape(heading)}[/bold]", escape(text))
    screen.print(grid)
    _print_table(screen, findings.warmed, units)
    screen.print(f"\n{LIMITS}")
    screen.print(stiffness_line(findings.warmed))
    screen.print(check_line(findings.warmed))
    if written:
        names = ", ".join(escape(path.name) for path in written if path.suffix != ".vtu")
        series = sum(path.suffix == ".vtu" for path in written)
        more = f" and {series} instants as .vtu" if series else ""
        screen.print(f"Files in {escape(str(written[0].parent))}/: {names}{more}")
    screen.print(f"[bold]Caution[/bold]: {CAUTION}")


def _print_table(screen: Console, warmed: WarmUp, units: str) -> None:
    headings, rows = table_rows(warmed, units)
    table = Table(title=table_title(units), title_justify="left", box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for heading in headings:
        table.add_column(heading, justify="right")
    for row in rows:
        table.add_row(*row)
    screen.print(table)


def table_title(units: str) -> str:
    """Return what the table shows, with its units."""
    force, pressure, degrees = unit_in("kN", units)[0], unit_in("MPa", units)[0], degree_unit(units)
    return f"Temperatures ({degrees}), clamp per fastener ({force}) and pressure on the sealing line ({pressure})"


def table_rows(warmed: WarmUp, units: str) -> tuple[list[str], list[list[str]]]:
    """Return headings and rows of the table of chosen instants."""
    places = [name for name in PLACES if name in warmed.instants[0].temperatures]
    force, pressure = unit_in("kN", units)[1], unit_in("MPa", units)[1]
    rows = [
        [
            time_text(one.time),
            *(degrees_text(one.temperatures[place], units) for place in places),
            figure_text(one.force / 1e3, force),
            figure_text(one.estimate / 1e3, force),
            "" if one.fired_force is None else figure_text(one.fired_force / 1e3, force),
            figure_text(one.sealing, pressure),
            figure_text(one.fired_sealing, pressure),
        ]
        for one in shown(warmed)
    ]
    return ["time", *places, "clamp", "estimate", "firing", "sealing", "firing"], rows


def stiffness_line(warmed: WarmUp) -> str:
    """Return in words what stiffness at temperature does."""
    if warmed.stiffness_effect is None or warmed.stiffness_error is None:
        return "Stiffness: nothing gets warm, that of assembly."
    return (
        "Stiffness follows temperature: the castings between two condensed joints, the fastener by its mean. That "
        f"changes the greatest clamp by {100 * warmed.stiffness_effect:+.1f} % of the tightened clamp; condensed anew "
        f"there, what is interpolated differs by {100 * abs(warmed.stiffness_error):.2f} %."
    )


def check_line(warmed: WarmUp) -> str:
    """Return the checks in words."""
    heat = warmed.heat
    return (
        f"Checks: energy is kept to {heat.balance.error:.0e}; error in time at most {heat.estimated_error:.2f} K in "
        f"{heat.steps} steps; {len(warmed.instants)} instants, each balanced to 1e-8 of the clamp; contacts told of "
        f"new pressures {warmed.contact_updates} times."
    )


def warm_up_document(findings: WarmUpFindings) -> dict[str, Any]:
    """Return the warm-up as a JSON document: times s, temperatures degC, forces N, pressures MPa, unrounded."""
    warmed = findings.warmed
    units = UNITS | {"time": "s"}
    return opening(FORMAT, VERSION, units) | {
        "joint": stated(warmed.joint),
        "tightened": warmed.tightened,
        "duty": [plain(one) for one in warmed.duty.steps],
        "instants": plain(warmed.instants),
        "least": plain(warmed.least),
        "greatest": plain(warmed.greatest),
        "half_pace": plain(findings.slower.instants),
        "stiffness": {"effect": warmed.stiffness_effect, "error": warmed.stiffness_error},
        "criteria": [plain(one) | {"holds": one.holds} for one in findings.criteria],
        "verdict": {"holds": findings.holds, "sentence": findings.sentence},
        "heat": {
            "steps": warmed.heat.steps,
            "error_K": warmed.heat.estimated_error,
            "balance": warmed.heat.balance.error,
            "contact_updates": warmed.contact_updates,
        },
    }


def write_warm_up_files(
    findings: WarmUpFindings,
    document: dict[str, Any],
    folder: Path,
    units: str,
    *,
    pictures: bool,
    series: bool,
    stage: Callable[[str], None] = lambda name: None,
) -> list[Path]:
    """Write warmup.json, pictures and page, and instants as VTU; return their paths. Each is whole or not there."""
    with moved_in_whole(folder) as (scratch, written):
        (scratch / "warmup.json").write_text(json.dumps(document), encoding="utf-8")
        if series:
            stage("instants as VTU")
            from headjoint.postproc.warm_up.series import write_series

            write_series(findings.warmed, scratch)
        if pictures:
            stage("pictures")
            from headjoint.postproc.warm_up.pictures import draw_warm_up

            drawn = draw_warm_up(findings, scratch)
            headings, rows = table_rows(findings.warmed, units)
            write_page(
                scratch / "warmup.html",
                "warmup.html.j2",
                drawn,
                findings=findings,
                joint=findings.joint,
                moments=moments(findings, units),
                table_title=table_title(units),
                headings=headings,
                rows=rows,
                limits=LIMITS,
                stiffness=stiffness_line(findings.warmed),
                check=check_line(findings.warmed),
                sources=sources(findings.joint),
            )
    return written


def warm_up_job(
    stated: Joint | Cell, folder: Path, json_file: str | None, units: str, *, pictures: bool, series: bool
) -> bool:
    """Run a warm-up, print or write its findings, and return whether all requirements hold.

    json_file : "-" prints JSON alone and writes nothing.
    """
    with progress() as stage, threads_for(stated):
        findings = assess_warm_up(*both_paces(stated, stage))
        document = warm_up_document(findings)
        written = delivered(
            document,
            json_file,
            lambda: write_warm_up_files(
                findings, document, folder, units, pictures=pictures, series=series, stage=stage
            ),
        )
    if written is not None:
        print_warm_up(findings, units, written)
    return findings.holds
