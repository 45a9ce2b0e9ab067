"""The stages of headjoint from Python; the command line calls these. Heavy libraries load when a stage needs them.

A joint or cell is named by its file, by the name of a shipped one, or given as `read` returned it.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from headjoint.cases.command.stated_files import (
    SHIPPED_KINDS,
    Seen,
    by_model,
    named_file,
    read_stated,
    shipped_files,
    stated_path,
    threads_for,
)
from headjoint.cases.elements.threads import dense_on_one_thread, one_thread
from headjoint.model.base.errors import InputError, JointError
from headjoint.model.base.rich import Rich
from headjoint.model.cell import Cell
from headjoint.model.joint import Joint

if TYPE_CHECKING:
    from headjoint.model.base.arrays import FloatArray
    from headjoint.postproc.bead.answer import BeadAnswer
    from headjoint.postproc.bead.measured import MeasuredAnswer
    from headjoint.postproc.cell.answer import CellAnswer
    from headjoint.postproc.designs.outcome import Source
    from headjoint.postproc.joint.answer import JointAnswer
    from headjoint.postproc.joint.estimate_answer import EstimateAnswer
    from headjoint.postproc.rig.answer import RigAnswer
    from headjoint.postproc.service.answer import ServiceAnswer
    from headjoint.postproc.studies.compare_answer import CompareAnswer
    from headjoint.postproc.studies.scatter_answer import ScatterAnswer
    from headjoint.postproc.studies.size_answer import SizeAnswer
    from headjoint.postproc.studies.sweep_answer import SweepAnswer
    from headjoint.postproc.verdict.model_seen import ModelSeen
    from headjoint.postproc.verdict.requirement import CoarseFigure
    from headjoint.postproc.warm_up.answer import WarmUpAnswer
    from headjoint.postproc.whole_head.answer import HeadAnswer

Named = str | Path
Stated = Named | Joint | Cell
Stage = Callable[[str], None]
Done = Callable[[int, int], None]


def _html(shown: object) -> str:
    """Return what a notebook shows of a joint, an engine or findings."""
    from headjoint.postproc.stated.notebook import html_of

    return html_of(shown)


Rich.shown_by = staticmethod(_html)


def _quiet(name: str) -> None:
    """Hear of a stage and say nothing."""


def _uncounted(finished: int, whole: int) -> None:
    """Hear of finished evaluations and say nothing."""


def shipped(kind: str = "joints") -> dict[str, Path]:
    """Return what ships with headjoint, by name: "joints", "cells", "rigs", "logs" or "beads" (all invented).

    Raises InputError for another kind.
    """
    if kind not in SHIPPED_KINDS:
        raise InputError(f"give one of {', '.join(SHIPPED_KINDS)}", field="kind", value=kind)
    return shipped_files(kind)


def read(source: Stated, model: Seen = "whole") -> Joint | Cell:
    """Return a joint (one fastener) or an engine's bore cell, checked, with every default filled in.

    model : "stud" for one stud of an engine with its share of head, gasket and block: a second where the whole takes a
    minute, and blind to what happens between the studs (`solve` with `model="stud"` is not).

    Raises InputError that names file, field and value of a mistake, and what is allowed.
    """
    stated = source if isinstance(source, (Joint, Cell)) else read_stated(str(source))[1]
    return by_model(stated, model)


def estimate(source: Stated) -> EstimateAnswer:
    """Return the closed-form answer in the style of VDI 2230, of a cell that of one stud's share; no mesh, in a blink.

    Load cases by heat are an exception: their mean temperatures come from conduction in one stud's share first.

    Raises InputError as `read` does.
    """
    from headjoint.postproc.joint.estimate_answer import assess_estimate

    stated = read(source)
    answer = assess_estimate(_with_heat(stated.joint if isinstance(stated, Cell) else stated))
    return dataclasses.replace(answer, stated=(stated,))


def _with_heat(joint: Joint) -> Joint:
    """Return a joint whose load cases by heat have their mean temperatures."""
    if not joint.by_heat:
        return joint
    from headjoint.cases.warm_up.heat_of_cases import case_fields

    return case_fields(joint).told(joint)


def solve(source: Stated, *, model: Seen = "whole", stage: Stage = _quiet) -> JointAnswer | CellAnswer:
    """Return all load cases by finite elements at the least, nominal and greatest preload, beside the estimate.

    model : "stud" for one stud of an engine, and for what that cannot show the engine on a coarse mesh less an
    allowance: seconds, and never kinder than the whole. stage : hears the name of every stage as it begins.

    Raises InputError as `read` does, MeshError for a mesh that cannot be built, SolveError for a state that does not
    come to equilibrium or does not balance.
    """
    stated = read(source)
    with threads_for(stated):
        if isinstance(stated, Joint):
            return _one_stud(stated, stage)
        if model == "stud":
            seen, coarse = _on_a_coarse_mesh(stated, stage)
            return _one_stud(stated.joint, stage, seen, coarse)
        from headjoint.postproc.cell.answer import answer_of_cell

        return answer_of_cell(stated, stage)


def head(
    source: Stated,
    *,
    order: Sequence[int] | None = None,
    slack: Iterable[int] = (),
    hotter: Mapping[int, str | float] | None = None,
    stage: Stage = _quiet,
) -> HeadAnswer:
    """Return the whole head of an engine whose file says `in_row`: every bore and stud, each bore fired alone.

    order : numbers of all studs, from 1, in which nuts are turned where the file states passes; from the middle outward
    by default. slack : numbers of studs that carry nothing. hotter : by how much bores, by number, are hotter, 30 or
    "30 K". stage : hears the name of every stage as it begins.

    Raises InputError as `read` does and for what no whole head is made of, else as `solve` does.
    """
    from headjoint.cases.condensed.store import user_store
    from headjoint.cases.whole_head.solved import check_head, solve_head
    from headjoint.model.reading.row_reading import with_hotter, with_slack
    from headjoint.postproc.joint.nut_order import from_the_middle
    from headjoint.postproc.whole_head.answer import HeadAnswer
    from headjoint.postproc.whole_head.findings import assess_head

    stated = read(source)
    if isinstance(stated, Joint):
        raise InputError("is a joint of one fastener; the whole head is that of an engine file", field="joint")
    stated = with_hotter(with_slack(stated, slack), hotter or {})
    count = check_head(stated).studs_in_row
    if order is not None and not stated.order:
        why = "means nothing where all nuts are tightened at once; state `passes` in [tightening]"
        raise InputError(why, field="order", value=str(order))
    if order is not None and sorted(order) != list(range(1, count + 1)):
        raise InputError(f"must name each of the {count} studs once, 1 to {count}", field="order", value=str(order))

    def turned(places: FloatArray) -> Sequence[int]:
        if order is None:
            return from_the_middle([(float(x), float(y)) for x, y in places.T])
        return [number - 1 for number in order]

    with dense_on_one_thread():
        solved = solve_head(stated, turned, stage, user_store())
        stage("findings")
        return HeadAnswer(assess_head(solved), solved, stated=(stated,))


def _one_stud(
    joint: Joint, stage: Stage, seen: ModelSeen | None = None, coarse: tuple[CoarseFigure, ...] = ()
) -> JointAnswer:
    from headjoint.cases.load_cases.solved import solve_joint
    from headjoint.postproc.joint.answer import JointAnswer
    from headjoint.postproc.joint.assessment import assess

    with one_thread():
        solved = solve_joint(joint, stage)
        stage("findings")
        return JointAnswer(assess(solved, seen, coarse), solved, stated=(joint,))


def _on_a_coarse_mesh(cell: Cell, stage: Stage) -> tuple[ModelSeen, tuple[CoarseFigure, ...]]:
    """Return what a coarse mesh of an engine shows; nothing, and why, where there is none or it has no solution."""
    from headjoint.cases.condensed.store import user_store
    from headjoint.cases.load_cases.coarse_cell import solve_coarse_cell, why_no_coarse_cell
    from headjoint.postproc.cell.coarse import coarse_figures
    from headjoint.postproc.verdict.model_seen import beside_a_coarse_cell, without_a_coarse_cell

    why = why_no_coarse_cell(cell)
    if not why:
        try:
            return beside_a_coarse_cell(cell), coarse_figures(solve_coarse_cell(cell, stage, user_store()))
        except JointError as error:
            why = str(error)
    return without_a_coarse_cell(cell, why), ()


def history(
    source: Stated, *, folder: Path | None = None, resume: bool = False, stage: Stage = _quiet
) -> ServiceAnswer:
    """Return the service, step by step: what clamp is kept after each, where the rest went, what a retorque gives.

    folder : where finished steps are kept, None for nowhere. resume : whether to go on from those of an earlier run.

    Raises InputError as `read` does and where there is nothing to resume, SolveError as `solve` does.
    """
    from headjoint.cases.service.jobs import Heating, run_history
    from headjoint.cases.warm_up.heat_of_cases import case_fields

    stated = read(source)
    with threads_for(stated):
        if (stated.joint if isinstance(stated, Cell) else stated).by_heat:

            def told(refinement: float) -> tuple[Joint | Cell, Heating]:
                fields = case_fields(stated, stage, refinement)
                return fields.told(stated), fields.heating

            served = run_history(stated, folder, resume=resume, told=told, stage=stage)
        else:
            served = run_history(stated, folder, resume=resume, stage=stage)
        stage("findings")
        from headjoint.postproc.service.answer import ServiceAnswer
        from headjoint.postproc.service.findings import assess_service

        single = isinstance(stated, Joint)
        return ServiceAnswer(assess_service(served, single=single, stage=stage), stated=(stated,))


def warm_up(source: Stated, *, stage: Stage = _quiet) -> WarmUpAnswer:
    """Return the warm-up and cooling by heat conduction: which part is hot when, and what clamp that makes.

    Raises InputError as `read` does, SolveError as `solve` does.
    """
    from headjoint.cases.warm_up.over_scatter import both_paces, on_coarse_mesh
    from headjoint.postproc.warm_up.answer import WarmUpAnswer
    from headjoint.postproc.warm_up.findings import assess_warm_up

    stated = read(source)
    with threads_for(stated):
        found = assess_warm_up(*both_paces(stated, stage), *on_coarse_mesh(stated, stage))
        return WarmUpAnswer(found, stated=(stated,))


def rig(
    logs: Sequence[Named],
    rig: Named,
    *,
    against: Sequence[Named] = (),
    against_rig: Named | None = None,
    stage: Stage = _quiet,
) -> RigAnswer:
    """Return what a rig's logs (CSV) say: friction, stretch, yield, settling with intervals, and what they cannot tell.

    against : logs of another treatment to compare with. against_rig : rig of those, where it is another.

    Raises InputError for what cannot be used.
    """
    from headjoint.postproc.rig.answer import run_rig

    if against_rig is not None and not against:
        raise InputError("is the rig of the logs given by --against, and there are none", field="--against-rig")
    rigs, own = shipped_files("rigs"), shipped_files("logs")
    paths, others = ([named_file(str(name), own, "rig log") for name in names] for names in (logs, against))
    beside = None if against_rig is None else named_file(str(against_rig), rigs, "rig file")
    with one_thread():
        return run_rig(paths, named_file(str(rig), rigs, "rig file"), others, beside, stage)


def bead(
    file: Named, *, against: Named | None = None, workers: int | None = None, stage: Stage = _quiet
) -> BeadAnswer | MeasuredAnswer:
    """Return what the bead or ring of a file does between decks, or a sheet as measured, and its gasket law.

    against : another bead to set beside it. workers : processes, one for every core by default.

    Raises InputError for what cannot be used, SolveError where no equilibrium is found.
    """
    from headjoint.postproc.bead.answer import run_gasket
    from headjoint.postproc.designs.run import Workers

    names = [named_file(str(one), shipped_files("beads"), "bead file") for one in (file, against) if one is not None]
    with one_thread():
        return run_gasket(names[0], names[1] if against is not None else None, stage, Workers(workers).count)


def compare(
    sources: Sequence[Named],
    vary: Sequence[str] = (),
    *,
    gaskets: Sequence[str] = (),
    model: Seen = "whole",
    folder: Path | None = None,
    workers: int | None = None,
    workers_at: str = "",
    done: Done = _uncounted,
    stage: Stage = _quiet,
) -> CompareAnswer:
    """Return joints, or the variants of one, beside each other; vary : "PATH=a, b, c", every combination is one design.

    gaskets : names of shipped ones, each of them put on every engine, in place of the files' own variants. model : as
    `read` takes it; with "stud" no design is said to hold.
    folder : where finished evaluations are kept, None for nowhere. workers : processes, one for every core by default.
    workers_at : address of a dask scheduler. done : hears how many evaluations are finished of how many.

    Raises InputError for what cannot be read or compared.
    """
    from headjoint.postproc.designs.run import Workers
    from headjoint.postproc.studies.compare import Asked, run_comparison
    from headjoint.postproc.studies.compare_answer import CompareAnswer

    stated = [_source(source, model) for source in sources]
    asked, where = Asked(vary, gaskets), Workers(workers, workers_at)
    compared = run_comparison(stated, asked, folder, where, done, stage)
    return CompareAnswer(compared, stated=tuple(source.design({}) for source in stated))


def sweep(
    source: Named,
    over: Sequence[str],
    *,
    model: Seen = "whole",
    folder: Path | None = None,
    workers: int | None = None,
    workers_at: str = "",
    done: Done = _uncounted,
    stage: Stage = _quiet,
) -> SweepAnswer:
    """Return one or two quantities over a range, "PATH=LOW..HIGH UNIT in N" or "PATH=a, b, c"; the rest as compare."""
    from headjoint.postproc.designs.run import Workers
    from headjoint.postproc.studies.sweep import run_sweep
    from headjoint.postproc.studies.sweep_answer import SweepAnswer

    stated, where = _source(source, model), Workers(workers, workers_at)
    return SweepAnswer(run_sweep(stated, over, folder, where, done, stage), stated=(stated.design({}),))


def size(
    source: Named,
    find: Sequence[str] = (),
    *,
    model: Seen = "whole",
    folder: Path | None = None,
    workers: int | None = None,
    workers_at: str = "",
    done: Done = _uncounted,
    stage: Stage = _quiet,
) -> SizeAnswer:
    """Return the torque, gas pressure, thread, class or length that just meets every requirement. Else as compare."""
    from headjoint.postproc.designs.run import Workers
    from headjoint.postproc.studies.size import run_size
    from headjoint.postproc.studies.size_answer import SizeAnswer

    stated, where = _source(source, model), Workers(workers, workers_at)
    return SizeAnswer(run_size(stated, find, folder, where, done, stage), stated=(stated.design({}),))


def scatter(
    source: Named,
    samples: int | None = None,
    seed: int | None = None,
    *,
    model: Seen = "whole",
    folder: Path | None = None,
    workers: int | None = None,
    workers_at: str = "",
    done: Done = _uncounted,
    stage: Stage = _quiet,
) -> ScatterAnswer:
    """Return how likely a batch of joints fails; samples and seed by default as the file says. Else as compare.

    Raises SolveError where too many samples have no solution.
    """
    from headjoint.postproc.designs.run import Workers
    from headjoint.postproc.studies.scatter import run_scatter
    from headjoint.postproc.studies.scatter_answer import ScatterAnswer

    stated, where = _source(source, model), Workers(workers, workers_at)
    drawn = run_scatter(stated, samples, seed, folder, where, done, stage)
    return ScatterAnswer(drawn, stated=(stated.design({}),))


def _source(source: Named, model: Seen) -> Source:
    from headjoint.postproc.designs.outcome import source_of

    if isinstance(source, (Joint, Cell)):
        raise InputError("a study changes what a file states: name the file or a shipped one", field="source")
    return source_of(stated_path(str(source)), model)
