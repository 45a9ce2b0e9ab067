"""Shapes condensed, or warm-ups found, in the background, one by one, each in a process that can be cancelled."""

from __future__ import annotations

import multiprocessing
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from typing import Any

from headjoint.cases.elements.processes import begin_process, interrupts_kept_back
from headjoint.model.base.errors import JointError

KEPT = 4  # condensed joints in memory
MOST_WAITING = 4
# seconds after which a shape that nobody asks for is given up: where another one waits, and at all (a page in the
# background asks once a minute)
LEFT, LEFT_ALONE = 4.0, 150.0
LOOK = 0.5  # seconds between looks at whether it is still asked for
Make = Callable[[Callable[[str], None]], Any]  # makes a base, told where to say its stages


@dataclass
class Job:
    """One joint to be condensed: its stage, when it began and was last asked for, the problem that ended it."""

    make: Make = field(repr=False)
    stage: str
    started: float | None = None
    asked: float = field(default_factory=time.monotonic)
    problem: str = ""
    cancelled: bool = False
    process: Any = field(default=None, repr=False)


class Condensing:
    """What is condensed, by its stiffness key, and what is on its way. Any thread may ask.

    finished : made of every condensed joint before it is kept. what : the name of one of what is made, for readers.
    """

    def __init__(self, finished: Callable[[Any], Any] = lambda base: base, what: str = "shape") -> None:
        self._finished, self._what = finished, what
        self._lock = threading.Lock()
        self._kept: dict[str, Any] = {}
        self._jobs: dict[str, Job] = {}
        self._last: float | None = None
        self._work = threading.Condition(self._lock)
        self._closed = False
        self._thread = threading.Thread(target=self._run, daemon=True, name="condensing")
        self._thread.start()

    def found(self, key: str) -> Any | None:
        """Return what is kept of a stiffness, None where there is nothing yet."""
        with self._lock:
            found = self._kept.pop(key, None)
            if found is not None:
                self._kept[key] = found  # the one asked for last is dropped last
            return found

    def keep(self, key: str, base: Any) -> Any:
        """Take a base and return what is kept of it; what was asked for longest ago makes room."""
        kept = self._finished(base)
        with self._lock:
            while len(self._kept) >= KEPT:
                self._kept.pop(next(iter(self._kept)))
            self._kept[key] = kept
        return kept

    def want(self, key: str, make: Make) -> dict[str, Any]:
        """Begin to condense where that is not done or under way; return how it stands.

        `stage` and `seconds` of the work, `last` seconds that the one before took, or the `problem` that ended it.
        """
        with self._work:
            job = self._jobs.get(key)
            if job is None and key in self._kept:  # finished since the last look
                return {"stage": "done", "seconds": None, "last": self._last}
            if job is None:
                waiting = sum(not one.problem for one in self._jobs.values())
                if waiting >= MOST_WAITING:
                    return {"problem": f"{waiting} other {self._what}s are under way; wait for one to be done"}
                job = self._jobs[key] = Job(make, f"waiting for another {self._what}")
                self._work.notify()
            job.asked = time.monotonic()
            if job.problem:
                del self._jobs[key]
                return {"problem": job.problem}
            seconds = None if job.started is None else round(time.monotonic() - job.started, 1)
            return {"stage": job.stage, "seconds": seconds, "last": self._last}

    def cancel(self, key: str) -> bool:
        """Give up what is under way; say whether there was anything."""
        with self._lock:
            job = self._jobs.get(key)
            if job is None:
                return False
            job.cancelled = True
            if job.process is not None:
                job.process.kill()
            elif job.started is None:
                del self._jobs[key]
            return True

    def close(self) -> None:
        """End everything."""
        with self._work:
            self._closed = True
            for job in self._jobs.values():
                if job.process is not None:
                    job.process.kill()
            self._work.notify()

    def _run(self) -> None:
        while True:
            with self._work:
                while not self._closed and not self._next():
                    self._work.wait()
                if self._closed:
                    return
                key, job = self._next()[0]
                job.started, job.stage = time.monotonic(), "starting"
            try:
                self._condense(key, job)
            except Exception as error:  # whatever a library raises: the next shape must not wait for ever
                with self._lock:
                    job.problem = f"{type(error).__name__}: {error}"
                    if job.process is not None:
                        job.process.kill()

    def _next(self) -> list[tuple[str, Job]]:
        return [(key, job) for key, job in self._jobs.items() if job.started is None]

    def _condense(self, key: str, job: Job) -> None:
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe(duplex=False)
        process = context.Process(target=_in_child, args=(theirs, job.make, self._what), daemon=True)
        with interrupts_kept_back():
            process.start()
        theirs.close()
        with self._lock:
            job.process = process
            if job.cancelled:
                process.kill()
        base, problem = self._heard(ours, job)
        process.join()
        if base is not None:
            self.keep(key, base)
        with self._lock:
            if base is not None:
                assert job.started is not None
                self._last = round(time.monotonic() - job.started, 1)
                del self._jobs[key]
            elif job.cancelled:
                del self._jobs[key]
            else:
                job.problem = problem

    def _give_up_if_left(self, job: Job) -> None:
        """End what nobody asks for any more: its page is closed, or shows another shape."""
        with self._lock:
            silent = time.monotonic() - job.asked
            others = any(one.started is None for one in self._jobs.values())
            if silent > LEFT_ALONE or (others and silent > LEFT):
                job.cancelled = True
                job.process.kill()

    def _heard(self, ours: Connection, job: Job) -> tuple[Any | None, str]:
        """Return the base or the problem that a child tells."""
        while True:
            try:
                if not ours.poll(LOOK):
                    self._give_up_if_left(job)
                    continue
                kind, told = ours.recv()
            except (EOFError, OSError):
                return None, f"the process of this {self._what} ended; perhaps there is too little memory"
            if kind == "stage":
                with self._lock:
                    job.stage = told
            else:
                return (told, "") if kind == "base" else (None, told)


def _in_child(told: Connection, make: Make, what: str) -> None:
    begin_process()
    try:
        told.send(("base", make(lambda name: told.send(("stage", name)))))
    except JointError as error:
        told.send(("problem", str(error)))
    except MemoryError:
        told.send(("problem", f"there is too little memory for this {what}"))
    except Exception as error:
        told.send(("problem", f"{type(error).__name__}: {error}"))
