"""What `headjoint solve` prints: the verdict first, then the table per state, then how far to trust it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from headjoint.postproc.present.rows import Row
from headjoint.postproc.verdict.criteria import Criterion

if TYPE_CHECKING:
    from headjoint.model.joint import Joint

# internal table unit -> (workshop unit, factor)
WORKSHOP = {
    "kN": ("lbf", 1e3 / 4.4482216152605),
    "MPa": ("ksi", 1.0 / 6.894757293168),
    "um": ("thou", 1.0 / 25.4),
    "N/mm": ("lbf/in", 25.4 / 4.4482216152605),
    "um/kN": ("thou/klbf", 4.4482216152605 / 25.4),
    "N.m": ("lbf.ft", 1.0 / 1.3558179483314),
    "mm": ("in", 1.0 / 25.4),
    "N/K": ("lbf/degF", 1.0 / 4.4482216152605 / 1.8),
}


def preload_line(joint: Joint, preloads: dict[str, float], units: str) -> str:
    """Return what the tightening gives: torque, preload and its range (forces in N)."""
    unit, factor = unit_in("kN", units)
    shown = {name: figure_text(value / 1e3, factor) for name, value in preloads.items()}
    tight = joint.tightening
    torque = ""
    if tight.torque is not None:
        torque = f"Torque {tight.torque / 1e3:.4g} N.m ({tight.torque / 1355.8179483314:.4g} lbf.ft). "
    measured = "".join(f"\n{', '.join(one.carried)}: {one.source} ({one.file})." for one in joint.measured)
    return (
        f"{torque}Preload {shown['nominal']} {unit} nominal, {shown['least']} to {shown['greatest']} by scatter: "
        f"{tight.scatter_name}. Sealing is judged at the least, stress at the greatest.{measured}\n"
    )


def print_verdict(screen: Console, holds: bool, sentence: str) -> None:
    """Print the verdict sentence in one striking line."""
    colour = "green" if holds else "red"
    screen.print(f"[bold {colour}]{'HOLDS' if holds else 'DOES NOT HOLD'}[/bold {colour}]: {escape(sentence)}\n")


def print_criteria(screen: Console, criteria: Sequence[Criterion]) -> None:
    """Print every requirement at its worst."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for heading, justify in (
        ("requirement", "left"),
        ("factor", "right"),
        ("needed", "right"),
        ("", "left"),
        ("worst at", "left"),
    ):
        table.add_column(heading, justify=justify)
    for one in criteria:
        value = "> 20" if one.value is None else f"{one.value:.2f}"
        mark = "ok" if one.holds else "[bold red]FAILS[/bold red]"
        table.add_row(one.name, value, f"{one.needed:.2f}", mark, escape(f"{one.where}: {one.detail}"))
    screen.print(table)
    for one in criteria:
        if not one.holds:
            screen.print(f"[bold]To change[/bold] for {one.name}: {one.remedy}.")
    screen.print()


def print_rows(screen: Console, rows: Sequence[Row], names: Sequence[str], units: str, title: str) -> None:
    """Print quantities over states; under each finite-element line its estimate and the ratio."""
    table = Table(title=title, title_justify="left", box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("")
    table.add_column("")
    for name in names:
        table.add_column(escape(name), justify="right")
    for row in rows:
        unit, factor = unit_in(row.unit, units)
        table.add_row(escape(row.quantity), unit, *(figure_text(v, factor) for v in row.finite_elements))
        if any(value is not None for value in row.estimate):
            table.add_row("[dim]  estimate[/dim]", "", *(f"[dim]{figure_text(v, factor)}[/dim]" for v in row.estimate))
            table.add_row(
                "[dim]  ratio[/dim]",
                "",
                *(f"[dim]{'' if r is None else f'{r:.3f}'}[/dim]" for r in row.ratio),
            )
    screen.print(table)


def print_reasons(screen: Console, rows: Sequence[Row], more: Sequence[str]) -> None:
    """Print why finite elements and estimate should differ, each reason once."""
    reasons: dict[str, list[str]] = {}
    for row in rows:
        if row.why:
            reasons.setdefault(row.why, []).append(row.quantity)
    for why in more:
        if why:
            reasons.setdefault(why, []).append("compliance")
    screen.print("\nWhy the two should differ")
    for why, quantities in reasons.items():
        screen.print(f"  {', '.join(quantities)}: {why}")


def force_text(force: float, units: str) -> str:
    """Write a force (N) with its unit."""
    unit, factor = unit_in("kN", units)
    return f"{figure_text(force / 1e3, factor)} {unit}"


def unit_in(unit: str, units: str) -> tuple[str, float]:
    """Return the unit that `units` ("si" or "workshop") shows for an internal table unit, and the factor to it."""
    return WORKSHOP.get(unit, (unit, 1.0)) if units == "workshop" else (unit, 1.0)


def figure_text(value: float | None, factor: float = 1.0) -> str:
    """Write a table figure with the digits that matter; nothing for None."""
    if value is None:
        return ""
    value *= factor
    if value != 0.0 and abs(value) < 0.1:
        return f"{value:.4f}"
    digits = 0 if abs(value) >= 1000 else 1 if abs(value) >= 100 else 2
    return f"{value:.{digits}f}"
