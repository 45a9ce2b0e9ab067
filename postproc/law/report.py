"""What `headjoint law` prints: one short table per law, and where its figures come from."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from headjoint.cases.condensed.gasket_creep import kept_in_rig
from headjoint.model.gasket.law import GasketLaw
from headjoint.model.reading.service_reading import duration_text
from headjoint.postproc.law.pictures import FROM_MEMORY, TYPICAL
from headjoint.postproc.present.console import console
from headjoint.postproc.present.scale import Scales
from headjoint.postproc.present.units import figure_text, value_text

TEST_PRESSURE, TEST_TEMPERATURE, TEST_DURATION = 40.0, 100.0, 22.0 * 3600.0  # MPa, degC, s
MOST_ROWS = 24  # a measured table has hundreds


def print_laws(laws: Sequence[GasketLaw], units: str, written: Sequence[Path]) -> None:
    """Print the laws; `units` is "si" or "workshop", `written` the pictures that were drawn."""
    screen = console()
    for law in laws:
        _print_law(screen, law, units)
    if any(TYPICAL in law.source for law in laws):
        screen.print(FROM_MEMORY)
    screen.print("wrote " + ", ".join(escape(str(path)) for path in written))


def _print_law(screen: Console, law: GasketLaw, units: str) -> None:
    scales = Scales(units)
    pressure, closure = scales.pressure, scales.fine
    screen.print(f"\n[bold]{escape(law.name)}[/bold]" + (f": {escape(law.title)}" if law.title != law.name else ""))
    rows = sorted({closure for curve in law.curves for closure in curve.closure})
    shown = _thinned(rows)
    left_out = f"; {len(shown)} of {len(rows)} rows" if len(shown) < len(rows) else ""
    table = Table(
        title=f"First loading, {pressure.unit}{left_out}", title_justify="left", box=None, pad_edge=False,
        padding=(0, 2, 0, 0),
    )  # fmt: skip
    table.add_column(f"closure {closure.unit}", justify="right")
    for curve in law.curves:
        table.add_column(f"at {_degrees(curve.temperature, units)}", justify="right")
    for row in shown:
        pressures = (figure_text(pressure(curve.at(row))) for curve in law.curves)
        table.add_row(f"{closure(row):.4g}", *pressures)
    screen.print(table)
    _print_unloading(screen, law, scales)
    crush = value_text(law.crush_pressure, "MPa", units) or "not known"
    screen.print(f"crush pressure: {crush}")
    known = "not known" if law.spread is None else f"plus-minus {100 * law.spread:.0f} % of pressure"
    screen.print(f"range: {known}")
    screen.print(f"creep: {creep_text(law, units)}")
    screen.print(f"source: {escape(law.source)}\n")


def _print_unloading(screen: Console, law: GasketLaw, scales: Scales) -> None:
    """Print how the zone springs back."""
    pressure, unit = scales.pressure, scales.stiffness.unit
    rows = [
        (figure_text(pressure(reached)), figure_text(scales.stiffness(stiffness)))
        for reached, stiffness in law.unloading_rows
    ]
    if not rows:
        screen.print("unloading: along the loading curve, no set is kept")
    elif len(rows) == 1 and not law.opening_sets:
        screen.print(f"unloading stiffness: {rows[0][1]} {unit}")
    else:
        table = Table(title=f"\nUnloading stiffness, {unit}", title_justify="left", box=None, pad_edge=False,
                      padding=(0, 2, 0, 0))  # fmt: skip
        table.add_column(f"pressure reached {pressure.unit}", justify="right")
        table.add_column("stiffness", justify="right")
        kept = [scales.fine.number(one, ".4g") for one in law.opening_sets]
        if kept:
            table.title = f"\nOpening along curves, at first by {unit}"
            table.add_column(f"set left {scales.fine.unit}", justify="right")
        for number, row in enumerate(rows):
            table.add_row(*row, *kept[number : number + 1])
        screen.print(table)


def creep_text(law: GasketLaw, units: str) -> str:
    """Return how a law creeps, in words: loss at fixed closure, and what a relaxation test would read."""
    creep = law.creep
    if creep is None or not law.keeps_set:
        return "none stated"
    losses = []
    for temperature, rate in zip(creep.rate.temperatures, creep.rate.values, strict=True):
        share = rate * math.log(10.0) if creep.kind == "logarithmic" else rate
        losses.append(f"{100 * share:{'.2g' if share < 0.995 else '.0f'}} % at {_degrees(temperature, units)}")
    per = "per tenfold time" if creep.kind == "logarithmic" else f"in {duration_text(creep.onset)}, then by a power law"
    pressure = min(TEST_PRESSURE, 0.5 * law.crush_pressure) if law.crush_pressure is not None else TEST_PRESSURE
    kept = kept_in_rig(law, pressure, TEST_TEMPERATURE, TEST_DURATION)
    degrees = _degrees(TEST_TEMPERATURE, units)
    test = f"{value_text(pressure, 'MPa', units)}, {degrees}, {duration_text(TEST_DURATION)}"
    fixed = "closure" if len(law.unloading_rows) == 1 else "closure and stiffness"
    return (
        f"at fixed {fixed}, to first order, {', '.join(losses)} of the pressure is lost {per}; "
        f"a relaxation test at {test} in a rig of 500 kN/mm would keep {100 * kept:.1f} % "
        f"(P_QR of EN 13555; ASTM F38 calls the rest relaxation); {escape(creep.source)}"
    )


def _thinned(rows: Sequence[float]) -> list[float]:
    """Return the first, the last and evenly chosen rows between, no more than fit on a screen."""
    if len(rows) <= MOST_ROWS:
        return list(rows)
    return [rows[round(place * (len(rows) - 1) / (MOST_ROWS - 1))] for place in range(MOST_ROWS)]


def _degrees(temperature: float, units: str) -> str:
    return Scales(units).temperature.text(temperature, "g")
