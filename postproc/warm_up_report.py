"""What `headjoint warmup` prints and writes: temperatures and clamp over time, the dangerous moments, the picture."""

from __future__ import annotations

import json
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
from rich.markup import escape
from rich.table import Table

from headjoint.cases.warm_up import Instant, WarmUp
from headjoint.postproc.console import console
from headjoint.postproc.document import CAUTION, UNITS, plain
from headjoint.postproc.findings import sealing_needed
from headjoint.postproc.page import moved_in_whole
from headjoint.postproc.terminal import figure_text, force_text, unit_in

FORMAT, VERSION = "headjoint-warm-up-result", 1
SHOWN = 14
PLACES = ("chamber face", "sealing line", "head mean", "fastener mean", "block mean")
LIMITS = (
    "Heat enters through the chamber (in a cell also the bore wall) and leaves through the faces of the coolant "
    "spaces; in one fastener's joint the outer cylinders of head and block stand for those. Hole and shank exchange "
    "none. Films are typical, from memory, unless the file states them; stiffness is that of assembly; nothing creeps "
    "on the way. Gas presses with the pressure of the first firing load case while its film is on."
)


def print_warm_up(warmed: WarmUp, slower: WarmUp | None, units: str, written: Sequence[Path]) -> None:
    """Print the warm-up; `slower` is the same at half the pace, None where not run."""
    screen = console()
    joint = warmed.joint
    screen.print(f"\n[bold]{escape(joint.name)}[/bold]" + (f"  ({escape(joint.note)})" if joint.note else ""))
    for heading, text in moments(warmed, slower, units):
        screen.print(f"[bold]{heading}[/bold]: {text}")
    force, factor = unit_in("kN", units)
    pressure, pressure_factor = unit_in("MPa", units)
    degrees = "degC" if units == "si" else "degF"
    title = f"Temperatures ({degrees}), clamp per fastener ({force}) and pressure on the sealing line ({pressure})"
    table = Table(title=title, title_justify="left", box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for heading in ("time, s", *PLACES, "clamp", "firing", "sealing", "firing"):
        table.add_column(heading, justify="right")
    for one in shown(warmed):
        table.add_row(
            f"{one.time:.0f}",
            *(degrees_text(one.temperatures[place], units) for place in PLACES),
            figure_text(one.force / 1e3, factor),
            "" if one.fired_force is None else figure_text(one.fired_force / 1e3, factor),
            figure_text(one.sealing, pressure_factor),
            figure_text(one.fired_sealing, pressure_factor),
        )
    screen.print(table)
    heat = warmed.heat
    screen.print(f"\n{LIMITS}")
    screen.print(
        f"Checks: energy is kept to {heat.balance.error:.0e}; error in time at most {heat.estimated_error:.2f} K in "
        f"{heat.steps} steps; every state balanced to 1e-8 of the clamp."
    )
    if written:
        screen.print(f"Files in {escape(str(written[0].parent))}/: " + ", ".join(escape(path.name) for path in written))
    screen.print(f"[bold]Caution[/bold]: {CAUTION}")


def degrees_text(value: float, units: str) -> str:
    """Write a temperature (degC) in the units of the table."""
    return f"{value:.0f}" if units == "si" else f"{1.8 * value + 32.0:.0f}"


def shown(warmed: WarmUp) -> list[Instant]:
    """Return instants evenly chosen, the extremes of clamp among them."""
    chosen = set(np.linspace(0, len(warmed.instants) - 1, SHOWN).round().astype(int).tolist())
    wanted = [warmed.instants[index] for index in sorted(chosen)]
    wanted += [warmed.extreme(lambda one: one.force), warmed.extreme(lambda one: -one.force)]
    return sorted({one.time: one for one in wanted}.values(), key=lambda one: one.time)


def moments(warmed: WarmUp, slower: WarmUp | None, units: str) -> list[tuple[str, str]]:
    """Return the dangerous moments in words."""
    joint = warmed.joint
    lines = [("Cold and settled", f"{force_text(warmed.tightened, units)} clamp before the warm-up")]
    for heading, sign in (("Greatest clamp", 1.0), ("Least clamp", -1.0)):
        at = warmed.extreme(lambda one, sign=sign: sign * one.force)
        lag = at.temperatures["head mean"] - at.temperatures["fastener mean"]
        unit, factor = ("K", 1.0) if units == "si" else ("degF", 1.8)
        stands = "lags behind" if lag > 0.0 else "is hotter than"
        what = f"when the fastener {stands} the head by {abs(lag) * factor:.0f} {unit}"
        text = f"{force_text(at.force, units)} at {at.time:.0f} s, {what}"
        if sign > 0.0:
            ends = warmed.extreme(lambda one: -abs(one.time - _end_of_heat(warmed)))
            text += f"; {force_text(ends.force, units)} when warm through, at {ends.time:.0f} s"
        lines.append((heading, text))
    fired = [one for one in warmed.instants if one.fired_sealing is not None]
    if fired:
        worst = min(fired, key=lambda one: one.fired_sealing or 0.0)
        gas = next(case.gas_pressure for case in joint.load_cases if case.gas_force > 0.0)
        unit, factor = unit_in("MPa", units)
        needed = figure_text(sealing_needed(joint, gas), factor)
        lines.append(
            (
                "Least sealing while firing",
                f"{figure_text(worst.fired_sealing, factor)} {unit} at {worst.time:.0f} s, {needed} needed",
            )
        )
    strain = warmed.instants[-1].plastic
    text = "none" if strain < 1e-5 else f"{100 * strain:.2g} % in its weakest length"
    lines.append(("Yield of the fastener on the way", text))
    if slower is None:
        return lines
    other = slower.extreme(lambda one: one.force)
    mine = warmed.extreme(lambda one: one.force)
    lines.append(
        (
            "At half the pace",
            f"greatest clamp {force_text(other.force, units)}, {100 * (other.force / mine.force - 1.0):+.1f} %",
        )
    )
    return lines


def _end_of_heat(warmed: WarmUp) -> float:
    """Return the last time (s) at which the gas's film is at its greatest."""
    film = warmed.joint.heat.gas_film
    return max(time for time, value in zip(film.times, film.values, strict=True) if value == max(film.values))


def warm_up_document(warmed: WarmUp, slower: WarmUp | None) -> dict[str, Any]:
    """Return the warm-up as a JSON document: times s, temperatures degC, forces N, pressures MPa, unrounded."""
    return {
        "format": FORMAT,
        "version": VERSION,
        "units": UNITS | {"time": "s"},
        "caution": CAUTION,
        "program": {"name": "headjoint", "version": version("headjoint")},
        "joint": {"name": warmed.joint.name, "resolved": plain(warmed.joint)},
        "tightened": warmed.tightened,
        "instants": plain(warmed.instants),
        "half_pace": None if slower is None else plain(slower.instants),
        "heat": {
            "steps": warmed.heat.steps,
            "error_K": warmed.heat.estimated_error,
            "balance": warmed.heat.balance.error,
        },
    }


def write_warm_up_files(warmed: WarmUp, document: dict[str, Any], folder: Path) -> list[Path]:
    """Write warmup.json and warmup.png; return their paths. Each file is whole or not there."""
    with moved_in_whole(folder) as (scratch, written):
        (scratch / "warmup.json").write_text(json.dumps(document), encoding="utf-8")
        from headjoint.postproc.drawing import save_pictures

        save_pictures([("warmup", lambda: warm_up_picture(warmed))], scratch)
    return written


def warm_up_picture(warmed: WarmUp) -> Any:
    """Return temperatures above, clamp below, over time."""
    from headjoint.postproc.drawing import COLOURS, FASTENER, INK, QUIET, blank_figure, headline, placed_axes

    figure = blank_figure(11, 7.2)
    headline(figure, f"Warm-up and cooling: {warmed.joint.name}")
    upper = placed_axes(figure, (0.066, 0.52, 0.72, 0.40), "", "", "temperature, degC")
    lower = placed_axes(figure, (0.066, 0.085, 0.72, 0.37), "", "time, s", "clamp, kN")
    times = [one.time for one in warmed.instants]
    colours = (COLOURS["firing"], COLOURS["hot"], "#8d99a8", FASTENER, "#b0782a")
    for place, colour in zip(PLACES, colours, strict=True):
        upper.plot(
            times, [one.temperatures[place] for one in warmed.instants], color=colour, linewidth=1.8, label=place
        )
    lower.plot(times, [one.force / 1e3 for one in warmed.instants], color=COLOURS["hot"], linewidth=2.0, label="no gas")
    fired = [(one.time, one.fired_force / 1e3) for one in warmed.instants if one.fired_force is not None]
    if fired:
        lower.plot(*zip(*fired, strict=True), color=COLOURS["firing"], linewidth=1.4, label="firing")
    lower.axhline(warmed.tightened / 1e3, color=QUIET, linewidth=1.0, linestyle=(0, (4, 2)), label="cold, before")
    for sign in (1.0, -1.0):
        at = warmed.extreme(lambda one, sign=sign: sign * one.force)
        lower.plot([at.time], [at.force / 1e3], "o", color=INK, markersize=5)
    for axes in (upper, lower):
        axes.set_xlim(0.0, times[-1])
        axes.legend(loc="center left", bbox_to_anchor=(1.01, 0.5), frameon=False, fontsize=9)
    return figure
