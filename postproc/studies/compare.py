"""Several joints, or variants of one, beside each other: what each holds, what it gives up, what it costs."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from headjoint.model.base.errors import InputError
from headjoint.model.gasket.shipped_gaskets import shipped_gasket
from headjoint.model.reading.overrides import GASKET, Change
from headjoint.postproc.designs.axes import Axis, axis_of, check_names
from headjoint.postproc.designs.outcome import Outcome, Source, Task, judged_by
from headjoint.postproc.designs.run import Done, Ran, Workers, run_study
from headjoint.postproc.designs.store import StudyStore
from headjoint.postproc.verdict.table import requirement

AS_STATED = "as stated"
MATTERS = 0.01  # relative change of a factor that is worth a word


@dataclass(frozen=True)
class Candidate:
    """One design of the comparison: its name, what it changes in which source, and its cost in any money.

    varied : what is varied besides what its own name says, each an axis of one value. own : that name.
    """

    name: str
    source: Source = field(repr=False)
    changes: dict[str, Change]
    cost: float | None
    own: str = ""
    varied: tuple[Axis, ...] = ()

    def shown(self, units: str) -> Candidate:
        """Return the design as a reader of `units` is told its name."""
        return dataclasses.replace(self, name=_named(self.own, [axis.shown(units) for axis in self.varied]))


@dataclass(frozen=True)
class Comparison:
    """Candidates with their outcomes; the first is what others are held against."""

    candidates: tuple[Candidate, ...]
    outcomes: tuple[Outcome, ...] = field(repr=False)
    ran: Ran

    def shown(self, units: str) -> Comparison:
        """Return the comparison as a reader of `units` is told its designs."""
        return dataclasses.replace(self, candidates=tuple(one.shown(units) for one in self.candidates))

    @property
    def requirements(self) -> list[str]:
        """Keys of all requirements that any candidate was judged by."""
        return judged_by(self.outcomes)

    def factor(self, number: int, key: str) -> float | None:
        """Return factor over need of a candidate's requirement."""
        one = self.outcomes[number].criterion(key)
        return None if one is None else one.in_hand

    def best(self, key: str) -> set[int]:
        """Return the candidates with the most in hand of a requirement; all that reach it within a per mille."""
        factors = [self.factor(number, key) for number in range(len(self.candidates))]
        most = max((one for one in factors if one is not None), default=None)
        return {n for n, one in enumerate(factors) if most is not None and one is not None and one > 0.999 * most}


@dataclass(frozen=True)
class Asked:
    """What is asked for besides the files. vary : "PATH=a, b". gaskets : names, in place of the files' own variants."""

    vary: Sequence[str] = ()
    gaskets: Sequence[str] = ()


Design = tuple[str, dict[str, Change], float | None]  # name, changes, cost


def _own_designs(source: Source, gaskets: Sequence[str]) -> list[Design]:
    """Return the source as stated and its variants, or in their place itself with each of other gaskets."""
    content = source.content
    found: list[Design] = [(AS_STATED, {}, content.get("cost"))]
    if gaskets:
        named = [shipped_gasket(one, "--gasket").name for one in gaskets]
        found += [(f"{name} gasket", {GASKET: name}, None) for name in named]
    else:
        found += [(one["name"], dict(one["change"]), one.get("cost")) for one in content.get("variants", [])]
    for _, changes, _ in found:
        if isinstance(changes.get(GASKET), str):
            source.design({GASKET: changes[GASKET]})  # one that there is not stops the command, not one design of many
    return found


def candidates_of(sources: Sequence[Source], asked: Asked) -> list[Candidate]:
    """Return every joint as stated and its variants, times all combinations of what is asked for besides."""
    found = []
    vary = asked.vary
    for source in sources:
        content = source.content
        own = _own_designs(source, asked.gaskets)
        if len(sources) > 1:
            title = str(content["name"])
            own = [(title if name == AS_STATED else f"{title}: {name}", made, cost) for name, made, cost in own]
        axes = [axis_of(content, text, 2, "--vary") for text in vary]
        check_names(axes, "--vary")
        for (name, changes, cost), varied in itertools.product(own, itertools.product(*map(_each, axes))):
            more: dict[str, Change] = {axis.path: axis.values[0] for axis in varied}
            found.append(Candidate(_named(name, varied), source, changes | more, cost, name, varied))
    if len(found) < 2:
        raise InputError(
            "nothing to compare: name several joints, list [[variants]] in the file, or give --gasket NAME or "
            '--vary "PATH=a, b"',
            field="compare",
        )
    names = [one.name for one in found]
    for name in names:
        if names.count(name) > 1:
            raise InputError("two candidates have this name; names of variants must differ", field="name", value=name)
    return found


def _each(axis: Axis) -> list[Axis]:
    """Return an axis for every one of its values."""
    return [
        dataclasses.replace(axis, values=(value,), numbers=None if axis.numbers is None else (axis.numbers[place],))
        for place, value in enumerate(axis.values)
    ]


def _named(own: str, varied: Sequence[Axis]) -> str:
    """Return the name of a design by its own and what is varied."""
    words = ", ".join(str(axis.values[0]) for axis in varied)
    if not words:
        return own
    return words if own == "as stated" else f"{own}, {words}"


def _counted(done: Done, before: int, whole: int) -> Done:
    """Return what tells `done` of evaluations after those `before`, of the whole."""
    return lambda finished, _: done(before + finished, whole)


def run_comparison(
    sources: Sequence[Source],
    asked: Asked,
    folder: Path | None,
    workers: Workers,
    done: Done = lambda finished, whole: None,
    stage: Callable[[str], None] = lambda name: None,
) -> Comparison:
    """Return the comparison; finished candidates are kept in `folder`."""
    candidates = candidates_of(sources, asked)
    store = None if folder is None else StudyStore(folder)
    outcomes: list[Outcome] = []
    runs = []
    for source in sources:
        own = [Task(one.changes) for one in candidates if one.source is source]
        ran = run_study(source, own, store, workers, _counted(done, len(outcomes), len(candidates)), stage)
        outcomes += ran.outcomes
        runs.append(ran)
    whole = Ran(
        outcomes,
        sum(one.found for one in runs),
        sum(one.stiffnesses for one in runs),
        sum(one.seconds for one in runs),
        runs[0].workers,
    )
    return Comparison(tuple(candidates), tuple(outcomes), whole)


def sentence(comparison: Comparison) -> str:
    """Return the verdict in one sentence."""
    good = [n for n, outcome in enumerate(comparison.outcomes) if outcome.met]
    names = [one.name for one in comparison.candidates]
    if not good:
        judged = [n for n, outcome in enumerate(comparison.outcomes) if outcome.limiting]
        if not judged:
            return f"none could be solved; {names[0]}: {comparison.outcomes[0].problem}"
        best = max(judged, key=lambda n: comparison.outcomes[n].limiting.in_hand)  # type: ignore[union-attr]
        limiting = comparison.outcomes[best].limiting
        assert limiting is not None
        return (
            f"none of {len(names)} holds; nearest: {names[best]}, {limiting.in_hand:.2f} of what {limiting.name} needs"
        )
    safest = max(good, key=lambda n: comparison.outcomes[n].limiting.in_hand)  # type: ignore[union-attr]
    limiting = comparison.outcomes[safest].limiting
    assert limiting is not None
    need = f"{limiting.in_hand:.2f} times what {limiting.name} needs"
    decided = all(comparison.outcomes[n].holds for n in good)
    what = "hold" if decided else "meet all that this model judges"
    text = f"{len(good)} of {len(names)} {what}; most in hand: {names[safest]}, {need}"
    priced = [n for n in good if comparison.candidates[n].cost is not None]
    if len(priced) > 1:
        cheapest = min(priced, key=lambda n: comparison.candidates[n].cost or 0.0)
        words = "cheapest that holds" if decided else "cheapest of these"
        text += f"; {words}: {names[cheapest]} ({comparison.candidates[cheapest].cost:g})"
    return text


def against_first(comparison: Comparison, number: int) -> str:
    """Return what a candidate gains and gives up most against the first one, in words."""
    changes = []
    for name in comparison.requirements:
        one, first = comparison.factor(number, name), comparison.factor(0, name)
        if one is not None and first:
            changes.append((one / first - 1.0, requirement(name).title))
    if number == 0 or not changes:
        return ""
    most, least = max(changes), min(changes)
    words = [f"{100 * change:+.0f} % {name}" for change, name in (most, least) if abs(change) > MATTERS]
    return ", ".join(dict.fromkeys(words)) or "alike"
