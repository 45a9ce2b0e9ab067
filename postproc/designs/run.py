"""Many evaluations on all cores, or on the workers of a dask scheduler: chunk by chunk, finished ones kept on disk.

Chunks are made from the whole list of tasks, whatever is finished already, and every chunk is solved from the same
guide: that is why results do not depend on interruptions, on the number of workers, or on which one did what.
"""

from __future__ import annotations

import concurrent.futures as futures
import multiprocessing
import os
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from headjoint.cases.condensed.stiffness_key import stiffness_key
from headjoint.cases.elements.memory import Share, share_among, take_share
from headjoint.cases.elements.processes import begin_process, end_pool
from headjoint.cases.elements.threads import one_thread
from headjoint.model.base.errors import JointError, SolveError
from headjoint.model.base.named_files import ALLOWED
from headjoint.model.base.system import cores
from headjoint.model.cell import Cell
from headjoint.postproc.designs.evaluation import Evaluator, make_base
from headjoint.postproc.designs.machines import Traits, check_all, dask_client, on_worker, traits
from headjoint.postproc.designs.outcome import Outcome, Source, Task
from headjoint.postproc.designs.store import StudyStore

Done = Callable[[int, int], None]  # told how many evaluations are finished, of how many
JOINT_CHUNK, CELL_CHUNK, DRAWN_CELL_CHUNK = 8, 40, 64
MOST_FAILURES = 3  # of a pool whose processes die
FEW_TASKS = 12


@dataclass(frozen=True)
class Chunk:
    """Tasks of one stiffness, by their places in the whole list; guide : the task all others start from."""

    numbers: tuple[int, ...]
    key: str
    guide: int


@dataclass(frozen=True)
class Workers:
    """Where a study runs. processes : local ones, None for one per core. address : of a dask scheduler, "" for none."""

    processes: int | None = None
    address: str = ""

    @property
    def count(self) -> int:
        """Local processes."""
        return cores() if self.processes is None else self.processes


@dataclass(frozen=True)
class Ran:
    """Outcomes in the order of the tasks, how many were found finished, how many stiffnesses there are, seconds."""

    outcomes: list[Outcome] = field(repr=False)
    found: int
    stiffnesses: int
    seconds: float
    workers: str


def run_study(
    source: Source,
    tasks: Sequence[Task],
    store: StudyStore | None,
    workers: Workers,
    done: Done = lambda finished, whole: None,
    stage: Callable[[str], None] = lambda name: None,
) -> Ran:
    """Return the outcome of every task; what is finished is kept in `store` at once, and taken from there.

    Raises InputError for a scheduler that does not answer or workers that are not like this machine, SolveError where
    processes keep dying.
    """
    started = time.perf_counter()
    stage("designs")
    keys = [task.key(source) for task in tasks]
    found: list[Outcome | None] = [store.get(key) if store is not None else None for key in keys]
    chunks, problems = _chunks(source, tasks)
    for number, problem in problems.items():
        found[number] = problem
    open_chunks = [chunk for chunk in chunks if any(found[n] is None for n in chunk.numbers)]
    before = sum(one is not None for one in found)
    finished = before
    done(finished, len(tasks))
    used = ""
    if open_chunks:
        try:
            with _runner(source, tasks, open_chunks, workers, stage) as (used, results):
                for chunk, outcomes in results:
                    finished += sum(found[n] is None for n in chunk.numbers)
                    for number, outcome in zip(chunk.numbers, outcomes, strict=True):
                        found[number] = outcome
                    if store is not None:
                        store.keep([keys[n] for n in chunk.numbers], outcomes)
                    done(finished, len(tasks))
        except KeyboardInterrupt:
            if store is not None:  # which may have kept a chunk that was not told of yet
                done(sum(store.get(key) is not None for key in keys), len(tasks))
            raise
    outcomes = [one for one in found if one is not None]
    return Ran(outcomes, before, len({chunk.key for chunk in chunks}), time.perf_counter() - started, used)


def _chunks(source: Source, tasks: Sequence[Task]) -> tuple[list[Chunk], dict[int, Outcome]]:
    """Return chunks of equal stiffness, and what is wrong with tasks that cannot be built."""
    alike: dict[str, list[int]] = {}
    problems: dict[int, Outcome] = {}
    known: dict[str, tuple[str, bool]] = {}
    cells = False
    for number, task in enumerate(tasks):
        text = repr(sorted(task.changes.items()))
        if text not in known:
            try:
                design = source.design(task.changes)
            except JointError as error:
                problems[number] = Outcome.lost(error)
                continue
            known[text] = (stiffness_key(design), isinstance(design, Cell))
        key, cells = known[text]
        alike.setdefault(key, []).append(number)
    chunks = []
    for key, numbers in alike.items():
        size = JOINT_CHUNK
        if cells:
            size = CELL_CHUNK if tasks[numbers[0]].draw is None else DRAWN_CELL_CHUNK
        chunks += [Chunk(tuple(numbers[at : at + size]), key, numbers[0]) for at in range(0, len(numbers), size)]
    return chunks, problems


Results = Iterator[tuple[Chunk, list[Outcome]]]


@contextmanager
def _runner(
    source: Source, tasks: Sequence[Task], chunks: Sequence[Chunk], workers: Workers, stage: Callable[[str], None]
) -> Iterator[tuple[str, Results]]:
    """Give the words for where it runs, and the results as they come."""
    # starting processes takes longer than a few evaluations of one fastener
    alone = workers.count == 1 or len(chunks) == 1 or sum(len(one.numbers) for one in chunks) <= FEW_TASKS
    shared = _shared_base(source, tasks, chunks, stage)
    stage("evaluations")
    if workers.address:
        with dask_client(workers.address) as client:
            yield f"dask scheduler at {workers.address}", _on_dask(client, source, tasks, chunks, shared)
    elif alone:
        yield "one process", _here(source, tasks, chunks, shared)
    else:
        count = min(workers.count, len(chunks))
        yield f"{count} processes", _in_processes(count, source, tasks, chunks, shared)


def _shared_base(
    source: Source, tasks: Sequence[Task], chunks: Sequence[Chunk], stage: Callable[[str], None]
) -> tuple[str, Any] | None:
    """Return the base that all chunks share, condensed here with all cores; None where they share none."""
    keys = {chunk.key for chunk in chunks}
    if len(keys) > 1:
        return None
    stage("mesh and condense")
    try:
        return chunks[0].key, _evaluator(source).base(source.design(tasks[chunks[0].guide].changes))
    except JointError:
        return None  # every evaluation will say so


def work(source: Source, tasks: Sequence[Task], guide: Task, key: str, shared: tuple[str, Any] | None) -> list[Outcome]:
    """Return the outcomes of one chunk; runs in any process of any machine with headjoint installed."""
    with one_thread():
        evaluator = _evaluator(source)
        if not evaluator.has(key):
            if shared is not None and shared[0] == key:
                evaluator.keep(key, shared[1])
            else:
                try:
                    evaluator.keep(key, make_base(source.design(guide.changes)))
                except JointError as error:
                    return [Outcome.lost(error)] * len(tasks)
        return evaluator.evaluate(tasks)


_EVALUATORS: dict[str, Evaluator] = {}


def _evaluator(source: Source) -> Evaluator:
    """Return this process's evaluator of a source; it keeps what it has condensed."""
    name = source.identity
    if name not in _EVALUATORS:
        _EVALUATORS.clear()
        _EVALUATORS[name] = Evaluator(source)
    return _EVALUATORS[name]


def _here(source: Source, tasks: Sequence[Task], chunks: Sequence[Chunk], shared: tuple[str, Any] | None) -> Results:
    for chunk in chunks:
        own = [tasks[n] for n in chunk.numbers]
        yield chunk, work(source, own, tasks[chunk.guide], chunk.key, shared)


_SHARED: list[tuple[str, Any] | None] = [None]  # the base that a local process was begun with


def _in_process(source: Source, tasks: Sequence[Task], guide: Task, key: str) -> list[Outcome]:
    """Do the work in a local process."""
    return work(source, tasks, guide, key, _SHARED[0])


def _begin(shared: tuple[str, Any] | None, share: Share | None) -> None:
    """Begin a local process."""
    begin_process()
    _SHARED[0] = shared
    take_share(share)


def _in_processes(
    count: int, source: Source, tasks: Sequence[Task], chunks: Sequence[Chunk], shared: tuple[str, Any] | None
) -> Results:
    """Yield results of local processes; when one dies, the unfinished chunks go to new ones."""
    waiting, failures = list(chunks), 0
    while waiting:
        spawn = multiprocessing.get_context("spawn")
        pool = futures.ProcessPoolExecutor(count, spawn, initializer=_begin, initargs=(shared, share_among(count)))
        try:
            asked = {
                pool.submit(
                    _in_process, source, [tasks[n] for n in chunk.numbers], tasks[chunk.guide], chunk.key
                ): chunk
                for chunk in waiting
            }
            for one in futures.as_completed(asked):
                outcomes = one.result()
                waiting.remove(asked[one])
                failures = 0
                yield asked[one], outcomes
            pool.shutdown()
        except (BrokenProcessPool, BrokenPipeError):  # the latter where one dies as it begins
            failures += 1
            if failures > MOST_FAILURES:
                raise SolveError(
                    "worker processes keep dying, perhaps for want of memory; finished evaluations are kept, the same "
                    "command goes on from there; fewer workers need less memory (--workers)"
                ) from None
        finally:
            end_pool(pool)


def _at_dask(
    own: Traits,
    allowed: str,
    source: Source,
    tasks: Sequence[Task],
    guide: Task,
    key: str,
    shared: tuple[str, Any] | None,
) -> list[Outcome]:
    """Do the work in a dask worker, once it is sure to be like the machine that asks."""
    on_worker(own, source, allowed)
    return work(source, tasks, guide, key, shared)


def _on_dask(
    client: Any, source: Source, tasks: Sequence[Task], chunks: Sequence[Chunk], shared: tuple[str, Any] | None
) -> Results:
    """Yield results of dask workers; the scheduler gives the chunks of a worker that died to others."""
    from distributed import CancelledError, KilledWorker, as_completed

    allowed = os.environ.get(ALLOWED, "")
    own = traits(source)
    check_all(client, own, source, allowed)
    waiting, failures = list(chunks), 0
    while waiting:
        base = None if shared is None else client.scatter(shared, broadcast=True, hash=False)
        asked = {
            client.submit(
                _at_dask,
                own,
                allowed,
                source,
                [tasks[n] for n in chunk.numbers],
                tasks[chunk.guide],
                chunk.key,
                base,
                pure=False,
            ): chunk
            for chunk in waiting
        }
        try:
            for one in as_completed(list(asked), loop=client.loop):
                outcomes = one.result()
                waiting.remove(asked[one])
                failures = 0
                yield asked[one], outcomes
        except (KilledWorker, CancelledError):  # also where all workers that held the shared base have gone
            failures += 1
            if failures > MOST_FAILURES:
                raise SolveError(
                    "workers keep dying; finished evaluations are kept, the same command goes on from there"
                ) from None
        finally:
            client.cancel(list(asked))
