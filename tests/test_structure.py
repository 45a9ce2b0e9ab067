"""The house keeps its rules: imports point one way and in no circle, rooms and modules stay small, all is installed."""

from __future__ import annotations

import ast
import tomllib
from collections import defaultdict
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
INTERFACE = "headjoint.cases.api"  # where the public Python interface stands; it is imported as headjoint itself
LAYERS = ("model", "meshes", "cases", "postproc")
MODULES = [path for layer in LAYERS for path in sorted((ROOT / layer).rglob("*.py"))]
PACKAGES = sorted({path.parent for path in MODULES})
MOST_LINES = 420
MOST_FUNCTION_LINES = 60
MOST_BY_PLACE = 7  # arguments that are told apart by their order alone
MOST_SIBLINGS = 20


def dotted(path: Path) -> str:
    """Name of a module as it is imported."""
    name = ".".join(("headjoint", *path.relative_to(ROOT).with_suffix("").parts)).removesuffix(".__init__")
    return name.replace(INTERFACE, "headjoint")


NAMES = {dotted(path): path for path in MODULES}


def imports_of(path: Path) -> set[str]:
    """Modules of the house that a module imports, wherever in it."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            for alias in node.names:
                whole = f"{node.module}.{alias.name}"
                found.add(whole if whole in NAMES else node.module)
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    return {name for name in found if name.startswith("headjoint")}


IMPORTS = {name: imports_of(path) for name, path in NAMES.items()}


def room(name: str) -> str:
    """The room of a module: a package within a layer, or the module itself where it stands in a layer's root."""
    return ".".join(name.split(".")[:3])


def may_import_from_all(name: str) -> bool:
    return name == "headjoint.cases.cli" or name.split(".")[1:2] not in [[layer] for layer in LAYERS]


def assert_no_circle(arrows: dict[str, set[str]]) -> None:
    try:
        tuple(TopologicalSorter(arrows).static_order())
    except CycleError as error:
        pytest.fail(" <- ".join(error.args[1]))


def test_every_import_of_the_house_is_a_module_of_the_house():
    assert {(name, one) for name, found in IMPORTS.items() for one in found if one not in NAMES} == set()


@pytest.mark.parametrize("name", NAMES, ids=lambda name: name.removeprefix("headjoint."))
def test_imports_point_one_way(name):
    if may_import_from_all(name):
        pytest.skip("the command line and the Python interface may import from all")
    allowed = LAYERS[: LAYERS.index(name.split(".")[1]) + 1]
    assert {one.split(".")[1] for one in IMPORTS[name]} <= set(allowed)


def test_no_module_imports_itself_by_way_of_others():
    assert_no_circle({name: found - {name} for name, found in IMPORTS.items() if not may_import_from_all(name)})


def test_no_room_imports_itself_by_way_of_others():
    arrows: dict[str, set[str]] = defaultdict(set)
    for name, found in IMPORTS.items():
        if not may_import_from_all(name):
            arrows[room(name)] |= {room(one) for one in found} - {room(name)}
    assert_no_circle(arrows)


@pytest.mark.parametrize("folder", PACKAGES, ids=lambda path: str(path.relative_to(ROOT)))
def test_rooms_stay_small_enough_to_look_over(folder):
    siblings = [path for path in folder.iterdir() if path.suffix == ".py" or (path / "__init__.py").exists()]
    assert len(siblings) - 1 <= MOST_SIBLINGS


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_modules_and_functions_stay_small_enough_to_hold_in_the_head(path):
    text = path.read_text("utf-8")
    assert len(text.splitlines()) <= MOST_LINES
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef):
            lines = (node.end_lineno or 0) - node.lineno + 1
            assert lines <= MOST_FUNCTION_LINES, f"{node.name} has {lines} lines"


def test_no_function_takes_more_by_place_than_a_reader_can_keep_apart():
    for path in [*MODULES, *sorted((ROOT / "validation").rglob("*.py"))]:
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
                names = [one.arg for one in (*node.args.posonlyargs, *node.args.args)]
                by_place = [name for name in names if name not in ("self", "cls")]
                assert len(by_place) <= MOST_BY_PLACE, f"{path.name}: {node.name} takes {by_place}"


def test_every_room_is_installed():
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"]
    rooms = [dotted(folder / "__init__.py") for folder in PACKAGES]
    assert sorted(settings["packages"]) == sorted(rooms)


def test_the_top_level_is_what_the_guide_names():
    expected = {"README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE", "tests", "validation", *LAYERS}
    found = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    made_by_tools = {"build", "dist", "headjoint.egg-info"}
    assert {name for name in found if not name.startswith("headjoint-")} - made_by_tools == expected
