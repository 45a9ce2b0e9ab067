"""Sizing, the inverse question: which torque, gas pressure, length, thread or class meets every requirement.

Each is a root of the least factor over need, found by Brent's method on finite elements, and solved again at the answer
and one per cent to either side. Where there is no answer, the requirements that exclude each other are named.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from scipy import optimize

from headjoint.model.base.errors import InputError
from headjoint.model.base.figure import Text, said
from headjoint.model.cell import Cell
from headjoint.model.joint import Joint
from headjoint.model.library import property_classes, threads
from headjoint.model.reading.overrides import GAS, SIZE, Value
from headjoint.postproc.designs.outcome import Outcome, Source, Task, judged_by
from headjoint.postproc.designs.run import Done, Workers, run_study
from headjoint.postproc.designs.store import StudyStore
from headjoint.postproc.studies.how_tight import how_tight
from headjoint.postproc.verdict.requirement import Criterion
from headjoint.postproc.verdict.table import requirement

FINDS = ("torque", "gas", "thread", "class", "length")
ACCURACY = 2e-4  # of the answer
ASIDE = 0.01  # where the answer is solved again, to either side
TORQUES = tuple(float(x) for x in np.geomspace(0.3, 2.2, 12))  # of the file's torque, scanned
GASES = tuple(float(x) for x in np.geomspace(0.25, 4.0, 10))
THREAD_TORQUES = tuple(float(x) for x in np.geomspace(0.45, 1.5, 8))  # of a torque that stresses as the file's does
LENGTHS = 7
THREADS = (0.55, 1.7)  # of the file's diameter: sizes tried
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

    clash : why there is no answer, "" where there is one. curve : places and outcomes evaluated on the way.
    """

    question: str
    unit: str
    own: float
    searched: tuple[float, float]
    least: Limit | None
    greatest: Limit | None
    clash: str
    curve: tuple[tuple[float, Outcome], ...] = field(repr=False)

    @property
    def found(self) -> bool:
        """Whether anything holds."""
        return not self.clash


@dataclass(frozen=True)
class Choice:
    """One thread or class tried: whether some torque holds (or what its method turns to), from which to which."""

    name: str
    holds: bool
    least: float | None
    greatest: float | None
    unit: str
    why: str


@dataclass(frozen=True)
class Sized:
    """All answers about one joint; choices of threads and classes, smallest first. evaluations : solved on the way."""

    joint: Joint = field(repr=False)
    answers: tuple[Found, ...]
    threads: tuple[Choice, ...]
    classes: tuple[Choice, ...]
    evaluations: int
    seconds: float


class _Trials:
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


def run_size(
    source: Source,
    find: Sequence[str],
    folder: Path | None,
    workers: Workers,
    done: Done = lambda finished, whole: None,
    stage: Callable[[str], None] = lambda name: None,
) -> Sized:
    """Return the answers to what `find` asks; by default all, for a cell those that need no new condensation.

    Raises InputError for a question that the joint does not allow.
    """
    import time

    started = time.perf_counter()
    stated = source.design({})
    joint = stated.joint if isinstance(stated, Cell) else stated
    fired = any(case.gas_force > 0.0 for case in joint.load_cases)
    asked = list(find) or [
        name for name in (FINDS[:2] if isinstance(stated, Cell) else FINDS) if name != "gas" or fired
    ]
    if "gas" in asked and not fired:
        raise InputError("no load case has gas pressure", field="--find", value="gas")
    trials = _Trials(source, None if folder is None else StudyStore(folder), workers, stage)
    trials.done = done
    answers, sizes, classes = [], (), ()
    for name in asked:
        stage(f"size: {name}")
        if name == "torque":
            answers.append(_torque(trials, joint, {}, TORQUES))
        elif name == "gas":
            answers.append(_gas(trials, joint))
        elif name == "length":
            answers.append(_length(trials, stated))
        elif name == "thread":
            sizes = _threads(trials, joint)
        elif name == "class":
            material = source.content["fastener"].get("material")
            if isinstance(material, dict) and "yield_strength" in material:
                raise InputError("the file states the yield strength itself, which goes before a class", field="--find")
            classes = _classes(trials)
    return Sized(joint, tuple(answers), sizes, classes, trials.count, time.perf_counter() - started)


def _torque(
    trials: _Trials, joint: Joint, fixed: dict[str, Value], factors: Sequence[float], *, quick: bool = False
) -> Found:
    """Answer how tight: least and greatest torque, or angle, stretch, pull, preload, slope by the joint's method."""
    path, question, own, unit = how_tight(joint.tightening)
    places = [own * f for f in factors if unit or own * f < 1.0]
    return _answer(
        trials, question, unit, own, places, lambda x: fixed | {path: f"{x!r} {unit}" if unit else x}, quick=quick
    )


def _gas(trials: _Trials, joint: Joint) -> Found:
    """Answer how much cylinder pressure, all load cases with gas in proportion."""
    own = 10.0 * max(case.gas_pressure for case in joint.load_cases)
    return _answer(
        trials, "cylinder pressure", "bar", own, [own * f for f in GASES], lambda x: {GAS: x / own}, upwards=False
    )


def _length(trials: _Trials, stated: Joint | Cell) -> Found:
    """Answer how short the free length may be: the engaged thread is moved up or down by the counterbore."""
    joint = stated.joint if isinstance(stated, Cell) else stated
    block, fastener = joint.block, joint.fastener
    rest = fastener.clamped_length - block.counterbore_depth
    deepest = block.counterbore_depth + 0.6 * (
        block.height - block.counterbore_depth - fastener.engagement - block.hole_below
    )
    places = [rest + float(x) for x in np.linspace(0.002 * rest, deepest, LENGTHS)]
    return _answer(
        trials, "free length of the fastener (by counterbore)", "mm", fastener.clamped_length, places,
        lambda x: {"block.counterbore_depth": float(f"{x - rest:.9g}")},
    )  # fmt: skip


def _least(outcome: Outcome) -> float:
    """Return the least factor over need less 1; far below where there is no solution."""
    return -1.0 if outcome.problem or outcome.limiting is None else outcome.limiting.in_hand - 1.0


def _answer(
    trials: _Trials,
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
    return Found(question, unit, own, searched, least, greatest, "", _curve(known))


def _curve(known: dict[float, Outcome]) -> tuple[tuple[float, Outcome], ...]:
    return tuple(sorted(known.items()))


def _limit(
    trials: _Trials,
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
        around.append((x, own.in_hand if own is not None else float("nan"), known[x].holds))
    slope = (around[2][1] - around[0][1]) / (around[2][0] - around[0][0])
    moves = () if quick or not slope else _sensitivity(trials, failing, around[1][1], slope, changes(root))
    here = at.criterion(failing.key) or failing
    return Limit(root, failing.name, said("{}; {}", here.detail, here.where), tuple(around), moves)


def _sensitivity(
    trials: _Trials, failing: Criterion, factor: float, slope: float, changes: dict[str, Value]
) -> tuple[tuple[str, float], ...]:
    """Return by how much the answer moves when something else does: its factor's change over its slope."""
    found = [(f"need of {failing.name} +1 %", 0.01 * factor / slope)]
    tried: list[tuple[str, dict[str, Value]]] = []
    content = trials.source.content
    if GAS not in changes and any(case["kind"] == "firing" for case in content["load_cases"]):
        tried.append(("gas pressure +1 %", changes | {GAS: 1.0 + GAS_STEP}))
    design = trials.source.design({})
    tight = (design.joint if isinstance(design, Cell) else design).tightening
    if tight.step.turned:
        more = dict(
            zip(FRICTIONS, (tight.thread_friction + FRICTION_STEP, tight.bearing_friction + FRICTION_STEP), strict=True)
        )
        tried.append((f"both friction coefficients +{FRICTION_STEP:g}", changes | more))
    for (what, _), outcome in zip(tried, trials.many([one for _, one in tried]), strict=True):
        own = outcome.criterion(failing.key)
        if own is not None:
            found.append((what, -(own.in_hand - factor) / slope))
    return tuple(found)


def _clash(
    trials: _Trials, known: dict[float, Outcome], unit: str, changes: Callable[[float], dict[str, Value]]
) -> str:
    """Say which requirements exclude each other: what each of those that fail somewhere would need by itself."""
    xs = sorted(known)
    solved = [x for x in xs if not known[x].problem]
    if not solved:
        return f"no design could be solved: {known[xs[0]].problem}"
    best = max(solved, key=lambda x: _least(known[x]))
    keys = judged_by(known[x] for x in solved)
    lows: list[tuple[float, str]] = []
    highs: list[tuple[float, str]] = []
    words = []
    for key in keys:
        name = requirement(key).title
        factors = {x: own.in_hand for x in solved if (own := known[x].criterion(key)) is not None}
        failing = [x for x in factors if factors[x] < 1.0]
        if not failing:
            continue
        holding = [x for x in factors if factors[x] >= 1.0]
        if not holding:
            top = max(factors, key=lambda x: factors[x])
            words.append(f"{name} is met nowhere, at most {factors[top]:.2f} of its need at {top:.4g} {unit}")
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
        words.append("{1} needs at least {0:.4g} {unit}".format(*max(lows), unit=unit))
    if highs:
        words.append("{1} allows at most {0:.4g} {unit}".format(*min(highs), unit=unit))
    limiting = known[best].limiting
    nearest = (
        f"; nearest is {best:.4g} {unit} with {limiting.in_hand:.2f} of what {limiting.name} needs" if limiting else ""
    )
    return ", but ".join(words) + nearest


def _threads(trials: _Trials, joint: Joint) -> tuple[Choice, ...]:
    """Try threads of the file's series, smallest first, until one has a torque that holds."""
    own = joint.fastener.thread
    tried = [
        one
        for one in threads.library().values()
        if one.series == own.series and THREADS[0] <= one.nominal_diameter / own.nominal_diameter <= THREADS[1]
    ]
    return _choices(
        trials,
        [({SIZE: one.designation}, one.designation) for one in sorted(tried, key=lambda t: t.stress_area)],
    )


def _classes(trials: _Trials) -> tuple[Choice, ...]:
    """Try property classes of ISO 898-1, weakest first, until one has a torque that holds."""
    steels = [name for name in property_classes.library() if "." in name]
    found = sorted(steels, key=lambda name: float(name))
    return _choices(trials, [({"fastener.property_class": name}, name) for name in found])


def _choices(trials: _Trials, tried: Sequence[tuple[dict[str, Value], str]]) -> tuple[Choice, ...]:
    """Return every choice up to the first that holds; each is tried over torque, or what else decides how tight."""
    found: list[Choice] = []
    for fixed, name in tried:
        try:
            design = trials.source.design(fixed)
        except InputError as error:
            found.append(Choice(name, False, None, None, "", f"cannot be built: {error}"))
            continue
        own = design.joint if isinstance(design, Cell) else design
        answer = _torque(trials, own, fixed, THREAD_TORQUES, quick=True)
        if answer.found:
            low, high = answer.least, answer.greatest
            least = low.at if low is not None else answer.searched[0]
            greatest = high.at if high is not None else answer.searched[1]
            found.append(Choice(name, True, least, greatest, answer.unit, how_tight(own.tightening)[0].split(".")[1]))
            break
        found.append(Choice(name, False, None, None, answer.unit, answer.clash))
    return tuple(found)
