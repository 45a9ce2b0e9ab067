"""What all pictures share: colours, empty figures, axes, and files drawn without a screen."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Place = tuple[float, float, float, float]  # left, bottom, width, height as fractions of the figure

DPI = 120
INK = "#22252b"
QUIET = "#6b727c"
# one colour per kind of state, told apart also by people who see few colours
COLOURS = {
    "assembly": "#3b6ea5",
    "settled": "#7fa8c9",
    "hot": "#d98324",
    "firing": "#a8323e",
    "cold": "#2f8f83",
}
DASHES = {"assembly": "-", "settled": (0, (4, 2)), "hot": "-", "firing": "-", "cold": (0, (1, 1.2))}
FASTENER, CLAMPED = "#2d4a6b", "#b0782a"  # what pulls and what is pressed, where both are drawn
HOLDS, FAILS = "#2f8f83", "#a8323e"


def save_pictures(pictures: Sequence[tuple[str, Callable[[], Figure]]], folder: Path) -> list[Path]:
    """Draw pictures by their names into `folder` and return the paths."""
    import matplotlib

    drawn = []
    for name, draw in pictures:
        path = folder / f"{name}.png"
        # names in a joint file are text, not formulas
        with matplotlib.rc_context({"text.parse_math": False}):
            draw().savefig(path, dpi=DPI, pil_kwargs={"compress_level": 2})
        drawn.append(path)
    return drawn


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
    """Put a title over a whole figure."""
    figure.suptitle(text, fontsize=12.5, color=INK, x=0.012, y=0.985, ha="left", va="top")
