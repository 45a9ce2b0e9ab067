"""What all pictures share: colours, empty figures, axes, and files drawn without a screen."""

from __future__ import annotations

import io
import math
import textwrap
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Where = TypeVar("Where", Path, IO[bytes])
Place = tuple[float, float, float, float]  # left, bottom, width, height as fractions of the figure

PAGE = 7.0  # inches, width of every picture: on paper as wide as its text, and on a telephone still to be read
PIXELS = 1260  # across a picture, whatever its width
INK = "#22252b"
QUIET = "#6b727c"
# one colour per kind of state, told apart also by people who see few colours
COLOURS = {
    "assembly": "#3b6ea5",
    "settled": "#5a86ab",
    "hot": "#c46f17",
    "firing": "#a8323e",
    "cold": "#2f8f83",
}
DASHES = {"assembly": "-", "settled": (0, (4, 2)), "hot": "-", "firing": (0, (6, 1.5, 1, 1.5)), "cold": (0, (1, 1.2))}
# readings of a log
DOT: dict[str, Any] = {"marker": "o", "markersize": 3.0, "linestyle": "none", "alpha": 0.55, "markeredgewidth": 0.0}
FASTENER, CLAMPED = "#2d4a6b", "#b0782a"  # what pulls and what is pressed, where both are drawn
LETTERS = 9.3  # of a title, per inch
HOLDS, FAILS = "#2f8f83", "#a8323e"
# where colour scales may end, times powers of ten, and into how many round steps that divides
ROUND = {1.0: 5, 1.2: 4, 1.5: 5, 2.0: 4, 2.5: 5, 3.0: 6, 4.0: 4, 5.0: 5, 6.0: 6, 8.0: 4, 10.0: 5}


def save_pictures(
    pictures: Sequence[tuple[str, Callable[[], Figure]]], folder: Path, pixels: int = PIXELS
) -> list[Path]:
    """Draw pictures by their names into `folder`, so many pixels wide, and return the paths."""
    return [save_picture(draw, folder / f"{name}.png", pixels) for name, draw in pictures]


def save_picture(draw: Callable[[], Figure], where: Where, pixels: int = PIXELS) -> Where:
    """Draw a picture as PNG into a file or a stream, so many pixels wide, and return where it is."""
    import matplotlib

    # names in a joint file are text, not formulas
    with matplotlib.rc_context({"text.parse_math": False}):
        figure = draw()
        dpi = pixels / figure.get_size_inches()[0]
        figure.savefig(where, format="png", dpi=dpi, pil_kwargs={"compress_level": 2})
    return where


def picture_bytes(draw: Callable[[], Figure], pixels: int = PIXELS) -> bytes:
    """Return a picture as PNG, so many pixels wide."""
    written = io.BytesIO()
    save_picture(draw, written, pixels)
    return written.getvalue()


def blank_figure(width: float, height: float) -> Figure:
    """Return an empty figure of a size in inches."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height), facecolor="white")
    FigureCanvasAgg(figure)
    return figure


def placed_axes(figure: Figure, place: Place, title: str, across: str, up: str) -> Any:
    """Add axes at a fixed place; letting matplotlib look for places costs as much as drawing."""
    axes = figure.add_axes(place)
    axes.set_title(title, loc="left", fontsize=10.5, color=INK)
    axes.set_xlabel(across)
    axes.set_ylabel(up)
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(color="#e6e8eb", linewidth=0.8)
    axes.set_axisbelow(True)
    return axes


def headline(figure: Figure, text: str) -> None:
    """Put a title over a whole figure, in as many lines as it needs."""
    width, height = figure.get_size_inches()
    lines = wrapped(text, int(LETTERS * width))
    figure.suptitle(lines, fontsize=12.5, color=INK, x=0.1 / width, y=1.0 - 0.08 / height, ha="left", va="top")


def legend_above(axes: Any, columns: int = 3, **more: Any) -> Any:
    """Name curves right above their axes, where the legend covers none; `legend_height` says what room it needs."""
    look = {"frameon": False, "fontsize": 9, "borderaxespad": 0.0, "columnspacing": 1.4, "handlelength": 2.4}
    return axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.02), ncol=columns, labelspacing=0.3, **look | more)


def legend_height(labels: Sequence[str], columns: int = 3) -> float:
    """Return the inches that a legend above axes takes, names of several lines counted."""
    rows = [labels[first :: -(-len(labels) // columns)] for first in range(-(-len(labels) // columns))]
    return sum(0.06 + 0.15 * max(label.count("\n") + 1 for label in row) for row in rows)


def note(axes: Any, text: str, place: tuple[float, float], shift: tuple[float, float], **more: Any) -> None:
    """Write `text` at a data place, shifted by points."""
    axes.annotate(text, place, xytext=shift, textcoords="offset points", **{"fontsize": 9, "color": INK} | more)


def wrapped(text: str, width: int = 20) -> str:
    """Return text in lines of at most `width` characters, for legends and ticks with names of the user's own."""
    return "\n".join(line for own in text.split("\n") for line in textwrap.wrap(own, width, break_on_hyphens=False))


def round_ticks(value: float) -> list[float]:
    """Return ticks of a colour scale from 0 to the least round number that is not below a positive `value`."""
    power = 10.0 ** math.floor(math.log10(max(value, 1e-12)))
    end, count = next((end, count) for end, count in ROUND.items() if end * power >= value * (1.0 - 1e-9))
    return [end * power * number / count for number in range(count + 1)]


def round_down(value: float) -> float:
    """Return 1, 2 or 5 times a power of ten, at most a positive `value`."""
    power = 10.0 ** math.floor(math.log10(value))
    return max(step * power for step in (1.0, 2.0, 5.0) if step * power <= value)
