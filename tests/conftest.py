"""Joints that several tests share."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from itertools import combinations
from typing import Any

import pytest
from hypothesis import settings
from matplotlib.text import Text
from threadpoolctl import threadpool_limits

from headjoint.cases.command.stated_files import shipped_files
from headjoint.cases.load_cases.solved import SolvedJoint, solve_joint
from headjoint.model.reading.reading import read_joint
from validation.joints import joint_files

# a cell's mesh that is quick to solve
COARSE = '\n[mesh]\nring_size = "9 mm"\nstud_size = "9 mm"\nlargest = "25 mm"\n'

# every run tries the same examples; `pytest --hypothesis-profile=search` tries new ones
settings.register_profile("search", derandomize=False)
settings.register_profile("repeatable", derandomize=True)
settings.load_profile("repeatable")


@pytest.fixture(autouse=True, scope="session")
def _one_thread():
    """Keep dense algebra on one thread, as the command line does: on a busy machine threads of small matrices only wait."""
    import scipy.linalg  # noqa: F401  threads of libraries that are not loaded yet cannot be limited

    if "PYTEST_XDIST_WORKER" in os.environ:  # each core has a worker of its own: commands and the mesher's library, too
        os.environ.setdefault("OMP_NUM_THREADS", "1")
    with threadpool_limits(limits=1):
        yield


def joint_file(name: str) -> str:
    """The path of a joint of one fastener, as a command takes it."""
    return str(joint_files()[name])


@cache
def shipped_text(name: str) -> str:
    return joint_files()[name].read_text("utf-8")


@cache
def bank_text() -> str:
    """The shipped engine, but for how many bores it has in a row."""
    return re.sub(r"in_row = .*\n", "", shipped_files("cells")["boosted-four"].read_text("utf-8"))


def guide_example(topic: str, word: str) -> str:
    """The one TOML example with this word on a page of the guide."""
    page = shipped_files("guide")[topic].read_text("utf-8")
    (example,) = [one for one in re.findall(r"```toml\n(.*?)```", page, re.DOTALL) if word in one]
    return example


@contextmanager
def browser() -> Iterator[Any]:
    """Open a browser without a screen; skip the test on a machine that has none."""
    playwright = pytest.importorskip("playwright.sync_api")
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        pytest.skip("no chromium on this machine")
    with playwright.sync_playwright() as started:
        opened = started.chromium.launch(executable_path=path, args=["--no-sandbox"])
        try:
            yield opened
        finally:
            opened.close()


@cache
def solved(name: str) -> SolvedJoint:
    return solve_joint(read_joint(joint_files()[name]))


@pytest.fixture
def words_of(monkeypatch):
    """Return a function that draws a figure and gives its words, after checking that none is cut off or covered."""
    words: list[Text] = []
    draw = Text.draw
    # only words that come to be drawn count: axes keep labels of ticks outside their range
    monkeypatch.setattr(Text, "draw", lambda word, renderer: (words.append(word), draw(word, renderer)))

    def checked(figure: Any, name: str) -> list[str]:
        words.clear()
        figure.canvas.draw()
        # an annotation's extent includes its arrow; the word alone counts
        boxes = [(w.get_text(), Text.get_window_extent(w)) for w in words if w.get_visible() and w.get_text().strip()]
        for text, box in boxes:
            inside = box.x0 >= 1 and box.y0 >= 1 and box.x1 <= figure.bbox.x1 - 1 and box.y1 <= figure.bbox.y1 - 1
            assert inside, f"{name}: '{text}' is cut off"
        for (one, box), (other, beside) in combinations(boxes, 2):
            assert not box.padded(-1.0).overlaps(beside.padded(-1.0)), f"{name}: '{one}' and '{other}' collide"
        return [text for text, _ in boxes]

    return checked
