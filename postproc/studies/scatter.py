"""How likely it is that a joint fails, with the scatter of a real workshop: samples, odds, what matters most."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from headjoint.model.base.arrays import FloatArray
from headjoint.model.base.errors import SolveError
from headjoint.model.joint import Joint
from headjoint.model.reading.overrides import Value
from headjoint.model.reading.reading import tables_of
from headjoint.postproc.designs.outcome import Source, Task
from headjoint.postproc.designs.run import Done, Ran, Workers, run_study
from headjoint.postproc.designs.store import StudyStore
from headjoint.postproc.studies.scatter_inputs import Input, inputs_of
from headjoint.postproc.verdict.model_seen import stated_seen
from headjoint.postproc.verdict.table import EVENTS, REQUIREMENTS

CONFIDENCE = 0.95
MOST_UNSOLVED = 0.02  # share of samples without solution beyond which no probability is given
FEWEST_FOR_INDICES = 64
QUANTILES = (0.05, 0.5, 0.95)


@dataclass(frozen=True)
class Event:
    """Something that may happen to a joint: `figure` of a sample falls below `limit` (or to it, where that is 0).

    samples, happened : counts. low, high : bounds on the probability by Clopper and Pearson. by_normal : probability by
    mean and standard deviation of the figure alone. matters : (input, first-order index, rank correlation), greatest
    first.
    """

    name: str
    figure: str
    unit: str
    limit: float
    samples: int
    happened: int
    low: float
    high: float
    by_normal: float
    mean: float
    deviation: float
    matters: tuple[tuple[str, float, float], ...]

    @property
    def probability(self) -> float:
        """Share of samples to which it happened."""
        return self.happened / self.samples


@dataclass(frozen=True)
class Scatter:
    """A finished study of scatter. values : (samples, inputs). figures : by name, (samples,) nan where unsolved.

    seen : by which model, and what it does not see. blind : what decides and that model cannot judge, by title.
    """

    joint: Joint = field(repr=False)
    seed: int
    sampling: str
    inputs: tuple[Input, ...]
    values: FloatArray = field(repr=False)
    figures: dict[str, FloatArray] = field(repr=False)
    events: tuple[Event, ...]
    unsolved: int
    ran: Ran
    fatigue_left_out: bool
    seen: str
    blind: tuple[str, ...] = ()


def _stated(drawn: float, unit: str) -> Value:
    """Return a drawn value as a file states it."""
    return f"{drawn!r} {unit}" if unit else drawn


def samples_of(inputs: Sequence[Input], count: int, seed: int, sampling: str) -> FloatArray:
    """Return values (count, inputs) by scrambled Sobol points or a Latin hypercube; the same for the same seed."""
    import warnings

    from scipy.stats import qmc

    if sampling == "sobol":
        with warnings.catch_warnings():  # counts that are no power of two lose some evenness
            warnings.simplefilter("ignore", UserWarning)
            shares = qmc.Sobol(len(inputs), rng=seed).random(count)
    else:
        shares = qmc.LatinHypercube(len(inputs), rng=seed).random(count)
    shares = np.clip(shares, 1e-12, 1.0 - 1e-12)
    return np.column_stack([one.at(shares[:, n]) for n, one in enumerate(inputs)])


def run_scatter(
    source: Source,
    samples: int | None,
    seed: int | None,
    folder: Path | None,
    workers: Workers,
    done: Done = lambda finished, whole: None,
    stage: Callable[[str], None] = lambda name: None,
) -> Scatter:
    """Return the study; samples and seed by default as the file says. Finished samples are kept in `folder`.

    Raises InputError for distributions that cannot be used, SolveError where too many samples have no solution.
    """
    stated = source.design({})
    joint = stated if isinstance(stated, Joint) else stated.joint
    table = tables_of(source.content).scatter
    count = table.samples if samples is None else samples
    own_seed = table.seed if seed is None else seed
    inputs = inputs_of(stated, source.content)
    values = samples_of(inputs, count, own_seed, table.sampling)
    tasks = [
        Task(
            {one.name: _stated(float(x), one.unit) for one, x in zip(inputs, row, strict=True) if one.path},
            {one.name: float(x) for one, x in zip(inputs, row, strict=True) if not one.path},
        )
        for row in values
    ]
    store = None if folder is None else StudyStore(folder)
    ran = run_study(source, tasks, store, workers, done, stage)
    unsolved = [outcome for outcome in ran.outcomes if outcome.problem]
    if len(unsolved) > MOST_UNSOLVED * count:
        raise SolveError(f"{len(unsolved)} of {count} samples have no solution; the first: {unsolved[0].problem}")
    names = list(dict.fromkeys(name for outcome in ran.outcomes for name in outcome.figures))
    figures = {
        name: np.array(
            [np.nan if one.figures.get(name) is None else float(one.figures[name] or 0.0) for one in ran.outcomes]
        )
        for name in names
    }
    stage("what matters")
    events = tuple(
        _event(one.name, one.figure, one.unit, one.limit(joint), figures[one.figure], values, inputs)
        for _, one in EVENTS.values()
        if one.figure in figures and np.isfinite(figures[one.figure]).any()
    )
    model = stated_seen(stated)
    return Scatter(
        joint, own_seed, table.sampling, inputs, values, figures, events, len(unsolved), ran,
        fatigue_left_out=not isinstance(stated, Joint),
        seen=model.line,
        blind=tuple(one.title for key, one in REQUIREMENTS.items() if one.deciding and key in model.blind),
    )  # fmt: skip


def _event(
    name: str, figure: str, unit: str, limit: float, found: FloatArray, values: FloatArray, inputs: Sequence[Input]
) -> Event:
    from scipy import stats

    good = np.isfinite(found)
    own = found[good]
    happened = int((own <= limit).sum() if limit == 0.0 else (own < limit).sum())
    bounds = stats.binomtest(happened, len(own)).proportion_ci(CONFIDENCE, "exact")
    mean, deviation = float(own.mean()), float(own.std(ddof=1))
    by_normal = float(stats.norm.cdf(limit, mean, deviation)) if deviation > 0.0 else float(mean < limit)
    return Event(
        name, figure, unit, limit, len(own), happened, bounds.low, bounds.high, by_normal, mean, deviation,
        what_matters(values[good], own, inputs),
    )  # fmt: skip


def what_matters(
    values: FloatArray, found: FloatArray, inputs: Sequence[Input]
) -> tuple[tuple[str, float, float], ...]:
    """Return (input, first-order Sobol index, signed rank correlation), greatest index first; none for a constant.

    The indices are estimated from the samples at hand by random balance designs (SALib, RBD-FAST).
    """
    if len(found) < FEWEST_FOR_INDICES or found.std() <= 1e-12 * max(abs(found.mean()), 1e-300):
        return ()
    import warnings

    from SALib.analyze import rbd_fast
    from scipy import stats

    names = [one.name for one in inputs]
    problem = {"num_vars": len(names), "names": names, "bounds": [[0.0, 1.0]] * len(names)}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        indices = rbd_fast.analyze(problem, values, found, M=6, num_resamples=2, seed=1)["S1"]
    ranks = [float(stats.spearmanr(values[:, n], found).statistic) for n in range(len(names))]
    rows = [(name, min(max(float(s), 0.0), 1.0), rank) for name, s, rank in zip(names, indices, ranks, strict=True)]
    return tuple(sorted(rows, key=lambda row: -row[1]))


def percent(share: float) -> str:
    """Write a probability."""
    value = 100.0 * share
    if value == 0.0:
        return "0 %"
    if value < 1e-6:
        return "below 1e-6 %"
    return f"{value:.1e} %" if value < 0.001 else f"{value:.2g} %" if value < 10.0 else f"{value:.1f} %"


def sentence(scatter: Scatter) -> str:
    """Return the verdict in one sentence."""
    likely = [one for one in scatter.events if one.happened]
    count = scatter.events[0].samples if scatter.events else 0
    if not likely:
        most = max(scatter.events, key=lambda one: one.by_normal)
        return (
            f"none of {count} sampled joints fails: every probability is below {percent(most.high)} with "
            f"{100 * CONFIDENCE:.0f} % confidence; nearest to its limit: {most.name}"
        )
    words = [
        f"{one.name}: {percent(one.probability)} of joints ({percent(one.low)} to {percent(one.high)})"
        for one in likely
    ]
    worst = max(likely, key=lambda one: one.probability)
    cause = f"; {worst.matters[0][0]} matters most" if worst.matters else ""
    return "; ".join(words) + cause
