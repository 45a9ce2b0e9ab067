"""Pictures of a comparison: requirements of all designs, their clamp and sealing pressure laid over each other."""

from __future__ import annotations

import dataclasses
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from headjoint.postproc.designs.outcome import Outcome
from headjoint.postproc.present.drawing import (
    FAILS,
    HOLDS,
    INK,
    PAGE,
    blank_figure,
    headline,
    placed_axes,
    save_pictures,
    wrapped,
)
from headjoint.postproc.present.scale import Scales
from headjoint.postproc.studies.compare import Comparison
from headjoint.postproc.verdict.table import requirement

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.figure import Figure

DESIGNS = ("#3b6ea5", "#c46f17", "#2f8f83", "#a8323e", "#6d4c7d", "#8a6d3b", "#5f7f3a", "#7a7f87")
MARKS = "osD^vPX*"
MOST = 2.5  # factor over need beyond which a mark stands at the edge
ACROSS, NAME_LETTERS, NAME_LINES = 2, 42, 3  # names: so many side by side, so long, in so many lines at most
TOP, NAME_LINE, FIELD_LINE, FIELD_BELOW, COURSE, COURSE_BELOW = 0.72, 0.16, 0.36, 0.95, 2.05, 0.95  # inches


def draw_comparison(comparison: Comparison, folder: Path, units: str = "si") -> list[Path]:
    """Draw the comparison into `folder` and return the paths.

    Two pictures, so that the first stands below the verdict on one sheet of paper.
    """
    pictures = [("compare", lambda: factors_figure(comparison))]
    if any(outcome.states for outcome in comparison.outcomes):
        pictures.append(("compare_states", lambda: states_figure(comparison, units)))
    return save_pictures(pictures, folder)


def _fewer(comparison: Comparison) -> tuple[Comparison, str]:
    """Return a comparison of no more designs than can be told apart: those with the most in hand, and what to say."""
    count = len(comparison.candidates)
    if count <= len(DESIGNS):
        return comparison, ""
    in_hand = [one.limiting.in_hand if one.limiting is not None else 0.0 for one in comparison.outcomes]
    kept = sorted(sorted(range(count), key=lambda n: -in_hand[n])[: len(DESIGNS)])
    fewer = dataclasses.replace(
        comparison,
        candidates=tuple(comparison.candidates[n] for n in kept),
        outcomes=tuple(comparison.outcomes[n] for n in kept),
    )
    return fewer, f": the {len(kept)} of {count} with the most in hand"


def factors_figure(comparison: Comparison) -> Figure:
    """Factor over need of every requirement."""
    comparison, left_out = _fewer(comparison)
    of_field = FIELD_LINE * len(comparison.requirements)
    figure, height = _with_names(comparison, f"Designs beside each other{left_out}", of_field + FIELD_BELOW)
    _draw_factors(placed_axes(figure, (0.36, FIELD_BELOW / height, 0.6, of_field / height), "", "", ""), comparison)
    return figure


def states_figure(comparison: Comparison, units: str = "si") -> Figure:
    """Clamp and sealing-line pressure through the load cases."""
    comparison, left_out = _fewer(comparison)
    below = 2.0 * (COURSE + COURSE_BELOW) - 0.35
    figure, height = _with_names(comparison, f"Designs through the load cases{left_out}", below)
    scales = Scales(units)
    lower, size = 0.6 / height, (0.86, COURSE / height)
    place = (0.115, lower + (COURSE + COURSE_BELOW) / height, *size)
    clamp = placed_axes(figure, place, "Clamp per fastener, nominal tightening", "", scales.force.axis("clamp"))
    up = scales.pressure.axis("pressure")
    seal = placed_axes(figure, (0.115, lower, *size), "Least sealing-line pressure, least tightening", "", up)
    solved = [(number, outcome) for number, outcome in enumerate(comparison.outcomes) if outcome.states]
    for number, outcome in solved:
        look = _look(number) | {"linewidth": 1.5, "markersize": 4.5, "markerfacecolor": "white"}
        clamp.plot(scales.force([one.clamp for one in outcome.states]), **look)
        seal.plot(scales.pressure([one.sealing for one in outcome.states]), **look)
    _draw_needed(seal, solved, scales)
    labels = max(([one.name for one in outcome.states] for _, outcome in solved), key=len, default=[])
    for axes in (clamp, seal):
        axes.set_ylim(0.0, 1.08 * axes.get_ylim()[1])
        axes.set_xticks(range(len(labels)), [_tick(label, len(labels)) for label in labels], fontsize=9)
    return figure


def _with_names(comparison: Comparison, title: str, below: float) -> tuple[Figure, float]:
    """Return a picture with a title and the names of all designs, so many inches free below them; and its height."""
    names = _name_rows(comparison)
    height = TOP + sum(0.1 + NAME_LINE * max(len(lines) for lines in row) for row in names) + 0.25 + below
    figure = blank_figure(PAGE, height)
    headline(figure, title)
    _list_designs(figure, comparison, names, height)
    return figure, height


def _look(number: int) -> dict[str, Any]:
    return {"color": DESIGNS[number % len(DESIGNS)], "marker": MARKS[number % len(MARKS)]}


def _tick(label: str, count: int) -> str:
    """Return the name of a load case in lines that fit between its neighbours."""
    return wrapped(label, max(6, 72 // count))


def _name_rows(comparison: Comparison) -> list[list[list[str]]]:
    """Return the names of all designs in rows, each name in lines."""
    names = []
    for candidate, outcome in zip(comparison.candidates, comparison.outcomes, strict=True):
        text = candidate.name + (" - fails" if outcome.holds is False else "")
        names.append(textwrap.wrap(text, NAME_LETTERS, max_lines=NAME_LINES, placeholder="..."))
    return [names[first : first + ACROSS] for first in range(0, len(names), ACROSS)]


def _list_designs(figure: Figure, comparison: Comparison, rows: list[list[list[str]]], height: float) -> None:
    """Say which mark is which design, those that fail in their colour."""
    down = TOP
    for row, names in enumerate(rows):
        for column, lines in enumerate(names):
            number = row * ACROSS + column
            x, y = 0.025 + 0.485 * column, 1.0 - down / height
            figure.add_artist(_mark(figure, x, y - 0.5 * NAME_LINE / height, number))
            colour = FAILS if comparison.outcomes[number].holds is False else INK
            figure.text(x + 0.018, y, "\n".join(lines), fontsize=9, color=colour, va="top")
        down += 0.1 + NAME_LINE * max(map(len, names))


def _draw_factors(axes: Any, comparison: Comparison) -> None:
    """Draw factor over need of every requirement, a line each."""
    wanted, count = comparison.requirements, len(comparison.candidates)
    axes.set_xlabel("factor over need: 1 holds,\na filled mark is the best of its line")
    axes.set_yticks(range(len(wanted)), [requirement(key).title for key in wanted])
    axes.set_ylim(len(wanted) - 0.5, -0.5)
    lowest = 1.0
    for line, key in enumerate(wanted):
        best = comparison.best(key)
        for number in range(count):
            factor = comparison.factor(number, key)
            if factor is None:
                continue
            lowest = min(lowest, factor)
            look = _look(number)
            fill = look["color"] if number in best else "white"
            at = min(factor, MOST), line + 0.5 * ((number + 0.5) / count - 0.5)
            more = {"markersize": 6.5, "markerfacecolor": fill, "markeredgewidth": 1.4, "linestyle": "none"}
            axes.plot(*at, clip_on=False, **look, **more)
    axes.axvline(1.0, color=INK, linewidth=1.0, linestyle=(0, (4, 2)))
    left = max(0.0, lowest - 0.1)
    axes.axvspan(1.0, MOST, color=HOLDS, alpha=0.08, linewidth=0, zorder=0)
    axes.set_xlim(left, MOST)
    ticks = [tick for tick in np.arange(0.0, MOST + 0.01, 0.5) if tick >= left]
    axes.set_xticks(ticks, [*(f"{tick:g}" for tick in ticks[:-1]), f">= {MOST:g}"])


def _draw_needed(axes: Any, solved: list[tuple[int, Outcome]], scales: Scales) -> None:
    """Draw what every design needs at the sealing line in its colour; once, where all need the same."""
    needs = {number: tuple(round(one.needed, 6) for one in outcome.states) for number, outcome in solved}
    alike = len(set(needs.values())) == 1
    apart = _most_apart(list(needs.values()))
    for number, needed in needs.items():
        look = {"color": INK} if alike else _look(number) | {"markevery": [apart], "markersize": 6.0}
        label = "needed by all" if alike else "needed by each, with its mark"
        style = {"linewidth": 1.1, "linestyle": (0, (4, 2)), "where": "mid"}
        drawn = axes.step(range(len(needed)), scales.pressure(needed), label=label, **style, **look)
        if number == next(iter(needs)):
            axes.legend(
                handles=drawn, loc="lower right", bbox_to_anchor=(1.0, 1.0), frameon=False, fontsize=8.5,
                borderaxespad=0.2,
            )  # fmt: skip
        if alike:
            break


def _most_apart(needs: list[tuple[float, ...]]) -> int:
    """Return the number of the state in which needs differ most."""
    shared = min(map(len, needs), default=0)
    return max(range(shared), key=lambda state: max(one[state] for one in needs) - min(one[state] for one in needs))


def _mark(figure: Figure, x: float, y: float, number: int) -> Artist:
    from matplotlib.lines import Line2D

    return Line2D([x], [y], markersize=7, linestyle="", transform=figure.transFigure, **_look(number))
