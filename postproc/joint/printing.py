"""What `headjoint solve` prints of one fastener's joint: verdict first, then the table, then how far to trust it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rich.markup import escape

from headjoint.postproc.present.console import console
from headjoint.postproc.present.document import CAUTION

if TYPE_CHECKING:
    from headjoint.postproc.joint.assessment import Findings
from headjoint.postproc.present.terminal import (
    force_text,
    preload_line,
    print_criteria,
    print_reasons,
    print_rows,
    print_verdict,
    unit_in,
)


def print_findings(findings: Findings, units: str, written: Sequence[Path]) -> None:
    """Print the findings; `units` is "si" or "workshop", `written` the files that were made."""
    screen = console()
    screen.print(
        f"\n[bold]{escape(findings.joint.name)}[/bold]"
        + (f"  ({escape(findings.joint.note)})" if findings.joint.note else "")
    )
    print_verdict(screen, findings.holds, findings.sentence)
    print_criteria(screen, findings.criteria)
    names = [state.name for state in findings.states["nominal"]]
    preload = findings.preloads["nominal"]
    screen.print(preload_line(findings.joint, findings.preloads, units))
    print_rows(
        screen,
        findings.rows,
        names,
        units,
        f"Nominal preload {force_text(preload, units)}: finite elements, closed-form estimate, ratio",
    )
    for figure in findings.joint_figures:
        unit, factor = unit_in(figure.unit, units)
        screen.print(
            f"{figure.quantity}: {figure.finite_elements * factor:.4g} {unit}, "
            f"estimate {figure.estimate * factor:.4g}, ratio {figure.finite_elements / figure.estimate:.3f}"
        )
    print_reasons(screen, findings.rows, [figure.why for figure in findings.joint_figures][:1])
    moved, change = findings.mesh_check.largest
    worst = [state for states in findings.states.values() for state in states]
    screen.print(
        f"\nChecks: bolts = gasket + gas to {max(s.balance for s in worst):.0e} of the clamp; Newton residual "
        f"{max(s.residual for s in worst):.0e}; doubling the element size moves no figure by more than "
        f"{100 * abs(change):.2g} % ({escape(moved)})."
    )
    screen.print(
        f"{findings.mesh_check.elements} elements, {findings.unknowns} unknowns condensed to "
        f"{findings.interface_unknowns}, {findings.solver}, {sum(findings.seconds.values()):.2f} s."
    )
    if written:
        folders = sorted({str(path.parent) for path in written}, key=len)
        screen.print(f"Files in {escape(folders[0])}/: " + ", ".join(escape(path.name) for path in written))
    screen.print(f"[bold]Caution[/bold]: {CAUTION}")
