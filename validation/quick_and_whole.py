"""Quick answers against the engine: thirty invented engines by closed formulas, by one stud, and in three dimensions.

`python -m validation.quick_and_whole [--all | NUMBER ...]` prints judgement and least factor of sealing by each model,
then, for every requirement, the kindest factor of a coarse mesh over that of the engine's own: as found, and less the
allowance of `cases.load_cases.coarse_cell` and `postproc.cell.coarse`. It exits with 1 where a quick answer holds and
the engine does not, where closed formulas alone hold, or where any figure less its allowance lies above the engine's.
Engines: bores of 65 to 140 mm, four and six studs a bore, iron and aluminium heads, thin and thick decks, three kinds
of gasket. `--all` solves every engine in three dimensions, else every fifth; numbers, from 1, ask only those engines.

The allowance was chosen so that less it no line of the thirty engines was kinder than on the engine's own mesh, at
a fifth to 1.25 times 90 bar: how far lines open needed 7 % (13 % where they had lifted), what gas takes off 5 %.
Kindest are thin decks of aluminium on four studs.
"""

from __future__ import annotations

import itertools
import math
import sys
from collections.abc import Sequence
from dataclasses import dataclass

from rich.console import Console
from rich.table import Table

import headjoint
from headjoint.cases.command.facts import gathered
from headjoint.cases.command.new_engine import engine_text
from headjoint.cases.condensed.store import user_store
from headjoint.model.base.errors import JointError, SolveError
from headjoint.model.cell import Cell
from headjoint.model.reading.reading import parse_cell
from headjoint.postproc.designs.cell_designs import cell_base, judge_cells
from headjoint.postproc.joint.answer import JointAnswer
from headjoint.postproc.verdict.between_studs import SEALS
from headjoint.postproc.verdict.requirement import CoarseFigure
from headjoint.postproc.verdict.table import REQUIREMENTS
from headjoint.postproc.verdict.verdict import Verdict

BORES = (65, 75, 82, 86, 92, 100, 110, 125, 130, 140)


def engines() -> dict[str, dict[str, str]]:
    """Return thirty engines by their facts: every bore three times, the rest taken in turn."""
    studs = itertools.cycle(("4", "4", "6"))
    heads = itertools.cycle(("aluminium", "iron"))
    decks = itertools.cycle((0.11, 0.16, 0.22))  # of the bore
    gaskets = itertools.cycle(("multi-layer steel", "multi-layer steel", "composite", "copper"))
    found = {}
    for bore, _ in itertools.product(BORES, range(3)):
        facts = {
            "bores": "4",
            "bore": f"{bore} mm",
            "pitch": f"{round(1.15 * bore)} mm",
            "studs": next(studs),
            "fire_deck": f"{round(next(decks) * bore)} mm",
            "head": next(heads),
            "gasket": next(gaskets),
            "peak": "90 bar",
        }
        shown = (facts["bore"], f"{facts['studs']} studs", facts["head"], f"deck {facts['fire_deck']}", facts["gasket"])
        found[", ".join(shown)] = facts
    return found


def cell_of(facts: dict[str, str]) -> Cell:
    """Return the engine of some facts, all others typical."""
    known = gathered(facts, "si", lambda fact, typical, units, read: typical)
    return parse_cell(engine_text(known, "si", "an invented engine"))


def whole_verdict(cell: Cell) -> Verdict:
    """Return the verdict of an engine in three dimensions on its own mesh; raises JointError without a solution."""
    (outcome,) = judge_cells(cell_base(cell, user_store()), [cell])
    if outcome.problem:
        raise SolveError(outcome.problem)
    return outcome.verdict


def value_of(verdict: Verdict, key: str) -> float | None:
    """Return a requirement's factor, inf beyond what is searched, None where it was not judged."""
    found = verdict.criterion(key)
    return None if found is None else found.value if found.value is not None else math.inf


def shortest(verdict: Verdict, keys: Sequence[str] = SEALS) -> str:
    """Return judgement and the least factor over need of some requirements."""
    found = [one.in_hand for key in keys if (one := verdict.criterion(key)) is not None]
    return f"{verdict.judgement}, {min(found):.2f}" if found else verdict.judgement


def ratios(coarse: Sequence[CoarseFigure], whole: Verdict) -> dict[str, tuple[float, float]]:
    """Return, by requirement, a coarse mesh's factor over the engine's own: as found and less the allowance.

    A factor of nothing, or one beyond what is searched, tells nothing and is left out, unless it is kinder.
    """
    found = {}
    for one in coarse:
        own = value_of(whole, one.found.key)
        rough, allowed = (math.inf if two.value is None else two.value for two in (one.found, one.allowed))
        if own is None or (allowed <= own and (math.isinf(own) or own == 0.0 or math.isinf(rough))):
            continue
        found[one.found.key] = (rough / own, allowed / own) if own > 0.0 else (math.inf, math.inf)
    return found


@dataclass(frozen=True)
class Asked:
    """One engine by every model; whole None where it was not asked."""

    name: str
    closed: Verdict
    stud: JointAnswer
    whole: Verdict | None

    @property
    def ratios(self) -> dict[str, tuple[float, float]]:
        """Coarse factors over those of the engine's own mesh."""
        return {} if self.whole is None else ratios(self.stud.findings.coarse, self.whole)

    @property
    def kinder(self) -> bool:
        """Whether a quick answer promises what the engine denies, or a figure lies above the engine's."""
        promised = any(one.holds is True for one in (self.closed, self.stud.verdict))
        denied = self.whole is not None and self.whole.holds is not True
        return (
            self.closed.holds is True
            or (promised and denied)
            or any(allowed > 1.0 for _, allowed in self.ratios.values())
        )


def asked(name: str, facts: dict[str, str], *, in_space: bool) -> Asked:
    """Return what every model says of one engine; `in_space` also on its own mesh in three dimensions."""
    cell = cell_of(facts)
    stud = headjoint.solve(cell, model="stud")
    assert isinstance(stud, JointAnswer)
    whole = whole_verdict(cell) if in_space else None
    return Asked(name, headjoint.estimate(cell).verdict, stud, whole)


def main() -> int:
    """Print the tables; return 1 where a quick answer is kinder than the engine in three dimensions."""
    wanted = [int(one) for one in sys.argv[1:] if one.isdigit()]
    every = 1 if wanted or "--all" in sys.argv else 5
    console = Console(width=None if sys.stdout.isatty() else 150)
    title = "Judgement, and least factor over need of sealing pressure, line load, stroke and separation"
    table = Table("engine", "closed formulas", "one stud and a coarse mesh", "in three dimensions", title=title)
    worst: dict[str, list[tuple[float, float]]] = {}
    kinder = 0
    for number, (name, facts) in enumerate(engines().items(), 1):
        if wanted and number not in wanted:
            continue
        print(f"{number} of 30: {name}", file=sys.stderr)
        try:
            one = asked(name, facts, in_space=number % every == 0)
        except JointError as error:
            table.add_row(name, f"no solution: {error}"[:60])
            continue
        kinder += one.kinder
        for key, pair in one.ratios.items():
            worst.setdefault(key, []).append(pair)
        stud = shortest(one.stud.verdict, ["between_studs"])
        table.add_row(name, shortest(one.closed), stud, "" if one.whole is None else shortest(one.whole))
    console.print(table)
    beside = Table("requirement", "engines", "as found", "less the allowance", title="Kindest factor of a coarse mesh")
    for key, pairs in worst.items():
        found, allowed = (f"{max(column):.3f}" for column in zip(*pairs, strict=True))
        beside.add_row(REQUIREMENTS[key].title, str(len(pairs)), found, allowed)
    console.print(beside)
    console.print("no quick answer is kinder than the engine" if not kinder else f"{kinder} quick answers are too kind")
    return 1 if kinder else 0


if __name__ == "__main__":
    sys.exit(main())
