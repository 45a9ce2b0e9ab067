"""The search of sizing: on which stretch of one quantity every requirement holds, what ends it, and what moves that.

Each end is a root of the least factor over need, found by Brent's method on finite elements, and solved again at the
answer and one per cent to either side. Where there is no answer, the requirements that exclude each other are named.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy import optimize

from headjoint.model.base.figure import Figure, Text, factor, said
from headjoint.model.cell import Cell
from headjoint.model.reading.overrides import GAS, Value
from headjoint.postproc.designs.outcome import Outcome, Source, Task, judged_by
from headjoint.postproc.designs.run import Workers, run_study
from headjoint.postproc.designs.store import StudyStore
from headjoint.postproc.verdict.requirement import Criterion
from headjoint.postproc.verdict.table import requirement

ACCURACY = 2e-4  # of the answer
ASIDE = 0.01  # where the answer is solved again, to either side
FRICTIONS = ("tightening.thread_friction", "tightening.bearing_friction")
FRICTION_STEP = 0.01
GAS_STEP = 0.01


@dataclass(frozen=True)
class Limit:
    """One end of what holds. at : in the question's unit. active : the requirement that ends it.

    around : (place, factor over need of the active one, whether all hold) at 1 % below, at, and 1 % above.
    sensitivity : (what changes, by how much `at` moves).
    """

    at: float
    active: str
    detail: Text
    around: tuple[tuple[float, float, bool], ...]
    sensitivity: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Found:
    """The answer to one question. least, greatest : ends of what holds; None where there is none inside `searched`.

    clash : why there is no answer, None where there is one. curve : places and outcomes evaluated on the way. at : at
    what else than the file says. beside : what else the greatest comes to.
    """

    question: str
    unit: str
    own: float
    searched: tuple[float, float]
    least: Limit | None
    greatest: Limit | None
    clash: Text | None
    curve: tuple[tuple[float, Outcome], ...] = field(repr=False)
    at: Text | None = None
    beside: Text | None = None

    @property
    def found(self) -> bool:
        """Whether anything holds."""
        return self.clash is None


class Trials:
    """Evaluates designs of a source and counts them."""

    def __init__(
        self, source: Source, store: StudyStore | None, workers: Workers, stage: Callable[[str], None]
    ) -> None:
        self.source, self.store, self.workers, self.stage = source, store, workers, stage
        self.count, self.done = 0, lambda finished, whole: None

    def many(self, changes: Sequence[dict[str, Value]]) -> list[Outcome]:
        """Return outcomes, on all cores where there are several."""
        workers = self.workers if len(changes) > 3 else Workers(1)
        ran = run_study(self.source, [Task(one) for one in changes], self.store, workers, self.done)
        self.count += len(changes)
        return ran.outcomes

    def one(self, changes: dict[str, Value]) -> Outcome:
        """Return one outcome."""
        return self.many([changes])[0]


def _least(outcome: Outcome) -> float:
    """Return the least factor over need less 1; far below where there is no solution."""
    return -1.0 if outcome.problem or outcome.limiting is None else outcome.limiting.in_hand - 1.0


def search(
    trials: Trials,
    question: str,
    unit: str,
    own: float,
    places: Sequence[float],
    changes: Callable[[float], dict[str, Value]],
    *,
    upwards: bool = True,
    quick: bool = False,
) -> Found:
    """Return the stretch round the file's own value, or the widest one, on which everything holds.

    upwards : whether a least value is asked for too. quick : no sensitivities.
    """
    known = dict(zip(places, trials.many([changes(x) for x in places]), strict=True))

    def spare(x: float) -> float:
        x = float(x)
        if x not in known:
            known[x] = trials.one(changes(x))
        return _least(known[x])

    xs = sorted(known)
    if max(map(spare, xs)) < 0.0:  # what holds may lie between places
        best = max(range(len(xs)), key=lambda n: spare(xs[n]))
        low, high = xs[max(0, best - 1)], xs[min(len(xs) - 1, best + 1)]
        optimize.minimize_scalar(
            lambda x: -spare(x), bounds=(low, high), method="bounded", options={"xatol": 1e-3 * high}
        )
        xs = sorted(known)
    good = [x for x in xs if spare(x) >= 0.0]
    searched = (min(places), max(places))
    if not good:
        clash = _clash(trials, known, unit, changes)
        return Found(question, unit, own, searched, None, None, clash, _curve(known))
    inside = min(good, key=lambda x: (abs(np.log(x / own)), x))
    least, greatest = None, None
    number = xs.index(inside)
    below = next((n for n in range(number - 1, -1, -1) if spare(xs[n]) < 0.0), None)
    above = next((n for n in range(number + 1, len(xs)) if spare(xs[n]) < 0.0), None)
    if below is not None and upwards:
        least = _limit(trials, known, spare, xs[below], xs[below + 1], changes, quick)
    if above is not None:
        greatest = _limit(trials, known, spare, xs[above], xs[above - 1], changes, quick)
    return Found(question, unit, own, searched, least, greatest, None, _curve(known))


def _curve(known: dict[float, Outcome]) -> tuple[tuple[float, Outcome], ...]:
    return tuple(sorted(known.items()))


def _limit(
    trials: Trials,
    known: dict[float, Outcome],
    spare: Callable[[float], float],
    bad: float,
    good: float,
    changes: Callable[[float], dict[str, Value]],
    quick: bool,
) -> Limit:
    """Return the end between a place that fails and one that holds, on the side that holds."""
    root = float(optimize.brentq(spare, min(bad, good), max(bad, good), xtol=ACCURACY * good, rtol=1e-6))
    towards = 1.0 if good > bad else -1.0
    if spare(root) < 0.0:
        holding = [x for x in known if spare(x) >= 0.0 and (x - root) * towards >= 0.0]
        step = root + towards * ACCURACY * root
        root = step if spare(step) >= 0.0 else min(holding, key=lambda x: abs(x - root))
    at = known[root]
    beside = root * (1.0 - towards * ASIDE)
    spare(beside)
    failing = known[beside].limiting or at.limiting
    assert failing is not None
    around = []
    for x in (root * (1.0 - ASIDE), root, root * (1.0 + ASIDE)):
        spare(x)
        own = known[x].criterion(failing.key)
        around.append((x, own.in_hand if own is not None else float("nan"), known[x].met))
    slope = (around[2][1] - around[0][1]) / (around[2][0] - around[0][0])
    moves = () if quick or not slope else _sensitivity(trials, failing, around[1][1], slope, changes(root))
    here = at.criterion(failing.key) or failing
    return Limit(root, failing.name, said("{}; {}", here.detail, here.where), tuple(around), moves)


def _sensitivity(
    trials: Trials, failing: Criterion, factor: float, slope: float, changes: dict[str, Value]
) -> tuple[tuple[str, float], ...]:
    """Return by how much the answer moves when something else does: its factor's change over its slope."""
    found = [(f"need of {failing.name} +1 %", 0.01 * factor / slope)]
    tried: list[tuple[str, dict[str, Value]]] = []
    content = trials.source.content
    if GAS not in changes and any(case["kind"] == "firing" for case in content["load_cases"]):
        tried.append(("gas pressure +1 %", changes | {GAS: 1.0 + GAS_STEP}))
    design = trials.source.design({})
    tight = (design.joint if isinstance(design, Cell) else design).tightening
    if tight.twisted:
        more: dict[str, Value] = dict(
            zip(FRICTIONS, (tight.thread_friction + FRICTION_STEP, tight.bearing_friction + FRICTION_STEP), strict=True)
        )
        tried.append((f"both friction coefficients +{FRICTION_STEP:g}", changes | more))
    for (what, _), outcome in zip(tried, trials.many([one for _, one in tried]), strict=True):
        own = outcome.criterion(failing.key)
        if own is not None:
            found.append((what, -(own.in_hand - factor) / slope))
    return tuple(found)


def _clash(
    trials: Trials, known: dict[float, Outcome], unit: str, changes: Callable[[float], dict[str, Value]]
) -> Text:
    """Say which requirements exclude each other: what each of those that fail somewhere would need by itself."""
    xs = sorted(known)
    solved = [x for x in xs if not known[x].problem]
    if not solved:
        return said("no design could be solved: {}", known[xs[0]].problem)
    best = max(solved, key=lambda x: _least(known[x]))
    keys = judged_by(known[x] for x in solved)
    lows: list[tuple[float, str]] = []
    highs: list[tuple[float, str]] = []
    words: list[Text] = []
    for key in keys:
        name = requirement(key).title
        factors = {x: own.in_hand for x in solved if (own := known[x].criterion(key)) is not None}
        failing = [x for x in factors if factors[x] < 1.0]
        if not failing:
            continue
        holding = [x for x in factors if factors[x] >= 1.0]
        if not holding:
            top = max(factors, key=lambda x: factors[x])
            most, at_most = factor(factors[top]), Figure(top, unit, ".4g")
            words.append(said("{} is met nowhere, at most {} of its need at {}", name, most, at_most))
            continue

        def short(x: float, own: str = key) -> float:
            x = float(x)
            if x not in known:
                known[x] = trials.one(changes(x))
            one = known[x].criterion(own)
            return -1.0 if one is None else one.in_hand - 1.0

        rising = min(holding) > min(failing)
        good = min(holding) if rising else max(holding)
        beyond = [x for x in failing if (x < good if rising else x > good)]
        if not beyond:
            continue
        bad = max(beyond) if rising else min(beyond)
        at = float(optimize.brentq(short, min(bad, good), max(bad, good), xtol=1e-3 * good))
        (lows if rising else highs).append((at, name))
    if lows:
        at, name = max(lows)
        words.append(said("{} needs at least {}", name, Figure(at, unit, ".4g")))
    if highs:
        at, name = min(highs)
        words.append(said("{} allows at most {}", name, Figure(at, unit, ".4g")))
    clash = said(", but ".join("{}" for _ in words), *words)
    limiting = known[best].limiting
    if limiting is None:
        return clash
    nearest = Figure(best, unit, ".4g"), factor(limiting.in_hand), limiting.name
    return said("{}; nearest is {} with {} of what {} needs", clash, *nearest)
