"""The changes that are tried, and the modules whose formulas they are made in."""

from __future__ import annotations

import ast
import difflib
import hashlib
import random
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code
from cosmic_ray.operators import binary_operator_replacement as binary
from cosmic_ray.operators import comparison_operator_replacement as comparison
from cosmic_ray.operators import unary_operator_replacement as unary
from cosmic_ray.operators.number_replacer import NumberReplacer
from cosmic_ray.operators.operator import Operator

ROOT = Path(__file__).parents[2]
# modules without formulas: the words, tables and pictures that users read, what checks a file, what keeps and runs
LEFT_OUT = (
    "api/", "cli.py", "command/", "files/", "present/", "store.py", "jobs.py", "job.py", "errors.py", "arrays.py",
    "pictures", "report", "printing", "words.py", "fragment", "document.py", "files.py", "_file.py", "views.py",
    "cutaway.py", "checks.py", "overrides.py", "rig/log.py", "listings.py", "designs/run.py", "not_identified.py",
    "linear_solver.py",
)  # fmt: skip
# what cosmic-ray offers of binary operators and comparisons, as far as a slip of the pen goes
SIGNS = {"Add_Sub", "Sub_Add", "Mul_Div", "Div_Mul", "Mul_Add", "Pow_Mul"}
SENSES = {"Lt_Gt", "Gt_Lt", "LtE_GtE", "GtE_LtE", "Lt_LtE", "Gt_GtE", "LtE_Lt", "GtE_Gt", "Eq_NotEq", "NotEq_Eq"}
OPPOSITE = {"min": "max", "minimum": "maximum", "argmin": "argmax", "sin": "cos", "any": "all", "log": "log10"}
OPPOSITE |= {other: one for one, other in OPPOSITE.items()}
# calls whose arguments may stand either way, or that no slip of the pen swaps
NOT_SWAPPED = (
    "isinstance",
    "getattr",
    "zip",
    "range",
    "replace",
    "min",
    "max",
    "minimum",
    "maximum",
    "hypot",
    "union1d",
)
NO_FORMULA = ("raise_stmt", "assert_stmt", "annassign", "tfpdef", "decorator", "import_from", "fstring", "subscript")


class SwappedArguments(Operator):
    """Two neighbouring arguments of a call change places."""

    def mutation_positions(self, node: Any) -> Iterator[tuple[Any, Any]]:
        """Yield the place of the call for every pair of positional arguments: one place, whatever their number."""
        for _ in self._pairs(node):
            yield node.start_pos, node.end_pos

    def mutate(self, node: Any, index: int) -> Any:
        """Return the call with the pair swapped."""
        at = self._pairs(node)[index]
        node.children[at], node.children[at + 2] = node.children[at + 2], node.children[at]
        return node

    @staticmethod
    def _pairs(node: Any) -> list[int]:
        """Return where in a call the first argument of every pair is that can be swapped."""
        called = node.parent.get_previous_sibling() if node.type == "arglist" else None
        if called is None or called.get_code().strip(" .") in NOT_SWAPPED:
            return []
        pairs = ((at, node.children[at], node.children[at + 2]) for at in range(0, len(node.children) - 2, 2))
        worded = {"argument", "string", "fstring", "strings"}
        return [
            at
            for at, one, other in pairs
            if not worded & {one.type, other.type} and one.get_code().strip() != other.get_code().strip()
        ]

    @classmethod
    def examples(cls) -> tuple:
        """Return none."""
        return ()


class DroppedTerm(Operator):
    """A term of a sum, a factor of a product or a power is left out."""

    def mutation_positions(self, node: Any) -> Iterator[tuple[Any, Any]]:
        """Yield the place of every operator whose right side can go."""
        if node.type in ("arith_expr", "term", "power"):
            for sign in node.children[1::2]:
                if sign.type == "operator" and sign.value in ("+", "-", "*", "/", "**"):
                    yield sign.start_pos, sign.end_pos

    def mutate(self, node: Any, index: int) -> Any:
        """Return the expression without the operator and what is right of it."""
        places = [at for at in range(1, len(node.children), 2) if node.children[at].type == "operator"]
        at = places[index]
        node.children[at : at + 2] = []
        return node

    @classmethod
    def examples(cls) -> tuple:
        """Return none."""
        return ()


class Opposite(Operator):
    """The least for the greatest, the sine for the cosine."""

    def mutation_positions(self, node: Any) -> Iterator[tuple[Any, Any]]:
        """Yield the place of every such name."""
        if node.type == "name" and node.value in OPPOSITE and node.parent.type != "param":
            yield node.start_pos, node.end_pos

    def mutate(self, node: Any, index: int) -> Any:
        """Return the other name."""
        node.value = OPPOSITE[node.value]
        return node

    @classmethod
    def examples(cls) -> tuple:
        """Return none."""
        return ()


class OneMoreOrLess(NumberReplacer):
    """A number that one more or less does something to."""

    def mutation_positions(self, node: Any) -> Iterator[tuple[Any, Any]]:
        """Yield the places of every number up to a hundred."""
        places = list(super().mutation_positions(node))
        return iter(
            places if places and abs(float(int(node.value, 0) if _whole(node.value) else node.value)) <= 100 else []
        )


def _whole(text: str) -> bool:
    return not set(text.lower()) & {".", "e"} or text.lower().startswith("0x")


class Tenfold(Operator):
    """A number with a point or a power of ten becomes ten times as large."""

    def mutation_positions(self, node: Any) -> Iterator[tuple[Any, Any]]:
        """Yield the place of every such number but nought."""
        if node.type == "number" and ("." in node.value or "e" in node.value) and float(node.value) != 0.0:
            yield node.start_pos, node.end_pos

    def mutate(self, node: Any, index: int) -> Any:
        """Return the number tenfold."""
        node.value = repr(10.0 * float(node.value))
        return node

    @classmethod
    def examples(cls) -> tuple:
        """Return none."""
        return ()


def operators() -> dict[str, Operator]:
    """Return all kinds of changes by name."""
    ours = {one.__name__: one() for one in (SwappedArguments, DroppedTerm, Opposite, Tenfold, OneMoreOrLess)}
    theirs = {one.__name__: one() for one in binary.operators() if one.__name__.split("Operator_")[1] in SIGNS}
    theirs |= {one.__name__: one() for one in comparison.operators() if one.__name__.split("Operator_")[1] in SENSES}
    theirs |= {one.__name__: one() for one in unary.operators() if "_Delete_" in one.__name__}
    return ours | theirs


@dataclass(frozen=True)
class Change:
    """One change: module by its path from the root, line from 1, operator and its occurrence in the module."""

    module: str
    line: int
    column: int
    operator: str
    occurrence: int

    @property
    def key(self) -> str:
        """Name that changes with the module's text."""
        text = f"{source_of(self.module)}{self.operator}{self.occurrence}"
        return hashlib.blake2b(text.encode(), digest_size=12).hexdigest()

    def text(self) -> str:
        """Return the changed module."""
        made = mutate_code(source_of(self.module), operators()[self.operator], self.occurrence)
        assert made is not None
        return made

    def shown(self) -> tuple[str, str]:
        """Return the changed lines as they were and as they are."""
        lines = difflib.unified_diff(source_of(self.module).splitlines(), self.text().splitlines(), n=0, lineterm="")
        found = [line for line in lines if not line.startswith(("---", "+++", "@@"))]
        before, after = ([line[1:].strip() for line in found if line[0] == sign] for sign in "-+")
        return " ".join(before), " ".join(after)


def source_of(module: str) -> str:
    """Return the text of a module."""
    return (ROOT / module).read_text("utf-8")


def modules(paths: Iterable[str]) -> list[str]:
    """Return the modules under some paths from the root; of a folder those with formulas."""
    found: set[str] = set()
    for path in paths:
        if path.endswith(".py"):
            found.add(path)
        else:
            inside = (one.relative_to(ROOT).as_posix() for one in (ROOT / path).rglob("*.py"))
            found |= {one for one in inside if not one.endswith("__init__.py") and not any(x in one for x in LEFT_OUT)}
    return sorted(found)


def sample(paths: Iterable[str], number: int, seed: int) -> list[Change]:
    """Return changes at `number` places drawn by a seed, all places where there are fewer."""
    places: dict[tuple[str, int, int], list[Change]] = {}
    for module in modules(paths):
        for change in changes_of(module):
            places.setdefault((module, change.line, change.column), []).append(change)
    draw = random.Random(seed)
    order = sorted(places)
    draw.shuffle(order)
    return [draw.choice(places[place]) for place in order[:number]]


def changes_of(module: str) -> Iterator[Change]:
    """Yield every change of a module."""
    source = source_of(module)
    tree = get_ast(source)
    silent = _lines_of_words(source)
    for name, operator in operators().items():
        occurrence = 0
        for node in ast_nodes(tree):
            for start, _ in operator.mutation_positions(node):
                marker = node.type == "operator" and node.parent.type in ("parameters", "param")  # of keywords to come
                if start[0] not in silent and not marker and not _within(node, NO_FORMULA):
                    yield Change(module, start[0], start[1], name, occurrence)
                occurrence += 1


def _within(node: Any, kinds: tuple[str, ...]) -> bool:
    while node is not None:
        if node.type in kinds:
            return True
        node = node.parent
    return False


def _lines_of_words(source: str) -> set[int]:
    """Return the lines of raised errors, however long."""
    raised = (node for node in ast.walk(ast.parse(source)) if isinstance(node, (ast.Raise, ast.Assert, ast.JoinedStr)))
    return {line for node in raised for line in range(node.lineno, (node.end_lineno or node.lineno) + 1)}


def statement_lines(module: str, line: int) -> range:
    """Return the lines of the innermost statement that holds a line; of a compound one its head."""
    best = range(line, line + 1)
    for node in ast.walk(ast.parse(source_of(module))):
        if isinstance(node, ast.stmt):
            body = getattr(node, "body", None)
            end = body[0].lineno - 1 if body else (node.end_lineno or node.lineno)
            lines = range(node.lineno, max(end, node.lineno) + 1)
            if line in lines and (best == range(line, line + 1) or len(lines) < len(best)):
                best = lines
    return best
