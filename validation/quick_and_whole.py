"""Quick answers against the engine: thirty invented engines by closed formulas, by one stud, and in three dimensions.

`python -m validation.quick_and_whole [--all]` prints judgement and least factor of sealing by each model, and exits
with 1 where a quick answer says "holds". Engines: bores of 65 to 140 mm, four and six studs a bore, iron and aluminium
heads, thin and thick decks, three kinds of gasket. The cell is condensed on a coarse mesh (`REFINEMENT`), which was
seen to seal a little better than a fine one. `--all` solves it for every engine, else for every fifth.
"""

from __future__ import annotations

import itertools
import sys

from rich.console import Console
from rich.table import Table

import headjoint
from headjoint.cases.command.facts import gathered
from headjoint.cases.command.new_engine import engine_text
from headjoint.cases.condensed.cell_condensation import cell_model, condense_cell
from headjoint.cases.load_cases.load_history import gas_trial, run
from headjoint.cases.models.condensed import condensed_cell, seal_of, stroke_of
from headjoint.cases.service.tightened import tightened
from headjoint.meshes.solid.bore_cell import build_cell
from headjoint.model.base.errors import JointError
from headjoint.model.cell import Cell
from headjoint.model.formulas.sealing import seal_need
from headjoint.model.reading.reading import parse_cell
from headjoint.postproc.verdict.verdict import Verdict

REFINEMENT = 0.5
KEYS = ("sealing", "line_load", "stroke", "separation")
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


def shortest(verdict: Verdict) -> str:
    """Return judgement and the least factor of what seals."""
    found = [one.in_hand for key in KEYS if (one := verdict.criterion(key)) is not None]
    return f"{verdict.judgement}, {min(found):.2f}" if found else verdict.judgement


def in_space(cell: Cell) -> str:
    """Return how the cell seals under gas at the least preload, on a coarse mesh."""
    model = cell_model(cell, build_cell(cell, REFINEMENT))
    condensed = condensed_cell(model, condense_cell(model))
    history = run(condensed, tightened(condensed).over(cell.joint.tightening)["least"])
    factors = []
    for state in history.states:
        if state.case.gas_pressure > 0.0:
            lines = condensed.lines(state.equilibrium)
            factors.append(seal_need(cell.joint, state.case.gas_pressure).met(seal_of(lines)))
            limits = cell.joint.gasket.sealing_zone.law.limits
            if limits is not None and limits.stroke is not None:
                without = condensed.lines(gas_trial(condensed, state, 0.0))
                factors.append(limits.stroke / max(stroke_of(lines, without), 1e-6))
    least = min(factors)
    return f"{'seals' if least >= 1.0 else 'FAILS'}, {least:.2f}"


def main() -> int:
    """Print the table; return 1 where a quick answer is kinder than the engine can be known to be."""
    every = 1 if "--all" in sys.argv else 5
    console = Console(width=None if sys.stdout.isatty() else 150)
    headings = ("engine", "closed formulas", "one stud", "in three dimensions")
    table = Table(*headings, title="Judgement, and least factor over need of sealing, line load, stroke and separation")
    kinder = 0
    for number, (name, facts) in enumerate(engines().items()):
        print(f"{number + 1} of 30: {name}", file=sys.stderr)
        cell = cell_of(facts)
        quick = headjoint.estimate(cell).verdict
        try:
            stud: Verdict | None = headjoint.solve(headjoint.read(cell, "stud")).verdict
        except JointError as error:
            print(f"one stud: {error}", file=sys.stderr)
            stud = None
        try:
            whole = in_space(cell) if number % every == 0 else ""
        except JointError as error:
            whole = f"no solution: {error}"[:40]
        kinder += sum(one is not None and one.holds is True for one in (quick, stud))
        table.add_row(name, shortest(quick), "no solution" if stud is None else shortest(stud), whole)
    console.print(table)
    console.print("no quick answer says that an engine holds" if not kinder else f"{kinder} quick answers are too kind")
    return 1 if kinder else 0


if __name__ == "__main__":
    sys.exit(main())
