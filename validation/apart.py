"""Work number by number in processes of its own: one that takes too long or dies costs that number alone."""

from __future__ import annotations

import multiprocessing
import signal
import time
from collections.abc import Callable, Iterator
from itertools import islice
from multiprocessing.connection import Connection, wait

import psutil

Work = Callable[[int], str]  # picklable, for processes are begun anew
LOOKED_AFTER = 0.5  # s between looks at the clock
PATIENCE = 30.0  # times as long by the clock on the wall as of the processor: others may work on the machine


def _serve(pipe: Connection, work: Work) -> None:
    pipe.send("begun")  # by then all imports are done, which no number shall pay for
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent ends it
    while True:
        try:
            number = pipe.recv()
        except EOFError:
            return
        pipe.send(work(number))


class _Worker:
    """Works on one number at a time, in a process that is begun again where it was ended."""

    def __init__(self, work: Work, longest: float, patience: float, number: int) -> None:
        self._work, self._longest, self._patience = work, longest, patience
        self._begin()
        self.give(number)

    def _begin(self) -> None:
        spawn = multiprocessing.get_context("spawn")
        self.pipe, other = spawn.Pipe()
        self._process = spawn.Process(target=_serve, args=(other, self._work), daemon=True)
        self._process.start()
        other.close()
        self._seen = psutil.Process(self._process.pid)
        self.pipe.recv()

    def give(self, number: int) -> None:
        if self.pipe.closed:
            self._begin()
        self._worked_before, self._until = self._worked(), time.monotonic() + self._patience * self._longest
        self.number = number
        self.pipe.send(number)

    def _worked(self) -> float:
        """Return the seconds of the processor that the process has taken; those of a dead one are none."""
        try:
            taken = self._seen.cpu_times()
        except psutil.Error:
            return 0.0
        return float(taken.user + taken.system)

    def found(self, *, ready: bool) -> str | None:
        """Return what was found of the number at hand, None while it is not known."""
        if ready:
            try:
                return str(self.pipe.recv())
            except EOFError:
                self._process.join(LOOKED_AFTER)
                self.end()
                return f"the process died (exit code {self._process.exitcode})"
        worked = self._worked() - self._worked_before
        if worked < self._longest and time.monotonic() < self._until:
            return None
        self.end()
        return f"no answer after {worked:.0f} s of the processor"

    def end(self) -> None:
        if not self.pipe.closed:
            self._process.kill()
            self._process.join()
            self.pipe.close()


def each_apart(
    work: Work, numbers: Iterator[int], processes: int, longest: float, patience: float = PATIENCE
) -> Iterator[tuple[int, str]]:
    """Yield numbers as they are done, with what the work says of each, that it took too long, or died.

    longest : seconds of the processor. patience : times that by the clock. A number is asked for when one before it is
    done, so that `numbers` may look at the clock.
    """
    busy = [_Worker(work, longest, patience, number) for number in islice(numbers, processes)]
    try:
        while busy:
            ready = wait([one.pipe for one in busy], LOOKED_AFTER)
            for one in list(busy):
                found = one.found(ready=one.pipe in ready)
                if found is None:
                    continue
                yield one.number, found
                number = next(numbers, None)
                if number is None:
                    one.end()
                    busy.remove(one)
                else:
                    one.give(number)
    finally:
        for one in busy:
            one.end()
