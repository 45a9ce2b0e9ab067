"""A solved cell on the terminal, as JSON, and as one page."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from rich.markup import escape

from headjoint.cases.command.cli_tools import delivered, progress
from headjoint.cases.condensed.store import user_store
from headjoint.cases.load_cases.bore_cell import SolvedCell, solve_cell
from headjoint.model.cell import Cell
from headjoint.postproc.cell.assessment import CellFindings, assess_cell
from headjoint.postproc.joint.report import sources
from headjoint.postproc.present.console import console
from headjoint.postproc.present.document import CAUTION, estimate_part, head, plain
from headjoint.postproc.present.page import moved_in_whole, write_page
from headjoint.postproc.present.terminal import (
    figure_text,
    force_text,
    preload_line,
    print_criteria,
    print_reasons,
    print_rows,
    print_verdict,
    unit_in,
)

FORMAT, VERSION = "headjoint-cell-result", 1
LIMITS = (
    "One temperature in each part; stiffness is that of the assembly temperature; the gasket slides without friction; "
    "combustion acts up to the sealing line; the stud is one cylinder, its other sections and threads in series."
)


def cell_document(findings: CellFindings, solved: SolvedCell) -> dict[str, Any]:
    """Return the document of a solved cell: N, mm, MPa, degC, angles in degrees."""
    document = head(findings.cell.joint, FORMAT, VERSION) | {"cell": plain(findings.cell)}
    points = solved.model.points
    document["program"]["solver"] = findings.solver
    document |= {
        "finite_elements": {
            "preloads": findings.preloads,
            "elements": findings.elements,
            "unknowns": findings.unknowns,
            "interface_unknowns": findings.interface_unknowns,
            "smallest_scaled_jacobian": findings.quality,
            "fasteners": [{"x": f.x, "y": f.y, "share": f.share} for f in solved.model.mesh.fasteners],
            "tightening": [
                {"pass": step.number + 1, "fastener": step.fastener + 1, "forces": step.force.tolist()}
                for step in solved.nominal.steps
            ],
            "states": plain(findings.states),
            "gasket_points": {
                "x": points.places[0].tolist(),
                "y": points.places[1].tolist(),
                "area": points.weight.tolist(),
                "pressure": {s.name: s.equilibrium.pressure.tolist() for s in solved.nominal.states},
                "closure": {s.name: s.equilibrium.closure.tolist() for s in solved.nominal.states},
            },
            "bending_stress": {one.name: one.bending.tolist() for one in findings.fields},
            "bending_amplitude": {one.name: plain(one.bending_amplitude) for one in findings.fields},
            "scrub_range": findings.scrub_range,
            "bore_shapes": {one.name: plain(one.shapes) for one in findings.fields},
        },
        "estimate": {"nominal": estimate_part(findings.estimate)},
        "comparison": [plain(row) | {"ratio": plain(row.ratio)} for row in findings.rows],
        "criteria": [plain(one) | {"holds": one.holds} for one in findings.criteria],
        "verdict": {"holds": findings.holds, "sentence": findings.sentence},
        "checks": {"mesh": findings.moved, "seconds": findings.seconds},
    }
    return document


def print_cell(findings: CellFindings, solved: SolvedCell, units: str, written: Sequence[Path]) -> None:
    """Print the verdict, the requirements, the table beside the estimate, and how far to trust it."""
    screen = console()
    joint = findings.cell.joint
    screen.print(f"\n[bold]{escape(joint.name)}[/bold]" + (f"  ({escape(joint.note)})" if joint.note else ""))
    print_verdict(screen, findings.holds, findings.sentence)
    print_criteria(screen, findings.criteria)
    screen.print(preload_line(joint, findings.preloads, units))
    names = [state.name for state in findings.states["nominal"]]
    title = f"Nominal preload {force_text(findings.preloads['nominal'], units)}: finite elements, estimate, ratio"
    print_rows(screen, findings.rows, names, units, title)
    print_reasons(screen, findings.rows, [])
    if solved.nominal.steps:
        unit, factor = unit_in("kN", units)
        screen.print(f"\nTightening nut after nut, forces afterwards ({unit})")
        heads = "  ".join(f"{f'stud {number + 1}':>6}" for number in range(len(solved.nominal.steps[0].force)))
        screen.print(f"  turned{'':14}{heads}")
        for step in solved.nominal.steps:
            forces = "  ".join(f"{figure_text(force / 1e3, factor):>6}" for force in step.force)
            turned = f"pass {step.number + 1}, stud {step.fastener + 1}"
            screen.print(f"  {turned:<20}{forces}")
    unit, factor = unit_in("um", units)
    scrub = figure_text(1e3 * findings.scrub_range, factor)
    screen.print(
        f"\nSliding of the head over the block between any two states: at most {scrub} {unit}, without friction."
    )
    for line in trust_lines(findings):
        screen.print(line)
    screen.print(f"{LIMITS}")
    if written:
        screen.print(f"Files in {escape(str(written[0].parent))}/: " + ", ".join(escape(path.name) for path in written))
    screen.print(f"[bold]Caution[/bold]: {CAUTION}")


def trust_lines(findings: CellFindings) -> list[str]:
    """Return the checks in words."""
    states = [state for one in findings.states.values() for state in one]
    mesh_check = findings.origin
    if findings.moved:
        figure, change = max(findings.moved.items(), key=lambda item: abs(item[1]))
        mesh_check = f"doubling the element size moves no figure by more than {100 * abs(change):.2g} % ({figure})"
    return [
        f"bolts = gasket + gas to {max(s.balance for s in states):.0e} of the clamp; Newton residual "
        f"{max(s.residual for s in states):.0e}; {mesh_check}",
        f"{findings.elements} elements (smallest scaled Jacobian {findings.quality:.2f}), {findings.unknowns} unknowns "
        f"condensed to {findings.interface_unknowns}; {findings.solver}; {sum(findings.seconds.values()):.0f} s",
    ]


def write_cell_files(
    findings: CellFindings,
    solved: SolvedCell,
    document: dict[str, Any],
    folder: Path,
    *,
    pictures: bool,
    stage: Callable[[str], None] = lambda name: None,
) -> list[Path]:
    """Write result.json, one VTU per state and, with `pictures`, the PNGs and the page; return their paths.

    Everything is made in a scratch folder beside the target and moved in when complete.
    """
    with moved_in_whole(folder) as (scratch, written):
        (scratch / "result.json").write_text(json.dumps(document), encoding="utf-8")
        stage("fields")
        from headjoint.postproc.cell.files import write_cell_vtu
        from headjoint.postproc.cell.pictures import draw_cell

        write_cell_vtu(findings, solved, scratch)
        if pictures:
            stage("pictures")
            _write_page(findings, draw_cell(findings, solved, scratch), scratch)
    return written


def _write_page(findings: CellFindings, pictures: Sequence[Path], folder: Path) -> None:
    write_page(
        folder / "report.html",
        "cell.html.j2",
        pictures,
        findings=findings,
        joint=findings.cell.joint,
        names=[state.name for state in findings.states["nominal"]],
        trust=trust_lines(findings),
        limits=LIMITS,
        sources=sources(findings.cell.joint),
    )


def cell_job(cell: Cell, folder: Path, json_file: str | None, units: str, *, pictures: bool) -> bool:
    """Run a bore cell, print or write its findings, and return whether all requirements hold.

    json_file : "-" prints JSON alone and writes nothing.
    """
    with progress() as stage:
        solved = solve_cell(cell, stage, user_store())
        stage("findings")
        findings = assess_cell(solved)
        document = cell_document(findings, solved)
        written = delivered(
            document,
            json_file,
            lambda: write_cell_files(findings, solved, document, folder, pictures=pictures, stage=stage),
        )
    if written is not None:
        print_cell(findings, solved, units, written)
    return findings.holds
