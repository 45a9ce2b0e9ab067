"""How likely it is that a joint fails, with the scatter of a real workshop: samples, odds, what matters most."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from rich.markup import escape

from headjoint.model.errors import SolveError
from headjoint.model.joint import Joint
from headjoint.model.reading import tables_of
from headjoint.postproc.console import console
from headjoint.postproc.document import opening, plain
from headjoint.postproc.page import moved_in_whole, write_page
from headjoint.postproc.scatter_inputs import Input, inputs_of
from headjoint.postproc.study_evaluation import Source, Task
from headjoint.postproc.study_report import print_table, print_written, run_line
from headjoint.postproc.study_run import Done, Ran, Workers, run_study
from headjoint.postproc.study_store import StudyStore
from headjoint.postproc.study_table import FIGURES, write_tables

FloatArray = NDArray[np.float64]
FORMAT, VERSION = "headjoint-scatter", 1
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
    """A finished study of scatter. values : (samples, inputs). figures : by name, (samples,) nan where unsolved."""

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
            {one.name: float(x) for one, x in zip(inputs, row, strict=True) if one.path},
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
        _event(name, figure, unit, limit, figures[figure], values, inputs)
        for name, figure, unit, limit in events_of(joint)
        if figure in figures and np.isfinite(figures[figure]).any()
    )
    left_out = not isinstance(stated, Joint)
    return Scatter(joint, own_seed, table.sampling, inputs, values, figures, events, len(unsolved), ran, left_out)


def events_of(joint: Joint) -> list[tuple[str, str, str, float]]:
    """Return name, figure, unit and limit of everything whose probability is asked for."""
    return [
        ("sealing line presses less than required", "sealing-line pressure", "factor", 1.0),
        ("gas presses harder than the gasket", "seal over gas", "ratio", 1.0),
        ("sealing line separates", "least sealing-line pressure", "MPa", 0.0),
        ("fastener yields", "fastener yield", "factor", 1.0),
        ("too little clamp after cooling", "clamp kept after cooling", "of assembly", joint.requirements.clamp_kept),
        ("head or washer yields under the nut", "bearing pressure", "factor", 1.0),
        ("thread strips in the block", "thread stripping in the block", "factor", 1.0),
        ("gasket is crushed", "gasket crush", "factor", 1.0),
        ("fastener breaks by fatigue", "fastener fatigue", "factor", 1.0),
    ]


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


def event_lines(scatter: Scatter) -> tuple[list[str], list[tuple[str, ...]]]:
    """Return headings and lines of the probabilities."""
    headings = [
        "what may happen",
        "of 100 joints",
        "bounds (95 %)",
        "by normal law",
        "mean",
        "2 s",
        "limit",
        "what matters most",
    ]
    lines = []
    for one in scatter.events:
        matters = ", ".join(f"{name} {100 * index:.0f} %" for name, index, _ in one.matters[:3] if index >= 0.02)
        lines.append(
            (
                one.name,
                percent(one.probability),
                f"{percent(one.low)} to {percent(one.high)}",
                percent(one.by_normal),
                f"{one.mean:.3g} {one.unit}",
                f"{2 * one.deviation:.2g}",
                f"{one.limit:g}",
                matters,
            )
        )
    return headings, lines


def input_lines(scatter: Scatter) -> tuple[list[str], list[tuple[str, ...]]]:
    """Return headings and lines of the inputs."""
    return ["input", "distribution", "source"], [(one.name, one.words, one.source) for one in scatter.inputs]


def spread_lines(scatter: Scatter) -> tuple[list[str], list[tuple[str, ...]]]:
    """Return headings and lines of the spread of clamp and pressure."""
    lines = []
    for name in ("preload", "clamp under gas", "clamp after cooling", "least sealing-line pressure"):
        if name in scatter.figures and np.isfinite(scatter.figures[name]).any():
            unit, factor = FIGURES[name]
            low, middle, high = np.nanquantile(scatter.figures[name], QUANTILES) * factor
            lines.append((f"{name} [{unit}]", f"{low:.1f}", f"{middle:.1f}", f"{high:.1f}"))
    return ["", "5 % lie below", "half", "95 % lie below"], lines


def notes(scatter: Scatter) -> list[str]:
    """Return what is to be known of the figures."""
    found = [
        f"{scatter.sampling.capitalize()} points, seed {scatter.seed}. Failures are counted at physical limits (factor "
        "1), not at the required factors, which are there to cover scatter; the seal's requirement and the clamp to be "
        "kept are those of the file. Bounds are those of as many independent samples (Clopper and Pearson). 'By normal "
        "law' takes mean and standard deviation only: a hint where nothing was counted. Shares of what matters are "
        "first-order Sobol indices; one joint is one preload, all its load cases in order."
    ]
    if scatter.fatigue_left_out:
        found.append("Every stud of the cell is tightened alike in a sample. Fatigue is not sampled for cells.")
    if scatter.unsolved:
        found.append(f"{scatter.unsolved} samples have no solution and are left out.")
    return found


def print_scatter(scatter: Scatter, written: Sequence[Path]) -> None:
    """Print verdict, probabilities, spread and inputs."""
    screen = console()
    screen.print(f"\n[bold]{escape(scatter.joint.name)}[/bold]: {len(scatter.values)} joints of a batch")
    screen.print(f"{escape(sentence(scatter))}.\n")
    for headings, lines in (event_lines(scatter), spread_lines(scatter)):
        print_table(screen, headings, lines, left=("what matters most",))
        screen.print()
    scattered = "; ".join(f"{one.name}: {one.words}" for one in scatter.inputs)
    screen.print(f"Taken to scatter: {escape(scattered)}. Sources stand in scatter.html.\n")
    for note in notes(scatter):
        screen.print(note)
    screen.print(run_line(scatter.ran, len(scatter.values)))
    print_written(screen, written)


def scatter_document(scatter: Scatter) -> dict[str, Any]:
    """Return the study as a JSON document, format "headjoint-scatter": N, MPa, unrounded."""
    return opening(FORMAT, VERSION) | {
        "joint": scatter.joint.name,
        "seed": scatter.seed,
        "sampling": scatter.sampling,
        "inputs": plain(scatter.inputs),
        "values": plain(scatter.values),
        "figures": plain(scatter.figures),
        "events": [plain(one) | {"probability": one.probability} for one in scatter.events],
        "unsolved": scatter.unsolved,
        "verdict": {"sentence": sentence(scatter)},
        "checks": {"seconds": scatter.ran.seconds},
    }


def write_scatter_files(scatter: Scatter, document: dict[str, Any], folder: Path) -> list[Path]:
    """Write scatter.json, scatter.csv, scatter.parquet, the picture and the page; return their paths."""
    import json

    from headjoint.postproc.scatter_pictures import draw_scatter

    with moved_in_whole(folder) as (scratch, written):
        (scratch / "scatter.json").write_text(json.dumps(document), encoding="utf-8")
        columns = {f"{one.name} [{one.unit or '1'}]": scatter.values[:, n] for n, one in enumerate(scatter.inputs)}
        for name, found in scatter.figures.items():
            unit = {"least sealing-line pressure": "MPa"}.get(name, "N") if name in FIGURES else "1"
            columns[f"{name} [{unit}]"] = found
        write_tables(columns, scratch, "scatter")
        titles = ("How likely", "Spread", "What was taken to scatter")
        tables = [
            {"title": title, "headings": headings, "lines": lines}
            for title, (headings, lines) in zip(
                titles, (event_lines(scatter), spread_lines(scatter), input_lines(scatter)), strict=True
            )
        ]
        write_page(
            scratch / "scatter.html",
            "study.html.j2",
            draw_scatter(scatter, scratch),
            title=f"{scatter.joint.name}: {len(scatter.values)} joints of a batch",
            sentence=sentence(scatter),
            holds=not any(one.happened for one in scatter.events),
            tables=tables,
            notes=notes(scatter),
            check=run_line(scatter.ran, len(scatter.values)),
        )
    return written
