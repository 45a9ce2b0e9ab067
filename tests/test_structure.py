"""The house keeps its rules: imports point one way, modules stay small, nothing undocumented."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
LAYERS = ("model", "meshes", "cases", "postproc")
MODULES = [path for layer in LAYERS for path in sorted((ROOT / layer).glob("*.py"))]


def imported_layers(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        names = []
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        found |= {name.split(".")[1] for name in names if name.startswith("headjoint.")}
    return found


@pytest.mark.parametrize("path", MODULES, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_imports_point_one_way(path):
    if path.name == "cli.py":
        pytest.skip("the command line may import from all")
    allowed = LAYERS[: LAYERS.index(path.parent.name) + 1]
    assert imported_layers(path) <= set(allowed)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_modules_stay_small_enough_to_hold_in_the_head(path):
    assert len(path.read_text("utf-8").splitlines()) <= 450


def test_the_top_level_is_what_the_guide_names():
    expected = {"README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE", "tests", "validation", *LAYERS}
    found = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    made_by_tools = {"build", "dist", "headjoint.egg-info"}
    assert {name for name in found if not name.startswith("headjoint-")} - made_by_tools == expected
