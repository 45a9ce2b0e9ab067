"""One joint asked by every command at the same instant: the same figures, mesh errors and verdicts, else exit code 1.

`python -m validation.one_truth [NAME ...]` prints one table of requirements, each at its worst by every command that is
asked at that instant, the closed formulas beside them:

- *firing*: a service that is tightened, heated and fired at once, without waiting, passes through the very states of
  the load cases, and so do the designs of `compare` and `sweep`.
- *nominal, as drawn*: a sample of `scatter` with every input at its nominal value, beside a joint whose tightening does
  not scatter. Head-room on gas is not searched for in samples.
- *cold*: a warm-up in which nothing gets warm, for gas, coolant and ambient are as cold as at assembly, beside a load
  case with gas at that temperature. Only so are its temperatures a load case's and its stiffness that of assembly.
- *size*: what `size` finds, solved again, just meets the requirement that limits it; factors are over need.

One difference is meant: near yield a service lets the fastener flow along its measured or typical curve, where load
cases take it as elastic up to yield. That takes some per mille off the greatest preload, so that the load cases'
factors on stress may be the lower ones, by no more than `FLOW`, and are never the higher ones.
"""

from __future__ import annotations

import dataclasses
import sys
from collections.abc import Iterator
from dataclasses import dataclass

from rich.console import Console
from rich.table import Table

import headjoint
from headjoint.cases.command.stated_files import stated_path
from headjoint.model.formulas.how_tight import how_tight
from headjoint.model.reading.overrides import Value
from headjoint.postproc.designs.outcome import Source, Task, source_of
from headjoint.postproc.designs.run import Workers, run_study
from headjoint.postproc.studies.size import run_size
from headjoint.postproc.verdict.table import REQUIREMENTS
from headjoint.postproc.verdict.verdict import Verdict
from validation.joints import joint_files

NAMES = (str(joint_files()["boosted-four-steel"]), "boosted-four")
SAME = 1e-4  # relative; all commands search the gas that still seals by one routine, to 1e-5
FLOW = 1e-2  # relative, of what is judged at the greatest preload, and only on the safe side
AT_ONE_INSTANT = ("sealing", "line_load", "stroke", "separation", "yield", "bearing", "stripping", "crush")
NOT_SEARCHED = tuple(key for key in AT_ONE_INSTANT if key != "separation")
COMMANDS = ("solve", "history", "compare", "sweep", "scatter", "warmup", "size", "estimate")
Factors = dict[str, float | None]
SERVICE = [{"do": "tighten"}, {"do": "heat", "case": "hot"}, {"do": "run", "case": "firing"}]


@dataclass(frozen=True)
class Compared:
    """A requirement at one instant by every command that was asked: its factor, None where it is not judged."""

    joint: str
    instant: str
    requirement: str
    factors: dict[str, float | None]
    flows: bool = False

    @property
    def difference(self) -> float:
        """Largest relative difference between commands, closed formulas left out; infinite where one does not judge."""
        meshed = [value for command, value in self.factors.items() if command != "estimate"]
        known = [value for value in meshed if value is not None]
        if len(known) < len(meshed):
            return float("inf") if known else 0.0
        return max(known) / min(known) - 1.0 if min(known) > 0.0 else float(max(known) > 0.0)

    @property
    def differs(self) -> bool:
        """Whether that is more than is meant."""
        own, service = self.factors.get("solve"), self.factors.get("history")
        kinder = self.flows and own is not None and service is not None and service >= own
        return self.difference > (FLOW if kinder else SAME)


def asked(name: str) -> Iterator[Compared]:
    """Yield what every command says of a shipped joint or engine."""
    source = _with(source_of(stated_path(name)), {"history": SERVICE})
    yield from _rows(name, "firing", _at_load_cases(source), AT_ONE_INSTANT)
    yield from _rows(name, "nominal, as drawn", _as_drawn(source), NOT_SEARCHED)
    yield from _rows(name, "cold", _cold(source), AT_ONE_INSTANT)
    yield from _sized(name, source)


def _with(source: Source, more: dict[str, object]) -> Source:
    return dataclasses.replace(source, content=source.content | more)


def _rows(name: str, instant: str, found: dict[str, Factors], keys: tuple[str, ...]) -> Iterator[Compared]:
    for key in keys:
        factors = {command: of.get(key) for command, of in found.items()}
        flows = REQUIREMENTS[key].end == "greatest"
        yield Compared(name, instant, REQUIREMENTS[key].title, factors, flows)


def _of(verdict: Verdict) -> Factors:
    """Return factors of a verdict by key, less their mesh errors; more than was searched is infinite."""
    return {one.key: float("inf") if one.at_least is None else one.at_least for one in verdict.criteria}


def _at_load_cases(source: Source) -> dict[str, Factors]:
    stated = source.design({})
    needs = [Task({"requirements.clamp_kept": need}) for need in (0.7, 0.8)]
    one, other = run_study(source, needs, None, Workers(1)).outcomes
    return {
        "solve": _of(headjoint.solve(stated).verdict),
        "history": _of(headjoint.history(stated).verdict),
        "compare": _of(one.verdict),
        "sweep": _of(other.verdict),
        "estimate": _of(headjoint.estimate(stated).verdict),
    }


def _as_drawn(source: Source) -> dict[str, Factors]:
    """Return a joint that does not scatter, and a sample whose every input is nominal."""
    exact: dict[str, Value] = {"tightening.scatter": 1.0}
    (drawn,) = run_study(source, [Task(exact, {"gas pressure": 1.0})], None, Workers(1)).outcomes
    figures = {key: drawn.figures.get(one.title) for key, one in REQUIREMENTS.items()}
    return {"solve": _of(headjoint.solve(source.design(exact)).verdict), "scatter": figures}


def _cold(source: Source) -> dict[str, Factors]:
    """Return a joint that is fired at assembly temperature, and a warm-up that stays there."""
    cases = source.content["load_cases"]
    assembly = next(case for case in cases if case["kind"] == "assembly")
    firing = next(case for case in cases if case["kind"] == "firing")
    cold, gas = assembly["temperature"], firing["gas_pressure"]
    fired = {key: value for key, value in firing.items() if key != "temperatures"} | {"temperature": cold}
    heat = {
        "time": [0.0],
        "gas_temperature": [cold],
        "gas_film": [0.0],
        "gas_pressure": [gas],
        "coolant_temperature": [cold],
        "ambient_temperature": cold,
        "duration": "1 s",
    }
    stated = _with(source, {"load_cases": [assembly, fired], "history": [], "heat": heat}).design({})
    return {"solve": _of(headjoint.solve(stated).verdict), "warmup": _of(headjoint.warm_up(stated).verdict)}


def _sized(name: str, source: Source) -> Iterator[Compared]:
    stated = source.design({})
    tightening = getattr(stated, "joint", stated).tightening
    path, question, _, unit = how_tight(tightening)
    (answer,) = run_size(source, ["torque"], None, Workers(1)).answers
    for word, limit in (("least", answer.least), ("greatest", answer.greatest)):
        if limit is None:
            continue
        verdict = headjoint.solve(source.design({path: f"{limit.at!r} {unit}".strip()})).verdict
        own = next((one for one in verdict.criteria if one.name == limit.active), None)
        factors = {"solve": None if own is None else own.in_hand, "size": 1.0}
        yield Compared(name, f"{word} {question}, {limit.at:.4g} {unit}", limit.active, factors)


def main() -> int:
    """Print the table; return 1 where two commands differ."""
    console = Console(width=None if sys.stdout.isatty() else 170)
    table = Table("joint", "at", "requirement", *COMMANDS, "largest difference")
    wrong = 0
    for name in sys.argv[1:] or NAMES:
        for one in asked(name):
            wrong += one.differs
            cells = ["" if c not in one.factors else _words(one.factors[c]) for c in COMMANDS]
            differs = " DIFFERS" if one.differs else ""
            table.add_row(one.joint, one.instant, one.requirement, *cells, f"{one.difference:.1e}{differs}")
    console.print(table)
    console.print("every command says the same" if not wrong else f"{wrong} requirements differ between commands")
    return 1 if wrong else 0


def _words(factor: float | None) -> str:
    return "not judged" if factor is None else f"{factor:.4f}"


if __name__ == "__main__":
    sys.exit(main())
