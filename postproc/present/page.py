"""Self-contained HTML pages, and files that are moved into their folder whole or not at all."""

from __future__ import annotations

import base64
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from importlib.metadata import version
from pathlib import Path
from typing import Any

from headjoint.postproc.present.document import CAUTION
from headjoint.postproc.present.terminal import figure_text


def write_page(path: Path, template: str, pictures: Sequence[Path], **values: Any) -> Path:
    """Write a page from a template of this package, the pictures inside, and return its path."""
    from jinja2 import Environment, PackageLoader

    environment = Environment(
        loader=PackageLoader("headjoint.postproc", "templates"), autoescape=True, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters["figure"] = figure_text
    page = environment.get_template(template).render(
        version=version("headjoint"),
        caution=CAUTION,
        pictures=[
            {"name": one.stem.replace("_", " "), "data": base64.b64encode(one.read_bytes()).decode("ascii")}
            for one in pictures
        ],
        **values,
    )
    path.write_text(page, encoding="utf-8")
    return path


@contextmanager
def moved_in_whole(folder: Path) -> Iterator[tuple[Path, list[Path]]]:
    """Give a scratch folder beside `folder`, and a list that is told what came of it.

    When all is made, the files move in one by one, pages and documents first; an interruption leaves none of them.
    """
    folder.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=folder.parent, prefix=f".{folder.name}-") as name:
        scratch, written = Path(name), []
        yield scratch, written
        folder.mkdir(exist_ok=True)
        made = sorted(scratch.iterdir(), key=lambda path: (path.suffix != ".html", path.suffix != ".json", path.name))
        written.extend(path.replace(folder / path.name) for path in made)
