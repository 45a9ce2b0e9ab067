"""Self-contained HTML pages."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path

from headjoint.postproc.present.document import CAUTION
from headjoint.postproc.present.report import Report


def write_page(path: Path, report: Report, pictures: Sequence[Path], files: Sequence[str]) -> Path:
    """Write a report as a page, the pictures inside, and return its path; `files` beside it hold the figures."""
    from jinja2 import Environment, PackageLoader

    environment = Environment(
        loader=PackageLoader("headjoint.postproc", "templates"), autoescape=True, trim_blocks=True, lstrip_blocks=True
    )
    page = environment.get_template("page.html.j2").render(
        version=version("headjoint"),
        caution=CAUTION,
        report=report,
        pictures=[
            {"name": one.stem.replace("_", " "), "data": base64.b64encode(one.read_bytes()).decode("ascii")}
            for one in pictures
        ],
        files=files,
    )
    path.write_text(page, encoding="utf-8")
    return path
