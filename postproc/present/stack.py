"""Graphs one below the other, a page wide, each with its title and its legend above it: no curve is covered."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from headjoint.postproc.present.drawing import (
    INK,
    LETTERS,
    PAGE,
    QUIET,
    blank_figure,
    headline,
    legend_above,
    legend_height,
    placed_axes,
    wrapped,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LETTER, TITLE_LETTER = 0.072, 0.08  # inches of a letter of 9 points, and of a title
HANDLE = 0.55  # inches that a legend's mark takes, with the gap to the next column
TITLE, LINE = 0.28, 0.2  # inches of a title, and of a line of the headline
BETWEEN = 0.12  # inches between graphs side by side


@dataclass(frozen=True)
class Graph:
    """One graph: its title, what its axes are called, and what draws into them."""

    title: str
    across: str
    up: str
    draw: Callable[[Any], None] = field(repr=False)


@dataclass(frozen=True)
class Room:
    """Inches: height of every graph, left of it for what stands there, right of the last one, and below it.

    lefts, widths : of graphs side by side that differ in them; else all are as wide as there is room for.
    """

    height: float = 2.3
    left: float = 0.78
    right: float = 0.15
    below: float = 0.62
    lefts: tuple[float, ...] = ()
    widths: tuple[float, ...] = ()

    def places(self, count: int) -> list[tuple[float, float]]:
        """Return left edge and width of so many graphs side by side."""
        lefts = self.lefts or (self.left,) * count
        alike = (PAGE - self.right - sum(lefts) - BETWEEN * (count - 1)) / count
        found, at = [], 0.0
        for left, width in zip(lefts, self.widths or (alike,) * count, strict=True):
            found.append((at + left, width))
            at += left + width + BETWEEN
        return found


def stacked(title: str, rows: Sequence[Sequence[Graph]], room: Room | None = None, note: str = "") -> Figure:
    """Return a picture of rows of graphs, those of a row side by side under one legend. note : written at its end."""
    room, figure = room or Room(), blank_figure(PAGE, 1.0)
    drawn = [[_drawn(figure, one) for one in row] for row in rows]
    above = [_above(row, room) for row in drawn]
    top = LINE * (wrapped(title, int(LETTERS * PAGE)).count("\n") + 1) + 0.12
    lines = note.count("\n") + 1 if note else 0
    height = top + sum(above) + len(rows) * (room.height + room.below) + 0.15 * lines + (0.08 if lines else 0.0)
    figure.set_size_inches(PAGE, height)
    headline(figure, title)
    for row, own in zip(drawn, above, strict=True):
        top += own
        for axes, (left, width) in zip(row, room.places(len(row)), strict=True):
            axes.set_position((left / PAGE, 1.0 - (top + room.height) / height, width / PAGE, room.height / height))
        top += room.height + room.below
    figure.text(0.1 / PAGE, 0.08 / height, note, fontsize=8.5, color=QUIET, va="bottom")
    return figure


def _drawn(figure: Figure, one: Graph) -> Any:
    axes = placed_axes(figure, (0.1, 0.1, 0.8, 0.8), one.title, one.across, one.up)
    one.draw(axes)
    axes.tick_params(labelsize=9)
    for label in (axes.xaxis.label, axes.yaxis.label):
        label.set_fontsize(9.5)
    return axes


def _above(row: Sequence[Any], room: Room) -> float:
    """Put the legend of a row above its first graph and titles above that; return the inches that they take."""
    known: dict[str, Any] = {}
    for axes in row:
        for handle, label in zip(*axes.get_legend_handles_labels(), strict=True):
            known.setdefault(label, handle)
    taken = 0.06
    if known:
        longest = max(len(line) for label in known for line in label.split("\n"))
        columns = max(1, min(len(known), int((PAGE - room.places(len(row))[0][0]) / (LETTER * longest + HANDLE))))
        legend_above(row[0], columns, handles=list(known.values()), labels=list(known))
        taken += legend_height(list(known), columns) + 0.1
    titles, lefts = [axes.get_title(loc="left") for axes in row], [left for left, _ in room.places(len(row))]
    for number, axes in enumerate(row):  # as far as the next title
        end = next((lefts[n] for n in range(number + 1, len(row)) if titles[n]), PAGE)
        titles[number] = wrapped(titles[number], int((end - lefts[number] - BETWEEN) / TITLE_LETTER))
        axes.set_title(titles[number], loc="left", fontsize=10.5, color=INK, pad=72.0 * taken)
    return taken + (TITLE + LINE * max(one.count("\n") for one in titles) if any(titles) else 0.0)
