"""A page as PDF, on A4 or letter, without a browser."""

from __future__ import annotations

import math
from importlib import import_module, resources
from pathlib import Path
from typing import Any

import numpy as np

from headjoint.model.base.errors import InputError

SIZES = {"a4": "A4", "letter": "letter"}
MARGINS = (13, 15, 15)  # mm above, at the sides, below
INKED = 235  # of 255: a mm that is darker somewhere is not empty
THIN = 1 / 3  # of a sheet: less than that before the last one is a sheet that need not be
FEW = 0.12  # of the last sheet: some five lines
# tried in turn until no sheet is thin: as the page is laid out, drawings and tall pictures smaller (their words stay
# over 7 points), lines closer, both
SMALLER = ".drawing img { width: 150mm } img { max-height: 187mm }\n"
CLOSER = "body { font-size: 9pt; line-height: 1.3 } p, ul { margin: 3.5pt 0 } th, td { padding: 1pt 7pt 1pt 0 }\n"
LAYOUTS = ("", SMALLER, CLOSER, SMALLER + CLOSER)
FACES = {"DejaVuSans.ttf": "normal", "DejaVuSans-Bold.ttf": "bold"}  # matplotlib brings them: no font need be there


def paper_for(asked: str | None, units: str) -> str:
    """Return the paper asked for, else that of whoever reads in "si" or "workshop" units; InputError for another."""
    if asked is not None and asked not in SIZES:
        raise InputError(f"give one of {', '.join(SIZES)}", field="paper", value=asked)
    return asked or ("letter" if units == "workshop" else "a4")


def library() -> Any:
    """Return the library that makes PDF files, None on a machine that it has no wheel for."""
    try:
        return import_module("plutoprint")
    except ImportError:
        return None


def write_pdf(page: str, path: Path, paper: str, foot: str) -> None:
    """Write the text of a page as a PDF file where the library is there, `foot` at the foot of every sheet.

    Of the layouts that is taken which leaves fewest sheets nearly empty, the first of equals.
    """
    maker = library()
    if maker is None:
        return
    best, fewest = None, math.inf
    for layout in LAYOUTS:
        book = maker.Book()
        book.load_html(page, user_style=_print_style(paper, foot) + layout)
        thin = _thin_sheets(book, maker)
        if thin < fewest:
            best, fewest = book, thin
        if thin == 0:
            break
    assert best is not None
    best.write_to_pdf(str(path))


def _thin_sheets(book: Any, maker: Any) -> int:
    """Return how many sheets of a book are nearly empty."""
    *before, last = (_filled(book, maker, number) for number in range(book.get_page_count()))
    return sum(one < THIN for one in before) + (bool(before) and last < FEW)


def _filled(book: Any, maker: Any, number: int) -> float:
    """Return how far down a sheet there is anything, as a share of the height between its margins."""
    size = book.get_page_size_at(number)  # points
    wide, high = (round(one / 72.0 * 25.4) for one in (size.width, size.height))  # a pixel for every mm
    canvas = maker.ImageCanvas(wide, high)
    canvas.clear_surface(1.0, 1.0, 1.0, 1.0)
    scale = high / (size.height * 96.0 / 72.0)  # sheets are drawn in 1/96 in
    canvas.scale(scale, scale)
    book.render_page(canvas, number)
    pixels = np.frombuffer(canvas.get_data(), np.uint8).reshape(high, -1)
    above, _, below = MARGINS
    (inked,) = np.nonzero(pixels[above : high - below].min(axis=1) < INKED)
    return float(inked[-1] + 1) / (high - above - below) if inked.size else 0.0


def _print_style(paper: str, foot: str) -> str:
    fonts = resources.files("matplotlib").joinpath("mpl-data/fonts/ttf")
    faces = "".join(
        f'@font-face {{ font-family: Report; font-weight: {weight}; src: url("{Path(str(fonts / name)).as_uri()}") }}\n'
        for name, weight in FACES.items()
    )
    small = "font: 7.5pt Report; color: #666c75"
    above, aside, below = MARGINS
    words = foot.replace("\\", "\\\\").replace('"', '\\"').replace("\n", " ")
    return (
        f"{faces}@page {{ size: {SIZES[paper]}; margin: {above}mm {aside}mm {below}mm;\n"
        f'  @bottom-left {{ content: "{words}"; {small} }}\n'
        f'  @bottom-right {{ content: counter(page) " / " counter(pages); {small} }} }}\n'
        "body, td, th, pre { font-family: Report !important }\n"
    )
