"""A page as PDF, on A4 or letter, without a browser."""

from __future__ import annotations

from importlib import import_module, resources
from pathlib import Path
from typing import Any

from headjoint.model.base.errors import InputError

SIZES = {"a4": "A4", "letter": "letter"}
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
    """Write the text of a page as a PDF file where the library is there, `foot` at the foot of every sheet."""
    maker = library()
    if maker is None:
        return
    book = maker.Book()
    book.load_html(page, user_style=_print_style(paper, foot))
    book.write_to_pdf(str(path))


def _print_style(paper: str, foot: str) -> str:
    fonts = resources.files("matplotlib").joinpath("mpl-data/fonts/ttf")
    faces = "".join(
        f'@font-face {{ font-family: Report; font-weight: {weight}; src: url("{Path(str(fonts / name)).as_uri()}") }}\n'
        for name, weight in FACES.items()
    )
    small = "font: 7.5pt Report; color: #666c75"
    words = foot.replace("\\", "\\\\").replace('"', '\\"').replace("\n", " ")
    return (
        f"{faces}@page {{ size: {SIZES[paper]}; margin: 13mm 15mm 15mm;\n"
        f'  @bottom-left {{ content: "{words}"; {small} }}\n'
        f'  @bottom-right {{ content: counter(page) " / " counter(pages); {small} }} }}\n'
        "body, td, th, pre { font-family: Report !important }\n"
    )
